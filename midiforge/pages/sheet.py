"""A lesson's pages, in the format that a file's ending names."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.files.disk import check_name, writing
from midiforge.files.own_file import Ours, Seal, Unsealed
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.pages.names import UNNAMED, Names
from midiforge.pages.paper import Paper

if TYPE_CHECKING:
    from midiforge.pages.booklet import Booklet


@frozen
class Content:
    """What is to be read.

    text: the teacher's own, for the student; paragraphs are parted by empty lines.
    paper, with_counts: how pages look, where there are some; whether the counts stand below the
        notes. names: of whom they are for and from. done: told how many exercises more are.
    """

    title: str
    text: str
    exercises: Iterable[Exercise]
    kit: Kit
    paper: Paper
    with_counts: bool
    names: Names = UNNAMED
    done: Callable[[int], object] = lambda _: None

    @property
    def in_turn(self) -> Iterator[Exercise]:
        """The exercises, each told of as done when the next is asked for."""
        for exercise in self.exercises:
            yield exercise
            self.done(1)

    def booklet(self, widest: float = 0.0) -> "Booklet":
        """The content engraved in lines that fill the paper, or in pieces that a screen makes lines
        of, none of them with its clef wider than `widest`."""
        from midiforge.engraving.engrave import Engraver
        from midiforge.engraving.widths import Layout
        from midiforge.pages.booklet import booklet

        fill = 0.0 if widest else self.paper.line
        layout = Layout(widest or fill, fill, self.with_counts)
        engraver, head = Engraver(), (self.title, self.text)
        return booklet(*head, self.exercises, engraver, layout, self.names, self.done)


@frozen
class Format:
    """A format of pages.

    ending: of its files. gives: what comes of it, in a few words.
    make: the whole content of a file, which ends with a line's end; what that needs is imported
        when it is called.
    seal: how a file is told as ours to replace: by a remark that its readers skip, or `Unsealed`
        where a format has none.
    meant_by: endings that nothing is written as, and that may be meant for this one.
    """

    ending: str
    gives: str
    make: Callable[[Content], str | bytes]
    seal: Ours
    meant_by: tuple[str, ...] = ()


def _csv(content: Content) -> str:
    from midiforge.pages.hits import table

    return table(content.in_turn, content.kit)


def _html(content: Content) -> str:
    from midiforge.pages.html import WIDEST, html

    return html(content.booklet(WIDEST), content.paper, content.kit)


def _musicxml(content: Content) -> bytes:
    from midiforge.notation.write import scores
    from midiforge.pages.musicxml import musicxml

    return musicxml(
        content.title,
        scores(content.in_turn),
        content.kit,
        paper=content.paper,
        with_counts=content.with_counts,
        text=content.text,
    )


def _pdf(content: Content) -> bytes:
    from midiforge.pages.pdf import pdf

    return pdf(content.booklet(), content.paper)


def _svg(content: Content) -> str:
    from midiforge.pages.svg import svg

    return svg(content.booklet(), content.paper)


_REMARK = Seal("<!-- midiforge sheet, sha256 {} -->\n")
_DECLARED = (
    Format(".csv", "all strokes as a table", _csv, Unsealed()),
    Format(".html", "pages that can be heard", _html, _REMARK),
    Format(".musicxml", "a score for notation programs", _musicxml, _REMARK, (".xml", ".mxl")),
    Format(".pdf", "a booklet", _pdf, Seal("% midiforge sheet, sha256 {}\n")),
    Format(".svg", "a picture", _svg, _REMARK),
)
FORMATS: Mapping[str, Format] = {declared.ending: declared for declared in _DECLARED}


def formats_said() -> str:
    """The formats for whoever chooses: ".html (pages to hear), .pdf (a booklet) or ..."."""
    *others, last = (f"{declared.ending} ({declared.gives})" for declared in _DECLARED)
    return f"{', '.join(others)} or {last}"


def write_sheet(
    path: Path,
    title: str,
    exercises: Iterable[Exercise],
    kit: Kit,
    paper: Paper,
    with_counts: bool = False,
    text: str = "",
    names: Names = UNNAMED,
    done: Callable[[int], object] = lambda _: None,
) -> None:
    """Writes exercises as pages, in one of `FORMATS` by the ending of `path`.

    text: what the student is to read under the title; an empty line begins a paragraph.
    names: of student and teacher, and the date, at the head of a booklet. done: told how many
        exercises more are done.
    Raises MidiforgeError for an unknown ending, for what a staff cannot show, for a library
    that is not installed, and where a file is in the way that midiforge did not write; nothing
    is written then.
    """
    wanted = FORMATS.get(path.suffix.lower())
    if wanted is None:
        raise WrongArgument(_unknown(path), "path", hint="one of " + ", ".join(FORMATS))
    _check_place(path)
    wanted.seal.check(path)
    content = Content(title, text, exercises, kit, paper, with_counts, names, done)
    wanted.seal.write(path, wanted.make(content))


def _unknown(path: Path) -> str:
    ending = path.suffix.lower()
    if not ending:
        return f"{quoted(path.name)} has no ending that names a format"
    if ending in (".mid", ".midi"):
        return "pages are no MIDI file, midiforge build writes those"
    meant = [f"did you mean {own.ending!r}?" for own in _DECLARED if ending in own.meant_by]
    guess = meant[0] if meant else nearest(ending, FORMATS)
    said = f"no pages are written as {quoted(path.suffix)}"
    return f"{said}, {guess}" if guess.startswith("did") else said


def _check_place(path: Path) -> None:
    """Raises MidiforgeError, before the work, if no file can be there."""
    check_name(path)
    with writing(path):
        if path.is_dir():
            raise MidiforgeError("is a folder, not a file", str(path))
        if not path.exists() and not path.parent.is_dir():
            raise MidiforgeError("is not a folder", str(path.parent))
