"""Place and time in real playing, printed: `python tests/recordings_figures.py`.

Drills are made of the recordings' own bars by their click (`recorded`), so that where each begins
is known; takes are those recordings: whole, cut into, broken off, with something else before.
A take that is cut into, or whose drill is of its middle, goes on with bars that are like the drill
and not of it, and has the drill's own bars once, or a part of one. So it is printed besides how
often the bar line is right, and how many of the other answers nobody could tell to be wrong: those
by which the take, as long as it is looked at, is explained at least as well as by the truth; and
how many lie by the player's own time, who is not on the click: a take without one says no other.
No recordings beside the repository: it says so. `tests/recordings_figures.py 4` takes every fourth,
and `1 drummer5` one drummer's.
"""

import random
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from statistics import median
from typing import NamedTuple

from recorded import KIT, RECORDINGS, Recording, recordings

from midiforge.hear.asked import rule_of
from midiforge.hear.expected import Due, expected
from midiforge.hear.match import match
from midiforge.hear.opening import by_pad
from midiforge.hear.placing import hear_take
from midiforge.hear.review import review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise

BARS = (2, 4)
NEAR = 0.03  # seconds
LOOK = 90.0  # seconds of a take in which a start is looked for


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
                how = "a bar of it left or more" if length - cut >= one.bar else "less left"
                into = take_of(moved(left, -cut))
                yield Case(f"cut into, {how}", one, exercise, into, -cut, length)
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


def explained(case: Case, start: float) -> float:
    """How many strokes and dues meet if the drill comes round from `start`, as a share."""
    exercise, window = case.exercise, rule_of(case.exercise, KIT).window
    strokes = [
        stroke for stroke in hear_take(case.take, exercise, KIT).strokes if stroke.time < LOOK
    ]
    first, last = strokes[0].time - window, strokes[-1].time + window
    since = start - case.round * -(-(start - first) // case.round)  # a time round that is before
    due_at: dict[str, list[float]] = {}
    dues: list[Due] = expected(exercise, KIT, last - since)
    for due in dues:
        if first <= since + due.time <= last:
            due_at.setdefault(due.pad, []).append(since + due.time)
    met = sum(
        len(match(due_at.get(pad, []), [stroke.time for stroke in heard], window))
        for pad, heard in by_pad(strokes).items()
    )
    return 2 * met / (len(strokes) + sum(map(len, due_at.values())))


def own(case: Case) -> float:
    """How far the player himself lies from the click, in seconds, in the middle of what is due."""
    strokes = hear_take(case.take, case.exercise, KIT).strokes
    heard, off = by_pad(strokes), list[float]()
    due_at: dict[str, list[float]] = {}
    for due in expected(case.exercise, KIT, 2 * LOOK / 3):
        due_at.setdefault(due.pad, []).append(case.start + due.time)
    for pad, dues in due_at.items():
        times = [stroke.time for stroke in heard.get(pad, [])]
        pairs = match(dues, times, rule_of(case.exercise, KIT).window)
        off += [times[j] - dues[i] for i, j in pairs]
    return median(off) if off else 0.0


class Found(NamedTuple):
    """A start that was found. off: from the truth. as_like: whether it explains as much. own: how
    far the player himself lies from the click, by whose time a start is told without one."""

    off: float
    bar: float
    as_like: bool
    own: float

    @property
    def is_near(self) -> bool:
        return abs(self.off) <= NEAR

    @property
    def is_his_own(self) -> bool:
        return not self.is_near and abs(self.off - self.own) <= NEAR

    @property
    def is_on_a_bar(self) -> bool:
        return abs((self.off + self.bar / 2) % self.bar - self.bar / 2) <= NEAR


def main(every: int, drummer: str = "") -> None:
    told: dict[str, list[Found]] = {}
    lost: list[str] = []
    begun = time.process_time()
    for case in cases(every):
        if drummer not in case.recording.name:
            continue
        said = review(case.take, case.exercise, KIT)
        far = off(case, said.start)
        as_like = case.round > 0 and (
            explained(case, said.start) >= explained(case, said.start - far)
        )
        told.setdefault(case.what, []).append(Found(far, case.recording.bar, as_like, own(case)))
        # Where other playing comes first, a place that changes is no false loss.
        if said.line.jumps and "first" not in case.what:
            lost.append(f"{case.what}: {case.recording.name}")
    print(
        "start, of drills of a recording's first two bars or four, or of its middle: within 30 ms,"
    )
    print("on a bar line within 30 ms, within a bar; of those not near, not to be told")
    for what, some in told.items():
        near = sum(each.is_near for each in some) / len(some)
        on_a_bar = sum(each.is_on_a_bar for each in some) / len(some)
        inside = sum(abs(each.off) <= each.bar for each in some) / len(some)
        others = [each for each in some if not each.is_near]
        untold = sum(each.as_like for each in others)
        his = sum(each.is_his_own for each in others)
        print(
            f"  {what:35} {len(some):4} takes: {near:4.0%} {on_a_bar:4.0%} {inside:4.0%}"
            + (f"; {untold} of {len(others)}" if untold else "")
            + (f"; {his} of {len(others)} by his own time" if his else "")
        )
    print(f"false losses of the place: {len(lost)} {', '.join(lost)}")
    print(f"in {time.process_time() - begun:.0f} s")


if __name__ == "__main__":
    if not RECORDINGS.exists():
        print(f"not run: no recordings in {RECORDINGS}")
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1, *sys.argv[2:3])
