"""What a drill turns over: stickings, and lines that repeat."""

from midiforge.frozen import frozen
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Pattern
from midiforge.phrase.phrase import Phrase


@frozen
class Sticking:
    """A phrase and how it likes to be written.

    steps: grid steps to a quarter note that a rudiment is usually written in; 0 for no wish.
    """

    phrase: Phrase
    title: str
    steps: int = 0


@frozen
class Line:
    """A repeating part of one limb, or of none (beside the player).

    name: of the ostinato, or the pattern as typed.
    voice: "" for what the voicing gives the limb.
    partner: whether it only came along with another.
    home: the meter it is usually played in; None for a typed one.
    """

    name: str
    title: str
    limb: Limb | None
    voice: str
    pattern: Pattern
    partner: bool = False
    home: Meter | None = None
