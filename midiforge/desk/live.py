"""What is live on the desk, as the server has it: one thing at a time, in a process of its own, for
the page that asked for it.

A page that goes, however it goes, takes along what it asked for: the process hears that its line is
cut and ends as after Ctrl-C; the guard ends its notes if it cannot.
"""

import asyncio
import json
import sys
import time
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from typing import Any

from midiforge.desk.answers import told
from midiforge.desk.line import starting
from midiforge.desk.spoken import all_said
from midiforge.errors import MidiforgeError

Said = Mapping[str, Any]
Tell = Callable[[Said], Awaitable[None]]
_ENDS_WITHIN = 8.0  # seconds that a process gets to end by itself, its takes written
_LONGEST = 1 << 24  # bytes of a line
_COMMAND = "from midiforge.desk.engine.main import main; main()"
_SENTENCES = {"said", "ports", "learning", "ended"}  # what has texts of rooms that know no page
_BROKEN = "What was running has crashed; nothing sounds on. It can be begun again."


class Engine:
    """A process that does one thing.

    tell: told what it says. job: what it does, as its module beside `engine.main` has it.
    """

    def __init__(self, tell: Tell, job: Said) -> None:
        self.job = job
        self._tell = tell
        self._process: Process | None = None
        self._reader: asyncio.Task[None] | None = None
        self._has_ended = self._is_cut = False
        self._was_stopped = False

    async def begin(self) -> None:
        """Starts the process; MidiforgeError where the system starts none."""
        with starting():
            self._process = await asyncio.create_subprocess_exec(
                sys.executable,
                "-c",
                _COMMAND,
                stdin=PIPE,
                stdout=PIPE,
                stderr=DEVNULL if sys.stderr is None else None,
                limit=_LONGEST,
                start_new_session=True,  # Ctrl-C is the server's, which then cuts the line
            )
        self.say(self.job)
        self._reader = asyncio.create_task(self._read())

    @property
    def is_running(self) -> bool:
        """Whether it is at it still."""
        return self._process is not None and self._process.returncode is None

    @property
    def is_wanted(self) -> bool:
        """Whether it is at it still, and was not asked to stop, nor left by its page."""
        return self.is_running and not self._was_stopped and not self._is_cut

    def say(self, said: Said) -> None:
        """Says something to it; nothing happens where it is gone."""
        self._was_stopped |= said.get("do") == "stop"
        pipe = self._process.stdin if self._process else None
        with suppress(OSError, RuntimeError):
            if pipe and not pipe.is_closing():
                pipe.write(json.dumps(said).encode() + b"\n")

    def cut(self) -> None:
        """Cuts its line, by which it ends."""
        self._is_cut = True
        with suppress(OSError, RuntimeError):
            if self._process and self._process.stdin:
                self._process.stdin.close()

    async def end(self) -> None:
        """Ends it, and comes back when it has ended."""
        self.cut()
        if self._process:
            try:
                await asyncio.wait_for(self._process.wait(), _ENDS_WITHIN)
            except TimeoutError:
                with suppress(ProcessLookupError):
                    self._process.kill()
                await self._process.wait()
        if self._reader:
            await self._reader

    async def _read(self) -> None:
        assert self._process
        assert self._process.stdout
        while line := await self._process.stdout.readline():
            said: dict[str, Any] = json.loads(line)
            if wrong := said.get("wrong"):
                error = MidiforgeError(wrong["what"], *wrong["where"], hint=wrong["hint"])
                said["wrong"] = told(error)
            said |= {name: all_said(said[name]) for name in _SENTENCES & said.keys()}
            self._has_ended |= "wrong" in said or "ended" in said
            await self._told(said)
        await self._process.wait()
        if not self._has_ended:
            await self._told({"ended": {}, "broken": "" if self._is_cut else _BROKEN})
        await self._told({"over": True})

    async def _told(self, said: dict[str, Any]) -> None:
        """Tells what it says, with the name that the page gave it."""
        await self._tell(said | {"id": self.job.get("id")})


class Listener:
    """A page that is on the line. send: what is sent to it goes."""

    def __init__(self, send: Callable[[str], Awaitable[None]]) -> None:
        self._send = send
        self._alone = asyncio.Lock()

    async def tell(self, said: Said) -> None:
        """Tells it something; nothing happens where it is gone."""
        with suppress(Exception):
            async with self._alone:
                await self._send(json.dumps(said))


class Live:
    """All that is live."""

    def __init__(self) -> None:
        self._engine: Engine | None = None
        self._holder: Listener | None = None
        self._beginning = asyncio.Lock()
        self._watch: Engine | None = None
        self._watchers: set[Listener] = set()
        self._ports: Said = {}

    @staticmethod
    def clock() -> float:
        """The clock that processes which are live have too, in ms."""
        return time.monotonic_ns() / 1e6

    async def begin(self, page: Listener, job: Said, tell: Tell, takes_over: bool = False) -> None:
        """Begins something for a page, unless something else, or something of another page, is
        running. tell: told what it says."""
        async with self._beginning:
            engine, holder = self._engine, self._holder
            if engine and engine.is_running:
                is_same = holder is page and engine.job["do"] == job["do"]
                if engine.is_wanted and not is_same and not takes_over:
                    await page.tell({"busy": engine.job["do"], "id": job.get("id")})
                    return
                if holder and holder is not page and engine.is_wanted:
                    await holder.tell({"taken": True})  # before it is told of the end
                await engine.end()
            self._engine, self._holder = Engine(tell, job), page
            await self._engine.begin()

    def say(self, page: Listener, said: Said) -> None:
        """Says something to what a page has begun."""
        if self._engine and self._holder is page:
            self._engine.say(said)

    async def watch_ports(self, page: Listener) -> None:
        """From now on a page is told which ports there are."""
        self._watchers.add(page)
        if self._ports:
            await page.tell(self._ports)
        if self._watch is None:
            self._watch = Engine(self._told_ports, {"do": "ports"})
            try:
                await self._watch.begin()
            except MidiforgeError:  # none are known, until somebody asks again
                self._watch = None

    async def _told_ports(self, said: Said) -> None:
        if "ports" in said:
            self._ports = said
            for page in [*self._watchers]:
                await page.tell(said)
        elif "over" in said:  # it ended: what it looked at did, or it crashed
            self._watch, self._ports = None, {}
            for page in [*self._watchers][:1]:
                await self.watch_ports(page)

    def leave(self, page: Listener) -> None:
        """A page is gone, and what it began with it."""
        if self._engine and self._holder is page:
            self._engine.cut()
        self._watchers.discard(page)
        if self._watch and not self._watchers:
            self._watch.cut()
