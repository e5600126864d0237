"""The main job in one call: a drill in, a lesson's folder out."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.insight.demands import demands, warnings
from midiforge.insight.words import ranges
from midiforge.lesson import Dropped, exercises
from midiforge.lesson.size import most_exercises
from midiforge.midi.folder import Built, build
from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain


@dataclass(frozen=True, slots=True)
class Report:
    """What came of a build.

    dropped: variants left out because they come out the same as another.
    warnings: one sentence each: ostinatos away from their meter, and exercises whose fastest
        tempo asks for what few players can do.
    """

    built: Built
    dropped: tuple[Dropped, ...]
    warnings: tuple[str, ...]


def strangers(drill: Drill) -> list[str]:
    """Ostinatos in a meter of another kind than their own, one sentence each."""
    lines = {line.name: line for line in (*drill.feet, *drill.layers)}
    return [
        f"{line.title} is at home in {line.home}, not in {drill.meter}"
        for line in lines.values()
        if line.home and line.home.is_compound != drill.meter.is_compound
    ]


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
        too_fast.watch(exercises(drill, dropped.append)),
        drill.kit,
        Path(folder),
        drill.title,
        drill.file_format,
        digits=max(2, len(str(most_exercises(drill)))),
        progress=progress,
    )
    return Report(built, tuple(dropped), (*strangers(drill), *too_fast.sentences()))


class _TooFast:
    """Looks at exercises as they go by; of those that differ only in tempo at the fastest."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], list[int]] = {}

    def watch(self, lesson: Iterable[Exercise]) -> Iterator[Exercise]:
        fastest: Exercise | None = None
        for exercise in lesson:
            if fastest and exercise.hits is not fastest.hits:
                self._look(fastest)
                fastest = None
            if fastest is None or exercise.tempo.last > fastest.tempo.last:
                fastest = exercise
            yield exercise
        if fastest:
            self._look(fastest)

    def _look(self, exercise: Exercise) -> None:
        tempo = plain(exercise.tempo.last)
        for sentence in warnings(demands(exercise)):
            self._found.setdefault((sentence, tempo), []).append(exercise.order)

    def sentences(self) -> Iterator[str]:
        for (sentence, tempo), orders in self._found.items():
            yield f"{sentence.removesuffix('.')}: at {tempo} in {ranges(orders)}"
