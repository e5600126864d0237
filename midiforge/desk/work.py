"""What takes long, in processes of its own: one thing after the other, watched, stopped at will.

A process is asked in one line of JSON on its standard input and tells in lines on its output how
far it is and what came of it. It ends where nobody holds its input any more, so that none outlives
the server; a signal unwinds it, and what it was writing goes as it does for a command.
"""

import json
import queue
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from types import FrameType
from typing import Any

from midiforge.desk.answers import told
from midiforge.desk.line import Line, starting
from midiforge.errors import MidiforgeError
from midiforge.files.swap import tidy

Tell = Callable[[int, int], None]  # how many of how many are done
Does = Callable[[Mapping[str, Any], Tell], Any]

WAITS, WORKS, DONE, WRONG, STOPPED = "waits", "works", "done", "wrong", "stopped"
MOST_WAITING = 50
_REMEMBERED = 40  # of what is over
_PATIENCE = 3.0  # seconds, until what does not stop is killed
_OFTEN = 0.1  # seconds between two words on how far it is
_TO_TELL = 60.0  # seconds that a server may take to hear all of a page


@dataclass
class Job:
    """Something to be done.

    drill: the drill that it is for, as the page calls it. title: what the page calls it. counts:
        what is counted, "exercises".
    folder: that it writes into; nothing half-written stays there. done, of: how far it is; of 0 if
        that is not known.
    given: what came of it, plain. trouble: what went wrong, as `answers.told` tells it.
    """

    number: int
    drill: str
    title: str
    does: str
    asked: Mapping[str, Any]
    folder: Path | None
    counts: str
    state: str = WAITS
    done: int = 0
    of: int = 0
    given: Any = None
    trouble: dict[str, Any] | None = None
    process: "subprocess.Popen[str] | None" = field(default=None, repr=False)

    @property
    def is_over(self) -> bool:
        return self.state not in (WAITS, WORKS)

    def told(self) -> dict[str, Any]:
        """What the page is told of it while it lasts."""
        return {
            "number": self.number,
            "title": self.title,
            "counts": self.counts,
            "state": self.state,
            "done": self.done,
            "of": self.of,
            "trouble": self.trouble,
        }


class Work:
    """What is to be done, in the order in which it was asked for, one thing at a time."""

    def __init__(self) -> None:
        self._jobs: dict[int, Job] = {}
        self._waiting: queue.SimpleQueue[Job] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._worker: threading.Thread | None = None
        self._last = 0

    def begin(
        self,
        drill: str,
        title: str,
        does: Does,
        asked: Mapping[str, Any],
        folder: Path | None = None,
        counts: str = "exercises",
    ) -> Job:
        """Puts something behind what is to be done; gives it with its number.

        does: a function of a module, which is called in a process of its own with what is `asked`
        and with whom to tell how far it is; both that and what it gives are JSON's own kinds.
        Raises MidiforgeError where too much waits.
        """
        with self._lock:
            if sum(not job.is_over for job in self._jobs.values()) >= MOST_WAITING:
                raise MidiforgeError("so much waits to be done", hint="wait for some of it")
            self._last += 1
            name = f"{does.__module__}:{does.__name__}"
            job = Job(self._last, drill, title, name, asked, folder, counts)
            self._jobs[job.number] = job
            over = [job.number for job in self._jobs.values() if job.is_over]
            for number in over[: max(0, len(over) - _REMEMBERED)]:
                del self._jobs[number]
            if self._worker is None:
                self._worker = threading.Thread(target=self._work, daemon=True, name="work")
                self._worker.start()
        self._waiting.put(job)
        return job

    def job(self, number: int) -> Job:
        """By its number; MidiforgeError if it is not known any more."""
        with self._lock:
            job = self._jobs.get(number)
        if job is None:
            raise MidiforgeError("that is over and forgotten")
        return job

    def jobs(self, drill: str) -> list[Job]:
        """Those for a drill, the first asked for first."""
        with self._lock:
            return [job for job in self._jobs.values() if job.drill == drill]

    def stop(self, number: int) -> None:
        """Stops something, or sees that it is not begun; what is over stays as it is."""
        job = self.job(number)
        with self._lock:
            if job.is_over:
                return
            begun = job.process
            job.state = STOPPED
        if begun:
            _end(begun)

    def forget(self, number: int) -> None:
        """Something that is over is not told of any more."""
        with self._lock:
            if number in self._jobs and self._jobs[number].is_over:
                del self._jobs[number]

    def close(self) -> None:
        """Stops all, and waits until it has."""
        with self._lock:
            jobs = [job for job in self._jobs.values() if not job.is_over]
        for job in jobs:
            self.stop(job.number)
        for job in jobs:
            if job.process:
                with suppress(subprocess.TimeoutExpired):
                    job.process.wait(2 * _PATIENCE)
                _leave_nothing(job)

    def _work(self) -> None:
        while True:
            job = self._waiting.get()
            try:
                self._do(job)
            except MidiforgeError as error:
                self._is(job, WRONG, trouble=told(error))
            except Exception:  # the next is done all the same
                traceback.print_exc()
                self._is(job, WRONG, trouble=_fault())

    def _do(self, job: Job) -> None:
        with self._lock:
            if job.state != WAITS:
                return
            job.state = WORKS
            with starting():
                job.process = subprocess.Popen(
                    [sys.executable, "-c", f"from {__name__} import serve; serve()"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    text=True,
                    encoding="utf-8",
                    start_new_session=True,  # Ctrl-C is for the server, which stops it
                )
        process = job.process
        assert process.stdin and process.stdout
        with suppress(BrokenPipeError), process:  # also where it is closed
            process.stdin.write(json.dumps({"does": job.does, "asked": job.asked}) + "\n")
            process.stdin.flush()
            for line in process.stdout:
                said = json.loads(line)
                if "of" in said:
                    job.done, job.of = said["done"], said["of"]
                elif "trouble" in said:
                    self._is(job, WRONG, trouble=said["trouble"])
                else:
                    self._is(job, DONE, given=said["given"])
        self._is(job, WRONG, trouble=_fault())  # it ended without a word
        if job.state != DONE:
            _leave_nothing(job)

    def _is(self, job: Job, state: str, given: Any = None, trouble: Any = None) -> None:
        """What came of it, if that is not decided yet."""
        with self._lock:
            if not job.is_over:
                job.given, job.trouble, job.state = given, trouble, state


def _end(process: "subprocess.Popen[str]") -> None:
    process.terminate()

    def kill() -> None:
        try:
            process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:  # in a library that takes no signals meanwhile
            process.kill()

    threading.Thread(target=kill, daemon=True).start()


def _leave_nothing(job: Job) -> None:
    """What was killed can have left what it wrote aside, and folders that it made."""
    if job.folder is None:
        return
    inside = [path for path in job.folder.glob("*") if path.is_dir() and not path.is_symlink()]
    for folder in (*inside, job.folder):
        with suppress(OSError, MidiforgeError):
            tidy(folder)
        with suppress(OSError):
            folder.rmdir()  # if it is empty


def _fault() -> dict[str, Any]:
    return told(
        MidiforgeError("something went wrong inside midiforge; what was there is as it was")
    )


# In the process


def serve() -> None:
    """Does what it is asked for on its line, and tells of it there."""
    signal.signal(signal.SIGTERM, _unwind)
    line, before = Line.of_process(), 0.0

    def tell(done: int, of: int) -> None:
        nonlocal before
        if done >= of or time.monotonic() > before + _OFTEN:
            before = time.monotonic()
            line.tell(done=done, of=of)

    try:
        if line.job:
            module, _, name = line.job["does"].partition(":")
            line.tell(given=getattr(import_module(module), name)(line.job["asked"], tell))
    except MidiforgeError as error:
        line.tell(trouble=told(error))
    except Exception:
        traceback.print_exc()
        line.tell(trouble=_fault())
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)  # it ends anyway
        line.close(_TO_TELL)


def _unwind(number: int, _: FrameType | None) -> None:
    raise SystemExit(128 + number)
