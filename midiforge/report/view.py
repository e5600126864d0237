"""A review's strokes, sorted for looking at: by place in the bar and limb, and along the take."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import accumulate

from midiforge.frozen import frozen
from midiforge.hear.figures import Meeting, Tally, Timing, meetings, timing
from midiforge.hear.review import LIMBS, Judged, Review
from midiforge.model.counts import place_name
from midiforge.model.hit import Limb
from midiforge.model.spelling import together


@dataclass(slots=True)
class Lane:
    """The strokes of one limb at one place of the bar; of both hands where they strike one pad.

    offs: ms from where they were due, of strokes as written, in the order played; bars: the bar of
    each, from 1. missed, moved, pulled: the bars in which the stroke is.
    """

    count: str
    place: Fraction
    limbs: tuple[Limb, ...]
    offs: list[float] = field(default_factory=list)
    bars: list[int] = field(default_factory=list)
    missed: list[int] = field(default_factory=list)
    moved: list[int] = field(default_factory=list)
    pulled: list[int] = field(default_factory=list)

    @property
    def tally(self) -> Tally:
        hit, moved, pulled = len(self.offs), len(self.moved), len(self.pulled)
        return Tally(hit + moved + pulled + len(self.missed), hit, 0, moved, pulled)

    @property
    def title(self) -> str:
        """ "right hand", or "both hands"."""
        return self.limbs[0].title if len(self.limbs) == 1 else "both hands"

    @property
    def letters(self) -> str:
        return together(self.limbs)


@frozen
class Column:
    """Neighbouring bars of the take, from `first` to `last`.

    tempo: pulses a minute as played; None where the place was lost.
    """

    first: int
    last: int
    tally: Tally
    timing: Timing
    tempo: float | None


class View:
    """What a reader wants of a review, worked out once."""

    def __init__(self, review: Review) -> None:
        self.review = review

    @cached_property
    def lanes(self) -> tuple[Lane, ...]:
        """By place in the bar, hands before feet."""
        exercise = self.review.exercise
        # Numbers instead of fractions: a fraction takes long to hash, and there are many.
        found: dict[tuple[int, int, tuple[Limb, ...]], Lane] = {}
        for each in self.review.judged:
            due = each.due
            if due is None:
                continue
            limbs = tuple([hit.limb for hit in due.hits if hit.limb])
            key = due.place.numerator, due.place.denominator, limbs
            lane = found.get(key)
            if lane is None:
                name = place_name(exercise.meter, exercise.step, due.place)
                lane = found[key] = Lane(name, due.place, limbs)
            if each.kind == "hit":
                assert each.off_ms is not None
                lane.offs.append(each.off_ms)
                lane.bars.append(due.bar)
            else:
                getattr(lane, each.kind).append(due.bar)
        return tuple(
            sorted(found.values(), key=lambda lane: (lane.place, LIMBS.index(lane.limbs[0])))
        )

    def lanes_of(self, limb: Limb) -> list[Lane]:
        """A limb's lanes."""
        return [lane for lane in self.lanes if limb in lane.limbs]

    def count(self, place: Fraction) -> str:
        """What a player calls a place of the bar."""
        exercise = self.review.exercise
        return place_name(exercise.meter, exercise.step, place)

    @cached_property
    def offs(self) -> dict[Limb, list[float]]:
        """How far each stroke of a limb is from where it was due, in ms; hands first."""
        return {
            limb: [off for lane in self.lanes if limb in lane.limbs for off in lane.offs]
            for limb in LIMBS
            if any(limb in lane.limbs for lane in self.lanes)
        }

    @cached_property
    def uncertain(self) -> frozenset[Limb]:
        """Hands that MIDI does not tell apart."""
        return frozenset(each.limb for each in self.review.limbs if not each.certain)

    @cached_property
    def extras(self) -> tuple[Judged, ...]:
        return tuple(each for each in self.review.judged if each.kind == "extra")

    @cached_property
    def other_kinds(self) -> tuple[str, ...]:
        """Of what strokes are besides clean and wrong, that which there is."""
        kinds = ("moved", "pulled", "added")
        return tuple(kind for kind in kinds if getattr(self.review.tally, kind))

    @cached_property
    def has_dynamics(self) -> bool:
        """Whether the kit tells hard strokes from soft ones at all."""
        return self.review.has_dynamics

    def reach_ms(self) -> int:
        """How far to each side a picture must go to show nearly every stroke."""
        far = sorted(abs(off) for lane in self.lanes for off in lane.offs)
        if not far:
            return 40
        wanted = max(far[int(0.99 * (len(far) - 1))] * 1.1, 25)
        return next((each for each in (40, 60, 80, 100) if each >= wanted), 120)

    # The course

    def bar_starts(self, bars: int) -> list[float]:
        """When each of the first bars, and the one after them, begins, in s of the exercise."""
        exercise = self.review.exercise
        bar = exercise.meter.bar
        if exercise.tempo.is_steady:
            length = float(exercise.tempo.seconds(Fraction(0), bar))
            return [number * length for number in range(bars + 1)]
        lengths = [exercise.tempo.seconds(i * bar, (i + 1) * bar) for i in range(bars)]
        return [float(each) for each in accumulate(lengths, initial=Fraction(0))]

    def bars_of_besides(self) -> Iterator[int]:
        """The bar of each stroke that was played otherwise than written: moved, wrong or added."""
        starts = [self.review.line.at(due) for due in self.bar_starts(self.last_bar)]
        for each in self.review.judged:
            if each.kind in ("extra", "added", "moved") and each.time is not None:
                yield max(bisect_right(starts, each.time), 1)

    @cached_property
    def last_bar(self) -> int:
        return max((each.due.bar for each in self.review.judged if each.due), default=0)

    def columns(self, most: int) -> tuple[Column, ...]:
        """The take from bar to bar, in at most about `most` columns of as many bars each."""
        bars = self.last_bar
        if not bars:
            return ()
        size = -(-bars // most)
        turn = self.review.exercise.returns_after_bars
        if size > 1 and turn <= size:
            size = -(-size // turn) * turn
        many = -(-bars // size)
        offs: list[list[float]] = [[] for _ in range(many)]
        line = self.review.line
        starts = [line.at(due) for due in self.bar_starts(bars)]
        kinds: list[Counter[str]] = [Counter() for _ in range(many)]
        for each in self.review.judged:
            if each.due is not None:
                at = (each.due.bar - 1) // size
                if each.kind == "hit" and each.off_ms is not None:
                    offs[at].append(each.off_ms)
            else:
                assert each.time is not None
                bar = bisect_right(starts, each.time) - 1
                at = min(max(bar // size, 0), many - 1)
            kinds[at][each.kind] += 1
        return tuple(self._columns(size, starts, offs, kinds))

    def _columns(
        self,
        size: int,
        starts: Sequence[float],
        offs: Sequence[Sequence[float]],
        kinds: Sequence[Counter[str]],
    ) -> Iterator[Column]:
        meter = self.review.exercise.meter
        pulses = float(meter.bar / meter.pulse)
        jumps = {
            bisect_right(self.bar_starts(self.last_bar), at) - 1 for at, _ in self.review.line.jumps
        }
        for i, mine in enumerate(offs):
            first, last = i * size, min((i + 1) * size, len(starts) - 1)
            length = starts[last] - starts[first]
            lost = length <= 0 or any(first <= bar <= last for bar in jumps)
            yield Column(
                first + 1,
                last,
                Tally.of(kinds[i]),
                timing(mine, self.review.step_ms),
                None if lost else pulses * (last - first) * 60 / length,
            )

    @cached_property
    def silent_bars(self) -> tuple[int, ...]:
        """Bars in which everything is missing, between bars that were played."""
        played: set[int] = set()
        asked: set[int] = set()
        for each in self.review.judged:
            if each.due is not None:
                asked.add(each.due.bar)
                if each.time is not None:
                    played.add(each.due.bar)
        return tuple(sorted(asked - played))

    @cached_property
    def meetings(self) -> tuple[Meeting, ...]:
        """Limbs that should land together, all counts of a pair in one."""
        return meetings(self.review.together)

    @cached_property
    def extra_counts(self) -> tuple[str, ...]:
        """The counts about which most of the extra strokes lie, at most two."""
        some = sorted(self.review.counts, key=lambda each: -each.tally.extra)
        return tuple(each.count for each in some[:2] if each.tally.extra)
