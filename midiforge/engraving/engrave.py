"""Engraved notes, as plain shapes with every note's place.

The engraving is verovio's (https://www.verovio.org, an open-source library): spacing, beams,
stems, rests, tuplets, in the glyphs of the font Bravura (SIL Open Font License). Its SVG is read
back here into few shapes, because a booklet in one file has to stay small, and because the
letters under the notes and the player's cursor need to know where each note stands.
"""

import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from midiforge.engraving import mei
from midiforge.engraving.beams import Beams, beamed
from midiforge.engraving.even import Grid
from midiforge.engraving.mending import mended, with_room_for_plus
from midiforge.engraving.shapes import (
    GLYPH_SCALE,
    SCALE,
    SPACE,
    SVG,
    Boxes,
    Mark,
    Shapes,
    lines_of,
    marks,
    shapes_of,
)
from midiforge.engraving.widths import Span
from midiforge.errors import MidiforgeError
from midiforge.model.meter import Meter
from midiforge.notation.score import Voice

_FONT = "Bravura"
_CLOSEST = 22.6  # tenths of a space between notes that do not touch, parentheses and all
_QUARTER = 1422.0  # the library's distance of two quarter notes at a spacing factor of 1, measured
_SQUARE = "E0B9"
_TRIANGLE = "M0 -125l313 250v-250z"  # right-angled: it meets a stem up and a stem down


@dataclass(slots=True)
class Engraved:
    """The engraved beats of a bar.

    staves: from the top.
    places: the middle of each note, rest and grace note, by the name `mei` gave it.
    columns: the middle of a notehead at each time when something begins, from the bar line.
    """

    width: float
    staves: list[Shapes]
    places: dict[str, float]
    columns: dict[Fraction, float]


_ALONE = threading.Lock()  # the library works for one thread at a time


def _library() -> Any:
    """The library, once for the process: a second one that another thread makes engraves nothing,
    while one that is there serves every thread."""
    try:
        import verovio
    except ImportError:
        raise MidiforgeError(
            "pages need the package verovio", hint='pip install "midiforge[pages]"'
        ) from None
    with _ALONE:
        return _the_one(verovio)


@cache
def _the_one(verovio: Any) -> Any:
    verovio.enableLog(verovio.LOG_OFF)
    library = verovio.toolkit()
    library.setOptions(
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
    return library


class Engraver:
    """Engraves bars; the same bar only once."""

    def __init__(self) -> None:
        self._library = _library()
        self._resources = Path(self._library.getResourcePath())
        self._known: dict[tuple[str, float], Engraved] = {}
        self.glyphs: dict[str, str] = {}

    @property
    def bars_known(self) -> int:
        """How many engraved bars it keeps."""
        return len(self._known)

    def bar(
        self,
        meter: Meter,
        step: Fraction,
        staves: Sequence[Sequence[Voice]],
        span: Span,
        width: float,
        simile: bool = False,
    ) -> Engraved:
        """Some beats of a bar, `width` tenths of a staff space wide; see `mei.mei`."""
        grid = None
        if not simile:
            notes = [(name, note) for name, voice, note in mei.named(staves) if not voice.is_silent]
            times = {name: note.start for name, note in notes if span[0] <= note.start < span[1]}
            crowded = frozenset(name for name, note in notes if len(note.grace) > 1)
            grid = Grid(times, _closest(step, staves), span, crowded)
        document = mei.mei(meter, step, staves, span, simile)
        return self._known_or_new(document, width, grid, staves)

    def head(self, meter: Meter) -> Engraved:
        """A percussion clef and a time signature; the place of "s1v0n0" is where they end."""
        return self._known_or_new(mei.head(meter), 40 * SPACE, None, ())

    def _known_or_new(
        self, document: str, width: float, grid: Grid | None, staves: Sequence[Sequence[Voice]]
    ) -> Engraved:
        key = document, width
        if key not in self._known:
            self._known[key] = self._engrave(document, width, grid, mei.beams(staves))
        return self._known[key]

    def _engrave(self, document: str, width: float, grid: Grid | None, beams: Beams) -> Engraved:
        spacing = min(_CLOSEST / (_QUARTER * float(grid.closest)), 1.0) if grid else 0.0
        with _ALONE:
            self._library.setOptions(
                {"pageWidth": round(width / SCALE / 10), "spacingLinear": round(spacing, 3)}
            )
            if not self._library.loadData(document):
                raise AssertionError(f"the engraving library refused {document}")
            drawn_by_it = self._library.renderToSVG(1)
        drawing = ElementTree.fromstring(drawn_by_it)
        self._remember_glyphs(drawing)
        staves = [group for group in drawing.iter(f"{SVG}g") if group.get("class") == "staff"]
        drawn: Sequence[Sequence[Mark]] = [list(marks(staff)) for staff in staves]
        columns: dict[Fraction, float] = {}
        if grid:
            drawn, columns = grid.evenly(drawn, self.boxes, width)
        else:
            drawn = [*map(with_room_for_plus, drawn)]
        drawn = [beamed(own, beams, self.boxes) for own in drawn]
        shapes = [
            shapes_of(mended(own, self.boxes), self.boxes, len(list(lines_of(staff))))
            for own, staff in zip(drawn, staves, strict=True)
        ]
        return Engraved(width, shapes, _places(drawn, self.boxes), columns)

    def _remember_glyphs(self, drawing: ElementTree.Element) -> None:
        for group in drawing.iterfind(f"{SVG}defs/{SVG}g"):
            name = group.get("id", "").partition("-")[0]
            path = group.find(f"{SVG}path")
            if path is not None and name not in self.glyphs:
                self.glyphs[name] = _TRIANGLE if name == _SQUARE else path.get("d", "")

    @cached_property
    def boxes(self) -> Boxes:
        """Each glyph's left, bottom, width and height, in thousandths of an em."""
        text = (self._resources / f"{_FONT}.xml").read_text(encoding="utf-8")
        signs = re.findall(
            r'c="(\w+)" x="(-?[\d.]+)" y="(-?[\d.]+)" w="([\d.]+)" h="([\d.]+)"', text
        )
        return {name: tuple(map(float, box)) for name, *box in signs}  # type: ignore[misc]


def _closest(step: Fraction, staves: Sequence[Sequence[Voice]]) -> Fraction:
    """How near two strokes or two steps of the grid come, in quarter notes.

    The library sets these just apart, so that it then only ever stretches a bar to its width.
    """
    times = sorted({note.start for voices in staves for voice in voices for note in voice.notes})
    return min((*(later - earlier for earlier, later in pairwise(times)), step))


def _places(staves: Sequence[Sequence[Mark]], boxes: Boxes) -> dict[str, float]:
    """The middle of each note's first sign, by the note's name."""
    places: dict[str, float] = {}
    for mark in (mark for staff in staves for mark in staff):
        if mark.kind == "glyph" and mark.name and mark.name not in places:
            x, scale = mark.points[0][0], mark.size * GLYPH_SCALE
            places[mark.name] = x + scale * boxes[mark.glyph][2] / 2
    return places
