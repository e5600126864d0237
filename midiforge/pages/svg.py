"""Exercises one below the other as one SVG picture."""

from collections.abc import Iterator
from html import escape

from midiforge import __version__
from midiforge.pages.booklet import Booklet, Entry
from midiforge.pages.drawing import STYLE, glyph_definitions, in_lines, joined
from midiforge.pages.paper import Paper
from midiforge.pages.shapes import SPACE
from midiforge.pages.text_width import in_width
from midiforge.printable import printable

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
    parts: list[str] = []
    used: set[str] = set()
    at = _MARGIN
    for entry in booklet.entries:
        for text, size, kind in _heading(entry, paper.line):
            at += _LINE * size
            parts.append(_line(at, size, kind, text))
        at += 0.5 * SPACE
        for line in in_lines(entry.setting, paper.line):
            used |= frozenset[str]().union(*(piece.glyphs for piece in line))
            _, content = joined(line)
            parts.append(f'<g transform="translate({_MARGIN:g} {at:.1f})">{content}</g>')
            at += entry.setting.height + 0.5 * SPACE
        for text in (line for each in entry.text for line in in_width(each, paper.line, _TEXT)):
            at += _LINE * _TEXT
            parts.append(_line(at, _TEXT, "own", text))
        at += 2 * SPACE
    height = at - 2 * SPACE + _MARGIN
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width * _PIXELS:.0f}" '
        f'height="{height * _PIXELS:.0f}" viewBox="0 0 {width:.1f} {height:.1f}">'
        f"<title>{_text(booklet.title)}</title><!-- midiforge {__version__} -->"
        f"<style>{STYLE}text{{font-family:{_FONT}}}.title{{font-weight:bold}}"
        ".job{font-style:italic}</style>"
        f'<rect width="100%" height="100%" fill="#fffefb"/>'
        f"{glyph_definitions(booklet.glyphs, used)}\n" + "\n".join(parts) + "\n</svg>\n"
    )


def _heading(entry: Entry, width: float) -> Iterator[tuple[str, float, str]]:
    tempos = f"{entry.pulse} = {', '.join(entry.tempos)}" + f" ({entry.feel})" * bool(entry.feel)
    # Between facts a line breaks rather than within one, and never before a dot.
    facts = f"{_NO_BREAK}· ".join(map(_kept_together, (tempos, *entry.facts)))
    for text, size, kind in (
        (f"{entry.number}  {entry.title}", _TITLE, "title"),
        (entry.job, _TEXT, "job"),
        (facts, _TEXT, "facts"),
    ):
        for line in in_width(text, width, _BOLD * size if kind == "title" else size):
            yield line.replace(_NO_BREAK, " "), size, kind


def _kept_together(fact: str) -> str:
    return fact.replace(" ", _NO_BREAK) if len(fact) <= _SHORT_FACT else fact


def _line(y: float, size: float, kind: str, text: str) -> str:
    return (
        f'<text class="start {kind}" x="{_MARGIN:g}" y="{y:.1f}" font-size="{size:g}">'
        f"{_text(text)}</text>"
    )


def _text(text: str) -> str:
    return escape(printable(text, "", besides="\u200d"))
