"""A lesson's pages in the format that a file's ending names."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from midiforge.disk import reason, write_aside
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.notation.score import scores
from midiforge.pages.paper import Paper

# The last line of every file that is written here: what it is, and a checksum of all before it.
_LAST_LINE = {".pdf": "% {}\n", ".html": "<!-- {} -->\n"}
_MARK = "midiforge sheet, sha256 "


@dataclass(frozen=True, slots=True)
class Content:
    """What is to be printed.

    with_counts: whether the counts stand below the notes.
    """

    title: str
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
) -> None:
    """Writes exercises as pages: PDF, HTML, SVG or MusicXML, by the ending of `path`.

    Raises MidiforgeError for an unknown ending, for what a staff cannot show, for a library
    that is not installed, and where a file is in the way that midiforge did not write; nothing
    is written then.
    """
    make = FORMATS.get(path.suffix.lower())
    if make is None:
        raise MidiforgeError(_unknown(path), "--out", hint="one of " + ", ".join(FORMATS))
    if path.is_symlink():
        path = path.resolve()
    _check(path)
    made = make(Content(title, exercises, kit, paper, with_counts))
    content = made.encode() if isinstance(made, str) else made
    write_aside(path, content + _last_line(content, path.suffix.lower()))


def _last_line(content: bytes, ending: str) -> bytes:
    mark = f"{_MARK}{sha256(content).hexdigest()}"
    return _LAST_LINE.get(ending, _LAST_LINE[".html"]).format(mark).encode()


def _is_ours(content: bytes, ending: str) -> bool:
    """Whether a file was written here, and nobody changed it since."""
    body = content[: content.rfind(b"\n", 0, -1) + 1]
    return bool(body) and content[len(body) :] == _last_line(body, ending)


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


def _check(path: Path) -> None:
    try:
        if not path.exists():
            if not path.parent.is_dir():
                raise MidiforgeError("is not a folder", str(path.parent))
            return
        if path.is_dir():
            raise MidiforgeError("is a folder, not a file", str(path))
        if not path.is_file() or not _is_ours(path.read_bytes(), path.suffix.lower()):
            raise MidiforgeError(
                "is there, and not written by midiforge, or changed since",
                str(path),
                hint="choose another name, or remove it",
            )
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None


def _pdf(content: Content) -> bytes:
    from midiforge.pages.booklet import booklet
    from midiforge.pages.engrave import Engraver
    from midiforge.pages.pdf import pdf
    from midiforge.pages.piece import Layout

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return pdf(booklet(content.title, content.exercises, Engraver(), layout), content.paper)


def _html(content: Content) -> str:
    from midiforge.pages.booklet import booklet
    from midiforge.pages.engrave import Engraver
    from midiforge.pages.html import WIDEST, html
    from midiforge.pages.piece import Layout

    # On a narrow screen a sign for the bar before would stand alone on its line.
    layout = Layout(WIDEST, with_counts=content.with_counts, with_similes=False)
    return html(booklet(content.title, content.exercises, Engraver(), layout), content.paper)


def _svg(content: Content) -> str:
    from midiforge.pages.booklet import booklet
    from midiforge.pages.engrave import Engraver
    from midiforge.pages.piece import Layout
    from midiforge.pages.svg import svg

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return svg(booklet(content.title, content.exercises, Engraver(), layout), content.paper)


def _musicxml(content: Content) -> str | bytes:
    from midiforge.pages.musicxml import musicxml

    return musicxml(
        content.title,
        scores(content.exercises),
        content.kit,
        paper=content.paper,
        with_counts=content.with_counts,
    )


FORMATS: Mapping[str, Callable[[Content], str | bytes]] = {
    ".pdf": _pdf,
    ".html": _html,
    ".svg": _svg,
    ".musicxml": _musicxml,
}
