"""What the feet repeat: each foot's pattern, and the partner that comes along."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from midiforge.drill import values
from midiforge.errors import MidiforgeError
from midiforge.library import shelf
from midiforge.model.hit import FEET, Limb
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Line


def foot_patterns(items: Iterable[object], meter: Meter, step: Fraction) -> tuple[Line, ...]:
    """The patterns as given; one without a limb goes to the first foot that is free.

    "none" alone is no pattern, as for the band.
    """
    found: list[Line] = []
    items = list(items)
    for item in items if items != ["none"] else ():
        free = _free(found) or FEET
        line = values.line(str(item), meter, step, free)
        if line.limb is None:
            line = values.line(f"{item} on {free[0].value}", meter, step, free)
        if line.limb and line.limb.is_hand:
            raise MidiforgeError(
                f"a foot was expected: {line.name!r} is for the {line.limb.title} here",
                hint=f"'{line.name} on RF', or put it under layers",
            )
        found.append(line)
    return tuple(found)


def partners(wish: str, feet: tuple[Line, ...], meter: Meter, step: Fraction) -> tuple[Line, ...]:
    """What comes along with foot patterns, for a foot that is free.

    wish: "usual", "none", or an ostinato.
    """
    if wish == "none" or (wish == "usual" and not feet):
        return ()
    if not feet:
        raise MidiforgeError("there are no feet to go with", hint="feet = ...")
    free = _free(feet)
    if wish != "usual":
        line = values.line(wish, meter, step, free or FEET)
        if line.limb not in free:
            limb = line.limb.title if line.limb else "foot"
            raise MidiforgeError(f"{line.name!r} needs the {limb}, which is taken")
        return (replace(line, partner=True),)
    for line in feet:
        known = shelf.ostinatos().get(line.name)
        if known and known.partner and free:
            found = values.line(f"{known.partner} on {free[0].value}", meter, step, free)
            return (replace(found, partner=True),)
    return ()


def _free(lines: Iterable[Line]) -> tuple[Limb, ...]:
    used = {line.limb for line in lines}
    return tuple(limb for limb in FEET if limb not in used)
