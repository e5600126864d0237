"""How open the hi-hat is, by the controllers of its pedal."""

from collections.abc import Iterable, Mapping
from statistics import median_low

from midiforge.kits.learn.kit_strokes import Learnt, Stroke

CLOSED, HALF, OPEN = "hihat-closed", "hihat-half", "hihat-open"
BY_PEDAL = (CLOSED, HALF, OPEN)

# Sent with notes, whatever the pedal does: the fine part of a velocity (MIDI CA-031).
NO_PEDAL = {88}
_FOOT = 4  # the foot controller (MIDI 1.0)
_APART = 16  # controller values; a hi-hat nearer to another voice's is that voice


def otherwise_open(found: Learnt, stroke: Stroke) -> bool:
    """Whether a stroke's pedal is elsewhere than it was with this voice."""
    for number, value in stroke.pedals.items():
        values = [each[number] for each in found.pedals if number in each]
        if number not in NO_PEDAL and (not values or abs(median_low(values) - value) >= _APART):
            return True
    return False


def openness(found: Mapping[str, Learnt]) -> dict[str, int]:
    """The hi-hat's controller and its thresholds, as a kit file has them under [hihat]; empty if
    the controllers heard do not tell open from closed, or run from closed up to open."""
    values = {voice: _middles(found[voice].pedals if voice in found else ()) for voice in BY_PEDAL}
    wide = {
        number: values[CLOSED][number] - low
        for number, low in values[OPEN].items()
        if number in values[CLOSED] and values[CLOSED][number] - low >= _APART
    }
    if not wide:
        return {}
    number = _FOOT if _FOOT in wide else max(wide, key=lambda each: wide[each])
    low, high = values[OPEN][number], values[CLOSED][number]
    half = values[HALF].get(number, low)
    if low < half < high:
        return _thresholds(number, (low + half + 1) // 2, (half + high) // 2)
    return _thresholds(number, low + (high - low) // 3, high - (high - low) // 3)


def runs_backwards(found: Mapping[str, Learnt]) -> bool:
    """Whether the foot controller's values rise as the hi-hat opens."""
    opened, closed = (
        _middles(found[v].pedals if v in found else ()).get(_FOOT) for v in (OPEN, CLOSED)
    )
    return opened is not None and closed is not None and opened - closed >= _APART


def _thresholds(number: int, open_below: int, closed_above: int) -> dict[str, int]:
    return {"controller": number, "open_below": open_below, "closed_above": closed_above}


def _middles(pedals: Iterable[Mapping[int, int]]) -> dict[int, int]:
    """Each controller's value in the middle of those it had."""
    values: dict[int, list[int]] = {}
    for each in pedals:
        for number, value in each.items():
            if number not in NO_PEDAL:
                values.setdefault(number, []).append(value)
    return {number: median_low(each) for number, each in values.items()}
