"""What a typed pattern is called: what sounds, and on which counts."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from midiforge.drill.drill import Voicing
from midiforge.library import shelf
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Line, Pattern, counts_said

_FEET = {Limb.RIGHT_FOOT: "Bass drum", Limb.LEFT_FOOT: "Hi-hat foot"}


def typed_title(
    limb: Limb | None, voice: str, pattern: Pattern, meter: Meter, step: Fraction
) -> str:
    """Such as "Bass drum on 1 1a 2&"; voice: "" for what the limb usually plays."""
    if voice:
        what = shelf.voices()[voice].title
    else:
        assert limb is not None  # or it would have no sound
        what = _FEET.get(limb, limb.title.capitalize())
    return f"{what} {where(pattern, meter, step)}"


def where(pattern: Pattern, meter: Meter, step: Fraction) -> str:
    """Such as "on 1 1a 2&"; of what is not the same in every bar, or too long to be said, its
    length: "in a pattern of 24 steps".

    step: of the grid, in quarter notes; counts that it lacks are taken on finer ones.
    """
    said = counts_said(pattern, meter, step)
    return f"on {said}" if said else f"in a pattern of {pattern.length / step} steps"


def retitled(
    lines: Iterable[Line], voicing: Voicing, meter: Meter, step: Fraction
) -> Iterator[Line]:
    """The lines; typed ones called after the voice that the drill gives their limb."""
    for line in lines:
        voices = voicing.get((line.limb, "")) if line.limb else None
        if voices and line.home is None and not line.voice:
            title = typed_title(line.limb, voices[0], line.pattern, meter, step)
            line = replace(line, title=title)
        yield line
