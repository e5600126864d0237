"""Numbers and limbs, read and checked; whoever calls says which key they are of."""

import re
from contextlib import suppress

from midiforge.errors import MidiforgeError, quoted
from midiforge.model.hit import Limb

_LIMBS = {limb.value.lower(): limb for limb in Limb} | {limb.title: limb for limb in Limb}


def whole(value: object, low: int, high: int, what: str = "") -> int:
    """A whole number from `low` to `high`; `what` is counted, for the error."""
    if isinstance(value, str) and re.fullmatch(r"\s*-?[0-9]{1,9}\s*", value):
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise MidiforgeError(
            f"{quoted(value)} is not a whole number from {low} to {high}"
            + (f" ({what})" if what else "")
        )
    return value


def number(value: object, low: float, high: float) -> float:
    """A number from `low` to `high`."""
    if isinstance(value, str):
        with suppress(ValueError):
            value = float(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise MidiforgeError(f"{quoted(value)} is not a number from {low:g} to {high:g}")
    return float(value)


def limb(text: str) -> Limb:
    """ "RH" or "right hand"."""
    found = _LIMBS.get(text.strip().lower())
    if found is None:
        raise MidiforgeError(f"{quoted(text)} is not a limb", hint="RH, LH, RF or LF")
    return found
