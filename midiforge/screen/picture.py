"""The terminal's view as an SVG picture, for a page or a slide."""

import re
from collections.abc import Sequence
from xml.sax.saxutils import escape

from midiforge.model.exercise import Exercise
from midiforge.printable import printable
from midiforge.screen.show import exercise_lines

_SIZE = 15  # of the letters, in pixels
_ADVANCE = 0.6 * _SIZE
_LINE = 1.35 * _SIZE
_MARGIN = 18
_FONTS = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"
_PAPER, _INK = "#fffdf7", "#22252b"
_STYLES = {
    "title": "font-weight:bold",
    "count": "fill:#1d6a75",
    "label": "fill:#1d6a75",
    "accent": "fill:#a8480b;font-weight:bold",
    "ghost": "fill:#6b7280",
    "faint": "fill:#6b7280",
    "warning": "fill:#b00020;font-weight:bold",
}


def svg(groups: Sequence[Sequence[Exercise]], width: int) -> str:
    """Exercises one below the other, each at its tempos, `width` characters wide, as SVG."""
    rows: list[str] = []
    number = 0
    for group in groups:
        for spans in exercise_lines(group, width):
            number += 1
            at = 0
            for text, style in spans:
                for piece in re.finditer(r"\S+(?: \S+)*", text):  # no run of blanks survives SVG
                    rows.append(_text(at + piece.start(), number, piece[0], style))
                at += len(text)
        number += 1
    wide = round(2 * _MARGIN + width * _ADVANCE)
    high = round(2 * _MARGIN + (number - 1) * _LINE)
    classes = "".join(f".{name}{{{rule}}}" for name, rule in _STYLES.items())
    paper = f'<rect width="100%" height="100%" rx="8" fill="{_PAPER}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}" '
        f'viewBox="0 0 {wide} {high}">\n'
        f"<style>text{{font:{_SIZE}px {_FONTS};fill:{_INK}}}{classes}</style>\n"
        f"{paper}\n" + "\n".join(rows) + "\n</svg>\n"
    )


def _text(column: int, row: int, text: str, style: str) -> str:
    """One piece of text; its length is given, so that columns stay true in any font."""
    x, y = _MARGIN + column * _ADVANCE, _MARGIN + (row - 0.25) * _LINE
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" textLength="{len(text) * _ADVANCE:.1f}" '
        f'class="{style or "plain"}">{escape(printable(text))}</text>'
    )
