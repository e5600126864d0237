"""A stretch of playing as a take: written, reviewed, logged, and what follows from it."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from midiforge.at_the_kit.scene import Outcome
from midiforge.errors import MidiforgeError
from midiforge.hear.choice import Reviewed
from midiforge.hear.known import NOTHING
from midiforge.hear.review import review
from midiforge.hear.take import take_of_bytes
from midiforge.live.recording.take_file import write_take
from midiforge.midi.message import PEDAL
from midiforge.practice.good import lacks
from midiforge.practice.log import with_take
from midiforge.practice.reviewed import entry_of, not_heard
from midiforge.practice.teacher import Task, Teacher
from midiforge.report.day import write_day
from midiforge.report.sentence import advice
from midiforge.report.view import View
from midiforge.session import Heard, Session

HURTS = "it hurts"  # what the log keeps of it


class Judge:
    """Makes a take of each stretch, and says what came of it.

    sessions: of each drill. folder: where takes go; None for nowhere.
    heard: all that was judged, each with the session it is of. troubles: why something could not be
    kept, each once.
    """

    def __init__(self, sessions: Sequence[Session], teacher: Teacher, folder: Path | None) -> None:
        self.sessions, self.teacher, self.folder = sessions, teacher, folder
        self.heard: list[tuple[Session, Heard]] = []
        self.troubles: list[str] = []

    def __call__(self, content: bytes, task: Task, delay_ms: float | None) -> Outcome | None:
        """What came of a stretch, of its take's bytes; None where it could not be told."""
        session, file, before = self._session(task), "", len(self.troubles)
        kit = session.drill.kit
        if self.folder is not None:
            name = f"{len(self.heard) + 1:03}-{task.exercise.number}.mid"
            try:
                written = write_take(self.folder / name, content)
                if written.parent != self.folder:
                    self._trouble(f"{self.folder} takes no file: takes go to {written.parent}")
                file = str(written)
            except MidiforgeError as error:
                self._trouble(str(error))
        try:
            take = take_of_bytes(content, file, kit.hihat.controller if kit.hihat else PEDAL)
            told = Reviewed(review(take, task.exercise, kit, delay_ms), NOTHING)
        except MidiforgeError as error:
            self._trouble(error.what)
            if not file and self.folder is not None:
                raise
            return None
        entry = entry_of(told.review, session.drill.title, content, player=session.player)
        lacking = lacks(entry, session.drill.practice)
        self.teacher.heard(task, entry)
        if task.counts:
            self._keep(session, Heard(file, told, entry))
        after = self.teacher.after(task, entry)
        said = advice(View(told.review), NOTHING)[0].happened
        first = lacking[0].said if lacking else ""
        trouble = "; ".join(self.troubles[before:])
        return Outcome(task, entry, not lacking, said, first, after, file, trouble)

    def _session(self, task: Task) -> Session:
        assert task.advice is not None
        lesson = task.advice.group.lesson
        return next(session for session in self.sessions if session.lesson is lesson)

    def by_session(self) -> list[tuple[Session, list[Heard]]]:
        """What was judged of each drill, where anything was."""
        of_each = [
            (session, [heard for of, heard in self.heard if of is session])
            for session in self.sessions
        ]
        return [(session, heard) for session, heard in of_each if heard]

    def write_page(self) -> Path | None:
        """Writes the page of the day beside its takes; None where nothing was heard."""
        if self.folder is None or not any(take.entry for _, take in self.heard):
            return None
        path = self.folder / "day.html"
        write_day(path, *(session.page_of(heard) for session, heard in self.by_session()))
        return path

    def _keep(self, session: Session, heard: Heard) -> None:
        """A take that is hardly of its exercise is in no log: its figures say nothing of it."""
        if heard.found is not None and not heard.found.is_it:
            heard = replace(heard, entry=None)
        self.heard.append((session, heard))
        self._log(session, heard)

    def _log(self, session: Session, heard: Heard) -> None:
        try:
            session.keep_heard(heard)
        except MidiforgeError as error:
            self._trouble(str(error))

    def hurts(self, task: Task) -> None:
        """The player said that it hurts: the log has it with the last take of the exercise, or
        where none was heard with none."""
        assert task.advice is not None
        session, group = self._session(task), task.advice.group
        own = (i for i, (_, it) in enumerate(self.heard) if it.entry and it.entry.key == group.key)
        last = max(own, default=None)
        if last is None:
            drill, day = session.drill.title, self.teacher.day
            entry = not_heard(group.exercise, drill, HURTS, session.player, day)
            kept = Heard("", None, entry)
        else:
            heard = self.heard[last][1]
            assert heard.entry is not None
            entry = replace(heard.entry, note=HURTS)
            kept = replace(heard, entry=entry)
            self.heard[last] = session, kept
        self.teacher.entries = with_take(self.teacher.entries, entry)
        self._log(session, kept)

    def _trouble(self, said: str) -> None:
        if said not in self.troubles:
            self.troubles.append(said)
