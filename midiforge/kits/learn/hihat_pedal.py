"""How open the hi-hat is, by the controllers of its pedal."""

from collections.abc import Mapping
from statistics import median_low

from midiforge.kits.learn.strokes import Learnt, Stroke

CLOSED, HALF, OPEN = "hihat-closed", "hihat-half", "hihat-open"
BY_PEDAL = (CLOSED, HALF, OPEN)

# Sent with notes, whatever the pedal does: the fine part of a velocity (MIDI CA-031).
NO_PEDAL = {88}
_FOOT = 4  # the foot controller (MIDI 1.0)
_APART = 16  # controller values; a hi-hat nearer to another voice's is that voice


def otherwise_open(pad: Learnt, stroke: Stroke) -> bool:
    """Whether a stroke's pedal is elsewhere than it was with this voice."""
    for number, value in stroke.pedals.items():
        values = [pedals[number] for pedals in pad.pedals if number in pedals]
        if number not in NO_PEDAL and (not values or abs(median_low(values) - value) >= _APART):
            return True
    return False


def openness(pads: Mapping[str, Learnt]) -> dict[str, int]:
    """The hi-hat's controller and its thresholds, as a kit file has them under [hihat]; empty if
    the controllers heard do not tell open from closed, or run from closed up to open."""
    closed, half, opened = (_middles(pads.get(voice)) for voice in BY_PEDAL)
    wide = {
        number: closed[number] - low
        for number, low in opened.items()
        if number in closed and closed[number] - low >= _APART
    }
    if not wide:
        return {}
    number = _FOOT if _FOOT in wide else max(wide, key=wide.__getitem__)
    low, high = opened[number], closed[number]
    middle = half.get(number, low)
    third = (high - low) // 3
    thresholds = (low + third, high - third)
    if low < middle < high:
        thresholds = ((low + middle + 1) // 2, (middle + high) // 2)
    return {"controller": number, "open_below": thresholds[0], "closed_above": thresholds[1]}


def runs_backwards(pads: Mapping[str, Learnt]) -> bool:
    """Whether the foot controller's values rise as the hi-hat opens."""
    closed, opened = (_middles(pads.get(voice)).get(_FOOT) for voice in (CLOSED, OPEN))
    return opened is not None and closed is not None and opened - closed >= _APART


def _middles(voice: Learnt | None) -> dict[int, int]:
    """Each controller's value in the middle of those it had with a voice."""
    values: dict[int, list[int]] = {}
    for pedals in voice.pedals if voice else ():
        for number, value in pedals.items():
            if number not in NO_PEDAL:
                values.setdefault(number, []).append(value)
    return {number: median_low(heard) for number, heard in values.items()}
