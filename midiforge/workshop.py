"""The main job in one call: a drill in, a lesson's folder out."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from midiforge.drill.drill import Drill
from midiforge.insight.demands import demands, warnings
from midiforge.lesson import Dropped, exercises
from midiforge.lesson.size import most_exercises
from midiforge.midi.folder import Built, build
from midiforge.model.exercise import Exercise


@dataclass(frozen=True, slots=True)
class Report:
    """What came of a build.

    dropped: variants left out because they come out the same as another.
    warnings: what an exercise asks that few players can do, one sentence each.
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
    dropped: list[Dropped] = []
    warned = dict.fromkeys(strangers(drill))

    def watched() -> Iterator[Exercise]:
        for exercise in exercises(drill, dropped.append):
            for sentence in warnings(demands(exercise)):
                warned.setdefault(sentence)
            yield exercise

    built = build(
        watched(),
        drill.kit,
        Path(folder),
        drill.title,
        drill.file_format,
        digits=max(2, len(str(most_exercises(drill)))),
        progress=progress,
    )
    return Report(built, tuple(dropped), tuple(warned))
