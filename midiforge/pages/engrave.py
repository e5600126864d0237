"""Engraved notes, as plain shapes with every note's place.

The engraving is verovio's (https://www.verovio.org, an open-source library): spacing, beams,
stems, rests, tuplets, in the glyphs of the font Bravura (SIL Open Font License). Its SVG is read
back here into few shapes, because a booklet in one file has to stay small, and because the
letters under the notes and the player's cursor need to know where each note stands.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from midiforge.errors import MidiforgeError
from midiforge.model.meter import Meter
from midiforge.notation.score import Voice
from midiforge.pages import mei
from midiforge.pages.numbers import short

_FONT = "Bravura"
_LIBRARY_SPACE = 180  # the library's units to a staff space
SPACE = 10  # ours, in which all shapes are
_SCALE = SPACE / _LIBRARY_SPACE
_GLYPH_SCALE = 4 * SPACE / 1000  # SMuFL: a thousand font units are four spaces
_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_TRANSFORM = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\) scale\(([\d.]+)")
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_CLOSEST = 22.6  # tenths of a space between notes that do not touch, parentheses and all
_QUARTER = 1422.0  # the library's distance of two quarter notes at a spacing factor of 1, measured
_SQUARE = "E0B9"
_TRIANGLE = "M0 -125l313 250v-250z"  # right-angled: it meets a stem up and a stem down
_SKIPPED = {"barLine", "placeholder", "grpSym", "mNum", "pageMilestone"}


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

    def reach(self, *heights: float) -> None:
        """Makes room from the highest to the lowest of some heights."""
        self.top = min(self.top, *heights)
        self.bottom = max(self.bottom, *heights)


@dataclass(slots=True)
class Engraved:
    """The engraved beats of a bar.

    staves: from the top.
    places: the middle of each note, rest and grace note, by the name `mei` gave it.
    """

    width: float
    staves: list[Shapes]
    places: dict[str, float]


class Engraver:
    """Engraves bars; the same bar only once."""

    def __init__(self) -> None:
        try:
            import verovio
        except ImportError:
            raise MidiforgeError(
                "pages need the package verovio", hint='pip install "midiforge[pages]"'
            ) from None
        verovio.enableLog(verovio.LOG_OFF)
        self._library: Any = verovio.toolkit()
        self._resources = Path(self._library.getResourcePath())
        self._library.setOptions(
            {
                "adjustPageHeight": True,
                "beamMaxSlope": 0,
                "breaks": "encoded",
                "font": _FONT,
                "footer": "none",
                "header": "none",
                "justifyVertically": False,
                "minLastJustification": 0,
                "pageHeight": 60000,
                "pageMarginBottom": 0,
                "pageMarginLeft": 0,
                "pageMarginRight": 0,
                "pageMarginTop": 0,
                "scale": 100,
                "spacingNonLinear": 1.0,
                "svgRemoveXlink": False,
                "xmlIdSeed": 1,
            }
        )
        self._known: dict[tuple[str, float, float], Engraved] = {}
        self.glyphs: dict[str, str] = {}

    def bar(
        self,
        meter: Meter,
        step: Fraction,
        staves: Sequence[Sequence[Voice]],
        span: mei.Span,
        width: float,
        simile: bool = False,
    ) -> Engraved:
        """Some beats of a bar, `width` tenths of a staff space wide; see `mei.mei`."""
        spacing = 0.0 if simile else _spacing(step, staves)
        return self._engraved(mei.mei(meter, step, staves, span, simile), width, spacing)

    def head(self, meter: Meter) -> Engraved:
        """A percussion clef and a time signature; the place of "s1v0n0" is where they end."""
        return self._engraved(mei.head(meter), 40 * SPACE, 0.0)

    def _engraved(self, document: str, width: float, spacing: float) -> Engraved:
        key = document, width, spacing
        if key not in self._known:
            self._known[key] = self._engrave(document, width, spacing)
        return self._known[key]

    def _engrave(self, document: str, width: float, spacing: float) -> Engraved:
        self._library.setOptions(
            {"pageWidth": round(width * 18 / SPACE), "spacingLinear": round(spacing, 3)}
        )
        if not self._library.loadData(document):
            raise AssertionError(f"the engraving library refused {document}")
        drawing = ElementTree.fromstring(self._library.renderToSVG(1))
        self._remember_glyphs(drawing)
        found = Engraved(width, [], {})
        for staff in drawing.iter(f"{_SVG}g"):
            if staff.get("class") == "staff":
                self._read_staff(staff, found)
        return found

    def _remember_glyphs(self, drawing: ElementTree.Element) -> None:
        for group in drawing.iterfind(f"{_SVG}defs/{_SVG}g"):
            name = group.get("id", "").partition("-")[0]
            path = group.find(f"{_SVG}path")
            if path is not None and name not in self.glyphs:
                self.glyphs[name] = _TRIANGLE if name == _SQUARE else path.get("d", "")

    def _read_staff(self, staff: ElementTree.Element, found: Engraved) -> None:
        lines = [path for path in staff if path.tag == f"{_SVG}path"]
        top = float(_NUMBERS.findall(lines[0].get("d", ""))[1])
        shapes = Shapes(bottom=(len(lines) - 1) * SPACE)
        for element in staff:
            if element.tag == f"{_SVG}g":
                self._read(element, top, shapes, found.places, "")
        found.staves.append(shapes)

    def _read(
        self,
        element: ElementTree.Element,
        top: float,
        shapes: Shapes,
        places: dict[str, float],
        name: str,
    ) -> None:
        kinds = element.get("class", "").split()
        if _SKIPPED.intersection(kinds):
            return
        identity = element.get("id", "")
        if kinds and kinds[0] in ("note", "chord", "rest", "mRest", "mRpt") and ":" not in identity:
            name = identity if identity.startswith("s") and "v" in identity else name
        for child in element:
            if child.tag == f"{_SVG}g":
                self._read(child, top, shapes, places, name)
            elif child.tag == f"{_SVG}use":
                glyph, x, _, size = self._glyph(child, top, shapes)
                if name and name not in places:
                    places[name] = x + size * _GLYPH_SCALE * self._boxes[glyph][2] / 2
            else:
                _shape(child, top, shapes)

    def _glyph(
        self, use: ElementTree.Element, top: float, shapes: Shapes
    ) -> tuple[str, float, float, float]:
        name = use.get(_HREF, "")[1:].partition("-")[0]
        found = _TRANSFORM.match(use.get("transform", ""))
        assert found
        x, y = float(found[1]) * _SCALE, (float(found[2]) - top) * _SCALE
        size = float(found[3]) / 0.72
        _, low, _, high = self._boxes[name]
        shapes.reach(y - size * _GLYPH_SCALE * (low + high), y - size * _GLYPH_SCALE * low)
        shapes.glyphs.append((name, x, y, size))
        return name, x, y, size

    @cached_property
    def _boxes(self) -> Mapping[str, tuple[float, float, float, float]]:
        """Each glyph's left, bottom, width and height, in thousandths of an em."""
        text = (self._resources / f"{_FONT}.xml").read_text(encoding="utf-8")
        found = re.findall(
            r'c="(\w+)" x="(-?[\d.]+)" y="(-?[\d.]+)" w="([\d.]+)" h="([\d.]+)"', text
        )
        return {name: tuple(map(float, box)) for name, *box in found}  # type: ignore[misc]


def _spacing(step: Fraction, staves: Sequence[Sequence[Voice]]) -> float:
    """The library's spacing factor that sets the closest two strokes just apart.

    It then only ever stretches a bar to its width, evenly, but for what grace notes need.
    """
    times = sorted({note.start for voices in staves for voice in voices for note in voice.notes})
    closest = min((later - earlier for earlier, later in pairwise(times)), default=step)
    return min(_CLOSEST / (_QUARTER * float(min(closest, step))), 1.0)


def _shape(element: ElementTree.Element, top: float, shapes: Shapes) -> None:
    """A line, polygon or dot of the library's drawing."""
    kind = element.tag.removeprefix(_SVG)
    if kind == "path":
        numbers = [float(each) for each in _NUMBERS.findall(element.get("d", ""))]
        points = list(_points(numbers, top))
        width = float(element.get("stroke-width", "0")) * _SCALE
        shapes.strokes.append((round(width, 2), _path(points)))
    elif kind in ("polygon", "polyline"):
        numbers = [float(each) for each in _NUMBERS.findall(element.get("points", ""))]
        points = list(_points(numbers, top))
        if kind == "polygon":
            shapes.fills.append(_path(points) + "z")
        else:
            width = float(element.get("stroke-width", "13")) * _SCALE
            shapes.strokes.append((round(width, 2), _path(points)))
    elif kind in ("ellipse", "circle"):
        x, y = float(element.get("cx", 0)) * _SCALE, (float(element.get("cy", 0)) - top) * _SCALE
        r = float(element.get("rx") or element.get("r") or 0) * _SCALE
        points = [(x, y - r), (x, y + r)]
        shapes.fills.append(
            f"M{short(x - r)} {short(y)}a{short(r)} {short(r)} 0 1 0 {short(2 * r)} 0"
            f"a{short(r)} {short(r)} 0 1 0 {short(-2 * r)} 0z"
        )
    elif kind == "rect":
        x, y = float(element.get("x", 0)) * _SCALE, (float(element.get("y", 0)) - top) * _SCALE
        w, h = (float(element.get(each, 0)) * _SCALE for each in ("width", "height"))
        points = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
        shapes.fills.append(_path(points) + "z")
    else:
        raise AssertionError(f"a shape of the engraving library is not known: {kind}")
    shapes.reach(*(y for _, y in points))


def _points(numbers: list[float], top: float) -> Iterator[tuple[float, float]]:
    for x, y in zip(numbers[::2], numbers[1::2], strict=True):
        yield x * _SCALE, (y - top) * _SCALE


def _path(points: Sequence[tuple[float, float]]) -> str:
    """A path through points."""
    (x, y), *rest = points
    text = f"M{short(x)} {short(y)}"
    for x, y in rest:
        text += f"L{short(x)} {short(y)}"
    return text
