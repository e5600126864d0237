"""What takes long in a session: what comes next, what a stretch was, what is written of it.

`Brain` does it where it is called; `BrainApart` has one in a process of its own, so that neither a
review nor a plan holds up the player: threads of one Python wait for each other, however urgent
they are. Both are asked by the worker, one thing after the other.
"""

import copyreg
import os
import pickle
import struct
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import IO, Any, Protocol

from midiforge.at_the_kit.ending import told
from midiforge.at_the_kit.judging import Judge
from midiforge.at_the_kit.scene import Outcome
from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.practice.teacher import Coming, Rest, Task, Teacher
from midiforge.session import Session

_PATIENCE = 10.0  # seconds that the end waits for it


def _view(table: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(table)


# A drill's tables are views that never change, which the standard library does not pickle.
copyreg.pickle(MappingProxyType, lambda table: (_view, (dict(table),)))


@frozen
class Wanted:
    """What a session is to be. drills: one or several, of one kit. log, player, flags: as in
    `Session`. folder: where takes go."""

    drills: Sequence[Drill]
    log: str | None
    player: str
    minutes: int
    day: date
    hears: bool
    folder: Path | None
    flags: bool = True


class Thinks(Protocol):
    """What a session asks; see `Brain`."""

    def next_turn(self, now: float, left: int = 0) -> Task | Rest | None: ...

    def at_wish(self, task: int, coming: Coming) -> Task: ...

    def judged(self, task: int, content: bytes, delay_ms: float | None) -> Outcome | None: ...

    def hurts(self, task: int) -> None: ...

    def ended(self, seconds: float) -> "Ended": ...

    def close(self) -> None: ...


@frozen
class Ended:
    """What is left of a session. lines: to be printed, and how far each is indented. page: of the
    day; None if nothing was heard. troubles: why something could not be kept."""

    lines: Sequence[tuple[int, str]]
    page: Path | None
    troubles: Sequence[str]


class Brain:
    """Raises MidiforgeError where nothing can be played."""

    def __init__(self, wanted: Wanted) -> None:
        log, player, flags = wanted.log, wanted.player, wanted.flags
        self._flags = flags
        sessions = [Session(drill, log, player, flags) for drill in wanted.drills]
        entries, lessons = sessions[0].entries(begins=True), [one.lesson for one in sessions]
        self.teacher = Teacher(lessons, entries, wanted.day, wanted.minutes, wanted.hears)
        self.judge = Judge(sessions, self.teacher, wanted.folder)
        self._tasks: dict[int, Task] = {}

    def next_turn(self, now: float, left: int = 0) -> Task | Rest | None:
        """What comes at a time of the session; None at its end. left: the number of a task that the
        player went on from; 0 for none."""
        following = self.teacher.next_turn(now, self._tasks.get(left))
        return self._numbered(following) if isinstance(following, Task) else following

    def at_wish(self, task: int, coming: Coming) -> Task:
        """What the player wants instead of a task, by its number."""
        return self._numbered(self.teacher.at_wish(self._tasks[task], coming))

    def judged(self, task: int, content: bytes, delay_ms: float | None) -> Outcome | None:
        """What came of a stretch, of a take's bytes; None where it could not be told."""
        outcome = self.judge(content, self._tasks[task], delay_ms)
        if outcome is None or outcome.after is None:
            return outcome
        return replace(outcome, after=self._numbered(outcome.after))

    def hurts(self, task: int) -> None:
        """A task hurts, by its number."""
        self.teacher.hurts(self._tasks[task])
        self.judge.hurts(self._tasks[task])

    def ended(self, seconds: float) -> Ended:
        """It is over, after so long; the page of the day is written."""
        heard = self.judge.by_session()
        lines, page = [*told(self.teacher, heard, seconds, self._flags)], None
        try:
            page = self.judge.write_page()
        except MidiforgeError as error:
            self.judge.troubles.append(str(error))
        return Ended(lines, page, self.judge.troubles)

    def close(self) -> None:
        """Nothing more is asked."""

    def _numbered(self, task: Task) -> Task:
        if self._tasks.get(task.id) is not task:
            task = replace(task, id=len(self._tasks) + 1)
            self._tasks[task.id] = task
        return task


class BrainApart:
    """A brain in a process of its own. What goes wrong there is raised here; where it is gone,
    MidiforgeError."""

    def __init__(self, wanted: Wanted) -> None:
        command = [sys.executable, "-c", f"from {__name__} import serve; serve()"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
        )
        assert self._process.stdin and self._process.stdout
        self._to, self._from = self._process.stdin, self._process.stdout
        self._alone = threading.Lock()
        try:
            self._ask(wanted)
        except BaseException:
            self.close()
            raise

    def next_turn(self, now: float, left: int = 0) -> Task | Rest | None:
        following: Task | Rest | None = self._ask(("next_turn", now, left))
        return following

    def at_wish(self, task: int, coming: Coming) -> Task:
        wished: Task = self._ask(("at_wish", task, coming))
        return wished

    def judged(self, task: int, content: bytes, delay_ms: float | None) -> Outcome | None:
        outcome: Outcome | None = self._ask(("judged", task, content, delay_ms))
        return outcome

    def hurts(self, task: int) -> None:
        self._ask(("hurts", task))

    def ended(self, seconds: float) -> Ended:
        ended: Ended = self._ask(("ended", seconds))
        return ended

    def close(self) -> None:
        with suppress(OSError):
            self._to.close()
        try:
            self._process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._from.close()

    def _ask(self, what: object) -> Any:
        try:
            with self._alone:
                _write(self._to, what)
                answer = _read(self._from)
        except (OSError, EOFError, ValueError):
            raise MidiforgeError("what decides is gone; what you play is recorded") from None
        if isinstance(answer, BaseException):
            raise answer
        return answer


def serve() -> None:
    """Answers what comes on standard input, until nothing more comes."""
    asked, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever prints is no answer
    brain: Brain | None = None
    while True:
        try:
            what = _read(asked)
        except (EOFError, OSError):
            return
        answer: Any = None
        try:
            if isinstance(what, Wanted):
                brain = Brain(what)
            else:
                name, *given = what
                answer = getattr(brain, name)(*given)
        except Exception as error:  # it is raised where it was asked
            answer = error
        with suppress(BrokenPipeError):  # whoever asked is gone, and nothing more comes
            _write(answers, _without_advice(answer))


def _without_advice(answer: Any) -> Any:
    """What is known of exercises beside the task stays here: it is much, and nobody there asks."""
    if isinstance(answer, Task):
        return replace(answer, advice=None)
    if isinstance(answer, Outcome):
        after = _without_advice(answer.after)
        return replace(answer, task=_without_advice(answer.task), after=after)
    return answer


def _write(stream: IO[bytes], what: object) -> None:
    content = pickle.dumps(what, protocol=5)
    stream.write(struct.pack("<Q", len(content)) + content)
    stream.flush()


def _read(stream: IO[bytes]) -> Any:
    head = stream.read(8)
    if len(head) < 8:
        raise EOFError
    return pickle.loads(stream.read(struct.unpack("<Q", head)[0]))  # from our own process
