"""Exercises one below the other as one SVG picture."""

from collections.abc import Iterator, Sequence

from midiforge import __version__
from midiforge.engraving.drawing import STYLE, Piece, in_lines, joined, sign_definitions
from midiforge.engraving.ink import moved, text_at
from midiforge.engraving.shapes import SPACE
from midiforge.engraving.text_width import in_width
from midiforge.pages.booklet import Booklet, Entry, Group
from midiforge.pages.paper import Paper
from midiforge.svg import Svg, document, element

_FONT = "'Libertinus Serif', Palatino, Georgia, 'DejaVu Serif', serif"
_MARGIN = 2.5 * SPACE
_TITLE, _TEXT = 26.0, 20.0  # sizes of letters, in tenths of a staff space
_BOLD = 1.12  # how much wider bold letters are
_NO_BREAK = "\N{NO-BREAK SPACE}"
_SHORT_FACT = 40  # letters
_LINE = 1.35
_PIXELS = 0.8  # to a tenth of a staff space


def svg(booklet: Booklet, paper: Paper) -> str:
    """The exercises of a booklet as an SVG document, as wide as a line on `paper`."""
    width = paper.line + 2 * _MARGIN
    parts: list[Svg] = []
    drawn: list[Piece] = []
    at = _MARGIN

    def write(size: float, kind: str, text: str) -> None:
        nonlocal at
        at += _LINE * size
        parts.append(text_at(_MARGIN, at, size, kind, text, "start"))

    for group in booklet.groups:
        for text, size, kind in _heading(group, paper.line):
            write(size, kind, text)
        for entry in group.entries:
            if entry.way:
                at += SPACE
                for text, size, kind in _own_heading(entry, paper.line):
                    write(size, kind, text)
            at += 0.5 * SPACE
            for line in in_lines(entry.setting, paper.line):
                drawn += line
                parts.append(element("g", joined(line)[1], transform=moved(_MARGIN, at)))
                at += entry.setting.height + 0.5 * SPACE
        for text in (
            line for paragraph in group.text for line in in_width(paragraph, paper.line, _TEXT)
        ):
            write(_TEXT, "own", text)
        at += 2 * SPACE
    height = at - 2 * SPACE + _MARGIN
    return document(
        element("title", booklet.title),
        Svg(f"<!-- midiforge {__version__} -->"),
        element("rect", width="100%", height="100%", fill="#fffefb"),
        sign_definitions(booklet.glyphs, drawn),
        *parts,
        style=f"{STYLE}text{{font-family:{_FONT}}}.title{{font-weight:bold}}"
        ".job{font-style:italic}",
        width=round(width * _PIXELS),
        height=round(height * _PIXELS),
        viewBox=f"0 0 {width:.1f} {height:.1f}",
    )


def _heading(group: Group, width: float) -> Iterator[tuple[str, float, str]]:
    tempos = f"{group.pulse} = {', '.join(group.tempos)}" + f" ({group.feel})" * bool(group.feel)
    yield from _broken(f"{group.number}  {group.title}", _TITLE, "title", width)
    yield from _broken(group.job, _TEXT, "job", width)
    yield from _broken(_joined((tempos, *group.facts)), _TEXT, "facts", width)


def _own_heading(entry: Entry, width: float) -> Iterator[tuple[str, float, str]]:
    yield from _broken(f"{entry.number}  {entry.way}", _TEXT, "title", width)
    yield from _broken(entry.job, _TEXT, "job", width)
    yield from _broken(_joined(entry.facts), _TEXT, "facts", width)


def _broken(text: str, size: float, kind: str, width: float) -> Iterator[tuple[str, float, str]]:
    for line in in_width(text, width, _BOLD * size if kind == "title" else size):
        yield line.replace(_NO_BREAK, " "), size, kind


def _joined(facts: Sequence[str]) -> str:
    """Facts between which a line breaks rather than within one, and never before a dot."""
    return f"{_NO_BREAK}· ".join(map(_kept_together, facts))


def _kept_together(fact: str) -> str:
    return fact.replace(" ", _NO_BREAK) if len(fact) <= _SHORT_FACT else fact
