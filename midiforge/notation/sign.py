"""How a voice is written: its place on the staff, its notehead, what stands above it."""

from functools import cache

from midiforge.frozen import frozen
from midiforge.library import shelf

_STEPS = "CDEFGAB"
_BOTTOM_LINE = 4 * len(_STEPS) + _STEPS.index("E")

_HIGHEST_FOOT = 1  # the bass drum's place
HEADS = ("normal", "x", "circle-x", "diamond", "triangle", "slashed")
MARKS = ("", "open", "half-open", "closed")
_PERCUSSION = "x"


@frozen
class Sign:
    """A notehead in its place.

    step, octave: as under a treble clef, where E4 is the bottom line and F5 the top one.
    head: one of `HEADS`.
    mark: one of `MARKS`, above the note.
    """

    step: str
    octave: int
    head: str = "normal"
    mark: str = ""

    @property
    def place(self) -> int:
        """Lines and spaces above the bottom line: 0 to 8 within the staff."""
        return self.octave * len(_STEPS) + _STEPS.index(self.step) - _BOTTOM_LINE


@cache
def sign_of(voice: str) -> Sign:
    """The sign of a voice of the library; a voice without one is written as its fallback."""
    entry = shelf.voices().get(voice)
    while entry is not None:
        if entry.sign:
            place, *rest = entry.sign.split()
            return Sign(place[0], int(place[1:]), *rest)
        entry = shelf.voices().get(entry.fallback)
    return Sign("C", 5, _PERCUSSION)


def foot_sign(voice: str, is_left: bool) -> Sign:
    """The sign of a voice that a foot strikes: out of the hands' way, at the foot of the staff."""
    sign = sign_of(voice)
    if sign.place <= _HIGHEST_FOOT:
        return sign
    return Sign("D" if is_left else "E", 4, sign.head, "")


def on_one_line(voice: str) -> Sign:
    """The sign of a voice on a staff of its own with a single line."""
    return Sign("E", 4, sign_of(voice).head)
