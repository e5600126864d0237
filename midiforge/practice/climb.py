"""How far a player has come with an exercise, take by take.

A tempo is proven by `takes` good takes in a row at it or faster, and stays proven: neither days
without practice nor a bad take alter that. The tempo to play at next is a step above what is
proven. Takes that are no good and get no better lower it by one step, and a take that is far off
by as many as its figures say; only who fails again where it was lowered to, or at a slower tempo,
goes down further. Up to what is proven one good take is enough for each step. A good take at a
slower tempo says nothing new.

How far off a take is: it goes down until as many clean strokes a second as came, or strokes as
uneven in ms, would not be far off; by `MOST_DOWN` steps at most, and not below the fastest tempo of
a good take. Half of the steps to where it came from are gone back with each good take. Whoever lost
the place goes down by one step: those figures are of the place.
After pain it begins again at the drill's slowest tempo.

What a teacher does; common practice, as are the figures here, where nothing else is said.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import takewhile
from statistics import fmean

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.practice.entry import Entry
from midiforge.practice.good import Lack
from midiforge.practice.steps import SAME_TEMPO, Steps

FAR_OFF_CLEAN = 0.10  # as much below `clean` is far off
FAR_OFF_STEADY = 2.0  # ... or as many times `steady`
# Slower helps where a limb is not in hand; it makes nobody keep time, play accents or find a pad.
HELPED_BY_SLOWER = {"strokes", "steady", "place", "together"}
# Takes without a faster tempo: so many are a plateau, or, while they get better, so many.
PLATEAU, LONG_PLATEAU = 6, 12
CHANGED_FOR = 2  # takes that one change at a plateau is given
MOST_DOWN = 3  # steps
RUSHED = 0.03  # as a share of the tempo asked, on average of a take; ours
_BETTER_STEADY, _BETTER_CLEAN = 0.95, 0.01  # of three takes beside the three before


@frozen
class Climb:
    """Where the takes of an exercise have led.

    proven: the fastest tempo that was good often enough; None for none yet.
    known: the fastest tempo of a good take, up to `level`; None for none yet.
    level: the tempo that is being worked at. now: the one to play at, slower than `level` after a
        slower take that was no good.
    row: how many of the last takes were good at `level` or faster.
    since: how many takes there were since `proven` rose.
    lowered: whether the last take lowered the level. missed: whether it was no good.
    better: whether the last takes are better than those before.
    """

    level: Fraction
    now: Fraction
    proven: Fraction | None = None
    known: Fraction | None = None
    row: int = 0
    since: int = 0
    lowered: bool = False
    missed: bool = False
    better: bool = False

    @property
    def changes(self) -> int | None:
        """How many changes were tried at this plateau; None where there is no plateau."""
        over = self.since - (LONG_PLATEAU if self.better else PLATEAU)
        return None if over < 0 else over // CHANGED_FOR


def is_far_off(entry: Entry, settings: Practice) -> bool:
    return _bearable(entry, settings) < 1


def _bearable(entry: Entry, settings: Practice) -> float:
    """At how much of its tempo a take would not be far off."""
    percent = entry.deviation_percent
    steady = FAR_OFF_STEADY * settings.steady / percent if percent else 1.0
    return min(1.0, entry.in_time / (settings.clean - FAR_OFF_CLEAN), steady)


def lower(
    tempo: Fraction,
    entry: Entry,
    steps: Steps,
    settings: Practice,
    good: Fraction | None = None,
) -> Fraction:
    """How far a tempo goes down after a take at it that is no good: a step, or more if it is far
    off. good: the fastest tempo at which it was good, if that is known."""
    bearable = 1.0 if entry.lost else _bearable(entry, settings)
    least = max(float(tempo) * bearable, float(good or 0))
    down = steps.slower(tempo)
    for _ in range(1, MOST_DOWN):
        further = steps.slower(down)
        if further < least:
            break
        down = further
    return down


def climb(
    takes: Sequence[Entry],
    lacking: Sequence[Sequence[Lack]],
    steps: Steps,
    settings: Practice,
    ramps: bool,
) -> Climb:
    """takes: that count, the oldest first; at least one. lacking: what each lacks to be good.
    ramps: whether the exercise has tempos of its own.
    """
    proven: Fraction | None = None
    tempos = [steps.goal if ramps else steps.meant(take) for take in takes]
    level, now, since, was_lowered, streak = tempos[0], tempos[0], 0, False, 0
    fallen = Fraction(0)  # from where it was lowered by more than one step
    run: list[Fraction] = []
    misses: list[Entry] = []
    goods: list[Fraction] = []
    for take, tempo, lacks in zip(takes, tempos, lacking, strict=True):
        # Whoever rushes a little was not asked for more by that.
        if take.asked and take.asked == level and abs(take.tempo / take.asked - 1) <= RUSHED:
            tempo = level
        since, was_lowered, now = since + 1, False, level
        if not lacks:
            goods.append(tempo)
            streak = 0
            if tempo > level or (tempo < level and (proven is None or tempo > proven)):
                level = tempo  # faster than was asked, or gone back to learn
            if tempo == level:
                misses = []
                run.append(tempo)
                if _row(run) >= settings.takes and (proven is None or tempo > proven):
                    proven, since = tempo, 0
                if _row(run) >= settings.takes or tempo < max(proven or 0, fallen):
                    level = (
                        steps.faster(tempo) if tempo >= fallen else _half_way(tempo, fallen, steps)
                    )
            else:
                since -= 1
            now = level
        else:
            run, streak = [], streak + 1
            now = min(tempo, level)
            helped = any(lack.what in HELPED_BY_SLOWER for lack in lacks)
            if helped and not ramps and tempo <= level:
                misses.append(take)
                if is_far_off(take, settings) or _no_better(misses, settings):
                    if tempo == level or streak > 1:
                        below = max((good for good in goods if good < tempo), default=None)
                        level = lower(tempo, take, steps, settings, below)
                        if tempo >= fallen:
                            fallen = tempo if level < steps.slower(tempo) else Fraction(0)
                        was_lowered, misses = True, []
                    now = min(now, level)
        if take.hurts and not ramps:
            level, run = min(level, steps.first), []
            now = level
    known = max((tempo for tempo in goods if tempo <= level), default=None)
    row = _row(run) if run and run[-1] >= level else 0
    better = _gets_better(takes)
    return Climb(level, now, proven, known, row, since, was_lowered, streak > 0, better)


def _half_way(tempo: Fraction, fallen: Fraction, steps: Steps) -> Fraction:
    """Half of the steps up from a tempo to that from which it was lowered."""
    way = [tempo]
    while way[-1] < fallen:
        way.append(min(steps.faster(way[-1]), fallen))
    return way[len(way) // 2]


def _row(run: Sequence[Fraction]) -> int:
    """How many of the last were as fast as the last or faster."""
    return sum(1 for _ in takewhile(lambda tempo: tempo >= run[-1], reversed(run)))


def _no_better(misses: Sequence[Entry], settings: Practice) -> bool:
    """Whether the last bad takes are enough to tell, and get no better."""
    enough = max(2, settings.takes)
    misses = misses[-enough:]
    first, last = misses[0], misses[-1]
    slowest = min(take.tempo for take in misses)
    if len(misses) < enough or slowest < last.tempo * (1 - SAME_TEMPO):
        return False
    percent = last.deviation_percent
    steadier = percent is not None and percent < (first.deviation_percent or 0.0)
    return last.in_time <= first.in_time and not steadier


def _gets_better(takes: Sequence[Entry]) -> bool:
    if len(takes) < PLATEAU:
        return False
    before, after = takes[-6:-3], takes[-3:]
    clean = fmean(take.clean for take in after) - fmean(take.clean for take in before)
    uneven = [
        [take.deviation_percent for take in three if take.deviation_percent is not None]
        for three in (before, after)
    ]
    steadier = all(uneven) and fmean(uneven[1]) < _BETTER_STEADY * fmean(uneven[0])
    return clean > _BETTER_CLEAN or steadier
