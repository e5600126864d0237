"""Strokes of a bar as bits, so that bars are compared fast, and as the ear compares them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import NamedTuple

from midiforge.groove.limbs import DRUMS, foot_of
from midiforge.groove.ornaments import BASS_DRUM
from midiforge.groove.written import Key, Written
from midiforge.hear.expected import pad_of
from midiforge.model.hit import Strength

MISSED = 2.7  # a stroke that was played and is missing is as bad as so many that were not played
_CRASHES = ("crash", "crash-2", "china", "splash")
# What is heard: a ghost note less than a tap, an accent more.
_HEAVY = {Strength.GHOST: 1, Strength.TAP: 2, Strength.ACCENT: 3}
_LOUDEST = max(_HEAVY.values())
_FILLED = [(1 << weight) - 1 for weight in range(_LOUDEST + 1)]
# Added to that: which zone of a pad is struck. Head or rim, a hi-hat half or quite closed, are
# often two words for one thing that is meant; these are meant as they are.
_ZONE, _MEANT_ZONE = 1, 2
_MEANT = ("hihat-open", "side-stick", "ride-bell")


@cache
def instrument_of(voice: str) -> str:
    """What changes as one: the sounds of a hi-hat, all toms."""
    pad = pad_of(voice)
    if foot_of(voice):
        return "bass" if pad.startswith(BASS_DRUM) else "pedal"
    if pad in _CRASHES:
        return "crash"
    if pad in DRUMS:
        return "snare" if pad.startswith("snare") else "toms"
    return pad.partition("-")[0]


class Bits(NamedTuple):
    """Strokes as bits, some for each pad, zone and place, more of them for louder ones: struck,
    and struck so near and nearly so loud that it is heard as the same."""

    own: int
    near: int

    def apart(self, other: "Bits") -> int:
        """Strokes that one has and the other has not."""
        return (self.own & ~other.near).bit_count() + (other.own & ~self.near).bit_count()

    def told_by(self, other: "Bits") -> float:
        """How far the other is from telling this: strokes that it misses, and that it adds."""
        missed = (self.own & ~other.near).bit_count()
        return MISSED * missed + (other.own & ~self.near).bit_count()

    def within(self, mask: int) -> "Bits":
        return Bits(self.own & mask, self.near & mask)

    def __or__(self, other: "Bits") -> "Bits":
        return Bits(self.own | other.own, self.near | other.near)

    @property
    def size(self) -> int:
        return self.own.bit_count()


class Sounds:
    """Which bits are whose.

    masks: all of each instrument. voices: of each voice, one for each place.
    """

    def __init__(self, played: Sequence[Mapping[Key, Written]], reach: float) -> None:
        """played: the strokes of each bar. reach: of what is heard as the same place."""
        keys = dict.fromkeys(key for bar in played for key in bar)
        spots = dict.fromkeys((pad_of(voice), place) for voice, place in keys)
        self._loud = {spot: i * _LOUDEST for i, spot in enumerate(spots)}
        first = len(spots) * _LOUDEST
        self._zones = {
            key: _FILLED[_MEANT_ZONE if key[0] in _MEANT else _ZONE] << first + i * _MEANT_ZONE
            for i, key in enumerate(keys)
        }
        self._pads, self._voices = _near(spots, reach), _near(keys, reach)
        self._struck: dict[tuple[Key, Strength], Bits] = {}
        self.masks: dict[str, int] = defaultdict(int)
        self.voices: dict[str, int] = defaultdict(int)
        for (voice, place), zone in self._zones.items():
            loud = _FILLED[_LOUDEST] << self._loud[pad_of(voice), place]
            self.masks[instrument_of(voice)] |= loud | zone
            self.voices[voice] |= zone & -zone

    def bits(self, bar: Mapping[Key, Written]) -> Bits:
        own = near = 0
        for key, written in bar.items():
            struck = self._struck.get((key, written.strength))
            if struck is None:
                struck = self._struck[key, written.strength] = self._of(key, written.strength)
            own |= struck.own
            near |= struck.near
        return Bits(own, near)

    def _of(self, key: Key, strength: Strength) -> Bits:
        spot, weight = (pad_of(key[0]), key[1]), _HEAVY[strength]
        near = 0
        for other in self._pads[spot]:
            near |= _FILLED[min(weight + 1, _LOUDEST)] << self._loud[other]
        for other in self._voices[key]:
            near |= self._zones[other]
        return Bits(_FILLED[weight] << self._loud[spot] | self._zones[key], near)

    def heard(self, key: Key, bits: int) -> bool:
        """Whether a stroke on that very zone is among bits."""
        return bool(bits & self._zones[key])


def _near(keys: Iterable[Key], reach: float) -> dict[Key, list[Key]]:
    """What of the same voice, or pad, is heard as at the same place."""
    places: dict[str, list[int]] = defaultdict(list)
    for voice, place in keys:
        places[voice].append(place)
    return {
        (voice, place): [(voice, p) for p in places[voice] if abs(p - place) <= reach]
        for voice, place in keys
    }
