"""The smallest things that are drawn, as SVG: lines, dots, signs, letters."""

import re

from midiforge.engraving.shapes import SPACE, Shapes
from midiforge.svg import NOTHING, Svg, element, short, together

_CHORD_SIGN = re.compile("([^♭♯](?=♭)|[♭♯])")
_CHORD_SIGNS = {"♭": "flat", "♯": "sharp"}


def line(kind: str, path: str) -> Svg:
    """A line along a path; kind: the name of its class, for the style sheet."""
    return element("path", class_=kind, d=path)


def stroke(width: float, path: str) -> Svg:
    """A line of a width, in tenths of a staff space."""
    return element("path", class_="s", stroke_width=f"{width:g}", d=path)


def dots(x: float, top: float) -> Svg:
    """The two dots of a repeat on a staff whose top line is at `top`."""
    places = (top + place * SPACE for place in (1.5, 2.5))
    return together(element("circle", cx=x, cy=y, r=2.2) for y in places)


def shapes_at(shapes: Shapes, x: float, y: float) -> Svg:
    """What was engraved, from x and y on."""
    by_width: dict[float, list[str]] = {}
    for width, path in shapes.strokes:
        by_width.setdefault(width, []).append(path)
    parts = [stroke(width, "".join(paths)) for width, paths in by_width.items()]
    if shapes.fills:
        parts.append(element("path", d="".join(shapes.fills)))
    for name, left, top, size in shapes.glyphs:
        if size == 1:
            parts.append(element("use", href=f"#g{name}", x=left, y=top))
        else:
            place = f"{moved(left, top)} scale({size:g})"
            parts.append(element("use", href=f"#g{name}", transform=place))
    return element("g", *parts, transform=moved(x, y)) if parts else NOTHING


def moved(x: float, y: float) -> str:
    """What moves an element to x and y."""
    return f"translate({short(x)} {short(y)})"


def text_at(x: float, y: float, size: float, kind: str, text: str, anchor: str = "middle") -> Svg:
    """Letters of a size in tenths of a staff space, on the line y.

    kind: names of classes, for the style sheet. anchor: "start", "middle" or "end", at x.
    """
    kinds = f"{kind} {anchor}".strip() if anchor != "middle" else kind
    return element("text", text, class_=kinds, x=x, y=y, font_size=f"{size:g}")


def chord_at(x: float, y: float, size: float, text: str) -> Svg:
    """A chord symbol, from `x` on; plain, since few bold fonts have a flat sign.

    Signs have classes, and so has what stands before a flat, for pages whose font sets them badly.
    """
    parts = (
        element("tspan", part, class_=_CHORD_SIGNS.get(part, "before")) if i % 2 else part
        for i, part in enumerate(_CHORD_SIGN.split(text))
    )
    return element("text", *parts, class_="chord start", x=x, y=y, font_size=f"{size:.3g}")
