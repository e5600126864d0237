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

    @property
    def bars(self) -> str:
        """ "3", or "3-4"."""
        return f"{self.first}" if self.size == 1 else f"{self.first}-{self.last}"

    @property
    def size(self) -> int:
        """How many they are."""
        return self.last - self.first + 1


class View:
    """What a reader wants of a review, worked out once."""

    def __init__(self, review: Review) -> None:
        self.review = review
        self._counts: dict[tuple[int, int], str] = {}

    @cached_property
    def lanes(self) -> tuple[Lane, ...]:
        """By place in the bar, hands before feet."""
        # Numbers instead of fractions: a fraction takes long to hash, and there are many.
        lanes: dict[tuple[int, int, tuple[Limb, ...]], Lane] = {}
        for stroke in self.review.judged:
            due = stroke.due
            if due is None:
                continue
            limbs = tuple([hit.limb for hit in due.hits if hit.limb])
            key = due.place.numerator, due.place.denominator, limbs
            lane = lanes.get(key)
            if lane is None:
                lane = lanes[key] = Lane(self.count(due.place), due.place, limbs)
            if stroke.off_ms is not None and stroke.kind == "hit":
                lane.offs.append(stroke.off_ms)
                lane.bars.append(due.bar)
            else:
                getattr(lane, stroke.kind).append(due.bar)
        return tuple(
            sorted(lanes.values(), key=lambda lane: (lane.place, LIMBS.index(lane.limbs[0])))
        )

    def lanes_of(self, limb: Limb) -> list[Lane]:
        """A limb's lanes."""
        return [lane for lane in self.lanes if limb in lane.limbs]

    def count(self, place: Fraction) -> str:
        """What a player calls a place of the bar."""
        key = place.numerator, place.denominator  # which is hashed faster than a fraction
        if key not in self._counts:
            exercise = self.review.exercise
            self._counts[key] = place_name(exercise.meter, exercise.step, place)
        return self._counts[key]

    @cached_property
    def offs(self) -> dict[Limb, list[float]]:
        """How far each stroke of a limb is from where it was due, in ms; hands first."""
        lanes = {limb: self.lanes_of(limb) for limb in LIMBS}
        return {limb: [off for lane in lanes[limb] for off in lane.offs] for limb in self.limbs}

    @cached_property
    def limbs(self) -> tuple[Limb, ...]:
        """Those that the exercise asks for; hands first."""
        return tuple(limb for limb in LIMBS if self.lanes_of(limb))

    @cached_property
    def uncertain(self) -> frozenset[Limb]:
        """Hands that MIDI does not tell apart."""
        return frozenset(figures.limb for figures in self.review.limbs if not figures.certain)

    @cached_property
    def extras(self) -> tuple[Judged, ...]:
        return tuple(stroke for stroke in self.review.judged if stroke.kind == "extra")

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
        return next((reach for reach in (40, 60, 80, 100) if reach >= wanted), 120)

    # The course

    def bar_starts(self, bars: int) -> list[float]:
        """When each of the first bars, and the one after them, begins, in s of the exercise."""
        exercise = self.review.exercise
        bar = exercise.meter.bar
        if exercise.tempo.is_steady:
            length = float(exercise.tempo.seconds(Fraction(0), bar))
            return [number * length for number in range(bars + 1)]
        lengths = [exercise.tempo.seconds(i * bar, (i + 1) * bar) for i in range(bars)]
        return [*map(float, accumulate(lengths, initial=Fraction(0)))]

    @cached_property
    def starts(self) -> list[float]:
        """When each bar, and what follows the last, begins in the take by the player's time."""
        return [self.review.line.at(due) for due in self.bar_starts(self.last_bar)]

    def bars_of_besides(self) -> Iterator[int]:
        """The bar of each stroke that was played otherwise than written: moved, wrong or added."""
        for stroke in self.review.judged:
            if stroke.kind in ("extra", "added", "moved") and stroke.time is not None:
                yield max(bisect_right(self.starts, stroke.time), 1)

    @cached_property
    def last_bar(self) -> int:
        return max((stroke.due.bar for stroke in self.review.judged if stroke.due), default=0)

    def columns(self, most: int) -> tuple[Column, ...]:
        """The take from bar to bar, in at most about `most` columns of as many bars each."""
        bars = self.last_bar
        if not bars:
            return ()
        size = -(-bars // most)
        turn = self.review.exercise.returns_after_bars
        if size > 1 and turn <= size:
            size = -(-size // turn) * turn
        strokes: list[list[Judged]] = [[] for _ in range(0, bars, size)]
        for stroke in self.review.judged:
            if stroke.due is not None:
                bar = stroke.due.bar
            else:
                assert stroke.time is not None
                bar = min(max(bisect_right(self.starts, stroke.time), 1), bars)
            strokes[(bar - 1) // size].append(stroke)
        jumps = {bisect_right(self.bar_starts(bars), at) - 1 for at, _ in self.review.line.jumps}
        return tuple(
            self._column(first, min(first + size, bars), within, jumps)
            for first, within in zip(range(0, bars, size), strokes, strict=True)
        )

    def _column(self, first: int, end: int, strokes: Sequence[Judged], jumps: set[int]) -> Column:
        """The bars from one to another, both from 0. jumps: bars in which the place was lost."""
        review = self.review
        length = self.starts[end] - self.starts[first]
        lost = length <= 0 or any(first <= bar <= end for bar in jumps)
        pulses = float(review.exercise.meter.bar / review.exercise.meter.pulse) * (end - first)
        offs = [s.off_ms for s in strokes if s.kind == "hit" and s.off_ms is not None]
        return Column(
            first + 1,
            end,
            Tally.of(Counter(stroke.kind for stroke in strokes)),
            timing(offs, review.step_ms),
            None if lost else pulses * 60 / length,
        )

    @cached_property
    def silent_bars(self) -> tuple[int, ...]:
        """Bars in which everything is missing, between bars that were played."""
        asked = [(s.due.bar, s.time is not None) for s in self.review.judged if s.due]
        played = {bar for bar, is_played in asked if is_played}
        return tuple(sorted({bar for bar, _ in asked} - played))

    @cached_property
    def meetings(self) -> tuple[Meeting, ...]:
        """Limbs that should land together, all counts of a pair in one."""
        return meetings(self.review.together)

    @cached_property
    def extra_counts(self) -> tuple[str, ...]:
        """The counts about which most of the extra strokes lie, at most two."""
        worst = sorted(self.review.counts, key=lambda count: -count.tally.extra)[:2]
        return tuple(figures.count for figures in worst if figures.tally.extra)
