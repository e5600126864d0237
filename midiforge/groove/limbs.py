"""Who plays what. MIDI does not say; this is a guess by what drummers usually do.

Bass drums are the right foot's and the hi-hat's pedal the left foot's. Of the hands, the right
one has cymbals, hi-hat and hand percussion, the left one the snare drum. Two at once are both
hands: what lies further right is the right hand's. Drums that are struck while no cymbal goes on
(two strokes or more to the beat) are played hand to hand: the right hand on the even steps of the
beat where it has an even number of steps, else in turn, beginning with the right. What no limb is
free for plays beside.
"""

from collections.abc import Mapping, Sequence

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

# How far right of a right-handed player; drums are what comes first, cymbals what comes after.
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

_BETWEEN = 50  # hand percussion, somewhere between


@frozen
class Played:
    """A stroke of the loop and who plays it; None: it plays beside."""

    place: Place
    limb: Limb | None


def _is_drum(voice: str) -> bool:
    return pad_of(voice) in DRUMS


def _rightness(voice: str) -> int:
    pad = pad_of(voice)
    if pad in DRUMS:
        return DRUMS.index(pad)
    if pad in CYMBALS:
        return 100 + CYMBALS.index(pad)
    return _BETWEEN


def deal(places: Sequence[Place], grid: Grid) -> list[Played]:
    """The limb of each stroke of the loop; no limb has two at once."""
    found: list[Played] = []
    hands: dict[int, list[Place]] = {}
    feet: set[tuple[int, Limb]] = set()
    for place in places:
        foot = FEET_VOICES.get(place.voice) or FEET_VOICES.get(pad_of(place.voice))
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
    for step in list(hands):
        hands[step] = [each for each in hands[step] if each.voice not in beside]
    found += [Played(each, None) for each in places if each.voice in beside]
    keeping_time = _keeping_time(hands, grid)
    last, last_step = _L, -grid.steps
    for step in sorted(hands):
        struck = sorted(hands[step], key=lambda each: _rightness(each.voice))
        if not struck:
            continue
        if len(struck) == 1:
            limb = _alone(struck[0], step, grid, keeping_time, last, step - last_step)
            found.append(Played(struck[0], limb))
            last = limb
        else:
            pair = sorted(struck, key=lambda each: -each.velocity)[:2]
            pair.sort(key=lambda each: _rightness(each.voice))
            found += [Played(pair[0], _L), Played(pair[1], _R)]
            found += [Played(each, None) for each in struck if each not in pair]
            last = _R
        last_step = step
    found.sort(key=lambda each: (each.place.step, each.place.voice))
    return found


def _alone(
    place: Place, step: int, grid: Grid, keeping_time: set[int], last: Limb, since: int
) -> Limb:
    if not _is_drum(place.voice):
        return _R
    if step // grid.steps in keeping_time:
        return _L if pad_of(place.voice) == "snare" else _R
    if grid.steps % 2 == 0:
        return _L if step % grid.steps % 2 else _R
    if since >= 2 * grid.steps:
        return _R
    return last.opposite


def _keeping_time(hands: Mapping[int, Sequence[Place]], grid: Grid) -> set[int]:
    """Beats with a cymbal or hand percussion; those with a single stroke too, if there are any."""
    beats: dict[int, list[Place]] = {}
    for step, struck in hands.items():
        beats.setdefault(step // grid.steps, []).extend(struck)
    found = {
        beat for beat, struck in beats.items() if any(not _is_drum(each.voice) for each in struck)
    }
    return found | {beat for beat, struck in beats.items() if found and len(struck) == 1}


def _beside(hands: Mapping[int, Sequence[Place]]) -> set[str]:
    """Hand percussion that both hands are too busy for somewhere: someone else plays it."""
    found: set[str] = set()
    for struck in hands.values():
        if len(struck) > 2:
            found |= {each.voice for each in struck if _rightness(each.voice) == _BETWEEN}
    return found
