"""The grid: the same sticking in other note values."""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from midiforge.keys.reader import KeyReader
from midiforge.keys.values import whole
from midiforge.model.counts import steps_in_bar
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move

MOST_STEPS = 12  # to a beat

_NOTES = {
    Fraction(4, 2**i): f"{name}s"
    for i, name in enumerate(
        ("whole note", "half note", "quarter", "eighth", "sixteenth", "thirty-second")
    )
}
_TUPLETS = {3: "triplets", 5: "quintuplets", 6: "sextuplets", 7: "septuplets"}


class Grid(Move[tuple[int, ...]]):
    """Steps to a beat; none for what each sticking is usually written in."""

    name = "grid"

    def read(self, keys: KeyReader, meter: Meter) -> tuple[int, ...]:
        return keys.read("steps", lambda items: _steps(items, meter))

    def turned(self, material: Material, wish: tuple[int, ...]) -> Iterator[Material]:
        for steps in wish or (own_steps(material.meter, material.steps),):
            told = len(wish) > 1
            # The log's key has this value in it: what entries belong together hangs on it.
            value = f"in {_TUPLETS.get(steps, f'{steps} to a beat')}" if told else ""
            name = _said(material.meter.beat, steps) if told else ""
            yield material.then(
                Moved(self.name, value, name=name, thing="the note values"), steps=steps
            )


def _said(beat: Fraction, steps: int) -> str:
    """The note values of a grid: "in sixteenths", "in triplets"; "at 11 to a beat" where they have
    no name.

    beat: in quarter notes.
    """
    step = beat / steps
    if step in _NOTES:
        return f"in {_NOTES[step]}"
    if step * 2 / 3 in _NOTES:
        return f"in dotted {_NOTES[step * 2 / 3]}"
    if steps in _TUPLETS:
        return f"in {_TUPLETS[steps]}"
    if step * 3 / 2 in _NOTES:
        return f"in {_NOTES[step * 3 / 2].removesuffix('s')} triplets"
    return f"at {steps} to a beat"


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
    for wanted in (wish or 4, 2 * wish, 4):
        steps = meter.beat * wanted
        if steps.denominator == 1 and 1 <= steps <= MOST_STEPS:
            return int(steps)
    return 1
