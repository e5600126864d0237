"""Takes made up from exercises, with known delay, unevenness, drift and mistakes."""

import random
from collections.abc import Mapping
from dataclasses import dataclass

from midiforge.hear.expected import expected
from midiforge.hear.take import Stroke, Take
from midiforge.kits.kit import Kit, read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb

KIT = read_kit("general-midi-1")
LEVELS = {"accent": 110, "tap": 75, "ghost": 35}


@dataclass
class Truth:
    """What was done to a take."""

    strokes: int = 0
    missed: int = 0
    extra: int = 0
    doubles: int = 0


def synthetic(
    exercise: Exercise,
    seed: int = 1,
    seconds: float = 30.0,
    start: float = 3.0,
    jitter: float = 0.008,
    drift: float = 0.0,
    miss: float = 0.0,
    extra: float = 0.0,
    double: float = 0.0,
    limbs: Mapping[Limb, float] | None = None,
    stretch: float = 1.0,
    silent_bars: range = range(0),
    kit: Kit = KIT,
    levels: Mapping[str, int] = LEVELS,
) -> tuple[Take, Truth]:
    """A take of an exercise and what was done to it.

    start: of the first downbeat in s, delay included. jitter: standard deviation in s.
    drift: seconds a second that the tempo changes. miss, extra, double: chances.
    limbs: how much later, in s, a limb plays. stretch: s of the take to a s of the exercise.
    """
    chance = random.Random(seed)
    strokes: list[Stroke] = []
    truth = Truth()

    def strike(time: float, number: int, velocity: float) -> None:
        strokes.append(Stroke(time, time, number, max(1, min(127, round(velocity)))))

    for due in expected(exercise, kit, seconds):
        if due.time > seconds:
            break
        truth.strokes += 1
        if chance.random() < miss or due.bar in silent_bars:
            truth.missed += 1
            continue
        limb = due.hit.limb
        time = start + due.time * stretch + drift * due.time**2 / 2 + chance.gauss(0, jitter)
        time += (limbs or {}).get(limb, 0.0) if limb else 0.0
        number = kit.note(due.hit.voice)
        velocity = levels[due.hit.strength] + chance.randint(-5, 5)
        strike(time, number, velocity)
        if chance.random() < double:
            truth.doubles += 1
            strike(time + 0.018, number, 0.5 * velocity)
        if chance.random() < extra:
            truth.extra += 1
            strike(time + chance.uniform(0.05, 0.2), kit.note("crash"), 90)
    strokes.sort(key=lambda stroke: stroke.time)
    return Take("take.mid", tuple(strokes), strokes[-1].time + 1), truth
