"""SVG, element by element: what is written in it is text, unless it is an element itself."""

from collections.abc import Iterable
from functools import cache
from html import escape

from midiforge.printable import printable

_JOINER = "\u200d"  # makes one sign of several, so it is kept though it has no shape
PAPER, INK = "#fffdf7", "#22252b"


class Svg(str):
    """Elements, which stand in others as they are."""

    __slots__ = ()


NOTHING = Svg()


def element(name: str, *content: str, **attributes: str | float) -> Svg:
    """An element: `element("text", "R & L", class_="word", x=4)`.

    content: elements or text. attributes: a _ in a name is a hyphen, one at its end is none; what
    is "" is left out; numbers are cut to one decimal.
    """
    head = "".join(
        f' {_attribute(key)}="{escaped(value) if isinstance(value, str) else short(value)}"'
        for key, value in attributes.items()
        if value != ""
    )
    inner = together(content)
    return Svg(f"<{name}{head}>{inner}</{name}>" if inner else f"<{name}{head}/>")


def together(content: Iterable[str], between: str = "") -> Svg:
    """Elements and text one after the other, with what comes between them."""
    return Svg(between.join(part if isinstance(part, Svg) else escaped(part) for part in content))


def inline(label: str, *content: str, **attributes: str | float) -> Svg:
    """A picture within a page of HTML; label: what is said of it to whoever does not see it."""
    return element("svg", *content, **attributes, role="img", aria_label=label)


def document(*content: str, style: str, **attributes: str | float) -> Svg:
    """A picture as a file of its own, a line to an element.

    style: rules of CSS. attributes: its `viewBox` at least.
    """
    lines = together((element("style", Svg(style)), *content), "\n")
    return Svg(f"{element('svg', lines, xmlns='http://www.w3.org/2000/svg', **attributes)}\n")


def on_paper(*content: str, style: str, width: int, height: int, **attributes: str) -> Svg:
    """The same on a sheet of so many pixels with round corners."""
    sheet = element("rect", width="100%", height="100%", rx=8, fill=PAPER)
    box = f"0 0 {width} {height}"
    return document(
        sheet, *content, style=style, width=width, height=height, viewBox=box, **attributes
    )


def escaped(text: str) -> str:
    """The text, safe between tags and in attributes; control characters are left out."""
    return escape(printable(text, "", besides=_JOINER))


def short(value: float, decimals: int = 1) -> str:
    """A number with so many decimals at most."""
    text = f"{value:.{decimals}f}".rstrip("0").removesuffix(".")
    return "0" if text == "-0" else text


@cache
def _attribute(name: str) -> str:
    return name.removesuffix("_").replace("_", "-")
