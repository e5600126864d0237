"""The terminal's view as an SVG picture, for a page or a slide."""

import re
from collections.abc import Sequence

from midiforge.model.exercise import Exercise
from midiforge.printable import printable
from midiforge.screen.show import exercise_lines
from midiforge.svg import INK, Svg, element, on_paper

_SIZE = 15  # of the letters, in pixels
_ADVANCE = 0.6 * _SIZE
_LINE = 1.35 * _SIZE
_MARGIN = 18
_STYLE = (
    f"text{{font:{_SIZE}px ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace;"
    f"fill:{INK}}}.title{{font-weight:bold}}.count,.label{{fill:#1d6a75}}"
    ".accent{fill:#a8480b;font-weight:bold}.ghost,.faint{fill:#6b7280}"
    ".warning{fill:#b00020;font-weight:bold}"
)


def svg(groups: Sequence[Sequence[Exercise]], width: int) -> str:
    """Exercises one below the other, each at its tempos, `width` characters wide, as SVG."""
    texts: list[Svg] = []
    row = 0
    for group in groups:
        for spans in exercise_lines(group, width):
            row += 1
            column = 0
            for text, style in spans:
                pieces = re.finditer(r"\S+(?: \S+)*", text)  # no run of blanks survives SVG
                texts += (_text(column + piece.start(), row, piece[0], style) for piece in pieces)
                column += len(text)
        row += 1
    wide = round(2 * _MARGIN + width * _ADVANCE)
    high = round(2 * _MARGIN + (row - 1) * _LINE)
    return on_paper(*texts, style=_STYLE, width=wide, height=high)


def _text(column: int, row: int, text: str, style: str) -> Svg:
    """One piece of text; its length is given, so that columns stay true in any font."""
    return element(
        "text",
        printable(text),
        x=_MARGIN + column * _ADVANCE,
        y=_MARGIN + (row - 0.25) * _LINE,
        textLength=len(text) * _ADVANCE,
        class_=style,
    )
