"""Who plays what. MIDI does not say; this is a guess by what drummers usually do.

Bass drums are the right foot's and the hi-hat's pedal the left foot's. Of all ways in which the
hands could share the rest, the one is taken in which they go the shortest ways with the most time,
cross least, and do what is usual: time and cymbals are the right hand's, the snare drum is the
left one's. What no limb is free for plays beside.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
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


class _Way(NamedTuple):
    """cost: of all moves so far. at: where each hand is, and since when."""

    cost: float
    dealt: tuple[tuple[Limb, ...], ...]
    at: tuple[tuple[float, tuple[float, float]], tuple[float, tuple[float, float]]]


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
    ways = [_Way(0.0, (), ((-9.0, _REST[_R]), (-9.0, _REST[_L])))]
    for moment in moments:
        i = bisect_left(keeps, moment.time - _IN_TIME)
        in_time = i < len(keeps) and keeps[i] <= moment.time + _IN_TIME
        options: tuple[tuple[Limb, ...], ...] = ((_R,), (_L,))
        if len(moment.voices) == 2:
            options = ((_R, _L), (_L, _R))
        further = [_moved(way, moment, option, in_time) for way in ways for option in options]
        further.sort(key=lambda way: way.cost)
        ways = further[:_BEAM]
    return list(ways[0].dealt)


def _moved(way: _Way, moment: Moment, option: tuple[Limb, ...], in_time: bool) -> _Way:
    cost = way.cost
    at = list(way.at)
    for hand, voice in zip(option, moment.voices, strict=True):
        own = 0 if hand is _R else 1
        since, (x, y) = at[own]
        pad = pad_of(voice)
        to = _WHERE.get(pad, _ELSEWHERE)
        gap = max(0.02, moment.time - since)
        way_long = abs(to[0] - x) + abs(to[1] - y)
        cost += _WAY * way_long / min(1.0, gap * 4)
        quick = _QUICK_ON_DRUM if pad in DRUMS and not in_time else _QUICK
        if gap < quick:
            cost += _WORK * (1 - gap / quick)
        cymbal = pad not in DRUMS
        unusual = hand is _L if cymbal else in_time and (hand is _R) == (pad == "snare")
        if unusual:
            cost += _HABIT
        elif not in_time and hand is _L and moment.on_beat:
            cost += _HABIT / 3
        other_x = at[1 - own][1][0]
        if (to[0] > other_x + 0.2) if hand is _L else (to[0] < other_x - 0.4):
            cost += _CROSSED
        at[own] = moment.time, to
    return _Way(cost, (*way.dealt, option), (at[0], at[1]))
