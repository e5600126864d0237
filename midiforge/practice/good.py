"""Stub until the branch with the real one is merged."""

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.hear.figures import of_step
from midiforge.model.hit import Limb
from midiforge.practice.entry import Entry


@frozen
class Lack:
    what: str
    limb: Limb | None
    said: str


def is_good(entry: Entry, settings: Practice) -> bool:
    return not lacks(entry, settings)


def is_long_enough(entry: Entry, comes_round: float = 0) -> bool:
    return entry.bars >= min(comes_round, 8)


def lacks(entry: Entry, settings: Practice) -> tuple[Lack, ...]:
    found = []
    percent = entry.deviation_percent
    if entry.clean < settings.clean:
        said = f"{_share(entry.clean)} clean, {_share(settings.clean)} is wanted"
        found.append(Lack("strokes", None, said))
    if percent is None:
        found.append(Lack("steady", None, "too few strokes to tell how steady"))
    elif percent > settings.steady:
        said = f"{of_step(percent)} of a step unsteady, {settings.steady:g}% is wanted"
        found.append(Lack("steady", None, said))
    return tuple(found)


def _share(value: float) -> str:
    return f"{100 * value:.1f}%".replace(".0%", "%")
