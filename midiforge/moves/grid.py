"""The grid: the same sticking in other note values."""

from collections.abc import Iterable, Iterator, Mapping

from midiforge.keys.reader import KeyReader
from midiforge.keys.values import whole
from midiforge.model.counts import steps_in_bar
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move

MOST_STEPS = 12  # to a beat

STEP_NAMES = {3: "triplets", 5: "quintuplets", 6: "sextuplets", 7: "septuplets"}


class Grid(Move[tuple[int, ...]]):
    """Steps to a beat; none for what each sticking is usually written in."""

    name = "grid"

    def read(self, keys: KeyReader, meter: Meter) -> tuple[int, ...]:
        return keys.read("steps", lambda items: _steps(items, meter))

    def turned(self, material: Material, wish: tuple[int, ...]) -> Iterator[Material]:
        for steps in wish or (own_steps(material.meter, material.steps),):
            name = f"in {STEP_NAMES.get(steps, f'{steps} to a beat')}" if len(wish) > 1 else ""
            yield material.then(Moved(self.name, name, name=name), steps=steps)

    def many(self, material: Material, wish: tuple[int, ...]) -> Mapping[str, int]:  # noqa: ARG002
        return {"steps": len(wish) or 1}


def _steps(items: Iterable[object], meter: Meter) -> tuple[int, ...]:
    grids = tuple(whole(item, 1, MOST_STEPS, "steps to a beat") for item in items)
    for steps in grids:
        steps_in_bar(meter, meter.beat / steps)
    return tuple(dict.fromkeys(grids))


def own_steps(meter: Meter, wish: int) -> int:
    """Grid steps to a beat for a sticking that is usually written in `wish` to a quarter note.

    What is in threes is at home in dotted beats: triplets become their eighths, sextuplets their
    sixteenths. Sixteenths for no wish, or if none fits.
    """
    if meter.is_compound and wish and wish % 3 == 0:
        return wish
    for each in (wish or 4, 2 * wish, 4):
        steps = meter.beat * each
        if steps.denominator == 1 and 1 <= steps <= MOST_STEPS:
            return int(steps)
    return 1
