"""The pictures of a review as inline SVG, made to be stretched to the width there is.

No text is drawn: letters stand beside the pictures, at their own size on a desk and a telephone.
Lines keep their width and dots stay round however a picture is stretched (`vector-effect`).
"""

from collections.abc import Iterable, Sequence
from functools import partial
from itertools import groupby

from midiforge.hear.figures import Timing
from midiforge.report.view import Column, Lane
from midiforge.svg import NOTHING, Svg, element, inline, short, together

_STRIP, _HUMP, _PANEL = 22, 46, 72  # how high they are
_CELLS = 240  # dots nearer together than a strip's 240th part are one dot
_ROWS = 8
_BINS = 48
_n = partial(short, decimals=2)


def strip(lane: Lane, reach: float, last_bar: int, label: str) -> Svg:
    """Every stroke about one place of the bar: ahead to the left, the take from top to bottom.

    Strokes beyond `reach` ms are drawn at the edge; dots that would lie on each other are one.
    """
    cell = 2 * reach / _CELLS
    row = 2 * _ROWS / max(last_bar - 1, 1)
    dots = {
        (round(_within(off, reach) / cell), round((bar - 1) * row))
        for off, bar in zip(lane.offs, lane.bars, strict=True)
    }
    step = (_STRIP - 6) / (2 * _ROWS)
    drawn = "".join(f"M{_n(x * cell)} {_n(3 + y * step)}h0" for x, y in sorted(dots))
    parts = [_line("dots many" if len(dots) > 300 else "dots", drawn)]
    if lane.offs:
        mean = _within(sum(lane.offs) / len(lane.offs), reach)
        parts.append(_upright("mean", mean, 1, _STRIP - 1))
    return _stretched(reach, _STRIP, label, *parts)


def hump(
    offs: Sequence[float], timing: Timing, reach: float, professional: float | None, label: str
) -> Svg:
    """How a limb's strokes are spread; the mean, the spread about it, and the professionals'."""
    wide = 2 * reach / _BINS
    counted = [0] * _BINS
    for off in offs:
        counted[min(max(int((off + reach) / wide), 0), _BINS - 1)] += 1
    most = max(counted) or 1
    base = _HUMP - 6
    shape = [f"M{_n(-reach)} {base}"]
    for i, number in enumerate(counted):
        left, top = -reach + i * wide, base - number / most * (base - 3)
        shape.append(f"L{_n(left)} {_n(top)}H{_n(left + wide)}")
    shape.append(f"V{base}Z")
    parts = [_line("hump", "".join(shape))] if offs else []
    if timing.mean_ms is not None:
        if timing.deviation_ms is not None:
            ends = (timing.mean_ms + side * timing.deviation_ms for side in (-1, 1))
            low, high = (_n(_within(end, reach)) for end in ends)
            parts.append(_line("spread", f"M{low} {base + 3}H{high}"))
        parts.append(_upright("mean", _within(timing.mean_ms, reach), 0, _HUMP))
    if professional is not None:
        parts.append(_upright("pro", professional, 0, _HUMP))
    return _stretched(reach, _HUMP, label, *parts)


def _stretched(reach: float, height: int, label: str, *parts: Svg) -> Svg:
    guides = [
        _upright("guide" if side else "zero", side * reach, 0, height) for side in (-0.5, 0, 0.5)
    ]
    return _svg(f"{_n(-reach)} 0 {_n(2 * reach)} {height}", height, label, *guides, *parts)


def _svg(box: str, height: int, label: str, *parts: Svg) -> Svg:
    return inline(label, *parts, viewBox=box, height=height, preserveAspectRatio="none")


def _line(kind: str, path: str) -> Svg:
    return element("path", class_=kind, d=path) if path else NOTHING


def _upright(kind: str, x: float, top: float, bottom: float) -> Svg:
    return _line(kind, f"M{_n(x)} {_n(top)}V{_n(bottom)}")


def _within(value: float, reach: float) -> float:
    return max(-reach, min(reach, value))


# The course


def panel(columns: Sequence[Column], label: str, *parts: Svg) -> Svg:
    """A picture over the columns of the take, each one wide."""
    return _svg(f"0 0 {len(columns)} {_PANEL}", _PANEL, label, *parts)


def timing_course(columns: Sequence[Column], reach: float) -> tuple[Svg, Svg]:
    """The band of mean and deviation, and the mean; ahead is above."""

    def y(off: float) -> float:
        return _PANEL / 2 + _within(off, reach) / reach * _PANEL / 2

    bands, lines = [], []
    for run in _runs([column.timing.mean_ms for column in columns]):
        timings = [(i + 0.5, columns[i].timing) for i in run]
        upper, middle, lower = (
            [(x, y((of.mean_ms or 0.0) + side * (of.deviation_ms or 0.0))) for x, of in timings]
            for side in (-1, 0, 1)
        )
        bands.append(f"{_path([*upper, *reversed(lower)])}Z")
        lines.append(_path(middle))
    return _line("band", "".join(bands)), together((_zero(columns), _line("line", "".join(lines))))


def tempo_course(columns: Sequence[Column], asked: Sequence[float], low: float, high: float) -> Svg:
    """The tempo played, and the one asked for, dashed."""

    def y(tempo: float) -> float:
        share = (min(max(tempo, low), high) - low) / (high - low)
        return _PANEL - 4 - share * (_PANEL - 8)

    wanted = "".join(
        f"{'L' if i else 'M'}{i} {_n(y(tempo))}H{i + 1}" for i, tempo in enumerate(asked)
    )
    played = "".join(
        _path([(i + 0.5, y(columns[i].tempo or 0.0)) for i in run])
        for run in _runs([column.tempo for column in columns])
    )
    return together((_line("pro", wanted), _line("line", played)))


def mistakes_course(columns: Sequence[Column], most: int) -> Svg:
    """Missed strokes up from the middle, extra ones down from it."""
    middle = _PANEL / 2

    def bars(values: Iterable[int], sign: int) -> str:
        return "".join(
            f"M{i + 0.12:g} {_n(middle)}V{_n(middle - sign * value / most * (middle - 2))}"
            f"H{i + 0.88:g}V{_n(middle)}Z"
            for i, value in enumerate(values)
            if value
        )

    missed = bars((column.tally.missed for column in columns), 1)
    extra = bars((column.tally.extra for column in columns), -1)
    return together((_line("missed", missed), _line("extra", extra), _zero(columns)))


def _zero(columns: Sequence[Column]) -> Svg:
    return _line("zero", f"M0 {_n(_PANEL / 2)}H{len(columns)}")


def _runs(values: Sequence[float | None]) -> list[list[int]]:
    """Neighbouring columns that have a value, by index."""
    runs = groupby(range(len(values)), lambda i: values[i] is not None)
    return [[*run] for known, run in runs if known]


def _path(points: Sequence[tuple[float, float]]) -> str:
    """A line through points; a lone one is a short line."""
    if len(points) == 1:
        x, y = points[0]
        points = [(x - 0.4, y), (x + 0.4, y)]
    return "".join(f"{'L' if i else 'M'}{_n(x)} {_n(y)}" for i, (x, y) in enumerate(points))
