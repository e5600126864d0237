"""A session with a drill: what every face of midiforge hangs on.

    session = Session("drill.toml")
    session.lesson["3b"]                    # an exercise
    session.build("lesson")                 # files
    found = session.review("take.mid")      # a take against its exercise
    session.keep(found, "take.mid")         # in the practice log
    session.next_step(found, "take.mid")    # what to do next with it

The lesson is made once and no more of it than is asked for.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import replace
from datetime import date
from functools import cached_property, reduce
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, argument
from midiforge.frozen import frozen
from midiforge.lesson.lesson import Lesson, Progress
from midiforge.lesson.outline import LeftOut
from midiforge.lesson.remarks import remarks
from midiforge.model.exercise import Exercise, fastest
from midiforge.model.number import Number, exercises_said, read_named

if TYPE_CHECKING:
    import mido

    from midiforge.folders.lesson import Built
    from midiforge.folders.loops import LoopReport
    from midiforge.hear.choice import Reviewed
    from midiforge.hear.take import Take
    from midiforge.live.clock.timing import LatenessFigures
    from midiforge.live.playing.play import PlayOptions, Watch, Ways
    from midiforge.live.playing.route import Times
    from midiforge.live.ports.output import TakesMessages
    from midiforge.live.recording.recording import Recording
    from midiforge.loops import Shape
    from midiforge.midi.reading import MidiSource
    from midiforge.practice.entry import Entry
    from midiforge.practice.log import Log
    from midiforge.practice.plan import Plan
    from midiforge.practice.standing import Advice
    from midiforge.report.day import Day


@frozen
class BuildReport:
    """What came of a build.

    left_out: variants that make no exercises, and why.
    warnings: one sentence each: remarks on the drill, and exercises whose fastest tempo asks for
        what few players can do.
    """

    built: "Built"
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]


@frozen
class SheetReport:
    """What came of writing pages.

    exercises: how many are on them. left_out, warnings: as in `BuildReport`; what was chosen by
        number is chosen from all, so that nothing is told of the others.
    """

    exercises: int
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]


@frozen
class Heard:
    """One of many takes. source: its file. entry: what the log keeps of it; None where it could
    not be told. trouble: why it could not be read, in words."""

    source: str
    found: "Reviewed | None"
    entry: "Entry | None"
    trouble: str = ""

    @property
    def piece(self) -> int:
        """The number of its piece; 0 where it could not be read."""
        return self.found.review.exercise.number.piece if self.found else 0

    @property
    def why(self) -> str:
        """Why it could not be told."""
        from midiforge.report.sentence import sentences

        if self.found is None:
            return self.trouble
        return sentences(self.found.review, self.found.known)[0]


class Session:
    """A drill and its lesson, and the practice log of whoever plays it.

    drill: a checked drill, or its file. log: the log's file; "" for the usual one, None for none.
    player: who plays, as the log has the name; "" is the usual player.
    flags: whether the flags of the command that make it are said with what to do next.
    Raises MidiforgeError for a drill that cannot be read, or that is too large.
    """

    def __init__(
        self,
        drill: Drill | Path | str,
        log: Path | str | None = "",
        player: str = "",
        flags: bool = True,
    ) -> None:
        if not isinstance(drill, Drill):
            from midiforge.drill.read import read_drill

            drill = read_drill(drill)
        self.drill = drill
        self.lesson = Lesson(drill)
        self.log = log
        self.player = " ".join(player.split())
        self.flags = flags

    # Files

    def build(self, folder: Path | str, progress: Progress | None = None) -> BuildReport:
        """Writes the lesson into a folder, as `midiforge build` does.

        progress: told how many exercises are written.
        Raises MidiforgeError; the folder is then as it was.
        """
        from midiforge.folders.lesson import build

        drill, left_out, too_much = self.drill, list[LeftOut](), dict[str, list[Number]]()
        built = build(
            _watched(self.lesson.by_piece(left_out=left_out.append), too_much),
            drill.kit,
            _folder(folder),
            drill.title,
            drill.file_format,
            digits=self.lesson.digits,
            progress=progress,
        )
        demanding = (
            f"{sentence.removesuffix('.')}: {exercises_said(numbers)}"
            for sentence, numbers in too_much.items()
        )
        return BuildReport(built, tuple(left_out), (*remarks(drill), *demanding))

    def sheet(
        self,
        path: Path | str,
        only: str = "",
        paper: str = "a4",
        large: bool = False,
        with_counts: bool = False,
        student: str = "",
        teacher: str = "",
        date: str = "",
        progress: Callable[[int, int], None] | None = None,
    ) -> SheetReport:
        """Writes exercises as engraved pages, or for other programs, as `midiforge sheet` does.

        path: its ending names one of `midiforge.pages.sheet.FORMATS`. only: numbers of exercises,
            "3,5-8,9b"; "" for all. paper: "a4" or "letter". large: print for the music stand.
            with_counts: the counts below the notes. student, teacher, date: at the head of a
            booklet; the student's name and the date may be written on paper. progress: told how
            many exercises of how many are done.
        Raises MidiforgeError; a file that is there is then as it was.
        """
        from midiforge.pages import sheet
        from midiforge.pages.names import Names
        from midiforge.pages.paper import paper_of

        drill, left_out = self.drill, list[LeftOut]()
        size = paper_of(paper, large)
        chosen = self.lesson.select(only, left_out.append)
        count = 0

        def done(more: int) -> None:
            nonlocal count
            count += more
            if progress:
                progress(count, len(chosen))

        sheet.write_sheet(
            Path(path),
            drill.title,
            chosen,
            drill.kit,
            size,
            with_counts,
            text=drill.text,
            names=Names(student, teacher, date),
            done=done,
        )
        return SheetReport(len(chosen), () if only else tuple(left_out), tuple(remarks(drill)))

    def loops(
        self,
        folder: Path | str,
        shape: "Shape | None" = None,
        only: str = "",
        audio: str = "",
        soundfont: Path | str = "",
        progress: Callable[[int, int], None] | None = None,
    ) -> "LoopReport":
        """Writes loops to play along with into a folder; see `midiforge.folders.loops`."""
        from midiforge.folders.loops import write_loops

        return write_loops(self.drill, _folder(folder), shape, only, audio, soundfont, progress)

    def midi_file(self, only: str = "") -> "mido.MidiFile":
        """Exercises one after the other as a `mido.MidiFile`, event by event the `lesson.mid` that
        `build` writes of them.

        only: numbers of exercises, "3,5-8,9b"; "" for all.
        Raises MidiforgeError.
        """
        from midiforge.midi.mido_file import lesson_midi_file

        drill, chosen = self.drill, self.lesson.select(only)
        return lesson_midi_file(chosen, drill.kit, drill.title, drill.file_format)

    # Playing

    def play(
        self, port: "str | TakesMessages" = "", only: str = "", times: int | None = None
    ) -> "LatenessFigures":
        """Plays exercises through a MIDI output, to the last one or an interrupt.

        port: part of the output's name, or its number; "" for the only one there is. Or an open
            output of mido's, or anything else with `send(message)`; it is left open, nothing is
            heard of the kit, and nobody else can end its notes if this process is killed.
        only: numbers of exercises, "3,5-8,9b"; "" for all. times: as for `rounds`.
        Gives how late events were sent. Raises MidiforgeError; however it ends, nothing sounds on.
        """
        from midiforge.live.playing.play import PlayOptions
        from midiforge.live.screen.watcher import Watcher

        options = PlayOptions(port=port, times=rounds(times))
        return self.play_through(self.to_play(only), options, lambda _: nullcontext(Watcher()))

    def to_play(self, only: str = "", begin: str = "") -> list[Exercise]:
        """Exercises in the order of the lesson. only: by number, "3,5-8,9b"; "" for all. begin: the
        number of the first. Raises MidiforgeError if there is none."""
        exercises = self.lesson.select(only)
        if not begin.strip():
            return exercises
        with argument("from"):
            first, last = read_named(begin), exercises[-1].number
            exercises = [exercise for exercise in exercises if exercise.number.is_from(first)]
            if not exercises:
                hint = f"the last is {last}"
                raise MidiforgeError(f"there is no exercise from {first} on", hint=hint)
        return exercises

    def play_through(
        self,
        exercises: Sequence[Exercise],
        options: "PlayOptions",
        watch: "Watch",
        recording: "Recording | None" = None,
        way: "Ways | None" = None,
    ) -> "LatenessFigures":
        """Plays these exercises of the lesson, in this order, as `play` does.

        watch: sees and steers the player. recording: takes what comes from the kit. way: another
        one through them than from the first to the last.
        """
        from midiforge.live.playing.play import play

        options = replace(options, rests=self._rests())
        return play(exercises, self.drill.kit, options, watch, recording, way)

    def _rests(self) -> dict[Number, int]:
        """The seconds of rest after exercises, where the drill chooses them and has rests."""
        if not any(chosen.rest for chosen in self.drill.running):
            return {}
        pieces = zip(self.lesson.outlines(), self.drill.chosen_pieces, strict=False)
        return {outline.numbers[-1]: chosen[-1].rest for outline, chosen in pieces}

    # What was played

    def review(
        self, take: "Take | MidiSource", number: str | int = "", delay_ms: float | None = None
    ) -> "Reviewed":
        """Compares a take with its exercise, as `midiforge review` does.

        take: what `read_take` gave, a MIDI file, or a `mido.MidiFile`. number: of the exercise; ""
            for the one the take names, else the likeliest. delay_ms: from stroke to file, if it
            was measured.
        Raises MidiforgeError if the file cannot be read, there is no such exercise, or the drill's
        kit knows none of the notes.
        """
        from midiforge.hear.choice import reviewed
        from midiforge.hear.take import Take, read_take

        played = take if isinstance(take, Take) else read_take(take)
        return reviewed(
            played,
            self._asked(played, str(number).strip()),
            self.drill.kit,
            number,
            delay_ms,
            self.lesson.by_piece,
        )

    def _asked(self, take: "Take", number: str) -> list[Exercise]:
        """The piece that a take is said to be of, by a number or by itself; else all."""
        if number:
            with argument("number"):
                named = read_named(number)
            chosen = self.lesson.select(str(named), parameter="number")
            return chosen if not named.letter else self.lesson.select(str(named.piece))
        return self._marked(take) or self._everything

    def has(self, take: "Take") -> bool:
        """Whether a take says that it is of an exercise of the lesson."""
        return bool(self._marked(take))

    def _marked(self, take: "Take") -> list[Exercise]:
        """The piece that a take says it is of; [] for none."""
        from midiforge.hear.choice import is_called

        marked = take.exercise
        for outline in self.lesson.outlines() if marked else ():
            called = marked and any(each in marked for each in outline.numbers)
            if called and is_called(outline.title, take.title):
                return [*outline.exercises()]
        return []

    @cached_property
    def _everything(self) -> list[Exercise]:
        return self.lesson.select()

    def entry(
        self, found: "Reviewed", take: "MidiSource", note: str = "", day: date | None = None
    ) -> "Entry":
        """What the practice log keeps of a review.

        take: the file, or `mido.MidiFile`, it was of. note: what the player says of it, such as
            "tired" or "pain". day: when it was played; None for what the take says: the day that
            `play --record` left in it or that its name has, else today.
        Raises MidiforgeError.
        """
        from midiforge.practice.reviewed import content_of, entry_of

        content = content_of(take)
        return entry_of(found.review, self.drill.title, content, note, self.player, day)

    def keep(
        self, found: "Reviewed", take: "MidiSource", note: str = "", day: date | None = None
    ) -> bool:
        """Keeps a review in the practice log; a take that was there has its figures replaced.

        A take that looks like another exercise or kit is not kept: its figures say nothing of this
        one. Gives whether it was.

        take, note, day: as for `entry`. Raises MidiforgeError.
        """
        log = self._log()
        if not found.is_it or log is None:
            return False
        log.add(self.entry(found, take, note, day), keeps_day=day is None)
        return True

    def review_all(
        self,
        takes: "Iterable[Path | str]",
        number: str | int = "",
        delay_ms: float | None = None,
        note: str = "",
        day: date | None = None,
    ) -> "Iterator[Heard]":
        """Reviews many takes, each as `review` does, and as it is asked for.

        number, delay_ms: of all of them. note, day: as for `entry`.
        A file with the content of one before it is the same take, and left out.
        Raises MidiforgeError where there is no such exercise; a file that cannot be told, with the
        reason, is among what is given.
        """
        from midiforge.practice.entry import take_of
        from midiforge.practice.reviewed import content_of

        known = set[str]()
        for take in takes:
            try:
                digest = take_of(content_of(take))
                if digest in known:
                    continue
                known.add(digest)
                found = self.review(take, number, delay_ms)
                entry = self.entry(found, take, note, day) if found.is_it else None
            except WrongArgument:
                raise
            except MidiforgeError as error:
                yield Heard(str(take), None, None, error.what)
            else:
                yield Heard(str(take), found, entry)

    def keep_heard(self, take: Heard, keeps_day: bool = True) -> bool:
        """Keeps one of many takes in the practice log, if it could be told; gives whether it was.

        keeps_day: whether one that was reviewed before keeps the day that it had.
        Raises MidiforgeError.
        """
        log = self._log()
        if log is None or take.entry is None:
            return False
        log.add(take.entry, keeps_day=keeps_day)
        return True

    def page_of(self, heard: "Iterable[Heard]") -> "Day":
        """What there is to say of many takes, on one page; the log need not hold them yet.

        Of each take only what stands there is kept, however many come.
        """
        from midiforge.practice import good
        from midiforge.practice.advice import of_exercise
        from midiforge.practice.words import step_words
        from midiforge.report import day as page

        entries: list[Entry] = []
        of_piece: dict[int, list[tuple[page.DayTake, Sequence[good.Lack]]]] = {}
        played: dict[int, Exercise] = {}  # the last of each piece
        untold: list[tuple[str, str]] = []
        for take in heard:
            name = Path(take.source).name
            if not take.found or not take.entry:
                untold.append((name, take.why))
                continue
            lacks = good.lacks(take.entry, self.drill.practice)
            told = page.day_take(name, take.found, "; ".join(lack.said for lack in lacks))
            entries.append(take.entry)
            of_piece.setdefault(take.piece, []).append((told, lacks))
            played[take.piece] = take.found.review.exercise
        advised, exercises = self._advised_after(entries) if entries else [], []
        lacking: list[good.Lack] = []
        for piece in sorted(of_piece):
            exercise, takes = played[piece], [told for told, _ in of_piece[piece]]
            lacking += [lack for _, lacks in of_piece[piece] for lack in lacks]
            step = step_words(of_exercise(advised, exercise), takes[-1].first.work_on)
            heading = f"{exercise.number.whole}. {exercise.title}"
            exercises.append(page.DayExercise(heading, tuple(takes), step))
        days = sorted({entry.day.isoformat() for entry in entries})
        return page.Day(
            self.drill.title,
            " to ".join(dict.fromkeys((days[0], days[-1]))) if days else "",
            self.player,
            tuple(exercises),
            good.most_often(lacking, len(entries)),
            tuple(untold),
        )

    def verdict(self, found: "Reviewed", take: "MidiSource") -> str:
        """Why a take counts as good for its exercise or not, in one sentence.

        Gives "" for a take that looks like another exercise or kit.
        """
        from midiforge.practice.good import verdict

        return verdict(self.entry(found, take), self.drill.practice) if found.is_it else ""

    def next_step(
        self,
        found: "Reviewed",
        take: "MidiSource",
        note: str = "",
        day: date | None = None,
    ) -> str:
        """What to do next with the exercise of a take, and how: as `midiforge next` says it, with
        what the review has to say instead of what the take lacks.

        take, note, day: as for `entry`; the log need not hold the take yet.
        Gives "" for a take that looks like another exercise or kit.
        Raises MidiforgeError.
        """
        from midiforge.practice.advice import of_exercise
        from midiforge.practice.words import step_words
        from midiforge.report.sentence import advice
        from midiforge.report.view import View

        if not found.is_it:
            return ""
        advised = self._advised_after([self.entry(found, take, note, day)])
        first, _ = advice(View(found.review), found.known)
        step = of_exercise(advised, found.review.exercise)
        return step_words(step, first.work_on)

    def _advised_after(self, entries: "Iterable[Entry]") -> "list[Advice]":
        """What to do next once takes are logged, which the log may not hold yet."""
        from midiforge.practice.advice import advise
        from midiforge.practice.log import with_take

        log = self._log()
        logged = reduce(with_take, entries, log.entries() if log else [])
        advised = advise(self.lesson, self._own(logged), date.today())
        return [*map(self._as_told, advised)]

    def _as_told(self, advice: "Advice") -> "Advice":
        """With the flags that make it, or without."""
        from midiforge.practice.words import without_flags

        return advice if self.flags else without_flags(advice)

    def advise(self, day: date | None = None, progress: Progress | None = None) -> list["Advice"]:
        """What to do next with each exercise, after what the log holds.

        day: None for today. progress: told how many exercises were looked at.
        Raises MidiforgeError if a log that was named cannot be read.
        """
        from midiforge.practice.advice import advise

        advised = advise(self.lesson, self.entries(), day or date.today(), progress)
        return [*map(self._as_told, advised)]

    def plan(
        self, minutes: int = 30, day: date | None = None, progress: Progress | None = None
    ) -> "Plan":
        """Minutes of warm-up, work, review and rests, after what the log holds.

        minutes: 5 to 180. day, progress: as for `advise`.
        Raises MidiforgeError, also where nothing is left to play because of pain.
        """
        from midiforge.practice.plan import make_plan

        plan = make_plan(self.lesson, self.entries(), day or date.today(), minutes, progress)
        turns = (
            replace(turn, advice=turn.advice and self._as_told(turn.advice)) for turn in plan.turns
        )
        return replace(plan, turns=tuple(turns))

    def entries(self, begins: bool = False) -> "list[Entry]":
        """What the log holds of the player; the usual log need not be there.

        begins: nor need one that was named: what is kept begins it, and must be able to.
        """
        log = self._log() if begins else None
        if log:
            log.check()
        return self._own(log.entries() if log else self._everybodys())

    def players(self) -> list[str]:
        """Who has takes in the log, "" being the usual player, by name."""
        names = {entry.player.casefold(): entry.player for entry in self._everybodys()}
        return [name for _, name in sorted(names.items())]

    def others(self) -> list[str]:
        """Who else has takes in the log, as they are called there."""
        from midiforge.practice.entry import player_said

        own = self.player.casefold()
        return [player_said(name) for name in self.players() if name.casefold() != own]

    def _everybodys(self) -> "list[Entry]":
        from midiforge.practice.log import entries_in

        return [] if self.log is None else entries_in(self.log)

    def _log(self) -> "Log | None":
        from midiforge.practice.log import Log, log_path

        return None if self.log is None else Log(log_path(str(self.log)))

    def _own(self, entries: "Iterable[Entry]") -> "list[Entry]":
        from midiforge.practice.entry import is_by

        return [entry for entry in entries if is_by(entry, self.player)]


def rounds(times: int | None = None) -> "Times":
    """How often exercises go round: `times`, 0 for ever; if None as the drill repeats them, or else
    as often as makes four bars."""
    from midiforge.live.playing.route import always, four_bars

    if times is not None:
        if times < 0:
            raise WrongArgument(f"{times} is no number of times", "times", hint="0 is for ever")
        return always(times)
    return lambda exercise: 1 if exercise.repeats > 1 else four_bars(exercise)


def _folder(folder: Path | str) -> Path:
    if not str(folder).strip():
        raise MidiforgeError("the folder's name is empty")
    return Path(folder)


def _watched(
    lesson: Iterable[tuple[Exercise, ...]], too_much: dict[str, list[Number]]
) -> Iterator[Exercise]:
    """The exercises as they go by; what the fastest of a piece asks too much of is noted, in a
    sentence and by number."""
    from midiforge.insight.demands import demands, warnings

    for exercises in lesson:
        yield from exercises
        hardest = fastest(exercises)
        for sentence in warnings(demands(hardest)):
            too_much.setdefault(sentence, []).append(hardest.number)
