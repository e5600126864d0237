"""The pictures of a review as inline SVG, made to be stretched to the width there is.

No text is drawn: letters stand beside the pictures, at their own size on a desk and a telephone.
Lines keep their width and dots stay round however a picture is stretched (`vector-effect`).
"""

from collections.abc import Iterable, Sequence
from functools import partial

from midiforge.hear.figures import Timing
from midiforge.report.view import Column, Lane
from midiforge.svg import NOTHING, Svg, element, short, together

STRIP_HEIGHT, HUMP_HEIGHT, PANEL_HEIGHT = 22, 46, 72
_CELLS = 240  # dots nearer together than a strip's 240th part are one dot
_ROWS = 8
_BINS = 48
_n = partial(short, decimals=2)


def strip(lane: Lane, reach: float, last_bar: int, label: str) -> Svg:
    """Every stroke about one place of the bar: ahead to the left, the take from top to bottom.

    Strokes beyond `reach` ms are drawn at the edge; dots that would lie on each other are one.
    """
    cell = 2 * reach / _CELLS
    dots = {
        (
            round(max(-reach, min(reach, off)) / cell),
            round((bar - 1) / max(last_bar - 1, 1) * (2 * _ROWS)),
        )
        for off, bar in zip(lane.offs, lane.bars, strict=True)
    }
    step = (STRIP_HEIGHT - 6) / (2 * _ROWS)
    drawn = "".join(f"M{_n(x * cell)} {_n(3 + y * step)}h0" for x, y in sorted(dots))
    middle = sum(lane.offs) / len(lane.offs) if lane.offs else None
    kind = "dots many" if len(dots) > 300 else "dots"
    mean = _upright("mean", _inside(middle, reach), 1, STRIP_HEIGHT - 1)
    return _stretched(reach, STRIP_HEIGHT, label, _line(kind, drawn), mean)


def hump(
    offs: Sequence[float], timing: Timing, reach: float, professional: float | None, label: str
) -> Svg:
    """How a limb's strokes are spread; the mean, the spread about it, and the professionals'."""
    wide = 2 * reach / _BINS
    counted = [0] * _BINS
    for off in offs:
        counted[min(max(int((off + reach) / wide), 0), _BINS - 1)] += 1
    most = max(counted) or 1
    base = HUMP_HEIGHT - 6
    shape = [f"M{_n(-reach)} {base}"]
    for i, number in enumerate(counted):
        left, top = -reach + i * wide, base - number / most * (base - 3)
        shape.append(f"L{_n(left)} {_n(top)}H{_n(left + wide)}")
    shape.append(f"V{base}Z")
    parts = [_line("hump", "".join(shape))] if offs else []
    mean, spread = timing.mean_ms, timing.deviation_ms
    if mean is not None and spread is not None:
        low, high = (_n(max(-reach, min(reach, mean + side * spread))) for side in (-1, 1))
        parts.append(_line("spread", f"M{low} {base + 3}H{high}"))
    parts.append(_upright("mean", _inside(mean, reach), 0, HUMP_HEIGHT))
    parts.append(_upright("pro", professional, 0, HUMP_HEIGHT))
    return _stretched(reach, HUMP_HEIGHT, label, *parts)


def _stretched(reach: float, height: int, label: str, *parts: Svg) -> Svg:
    guides = (
        _upright("zero" if not side else "guide", side * reach, 0, height)
        for side in (-0.5, 0, 0.5)
    )
    return _svg(f"{_n(-reach)} 0 {_n(2 * reach)} {height}", height, label, *guides, *parts)


def _svg(box: str, height: int, label: str, *parts: Svg) -> Svg:
    return element(
        "svg",
        *parts,
        viewBox=box,
        height=height,
        preserveAspectRatio="none",
        role="img",
        aria_label=label,
    )


def _line(kind: str, path: str) -> Svg:
    return element("path", class_=kind, d=path) if path else NOTHING


def _upright(kind: str, x: float | None, top: float, bottom: float) -> Svg:
    return NOTHING if x is None else _line(kind, f"M{_n(x)} {_n(top)}V{_n(bottom)}")


def _inside(value: float | None, reach: float) -> float | None:
    return None if value is None else max(-reach, min(reach, value))


# The course


def panel(columns: Sequence[Column], label: str, *parts: Svg) -> Svg:
    """A picture over the columns of the take, each one wide."""
    return _svg(f"0 0 {len(columns)} {PANEL_HEIGHT}", PANEL_HEIGHT, label, *parts)


def timing_course(columns: Sequence[Column], reach: float) -> tuple[Svg, Svg]:
    """The band of mean and deviation, and the mean; ahead is above."""

    def y(off: float) -> float:
        return PANEL_HEIGHT / 2 + max(-reach, min(reach, off)) / reach * PANEL_HEIGHT / 2

    bands, lines = [], []
    for run in _runs([column.timing.mean_ms for column in columns]):
        means = [(i + 0.5, columns[i].timing.mean_ms or 0.0) for i in run]
        spreads = [columns[i].timing.deviation_ms or 0.0 for i in run]
        upper = [(x, y(mean - wide)) for (x, mean), wide in zip(means, spreads, strict=True)]
        lower = [(x, y(mean + wide)) for (x, mean), wide in zip(means, spreads, strict=True)]
        bands.append(f"{_path([*upper, *reversed(lower)])}Z")
        lines.append(_path([(x, y(mean)) for x, mean in means]))
    return _line("band", "".join(bands)), together((_zero(columns), _line("line", "".join(lines))))


def tempo_course(columns: Sequence[Column], asked: Sequence[float], low: float, high: float) -> Svg:
    """The tempo played, and the one asked for, dashed."""

    def y(tempo: float) -> float:
        share = (min(max(tempo, low), high) - low) / (high - low)
        return PANEL_HEIGHT - 4 - share * (PANEL_HEIGHT - 8)

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
    middle = PANEL_HEIGHT / 2

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
    return _line("zero", f"M0 {_n(PANEL_HEIGHT / 2)}H{len(columns)}")


def _runs(values: Sequence[float | None]) -> list[list[int]]:
    """Neighbouring columns that have a value, by index."""
    runs: list[list[int]] = [[]]
    for i, value in enumerate(values):
        if value is None:
            runs.append([])
        else:
            runs[-1].append(i)
    return [run for run in runs if run]


def _path(points: Sequence[tuple[float, float]]) -> str:
    """A line through points; a lone one is a short line."""
    if len(points) == 1:
        x, y = points[0]
        points = [(x - 0.4, y), (x + 0.4, y)]
    return "".join(f"{'L' if i else 'M'}{_n(x)} {_n(y)}" for i, (x, y) in enumerate(points))
