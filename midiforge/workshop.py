"""The main jobs in one call each: a drill in, a lesson's folder, its pages or its sound out."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.drill.drill import Drill
from midiforge.drill.grid import own_steps
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.folders.lesson import Built, build
from midiforge.insight.demands import demands, warnings
from midiforge.lesson import Dropped, pieces
from midiforge.lesson.choose import chosen_exercises
from midiforge.lesson.clave import crossings
from midiforge.lesson.size import most_pieces
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number, exercises_said
from midiforge.model.piece import Piece
from midiforge.model.swing import STRAIGHT

if TYPE_CHECKING:
    from midiforge.live.clock.timing import LatenessFigures
    from midiforge.live.playing.times import Times


@dataclass(frozen=True, slots=True)
class Report:
    """What came of a build.

    dropped: variants left out because they come out the same as another.
    warnings: one sentence each: `remarks` on the drill, and exercises whose fastest tempo asks
        for what few players can do.
    """

    built: Built
    dropped: tuple[Dropped, ...]
    warnings: tuple[str, ...]


def remarks(drill: Drill) -> list[str]:
    """What a person should know of a drill before it is played, one sentence each.

    Ostinatos that do not fit the bar, voices that the kit lacks, a band that swings where the
    drummer does not, and lines that cross the clave.
    """
    lines = {line.name: line for line in (*drill.feet, *drill.layers)}
    said = [
        f"{line.title} is at home in {line.home}, not in {drill.meter}"
        for line in lines.values()
        if line.home and not drill.meter.meets(line.home, line.pattern.period)
    ]
    voices = {voice for stage in drill.stages for rule in stage.voicing.values() for voice in rule}
    voices |= {line.voice for line in lines.values() if line.voice}
    for voice in sorted(voices):
        other = drill.kit.stand_in(voice)
        if other != voice:
            said.append(f"the kit {drill.kit.name} has no {voice}: {other} plays instead")
    style = drill.beside.style
    grids = drill.steps or [own_steps(drill.meter, each.steps) for each in drill.stickings]
    if style and style.swings and drill.swing == STRAIGHT and any(steps % 3 for steps in grids):
        said.append(
            f"the band swings in triplets ({style.name}), your own eighths are straight: "
            'swing = "2:1" swings them'
        )
    return said + crossings(drill)


def build_lesson(
    drill: Drill, folder: Path | str, progress: Callable[[int], None] | None = None
) -> Report:
    """Writes a drill's lesson into a folder, as `midiforge build` does.

    progress: told how many exercises are written.
    Raises MidiforgeError; the folder is then as it was.
    """
    if not str(folder).strip():
        raise MidiforgeError("the folder's name is empty")
    dropped: list[Dropped] = []
    too_fast = _TooFast()
    built = build(
        too_fast.watch(pieces(drill, dropped.append)),
        drill.kit,
        Path(folder),
        drill.title,
        drill.file_format,
        digits=max(2, len(str(most_pieces(drill)))),
        progress=progress,
    )
    return Report(built, tuple(dropped), (*remarks(drill), *too_fast.sentences()))


@dataclass(frozen=True, slots=True)
class Sheet:
    """What came of writing pages.

    exercises: how many are on them. dropped, warnings: as in `Report`; what was chosen by number
        is chosen from all, so that nothing is told of the others.
    """

    exercises: int
    dropped: tuple[Dropped, ...]
    warnings: tuple[str, ...]


def write_sheet(
    drill: Drill,
    path: Path | str,
    only: str = "",
    paper: str = "a4",
    large: bool = False,
    with_counts: bool = False,
) -> Sheet:
    """Writes a drill's exercises as engraved pages, as `midiforge sheet` does.

    path: ends with .pdf, .html, .svg or .musicxml. only: numbers of exercises, "3,5-8,9b"; "" for
        all. paper: "a4" or "letter". large: print for the music stand. with_counts: the counts
        below the notes.
    Raises MidiforgeError; a file that is there is then as it was.
    """
    from midiforge.pages import sheet
    from midiforge.pages.paper import paper_of

    dropped: list[Dropped] = []
    size = paper_of(paper, large)
    chosen = chosen_exercises(drill, only, dropped.append)
    sheet.write_sheet(
        Path(path), drill.title, chosen, drill.kit, size, with_counts, text=drill.text
    )
    return Sheet(len(chosen), () if only else tuple(dropped), tuple(remarks(drill)))


def rounds(times: int | None = None) -> "Times":
    """How often exercises go round: `times`, 0 for ever; if None as the drill repeats them, or else
    as often as makes four bars."""
    from midiforge.live.playing.times import always, four_bars

    if times is not None:
        if times < 0:
            raise WrongArgument(f"{times} is no number of times", "times", hint="0 is for ever")
        return always(times)
    return lambda each: 1 if each.repeats > 1 else four_bars(each)


def play(
    drill: Drill, port: str = "", only: str = "", times: int | None = None
) -> "LatenessFigures":
    """Plays a drill's exercises through a MIDI output, to the last one or an interrupt.

    port: part of the output's name, or its number; "" for the only one there is. only: numbers of
        exercises, "3,5-8,9b"; "" for all. times: as for `rounds`.
    Gives how late events were sent. Raises MidiforgeError; however it ends, nothing sounds on.
    """
    from midiforge.live.playing import play as session
    from midiforge.live.screen.watcher import Watcher

    options = session.PlayOptions(port=port, times=rounds(times))
    chosen = chosen_exercises(drill, only)
    return session.play(chosen, drill.kit, options, lambda _: nullcontext(Watcher()))


class _TooFast:
    """Collects what exercises ask too much of, as they go by.

    Of each piece the fastest is looked at.
    """

    def __init__(self) -> None:
        self._found: dict[str, list[Number]] = {}

    def watch(self, lesson: Iterable[Piece]) -> Iterator[Exercise]:
        for piece in lesson:
            yield from piece.exercises
            self._look(piece.fastest)

    def _look(self, exercise: Exercise) -> None:
        for sentence in warnings(demands(exercise)):
            self._found.setdefault(sentence, []).append(exercise.number)

    def sentences(self) -> Iterator[str]:
        for sentence, numbers in self._found.items():
            yield f"{sentence.removesuffix('.')}: {exercises_said(numbers)}"
