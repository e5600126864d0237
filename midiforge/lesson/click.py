"""The click: the count-in, and the beats beside the exercise with their gaps."""

from collections.abc import Iterator

from midiforge.drill.drill import Drill
from midiforge.model.hit import CLICK, Hit, Strength


def click(drill: Drill, bars: int) -> Iterator[Hit]:
    """The click's hits from the count-in to the end of `bars` bars; none if it is off."""
    if drill.click == "off":
        return
    on, off = drill.gap or (1, 0)
    first, others = drill.click_voices
    last = bars if drill.click == "throughout" else 0
    for number in range(-drill.count_in, last):
        if number >= 0 and number % (on + off) >= on:
            continue
        for i, beat in enumerate(drill.meter.beats):
            voice, strength = (others, Strength.TAP) if i else (first, Strength.ACCENT)
            yield Hit(number * drill.meter.bar + beat, None, voice, strength, None, CLICK)
