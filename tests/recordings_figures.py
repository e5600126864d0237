"""Place and time in real playing, printed: `python tests/recordings_figures.py`.

Drills are made of the recordings' own bars by their click (`recorded`), so that where each begins
is known; takes are those recordings: whole, cut into, broken off, with something else before.
No recordings beside the repository: it says so.
"""

import random
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from recorded import KIT, RECORDINGS, Recording, recordings

from midiforge.hear.review import review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise

BARS = (2, 4)
NEAR = 0.03  # seconds


class Case(NamedTuple):
    """A take, the exercise that it is of, and when the first downbeat is: in seconds of the take,
    give or take so many (0 for none), where a time round is like any other."""

    what: str
    recording: Recording
    exercise: Exercise
    take: Take
    start: float
    round: float = 0.0


def moved(strokes: tuple[Stroke, ...], by: float) -> tuple[Stroke, ...]:
    return tuple(replace(each, time=each.time + by) for each in strokes)


def take_of(strokes: tuple[Stroke, ...]) -> Take:
    return Take("take", strokes, strokes[-1].time + 1)


def noodling(chance: random.Random, seconds: float) -> tuple[Stroke, ...]:
    now, found = 0.5, []
    while now < seconds:
        now += chance.choice((0.1, 0.15, 0.2, 0.33, 0.5))
        note = chance.choice((38, 36, 42, 48, 45, 43, 51, 49))
        found.append(Stroke(now, now, note, chance.randint(20, 120)))
    return tuple(found)


def cases(every: int = 1) -> Iterator[Case]:
    """Of every so many-th recording."""
    chance, some = random.Random(11), recordings()
    for number, one in enumerate(some):
        if number % every:
            continue
        strokes = one.take.strokes
        for bars in BARS[number // every % 2 :: 2]:  # in turns
            exercise = one.exercise(0, bars) if one.bars > bars else None
            if exercise is None:
                continue
            length = bars * one.bar
            yield Case("whole", one, exercise, one.take, 0.0)
            end = chance.uniform(bars + 0.5, one.bars) * one.bar
            broken = tuple(each for each in strokes if each.time < end)
            yield Case("broken off", one, exercise, take_of(broken), 0.0)
            if one.bars >= 2 * bars + 2:
                cut = chance.uniform(0.3, length)
                left = tuple(each for each in strokes if each.time >= cut)
                yield Case("cut into", one, exercise, take_of(moved(left, -cut)), -cut, length)
            other = some[(number * 7 + bars * 13 + 5) % len(some)].take.strokes
            before = tuple(each for each in other if each.time < chance.choice((4, 10, 25)))
            at = before[-1].time + chance.uniform(0.3, 2.5)
            both = take_of((*before, *moved(strokes, at)))
            yield Case("other playing first", one, exercise, both, at)
            before = noodling(chance, chance.choice((6, 15, 30)))
            at = before[-1].time + 1 + 4 * one.quarter
            sticks = tuple(Stroke(at - i * one.quarter, 0, 37, 90) for i in (4, 3, 2, 1))
            both = take_of((*before, *sticks, *moved(strokes, at)))
            yield Case("noodling and a count-in first", one, exercise, both, at)
            middle = one.bars // 2
            own = one.exercise(middle, bars) if one.bars >= bars + 6 else None
            if own:
                yield Case("drill of its middle", one, own, one.take, middle * one.bar, length)


def off(case: Case, start: float) -> float:
    """How far a start is from the click's, in seconds."""
    far = start - case.start
    return (far + case.round / 2) % case.round - case.round / 2 if case.round else far


def main(every: int) -> None:
    found: dict[str, list[tuple[float, float]]] = {}
    lost: list[str] = []
    begun = time.process_time()
    for case in cases(every):
        told = review(case.take, case.exercise, KIT)
        found.setdefault(case.what, []).append((off(case, told.start), case.recording.bar))
        # Where other playing comes first, a place that changes is no false loss.
        if told.line.jumps and "first" not in case.what:
            lost.append(f"{case.what}: {case.recording.name}")
    print("start, of drills of a recording's first two bars or four, or of its middle")
    for what, offs in found.items():
        near = sum(abs(far) <= NEAR for far, _ in offs) / len(offs)
        inside = sum(abs(far) <= bar for far, bar in offs) / len(offs)
        print(
            f"  {what:30} {len(offs):4} takes: within 30 ms {near:4.0%}, within a bar {inside:4.0%}"
        )
    print(f"false losses of the place: {len(lost)} {', '.join(lost)}")
    print(f"in {time.process_time() - begun:.0f} s")


if __name__ == "__main__":
    if not RECORDINGS.exists():
        print(f"not run: no recordings in {RECORDINGS}")
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
