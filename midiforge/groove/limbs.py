"""Who plays what. MIDI does not say; this is a guess by what drummers usually do.

Bass drums are the right foot's and the hi-hat's pedal the left foot's. Of all ways in which the
hands could share the rest, the one is taken in which they go the shortest ways with the most time,
cross least, and do what is usual: time and cymbals are the right hand's, the snare drum is the
left one's. What no limb is free for plays beside.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from operator import itemgetter
from typing import NamedTuple, TypeVar

from midiforge.frozen import frozen
from midiforge.groove.grid import Grid
from midiforge.groove.loop import Place
from midiforge.hear.expected import pad_of
from midiforge.model.hit import Limb

_R, _L = Limb.RIGHT_HAND, Limb.LEFT_HAND

FEET_VOICES: Mapping[str, Limb] = {
    "bass-drum": Limb.RIGHT_FOOT,
    "bass-drum-2": Limb.RIGHT_FOOT,
    "hihat-pedal": Limb.LEFT_FOOT,
    "hihat-splash": Limb.LEFT_FOOT,
}

DRUMS = (
    "snare",
    "snare-electric",
    "tom-high",
    "tom-mid",
    "tom-low-mid",
    "tom-low",
    "floor-tom",
    "floor-tom-low",
)
CYMBALS = ("hihat-closed", "splash", "crash", "china", "crash-2", "ride-2", "ride")
_KIT = (*DRUMS, *CYMBALS)


@frozen
class Played:
    """A stroke of the loop and who plays it; None: it plays beside."""

    place: Place
    limb: Limb | None


def _is_drum(voice: str) -> bool:
    return pad_of(voice) in DRUMS


def foot_of(voice: str) -> Limb | None:
    """The foot that plays a voice; None for what hands play."""
    return FEET_VOICES.get(voice) or FEET_VOICES.get(pad_of(voice))


def deal(places: Sequence[Place], grid: Grid, second: float) -> list[Played]:
    """The limb of each stroke of the loop; no limb has two at once. second: s, of a step."""
    found: list[Played] = []
    hands: dict[int, list[Place]] = {}
    feet: set[tuple[int, Limb]] = set()
    for place in places:
        foot = foot_of(place.voice)
        if foot is None:
            hands.setdefault(place.step, []).append(place)
        elif (place.step, foot) in feet:
            other = Limb.LEFT_FOOT if foot is Limb.RIGHT_FOOT else Limb.RIGHT_FOOT
            free = (place.step, other) not in feet and not any(
                FEET_VOICES.get(each.voice) is other for each in places if each.step == place.step
            )
            found.append(Played(place, other if free else None))
            feet.add((place.step, other))
        else:
            feet.add((place.step, foot))
            found.append(Played(place, foot))
    beside = _beside(hands)
    found += [Played(each, None) for each in places if each.voice in beside]
    own = {
        step: [
            (each.voice, each.velocity, each) for each in hands[step] if each.voice not in beside
        ]
        for step in sorted(hands)
    }
    found += [Played(each, limb) for each, limb in deal_hands(own, second, grid.steps)]
    found.sort(key=lambda each: (each.place.step, each.place.voice))
    return found


def _beside(hands: Mapping[int, Sequence[Place]]) -> set[str]:
    """Hand percussion that both hands are too busy for somewhere: someone else plays it."""
    found: set[str] = set()
    for struck in hands.values():
        if len(struck) > 2:
            found |= {each.voice for each in struck if pad_of(each.voice) not in _KIT}
    return found


# Where voices are, in metres right of and before a right-handed player: a usual kit.
_WHERE: Mapping[str, tuple[float, float]] = {
    "snare": (-0.10, 0.35),
    "tom-high": (-0.12, 0.65),
    "tom-mid": (0.15, 0.65),
    "tom-low-mid": (0.30, 0.55),
    "tom-low": (0.40, 0.45),
    "floor-tom": (0.45, 0.35),
    "floor-tom-low": (0.65, 0.25),
    "hihat-closed": (-0.40, 0.45),
    "splash": (0.0, 0.80),
    "crash": (-0.35, 0.85),
    "china": (0.80, 0.60),
    "crash-2": (0.40, 0.90),
    "ride-2": (0.70, 0.75),
    "ride": (0.55, 0.70),
}
_ELSEWHERE = (0.1, 0.5)
_REST = {_R: (0.1, 0.4), _L: (-0.15, 0.4)}
# s from one stroke of a hand to its next, from which on it is work: on a drum, where the other
# hand is near, sooner than on a cymbal
_QUICK_ON_DRUM, _QUICK = 0.30, 0.15
_WORK, _WAY, _CROSSED, _HABIT = 3.0, 1.5, 0.8, 0.6
_IN_TIME = 0.35  # s: a cymbal so near is still being played
_BEAM = 8  # ways of dealing that are followed


T = TypeVar("T")


class Moment(NamedTuple):
    """What the hands strike at once. time: s. voices: at most two. on_beat: whether on a beat."""

    time: float
    voices: tuple[str, ...]
    on_beat: bool


_At = tuple[float, float, float]  # where a hand is, and since when: s, m, m


class _Way(NamedTuple):
    """cost: of all moves so far. hands: where the right one is and the left one. dealt: which hands
    struck last, and the way before."""

    cost: float
    hands: tuple[_At, _At]
    dealt: "tuple[tuple[Limb, ...], _Way] | None"


def deal_hands(
    struck: Mapping[int, Sequence[tuple[str, int, T]]], second: float, beat: int
) -> Iterator[tuple[T, Limb | None]]:
    """The hand of each stroke; None where more than two come at once, for the softest.

    struck: voice, velocity and stroke, at each place, in order; a place is `second` s, and so many
    are a beat.
    """
    both = {
        place: sorted(strokes, key=lambda it: -it[1])
        for place, strokes in struck.items()
        if strokes
    }
    yield from ((stroke, None) for some in both.values() for *_, stroke in some[2:])
    moments = [
        Moment(place * second, tuple(voice for voice, *_ in some[:2]), place % beat == 0)
        for place, some in both.items()
    ]
    for some, limbs in zip(both.values(), deal_by_reach(moments), strict=True):
        yield from zip((stroke for *_, stroke in some[:2]), limbs, strict=True)


def deal_by_reach(moments: Sequence[Moment]) -> list[tuple[Limb, ...]]:
    """Which hand plays each voice of each moment: the dealing in which hands go the shortest
    ways, with the most time, and cross least. It is a guess: MIDI does not say.
    """
    keeps = [m.time for m in moments if any(not _is_drum(voice) for voice in m.voices)]
    ways = [_Way(0.0, ((-9.0, *_REST[_R]), (-9.0, *_REST[_L])), None)]
    for time, voices, on_beat in moments:
        i = bisect_left(keeps, time - _IN_TIME)
        in_time = i < len(keeps) and keeps[i] <= time + _IN_TIME
        struck = [_Struck(voice, in_time, on_beat) for voice in voices]
        further = []
        for way in ways:
            for option in _OPTIONS[len(voices)]:
                cost, hands = way.cost, way.hands
                for limb, voice in zip(option, struck, strict=True):
                    cost, hands = _moved(cost, hands, time, limb is _L, voice)
                further.append(_Way(cost, hands, (option, way)))
        further.sort(key=itemgetter(0))
        ways = further[:_BEAM]
    dealt: list[tuple[Limb, ...]] = []
    way = ways[0]
    while way.dealt:
        limbs, way = way.dealt
        dealt.append(limbs)
    return dealt[::-1]


_OPTIONS = ((), ((_R,), (_L,)), ((_R, _L), (_L, _R)))


class _Struck:
    """What is asked of a hand that strikes a voice. quick: s; habit: what it costs either hand."""

    def __init__(self, voice: str, in_time: bool, on_beat: bool) -> None:
        pad = pad_of(voice)
        self.x, self.y = _WHERE.get(pad, _ELSEWHERE)
        drum = pad in DRUMS
        self.quick = _QUICK_ON_DRUM if drum and not in_time else _QUICK
        if not drum:
            self.habit = 0.0, _HABIT
        elif in_time:
            self.habit = (_HABIT, 0.0) if pad == "snare" else (0.0, _HABIT)
        else:
            self.habit = 0.0, _HABIT / 3 if on_beat else 0.0


def _moved(
    cost: float, hands: tuple[_At, _At], time: float, left: bool, to: _Struck
) -> tuple[float, tuple[_At, _At]]:
    """The cost so far and the hands, after one has struck."""
    since, x, y = hands[left]
    gap = max(0.02, time - since)
    cost += _WAY * (abs(to.x - x) + abs(to.y - y)) / min(1.0, gap * 4) + to.habit[left]
    if gap < to.quick:
        cost += _WORK * (1 - gap / to.quick)
    other = hands[not left]
    if (to.x > other[1] + 0.2) if left else (to.x < other[1] - 0.4):
        cost += _CROSSED
    at = time, to.x, to.y
    return cost, (other, at) if left else (at, other)
