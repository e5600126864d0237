"""Pieces of a score, which stand side by side (whole bars, or beats of long ones), as SVG."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from midiforge.engraving.ink import moved, text_at
from midiforge.engraving.shapes import GLYPH_SCALE, SPACE
from midiforge.frozen import frozen
from midiforge.svg import NOTHING, Svg, document, element, together

STYLE = (
    ".line{stroke:currentColor;stroke-width:1}.thin{stroke:currentColor;stroke-width:1.6}"
    ".thick{stroke:currentColor;stroke-width:5}.s{stroke:currentColor;fill:none}"
    "text{text-anchor:middle}.start{text-anchor:start}.end{text-anchor:end}"
    ".accent,.beat{font-weight:bold}.word{font-style:italic}"
    ".level{font-style:italic;font-weight:bold}"
)
_NUMBER = 4  # how far in the number of a line's first bar stands: clear of a line down the left
_MARGIN = 2.0  # what lines at the edge stick out


@frozen
class Piece:
    """Beats of one bar, drawn.

    content: SVG within the piece's own coordinates: tenths of a staff space, 0 0 at its top left.
    times: where the columns of the grid and the strokes stand: (quarter notes from the first
        downbeat, x).
    glyphs: the music signs it draws.
    begins_bar: whether it is the first of its bar. is_simile: whether it is nothing but a sign
        for the bar before.
    again: chord symbols that go on from the piece before, drawn where it begins a line.
    written_out: what stands in its place there if it is nothing but a sign.
    """

    width: float
    content: Svg
    times: tuple[tuple[Fraction, float], ...]
    bar: int
    glyphs: frozenset[str]
    begins_bar: bool = True
    is_simile: bool = False
    again: Svg = NOTHING
    written_out: "Piece | None" = None


@frozen
class Setting:
    """A score as pieces.

    head: clef and time signature, drawn like a piece; it stands before the first.
    clef: the clef alone, for further lines, whose bars then stand below those of the first.
    height: of every piece.
    staff: how far below the top the player's staff begins.
    """

    head: Piece
    clef: Piece
    pieces: tuple[Piece, ...]
    height: float
    staff: float


def sign_definitions(glyphs: Mapping[str, str], drawing: Iterable[Piece]) -> Svg:
    """The outlines of the music signs that some pieces draw, for <use> to name as "#gE0A4"."""
    used = frozenset[str]().union(*(piece.glyphs for piece in drawing))
    size = f"scale({GLYPH_SCALE:g} -{GLYPH_SCALE:g})"
    paths = (
        element("path", id=f"g{name}", transform=size, d=glyphs[name]) for name in sorted(used)
    )
    return element("defs", *paths)


def in_lines(setting: Setting, width: float) -> Iterator[list[Piece]]:
    """The pieces in lines no wider than `width`, each with its clef; beats of a bar may part.

    No line is begun with a sign for the bar before, and lines have about as many bars each.
    """
    lines = list(_filled(setting, width, len(setting.pieces)))
    even = list(_filled(setting, width, ceil(len(setting.pieces) / len(lines))))
    return iter(even if len(even) == len(lines) else lines)


def _filled(setting: Setting, width: float, most: int) -> Iterator[list[Piece]]:
    """Lines filled one by one, with so many pieces at most."""
    line = [setting.head]
    used = setting.head.width
    for piece in setting.pieces:
        if len(line) > 1 and (used + piece.width > width + 0.5 or len(line) > most):
            yield line
            first = piece.written_out or piece
            line = [_numbered(setting, first)]
            used = line[0].width
            # With the chord that goes on.
            piece = replace(first, content=together((first.content, first.again)))
        line.append(piece)
        used += piece.width
    yield line


def _numbered(setting: Setting, following: Piece) -> Piece:
    """The clef of a further line, with the number of its first bar."""
    number = bar_number(setting, following)
    return replace(setting.clef, content=together((setting.clef.content, number)))


def bar_number(setting: Setting, piece: Piece) -> Svg:
    """The number of a bar that begins a line, above its clef; nothing within a bar."""
    if not piece.begins_bar:
        return NOTHING
    return text_at(_NUMBER, setting.staff - 0.7 * SPACE, 13, "", str(piece.bar), "start")


def joined(line: Sequence[Piece]) -> tuple[float, Svg]:
    """The width and the content of pieces side by side."""
    at = 0.0
    parts = []
    for piece in line:
        parts.append(element("g", piece.content, transform=moved(at, 0)) if at else piece.content)
        at += piece.width
    return at, together(parts)


def line_svg(
    line: Sequence[Piece], height: float, glyphs: Mapping[str, str], font: str, style: str = ""
) -> tuple[float, str]:
    """A line of music as an SVG document of its own, and its width in tenths of a space.

    style: rules of CSS that go with the font.
    """
    width, content = joined(line)
    whole = width + 2 * _MARGIN
    return whole, document(
        sign_definitions(glyphs, line),
        content,
        style=f"{STYLE}text{{font-family:{font}}}{style}",
        viewBox=f"{-_MARGIN:g} 0 {whole:.1f} {height:.1f}",
    )
