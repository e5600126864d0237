"""The smallest things that are drawn, as SVG: lines, dots, signs, letters."""

from html import escape

from midiforge.pages.numbers import short
from midiforge.pages.shapes import SPACE, Shapes


def dots(x: float, top: float) -> str:
    """The two dots of a repeat on a staff whose top line is at `top`."""
    places = (top + place * SPACE for place in (1.5, 2.5))
    return "".join(f'<circle cx="{short(x)}" cy="{short(y)}" r="2.2"/>' for y in places)


def shapes_at(shapes: Shapes, x: float, y: float, used: set[str]) -> str:
    """What was engraved, from x and y on; the names of its signs are added to `used`."""
    parts = []
    by_width: dict[float, list[str]] = {}
    for width, path in shapes.strokes:
        by_width.setdefault(width, []).append(path)
    for width, paths in by_width.items():
        parts.append(f'<path class="s" stroke-width="{width:g}" d="{"".join(paths)}"/>')
    if shapes.fills:
        parts.append(f'<path d="{"".join(shapes.fills)}"/>')
    for name, left, top, size in shapes.glyphs:
        used.add(name)
        if size == 1:
            parts.append(f'<use href="#g{name}" x="{short(left)}" y="{short(top)}"/>')
        else:
            place = f"translate({short(left)} {short(top)}) scale({size:g})"
            parts.append(f'<use href="#g{name}" transform="{place}"/>')
    return f'<g transform="translate({short(x)} {short(y)})">{"".join(parts)}</g>' if parts else ""


def text_at(x: float, y: float, size: float, kind: str, text: str, anchor: str = "middle") -> str:
    """Letters of a size in tenths of a staff space, on the line y.

    kind: names of classes, for the style sheet. anchor: "start", "middle" or "end", at x.
    """
    kinds = f"{kind} {anchor}" if anchor != "middle" else kind
    place = f'x="{short(x)}" y="{short(y)}" font-size="{size:g}"'
    return f'<text class="{kinds}" {place}>{escape(text)}</text>'
