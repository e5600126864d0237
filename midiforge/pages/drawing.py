"""Pieces put together as SVG: one line of music, or a sheet of several."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import ceil

from midiforge.pages.piece import Piece, Setting
from midiforge.pages.shapes import SPACE

_GLYPH = 4 * SPACE / 1000  # SMuFL: a thousand font units are four spaces
STYLE = (
    ".line{stroke:currentColor;stroke-width:1}.thin{stroke:currentColor;stroke-width:1.6}"
    ".thick{stroke:currentColor;stroke-width:5}.s{stroke:currentColor;fill:none}"
    "text{text-anchor:middle}.start{text-anchor:start}.end{text-anchor:end}"
    ".accent,.beat{font-weight:bold}.word{font-style:italic}"
    ".level{font-style:italic;font-weight:bold}"
)
_NUMBER = 4  # how far in the number of a line's first bar stands: clear of a line down the left
_MARGIN = 2.0  # what lines at the edge stick out


def glyph_definitions(glyphs: Mapping[str, str], used: Iterable[str]) -> str:
    """The outlines of music signs, for <use> to name as "#gE0A4"."""
    paths = (
        f'<path id="g{name}" transform="scale({_GLYPH:g} -{_GLYPH:g})" d="{glyphs[name]}"/>'
        for name in sorted(used)
    )
    return f"<defs>{''.join(paths)}</defs>"


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
            piece = _reminding(first)
        line.append(piece)
        used += piece.width
    yield line


def _reminding(first: Piece) -> Piece:
    """The first piece of a line, with the chord that goes on."""
    return replace(first, content=first.content + first.again) if first.again else first


def _numbered(setting: Setting, following: Piece) -> Piece:
    """The clef of a further line, with the number of its first bar."""
    if not following.begins_bar:
        return setting.clef
    y = setting.staff - 0.7 * SPACE
    number = f'<text class="start" x="{_NUMBER}" y="{y:.1f}" font-size="13">{following.bar}</text>'
    return replace(setting.clef, content=setting.clef.content + number)


def joined(line: Sequence[Piece]) -> tuple[float, str]:
    """The width and the content of pieces side by side."""
    at = 0.0
    parts = []
    for piece in line:
        parts.append(
            f'<g transform="translate({at:.1f})">{piece.content}</g>' if at else piece.content
        )
        at += piece.width
    return at, "".join(parts)


def line_svg(
    line: Sequence[Piece], height: float, glyphs: Mapping[str, str], font: str, style: str = ""
) -> tuple[float, str]:
    """A line of music as an SVG document of its own, and its width in tenths of a space.

    style: rules of CSS that go with the font.
    """
    width, content = joined(line)
    used = frozenset[str]().union(*(piece.glyphs for piece in line))
    style = f"{STYLE}text{{font-family:{font}}}{style}"
    return width + 2 * _MARGIN, (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-_MARGIN:g} 0 '
        f'{width + 2 * _MARGIN:.1f} {height:.1f}"><style>{style}</style>'
        f"{glyph_definitions(glyphs, used)}{content}</svg>"
    )
