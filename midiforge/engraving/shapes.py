"""What the engraving library drew, read back: signs, lines and areas, and whose they are."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from xml.etree import ElementTree

from midiforge.svg import short

LIBRARY_SPACE = 180  # the library's units to a staff space
SPACE = 10  # ours, in which all shapes are
SCALE = SPACE / LIBRARY_SPACE
GLYPH_SCALE = 4 * SPACE / 1000  # SMuFL: a thousand font units are four spaces
SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_TRANSFORM = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\) scale\(([\d.]+)")
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_OURS = re.compile(r"s\d+v\d+n\d+(g\d+)?")  # as `mei` names notes; the library names others
_USUAL_SIZE = 0.72  # how the library scales its signs
_SKIPPED = {"barLine", "placeholder", "grpSym", "mNum", "pageMilestone"}
_OF_TUPLETS = {"tupletNum", "tupletBracket"}
_NAMED = {"note", "chord", "rest", "mRest", "mRpt"}

Boxes = Mapping[str, tuple[float, float, float, float]]  # left, bottom, width, height of a sign


@dataclass(slots=True)
class Shapes:
    """What is drawn, in tenths of a staff space, from the staff's top line down.

    glyphs: (name, x, y, size); strokes: (width, path); fills: paths.
    """

    glyphs: list[tuple[str, float, float, float]] = field(default_factory=list)
    strokes: list[tuple[float, str]] = field(default_factory=list)
    fills: list[str] = field(default_factory=list)
    top: float = 0.0
    bottom: float = 0.0

    @property
    def signs(self) -> frozenset[str]:
        """The names of its glyphs."""
        return frozenset(name for name, *_ in self.glyphs)

    def reach(self, *heights: float) -> None:
        """Makes room from the highest to the lowest of some heights."""
        self.top = min(self.top, *heights)
        self.bottom = max(self.bottom, *heights)


class Mark(NamedTuple):
    """One thing that was drawn.

    name: of the note or grace note that it belongs to, as `mei` gave it; "" for beams and
        brackets.
    kind: "glyph" (a sign of `size`), "stroke" (a line of `size`), "fill" (an area) or "dot" (of
        radius `size`).
    tuplet: the identity of the tuplet whose bracket or number it is; else "".
    beam: the identity of the beam that it is, or under which it stands; else "".
    points: in tenths of a staff space, from the staff's top line down.
    """

    name: str
    kind: str
    points: tuple[tuple[float, float], ...]
    size: float = 1.0
    glyph: str = ""
    tuplet: str = ""
    beam: str = ""

    @property
    def note(self) -> str:
        """The note that it stands with: a grace note's is the one after it."""
        return self.name.partition("g")[0]

    def moved(self, right: float, down: float = 0.0) -> "Mark":
        """The mark elsewhere."""
        return self._replace(points=tuple((x + right, y + down) for x, y in self.points))

    def extent(self, boxes: Boxes) -> tuple[float, float, float, float]:
        """Its left, right, top and bottom."""
        xs, ys = [x for x, _ in self.points], [y for _, y in self.points]
        if self.kind == "glyph":
            scale = self.size * GLYPH_SCALE
            left, low, width, height = (scale * measure for measure in boxes[self.glyph])
            [(x, y)] = self.points
            return x + left, x + left + width, y - low - height, y - low
        edge = self.size if self.kind == "dot" else 0.0
        return min(xs) - edge, max(xs) + edge, min(ys) - edge, max(ys) + edge


def marks(staff: ElementTree.Element) -> Iterator[Mark]:
    """Everything on a staff but its lines."""
    top = float(_NUMBERS.findall(next(lines_of(staff)).get("d", ""))[1])
    for element in staff:
        if element.tag == f"{SVG}g":
            yield from _marks(element, top, "")


def lines_of(staff: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """The lines of a staff, from the top."""
    return (path for path in staff if path.tag == f"{SVG}path")


def _marks(
    element: ElementTree.Element, top: float, name: str, tuplet: str = "", beam: str = ""
) -> Iterator[Mark]:
    kinds = set(element.get("class", "").split())
    if kinds & _SKIPPED:
        return
    own = element.get("id", "")
    if kinds & _NAMED and _OURS.fullmatch(own):
        name = own
    if "graceGrp" in kinds:
        groups = (group for group in element.iter(f"{SVG}g") if group.get("class") == "note")
        name = next((group.get("id", "") for group in groups), name)
    inside = tuplet if kinds & _OF_TUPLETS else ""
    if "tuplet" in kinds:
        tuplet = own
    if "beam" in kinds:
        beam = own
    for child in element:
        if child.tag == f"{SVG}g":
            yield from _marks(child, top, name, tuplet, beam)
        else:
            drawn = _sign if child.tag == f"{SVG}use" else _drawn
            yield drawn(child, top, name)._replace(tuplet=inside, beam=beam)


def _sign(use: ElementTree.Element, top: float, name: str) -> Mark:
    glyph = use.get(_HREF, "")[1:].partition("-")[0]
    placed = _TRANSFORM.match(use.get("transform", ""))
    assert placed
    x, y, size = map(float, placed.groups())
    return Mark(name, "glyph", ((x * SCALE, (y - top) * SCALE),), size / _USUAL_SIZE, glyph)


def _drawn(element: ElementTree.Element, top: float, name: str) -> Mark:
    """A line, polygon or dot of the library's drawing."""
    kind = element.tag.removeprefix(SVG)
    if kind in ("path", "polyline"):
        points = _points(element.get("d") or element.get("points") or "", top)
        usual = "0" if kind == "path" else "13"
        return Mark(name, "stroke", points, float(element.get("stroke-width", usual)) * SCALE)
    if kind == "polygon":
        return Mark(name, "fill", _points(element.get("points", ""), top))
    if kind in ("ellipse", "circle"):
        x, y = float(element.get("cx", 0)) * SCALE, (float(element.get("cy", 0)) - top) * SCALE
        radius = float(element.get("rx") or element.get("r") or 0) * SCALE
        return Mark(name, "dot", ((x, y),), radius)
    if kind == "rect":
        x, y = float(element.get("x", 0)) * SCALE, (float(element.get("y", 0)) - top) * SCALE
        w, h = (float(element.get(side, 0)) * SCALE for side in ("width", "height"))
        return Mark(name, "fill", ((x, y), (x + w, y), (x + w, y + h), (x, y + h)))
    raise AssertionError(f"a shape of the engraving library is not known: {kind}")


def _points(text: str, top: float) -> tuple[tuple[float, float], ...]:
    numbers = [*map(float, _NUMBERS.findall(text))]
    return tuple(
        (x * SCALE, (y - top) * SCALE) for x, y in zip(numbers[::2], numbers[1::2], strict=True)
    )


def shapes_of(staff: Sequence[Mark], boxes: Boxes, lines: int) -> Shapes:
    """The marks on a staff of so many lines, ready to be drawn."""
    shapes = Shapes(bottom=(lines - 1) * SPACE)
    for mark in staff:
        shapes.reach(*mark.extent(boxes)[2:])
        (x, y), size = mark.points[0], mark.size
        if mark.kind == "glyph":
            shapes.glyphs.append((mark.glyph, x, y, size))
        elif mark.kind == "stroke":
            shapes.strokes.append((round(size, 2), _path(mark.points)))
        elif mark.kind == "fill":
            shapes.fills.append(_path(mark.points) + "z")
        else:
            r, across = short(size), short(2 * size)
            half = f"a{r} {r} 0 1 0"
            shapes.fills.append(
                f"M{short(x - size)} {short(y)}{half} {across} 0{half} -{across} 0z"
            )
    return shapes


def _path(points: Sequence[tuple[float, float]]) -> str:
    """A path through points."""
    return "M" + "L".join(f"{short(x)} {short(y)}" for x, y in points)
