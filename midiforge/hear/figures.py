"""The figures of a review, and the statistics they are made of.

Times are in milliseconds, below 0 ahead, above 0 behind. Deviations are those of a sample
(n - 1), as `scipy.stats.tstd` and `numpy.std(ddof=1)` have them; a robust slope is Theil's and
Sen's (the median of the slopes of all pairs), as `scipy.stats.theilslopes` has it.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from itertools import combinations
from math import fsum, sqrt
from statistics import median

from midiforge.frozen import frozen
from midiforge.model.hit import Limb, OrnamentKind


def mean(values: Sequence[float]) -> float | None:
    """The mean; None of nothing."""
    return fsum(values) / len(values) if values else None


def deviation(values: Sequence[float]) -> float | None:
    """The standard deviation of a sample; None of fewer than two values."""
    if len(values) < 2:
        return None
    middle = fsum(values) / len(values)
    return sqrt(fsum([(value - middle) ** 2 for value in values]) / (len(values) - 1))


def slope(points: Sequence[tuple[float, float]], most: int = 120) -> float | None:
    """The robust slope of y over x; of more than `most` points, of medians of neighbours."""
    if len(points) > most:
        size = -(-len(points) // most)
        points = [
            (median(x for x, _ in some), median(y for _, y in some))
            for some in (points[i : i + size] for i in range(0, len(points), size))
        ]
    slopes = [(d - b) / (c - a) for (a, b), (c, d) in combinations(points, 2) if c != a]
    return median(slopes) if slopes else None


def overlap(low: Sequence[float], high: Sequence[float]) -> float | None:
    """How often one of `low` reaches or passes one of `high`, 0 to 1, ties counted half.

    0 where the two are wholly apart, about 0.5 where they are alike: Mann's and Whitney's U over
    the number of pairs.
    """
    if not low or not high:
        return None
    ordered = sorted(high)
    below = sum((bisect_left(ordered, value) + bisect_right(ordered, value)) / 2 for value in low)
    return below / (len(low) * len(high))


@frozen
class Timing:
    """How strokes lie about where they are due.

    mean_ms: below 0 ahead of the player's own time, above 0 behind; None of no stroke.
    deviation_ms: how unsteady; None of fewer than two strokes. deviation_percent: of a grid step.
    """

    strokes: int
    mean_ms: float | None
    deviation_ms: float | None
    deviation_percent: float | None


def timing(offs: Sequence[float], step_ms: float) -> Timing:
    """The timing of strokes that lie `offs` milliseconds from where they are due."""
    spread = deviation(offs)
    percent = None if spread is None or not step_ms else 100 * spread / step_ms
    return Timing(len(offs), mean(offs), spread, percent)


def of_step(percent: float | None) -> str:
    """A deviation in per cent of a grid step, as every output says it: "6.3%"; a dash of none."""
    return "-" if percent is None else f"{percent:.1f}%"


def steady_to(percent: float | None) -> list[str]:
    """["steady to 6.3% of a step"]; nothing where that is not known."""
    return [] if percent is None else [f"steady to {of_step(percent)} of a step"]


def begun_at(thirds: tuple[float, float]) -> float:
    """The tempo at the very beginning, of somebody who gets evenly faster or slower: thirds: that
    of the first third and of the last, each as it is in its middle."""
    first, last = thirds
    return first - (last - first) / 4


@frozen
class Tally:
    """How many strokes were expected, and what became of them.

    hit: as written. moved: in time, on another pad. pulled: on its pad, a place early or late.
    extra, added: not expected, and wrong, or music all the same.
    """

    expected: int
    hit: int
    extra: int = 0
    moved: int = 0
    pulled: int = 0
    added: int = 0

    @classmethod
    def of(cls, kinds: Mapping[str, int]) -> "Tally":
        """What became of strokes, of how many of each of the kinds that `Judged` has."""
        hit, moved, pulled, missed = (
            kinds.get(kind, 0) for kind in ("hit", "moved", "pulled", "missed")
        )
        expected = hit + moved + pulled + missed
        return cls(expected, hit, kinds.get("extra", 0), moved, pulled, kinds.get("added", 0))

    @property
    def missed(self) -> int:
        return self.expected - self.hit - self.moved - self.pulled

    @property
    def clean(self) -> float:
        """The share of what was expected or played besides that was right, 0 to 1."""
        total = self.expected + self.extra
        return self.hit / total if total else 1.0


@frozen
class Levels:
    """Velocities by how hard a stroke was meant; None where none was.

    ratio: of accents to taps. overlap: how often a tap is as loud as an accent, 0 to 1.
    times: how many accents, taps and ghost notes there were.
    """

    accent: float | None
    tap: float | None
    ghost: float | None
    ratio: float | None
    overlap: float | None
    times: tuple[int, int, int] = (0, 0, 0)

    @property
    def ghost_ratio(self) -> float | None:
        """Of ghost notes to the taps, or where there are none to the accents."""
        louder = self.tap or self.accent
        return self.ghost / louder if self.ghost and louder else None


@frozen
class LoudnessFigures:
    """How hard strokes on one voice are: pads and zones are set to different levels, so that what
    is accented stands out from what else is struck there.

    voice: "" for all. limb: whose; None for all who do.
    """

    voice: str
    limb: Limb | None
    levels: Levels


@frozen
class LimbFigures:
    """One limb's strokes. certain: whether MIDI tells it from the other hand."""

    limb: Limb
    tally: Tally
    timing: Timing
    levels: Levels
    certain: bool


@frozen
class CountFigures:
    """One count of the bar, all limbs together; `worst` the limb that missed most there."""

    count: str
    tally: Tally
    timing: Timing
    worst: Limb | None


@frozen
class RoundFigures:
    """One time round, from 1 (0 is a late entry); tempo in pulses a minute, as played."""

    number: int
    tally: Tally
    timing: Timing
    tempo: float


@frozen
class TogetherFigures:
    """Two limbs that should land together: how long after the first-named the other comes."""

    limbs: tuple[Limb, Limb]
    count: str
    times: int
    gap_ms: float
    deviation_ms: float | None


@frozen
class Meeting:
    """Two limbs that land together on several counts.

    gap_ms: how long after the first-named the other comes, on average; deviation_ms about it,
    counts taken each by itself.
    """

    limbs: tuple[Limb, Limb]
    counts: tuple[str, ...]
    times: int
    gap_ms: float
    deviation_ms: float


def meetings(found: Sequence[TogetherFigures]) -> tuple[Meeting, ...]:
    """Limbs that should land together, all counts of a pair in one."""
    made = []
    for pair in dict.fromkeys(each.limbs for each in found):
        some = [each for each in found if each.limbs == pair]
        times = sum(each.times for each in some)
        middle = sum(each.times * each.gap_ms for each in some) / times
        spread = sum(each.times * (each.deviation_ms or 0.0) ** 2 for each in some) / times
        made.append(Meeting(pair, tuple(each.count for each in some), times, middle, spread**0.5))
    return tuple(made)


@frozen
class DoubleFigures:
    """The double strokes of a hand: the second against the first.

    late_ms: how much later than even it comes. softer: its velocity over the first's.
    """

    limb: Limb
    times: int
    late_ms: float
    deviation_ms: float | None
    softer: float


@frozen
class GraceFigures:
    """The flams, drags or ruffs of a take: strokes that are there, with their grace notes or not.

    heard: how many have one. gap_ms: how long before its stroke the last grace note comes, in the
    middle; None where none was heard.
    """

    kind: OrnamentKind
    times: int
    heard: int
    gap_ms: float | None


@frozen
class TempoFigures:
    """The strokes at one tempo of an exercise that gets faster; pulses a minute."""

    tempo: float
    tally: Tally
    timing: Timing
