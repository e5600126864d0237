"""A lesson's pages in the format that a file's ending names."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.files.disk import check_name, reason
from midiforge.files.own_file import Seal
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.notation.write import scores
from midiforge.pages.paper import Paper

if TYPE_CHECKING:
    from midiforge.pages.booklet import Booklet
    from midiforge.pages.widths import Layout

_PDF_SEAL = Seal("% midiforge sheet, sha256 {}\n")
_SEAL = Seal("<!-- midiforge sheet, sha256 {} -->\n")


@frozen
class Content:
    """What is to be printed.

    text: the teacher's own, for the student; paragraphs are parted by empty lines.
    with_counts: whether the counts stand below the notes.
    """

    title: str
    text: str
    exercises: Iterable[Exercise]
    kit: Kit
    paper: Paper
    with_counts: bool


def write_sheet(
    path: Path,
    title: str,
    exercises: Iterable[Exercise],
    kit: Kit,
    paper: Paper,
    with_counts: bool = False,
    text: str = "",
) -> None:
    """Writes exercises as pages: PDF, HTML, SVG or MusicXML, by the ending of `path`.

    text: what the student is to read under the title; an empty line begins a paragraph.
    Raises MidiforgeError for an unknown ending, for what a staff cannot show, for a library
    that is not installed, and where a file is in the way that midiforge did not write; nothing
    is written then.
    """
    make = FORMATS.get(path.suffix.lower())
    if make is None:
        raise WrongArgument(_unknown(path), "path", hint="one of " + ", ".join(FORMATS))
    seal = _PDF_SEAL if make is _pdf else _SEAL
    _check(path, seal)
    seal.write(path, make(Content(title, text, exercises, kit, paper, with_counts)))


def _unknown(path: Path) -> str:
    if not path.suffix:
        return f"{quoted(path.name)} has no ending that names a format"
    if path.suffix.lower() in (".xml", ".mxl"):
        return f"no pages are written as {quoted(path.suffix)}, did you mean '.musicxml'?"
    if path.suffix.lower() in (".mid", ".midi"):
        return "pages are no MIDI file, midiforge build writes those"
    guess = nearest(path.suffix.lower(), FORMATS)
    return f"no pages are written as {quoted(path.suffix)}" + (
        f", {guess}" if guess.startswith("did") else ""
    )


def _check(path: Path, seal: Seal) -> None:
    """Raises MidiforgeError, before the work, if nothing can be written there."""
    check_name(path)
    try:
        if path.is_dir():
            raise MidiforgeError("is a folder, not a file", str(path))
        if not path.exists() and not path.parent.is_dir():
            raise MidiforgeError("is not a folder", str(path.parent))
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None
    seal.check(path)


def _booklet(content: Content, layout: "Layout") -> "Booklet":
    from midiforge.pages.booklet import booklet
    from midiforge.pages.engrave import Engraver

    return booklet(content.title, content.text, content.exercises, Engraver(), layout)


def _pdf(content: Content) -> bytes:
    from midiforge.pages.pdf import pdf
    from midiforge.pages.widths import Layout

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return pdf(_booklet(content, layout), content.paper)


def _html(content: Content) -> str:
    from midiforge.pages.html import WIDEST, html
    from midiforge.pages.widths import Layout

    # On a narrow screen a sign for the bar before would stand alone on its line.
    layout = Layout(WIDEST, with_counts=content.with_counts, with_similes=False)
    return html(_booklet(content, layout), content.paper)


def _svg(content: Content) -> str:
    from midiforge.pages.svg import svg
    from midiforge.pages.widths import Layout

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return svg(_booklet(content, layout), content.paper)


def _musicxml(content: Content) -> str | bytes:
    from midiforge.pages.musicxml import musicxml

    return musicxml(
        content.title,
        scores(content.exercises),
        content.kit,
        paper=content.paper,
        with_counts=content.with_counts,
        text=content.text,
    )


FORMATS: Mapping[str, Callable[[Content], str | bytes]] = {
    ".pdf": _pdf,
    ".html": _html,
    ".svg": _svg,
    ".musicxml": _musicxml,
}
