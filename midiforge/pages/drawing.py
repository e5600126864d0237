"""Pieces put together as SVG: one line of music, or a sheet of several."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from midiforge.pages.engrave import SPACE
from midiforge.pages.piece import Piece, Setting

_GLYPH = 4 * SPACE / 1000  # SMuFL: a thousand font units are four spaces
STYLE = (
    ".line{stroke:#000;stroke-width:1}.thin{stroke:#000;stroke-width:1.6}"
    ".thick{stroke:#000;stroke-width:5}.s{stroke:#000;fill:none}"
    "text{text-anchor:middle}.start{text-anchor:start}.end{text-anchor:end}.hand.accent,.beat{font-weight:bold}.word{font-style:italic}"
)


def glyph_definitions(glyphs: Mapping[str, str], used: Iterable[str]) -> str:
    """The outlines of music signs, for <use> to name as "#gE0A4"."""
    paths = (
        f'<path id="g{name}" transform="scale({_GLYPH:g} -{_GLYPH:g})" d="{glyphs[name]}"/>'
        for name in sorted(used)
    )
    return f"<defs>{''.join(paths)}</defs>"


def in_lines(setting: Setting, width: float) -> Iterator[list[Piece]]:
    """The pieces in lines no wider than `width`, each with its clef; beats of a bar may part."""
    line = [setting.head]
    for piece in setting.pieces:
        used = sum(each.width for each in line)
        if len(line) > 1 and (used + piece.width > width + 0.5 or piece.starts_line):
            yield line
            line = [setting.clef]
        line.append(piece)
    yield line


def joined(line: Sequence[Piece]) -> tuple[float, str]:
    """The width and the content of pieces side by side."""
    at = 0.0
    parts = []
    for piece in line:
        place = f' transform="translate({at:.1f} 0)"' if at else ""
        parts.append(f"<g{place}>{piece.content}</g>")
        at += piece.width
    return at, "".join(parts)
