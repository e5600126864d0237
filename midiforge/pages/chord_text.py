"""A chord symbol as text, and how wide it is.

The widths are those of DejaVu Serif, the widest of the fonts that the pages name, so that a
symbol in any of them ends before the next begins.
"""

import re
from html import escape

CHORD = 25.0  # size of letters, in tenths of a staff space
# In thousandths of an em, measured in DejaVu Serif 2.37; what is not listed is as wide as most.
_WIDTHS = {
    "A": 722, "B": 735, "C": 765, "D": 802, "E": 730, "F": 694, "G": 799, "M": 1024, "N": 875,
    "m": 948, "i": 320, "j": 310, "l": 320, "s": 513, "t": 402, "/": 337, ".": 318, ",": 318,
    "(": 390, ")": 390, "-": 338, "+": 838, "♭": 472, "♯": 484, "°": 500, "ø": 602, "Δ": 722,
}  # fmt: skip
_OTHER = 640


def chord_width(text: str, size: float = CHORD) -> float:
    """How wide a symbol is at most, in tenths of a staff space."""
    return size * sum(_WIDTHS.get(letter, _OTHER) for letter in text) / 1000


def chord_text(x: float, y: float, size: float, text: str) -> str:
    """A symbol as SVG, from `x` on; plain, since few bold fonts have a flat sign.

    Signs have classes, and so has what stands before a flat, for pages whose font sets them badly.
    """
    content = re.sub("([^♭♯;])(?=♭)", r'<tspan class="before">\g<0></tspan>', escape(text))
    content = content.replace("♭", '<tspan class="flat">♭</tspan>')
    content = content.replace("♯", '<tspan class="sharp">♯</tspan>')
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{size:.3g}"'
    return f'<text class="chord start" {place}>{content}</text>'
