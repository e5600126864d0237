"""The courses of exercises as an SVG drawing, for a lesson's wall or a teacher's folder."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from midiforge.drill.drill import Practice
from midiforge.errors import shortened
from midiforge.hear.figures import steady_to
from midiforge.practice.course import USUAL, Course
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good
from midiforge.printable import many, printable
from midiforge.svg import INK, PAPER, Svg, element, on_paper

MOST = 60  # courses in one drawing

_WIDE, _LEFT, _END = 720, 64, 696
_TITLE, _TEMPO, _GAP, _STEADY, _FOOT = 30, 96, 18, 36, 34
_HIGH = _TITLE + _TEMPO + _GAP + _STEADY + _FOOT
_MARGIN = 12
_ROOM = 13  # of a line's figure
_LEGEND = 40  # two lines
_FONTS = "system-ui, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"
_SOFT, _LINE, _GOOD = "#5b626e", "#c9c3b4", "#1d6a75"
_STYLE = (
    f"text{{font:12px {_FONTS};fill:{_SOFT}}}.t{{font-weight:bold;fill:{INK}}}"
    f".l{{fill:none;stroke:{_GOOD};stroke-width:1.5}}.a{{stroke:{_LINE}}}"
    f".p{{stroke:{_GOOD};stroke-dasharray:1.5 3;stroke-width:2}}"
    f".s{{stroke:{_SOFT};stroke-dasharray:4 3}}.b{{fill:{_SOFT}}}"
    f".g{{fill:{_GOOD};stroke:{_GOOD};stroke-width:1.5}}"
    f".o{{fill:{PAPER};stroke:{_GOOD};stroke-width:1.5}}"
)


def svg(courses: Sequence[Course], settings: Practice = USUAL) -> str:
    """A panel for each course: tempo over the days, and below it how steady it was.

    Good takes are filled, others hollow; the dashed line is what counts as steady.
    """
    shown = courses[:MOST]
    high = 2 * _MARGIN + _HIGH * len(shown) + _LEGEND
    tops = (_MARGIN + number * _HIGH for number in range(len(shown)))
    panels = [
        line
        for course, top in zip(shown, tops, strict=True)
        for line in (*_title(course, top), *_chart(course, top + _TITLE, _END, settings))
    ]
    legend = _legend(high - _MARGIN - 22, settings)
    label = f"The course of {many(len(shown), 'exercise')}"
    return on_paper(
        *panels, *legend, style=_STYLE, width=_WIDE, height=high, role="img", aria_label=label
    )


def svg_of(
    course: Course, settings: Practice = USUAL, goal: float | None = None, wide: int = _WIDE
) -> str:
    """One course alone, for a page that says beside it what it is of and what the marks mean.

    goal: the tempo to come to, a dotted line. wide: how wide it is, in px.
    """
    chart = _chart(course, _MARGIN, wide - (_WIDE - _END), settings, goal)
    label = f"The course of {many(len(course.entries), 'take')}"
    high = 2 * _MARGIN + _HIGH - _TITLE
    return on_paper(*chart, style=_STYLE, width=wide, height=high, role="img", aria_label=label)


def _title(course: Course, top: float) -> Iterator[Svg]:
    yield _text(_MARGIN + 4, top + 18, shortened(course.title), "t")
    where = ", ".join(filter(None, (course.player, course.last.drill)))
    yield _text(_END, top + 18, shortened(where), anchor="end")


def _chart(
    course: Course, top: float, end: float, settings: Practice, goal: float | None = None
) -> Iterator[Svg]:
    """end: where it ends on the right."""
    entries = course.entries
    xs = _across(entries, end)
    tempos = [entry.tempo for entry in entries]
    low, high = min(*tempos, goal or tempos[0]), max(*tempos, goal or tempos[0])
    upper, lower = top + 8, top + _TEMPO

    def y(tempo: float) -> float:
        return lower - (lower - upper) * ((tempo - low) / (high - low) if high > low else 0.5)

    for tempo in _apart(dict.fromkeys((max(tempos), min(tempos))), y, goal):
        yield from _level(y(tempo), f"{tempo:g}", end)
    if goal:
        yield from _level(y(goal), f"goal {goal:g}", end, "p")
    if len(entries) > 1:
        points = " ".join(f"{x:.1f},{y(e.tempo):.1f}" for x, e in zip(xs, entries, strict=True))
        yield element("polyline", class_="l", points=points)
    for x, entry in zip(xs, entries, strict=True):
        kind = "g" if is_good(entry, settings) else "o"
        take = f"{entry.day.isoformat()}: {entry.tempo:g}, {entry.clean:.0%} clean"
        said = ", ".join((take, *steady_to(entry.deviation_percent)))
        yield _dot(kind, x, y(entry.tempo), element("title", said))
    yield from _unsteady(entries, xs, lower + _GAP, end, settings)
    foot = lower + _GAP + _STEADY + 16
    first, last = entries[0].day.isoformat(), entries[-1].day.isoformat()
    yield _text(_LEFT, foot, first)
    if last != first:
        yield _text(end, foot, last, anchor="end")


def _apart(
    tempos: Iterable[float], y: Callable[[float], float], goal: float | None
) -> Iterator[float]:
    """Tempos whose figures have room beside each other, and beside the goal's."""
    taken = [] if goal is None else [y(goal)]
    for tempo in tempos:
        if all(abs(y(tempo) - other) >= _ROOM for other in taken):
            taken.append(y(tempo))
            yield tempo


def _legend(y: float, settings: Practice) -> Iterator[Svg]:
    """What the marks mean; the thresholds are those of the settings."""
    yield _dot("g", _MARGIN + 10, y - 4)
    said = f"good: each limb {settings.clean:.0%} clean, steady to {settings.steady:g}% of a step"
    yield _text(_MARGIN + 20, y, said)
    yield _dot("o", _MARGIN + 370, y - 4)
    yield _text(_MARGIN + 380, y, "any other")
    said = "line: bpm; bars: steady to, in % of a grid step; dashed: what is wanted"
    yield _text(_MARGIN + 4, y + 18, said)


def _unsteady(
    entries: Sequence[Entry], xs: Sequence[float], top: float, end: float, settings: Practice
) -> Iterator[Svg]:
    """A bar for each take, as high as what it was steady to."""
    known = [e.deviation_percent for e in entries if e.deviation_percent is not None]
    base = top + _STEADY
    most = max([*known, settings.steady])
    yield from _level(base, "0", end)
    yield from _level(base - _STEADY * settings.steady / most, f"{settings.steady:g}%", end, "s")
    for x, entry in zip(xs, entries, strict=True):
        if entry.deviation_percent is not None:
            size = _STEADY * entry.deviation_percent / most
            yield element("rect", class_="b", x=x - 2, y=base - size, width=4, height=size)


def _across(entries: Sequence[Entry], end: float) -> list[float]:
    """Where each take stands: by time."""
    left, right = _LEFT + 8.0, end - 8.0
    first, last = entries[0].when, entries[-1].when
    length = (last - first).total_seconds()
    if not length:
        return [(left + right) / 2] * len(entries)
    return [left + (right - left) * (e.when - first).total_seconds() / length for e in entries]


def _level(y: float, said: str, end: float, kind: str = "a") -> Iterator[Svg]:
    """A line all across, and what it means."""
    yield element("line", class_=kind, x1=_LEFT, y1=y, x2=end, y2=y)
    yield _text(_LEFT - 8, y + 4, said, anchor="end")


def _text(x: float, y: float, text: str, kind: str = "", anchor: str = "start") -> Svg:
    return element("text", printable(text), x=x, y=y, class_=kind, text_anchor=anchor)


def _dot(kind: str, x: float, y: float, *title: Svg) -> Svg:
    return element("circle", *title, class_=kind, cx=x, cy=y, r=4)
