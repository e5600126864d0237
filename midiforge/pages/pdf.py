"""The booklet on paper. Set by the typesetting library typst, which embeds all fonts.

How it looks is said in `booklet.typ`; what is on it is told here.
"""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from midiforge import __version__
from midiforge.engraving.drawing import Piece, in_lines, line_svg
from midiforge.errors import MidiforgeError
from midiforge.pages.booklet import ABOUT, CAUTIONS, PLACES, Booklet, Entry, Group
from midiforge.pages.paper import Paper
from midiforge.printable import printable

FONT = "Libertinus Serif"  # comes with the library
# Its flat sign is smaller than musicians write it, and stands alone; its sharp is narrow.
_SIGNS = (
    ".flat{font-size:1.3em;letter-spacing:-.06em;baseline-shift:-.04em}"
    ".before{letter-spacing:-.08em}.sharp{font-size:1.15em}"
)
_PAPERS = {"a4": "a4", "letter": "us-letter"}
_TENTHS = 10
_SMALL = 0.2  # of a page; two lines that are no higher stay together at the end of an exercise
_JOINERS = "\u200b\u200c\u200d\u200e\u200f"  # steer no terminal, and some scripts need them


def pdf(booklet: Booklet, paper: Paper) -> bytes:
    """The booklet as a PDF document. Raises MidiforgeError where typst is not installed."""
    try:
        import typst
    except ImportError:
        raise MidiforgeError(
            "PDF needs the package typst", hint='pip install "midiforge[pages]"'
        ) from None
    compiler: Any = typst
    template = Path(__file__).with_name("booklet.typ").read_bytes()
    lesson = {"lesson": json.dumps(_printable(_lesson(booklet, paper)))}
    made: bytes = compiler.compile(template, format="pdf", timestamp=0, sys_inputs=lesson)
    return made if made.endswith(b"\n") else made + b"\n"


def _lesson(booklet: Booklet, paper: Paper) -> dict[str, Any]:
    return {
        "title": booklet.title,
        "short": _cut(booklet.title, 60),
        "heading": _breakable(_cut(booklet.title, 300)),
        "names": {name: _breakable(said) for name, said in booklet.names.said.items()},
        "program": f"midiforge {__version__}",
        "paper": _PAPERS[paper.name],
        "margin": paper.margin,
        "font": FONT,
        "size": 13 if paper.is_large else 10.5,
        "text": [*map(_breakable, booklet.text)],
        "about": ABOUT,
        "places": PLACES,
        "cautions": CAUTIONS,
        "columns": 5 if paper.is_large else 7,
        "key": [
            {"title": sign.title, **_line([sign.piece], booklet, paper, booklet.key_height)}
            for sign in booklet.key
        ],
        "legend": booklet.legend,
        "groups": [_group(group, booklet, paper) for group in booklet.groups],
    }


def _group(group: Group, booklet: Booklet, paper: Paper) -> dict[str, Any]:
    return {
        "number": group.number,
        "title": _breakable(group.title),
        "job": group.job,
        "pulse": group.pulse,
        "tempos": group.tempos,
        "feel": group.feel,
        "facts": _facts(group.facts),
        "text": [*map(_breakable, group.text)],
        "ways": [*map(_breakable, group.ways)],
        "entries": [_entry(entry, booklet, paper) for entry in group.entries],
    }


def _entry(entry: Entry, booklet: Booklet, paper: Paper) -> dict[str, Any]:
    setting = entry.setting
    high = setting.height / _TENTHS * paper.space
    return {
        "number": entry.number,
        "anchor": entry.anchor,
        "way": _breakable(entry.way),
        "tempos": entry.tempos,
        "job": entry.job,
        "facts": _facts(entry.facts),
        "text": [*map(_breakable, entry.text)],
        "keeps-two": 2 * high < _SMALL * (paper.height - 2 * paper.margin),
        "lines": [
            _line(line, booklet, paper, setting.height) for line in in_lines(setting, paper.line)
        ],
    }


def _facts(facts: Sequence[str]) -> str:
    return " · ".join(facts)


def _line(line: Sequence[Piece], booklet: Booklet, paper: Paper, height: float) -> dict[str, Any]:
    width, svg = line_svg(line, height, booklet.glyphs, f"'{FONT}'", _SIGNS)
    return {"svg": svg, "width": round(width / _TENTHS * paper.space, 2)}


def _printable(data: Any) -> Any:
    """Data with all its texts as they are but for control characters, which are left out."""
    if isinstance(data, str):
        return printable(data, "", besides=_JOINERS)
    if isinstance(data, dict):
        return {key: _printable(value) for key, value in data.items()}
    return [*map(_printable, data)] if isinstance(data, (list, tuple)) else data


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "\u2026"


def _breakable(text: str) -> str:
    """The text, in which words longer than a line may be broken."""
    return re.sub(r"\S{24}(?=\S{8})", lambda word: word[0] + "\u200b", text)
