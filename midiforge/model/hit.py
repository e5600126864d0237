"""A hit: one limb, one voice, one moment."""

from enum import StrEnum
from fractions import Fraction

from midiforge.frozen import frozen


class Limb(StrEnum):
    """One of the player's four limbs, by its usual two letters; hands first."""

    RIGHT_HAND = "RH"
    LEFT_HAND = "LH"
    RIGHT_FOOT = "RF"
    LEFT_FOOT = "LF"

    __hash__ = str.__hash__  # as its equals have it, and in a tenth of Enum's time

    @property
    def is_hand(self) -> bool:
        """Whether it is one of the hands."""
        return self in HANDS

    @property
    def is_foot(self) -> bool:
        """Whether it is one of the feet."""
        return self in FEET

    @property
    def opposite(self) -> "Limb":
        """The other hand of a hand, the other foot of a foot."""
        return _OPPOSITE[self]

    @property
    def title(self) -> str:  # type: ignore[override]  # str.title is of no use on a limb
        """In words: "right hand"."""
        return self.name.lower().replace("_", " ")

    @property
    def letter(self) -> str:
        """How a sticking writes it: R, L, K (bass-drum foot) or H (hi-hat foot)."""
        return _LETTERS[self]


HANDS = (Limb.RIGHT_HAND, Limb.LEFT_HAND)
FEET = (Limb.RIGHT_FOOT, Limb.LEFT_FOOT)

_OPPOSITE = {limb: other for pair in (HANDS, FEET) for limb, other in (pair, pair[::-1])}
_LETTERS = dict(zip((*HANDS, *FEET), "RLKH", strict=True))

CLICK = "click"  # the layer of the click


class Strength(StrEnum):
    """How hard a stroke is meant; a kit file turns it into a velocity."""

    ACCENT = "accent"
    TAP = "tap"
    GHOST = "ghost"

    __hash__ = str.__hash__


class OrnamentKind(StrEnum):
    """What is added to a stroke."""

    FLAM = "flam"  # one grace note before it
    DRAG = "drag"  # two
    RUFF = "ruff"  # three or more
    BUZZ = "buzz"  # the stick is pressed and bounces on for the length of the step


@frozen
class Ornament:
    """What is added to a stroke.

    grace_notes: how many come before the stroke; none for a buzz.
    limb, voice: who plays the grace notes, and on what.
    length: of a buzz, in quarter notes.
    """

    kind: OrnamentKind
    grace_notes: int = 0
    limb: Limb | None = None
    voice: str = ""
    length: Fraction = Fraction(0)


@frozen
class Hit:
    """One stroke of one limb on one voice.

    time: quarter notes from the exercise's first downbeat, exact; the count-in is before 0.
        Swung music is written straight here; see `Swing`.
    limb: None for what the player does not play (the click, a clave beside the kit).
    layer: "hands" or "feet" for the player's, "click", or the name of a time layer.
    grid: the step of the line that it is part of, in quarter notes, by which it swings or not;
        0 for the click, which has none.
    """

    time: Fraction
    limb: Limb | None
    voice: str
    strength: Strength = Strength.TAP
    ornament: Ornament | None = None
    layer: str = "hands"
    grid: Fraction = Fraction(0)
