"""A lesson's pages in the format that a file's ending names."""

from collections.abc import Iterable
from pathlib import Path

from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.files.disk import check_name, reason
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.pages.format import Content
from midiforge.pages.formats import FORMATS
from midiforge.pages.paper import Paper


def write_sheet(
    path: Path,
    title: str,
    exercises: Iterable[Exercise],
    kit: Kit,
    paper: Paper,
    with_counts: bool = False,
    text: str = "",
) -> None:
    """Writes exercises as pages, in one of `FORMATS` by the ending of `path`.

    text: what the student is to read under the title; an empty line begins a paragraph.
    Raises MidiforgeError for an unknown ending, for what a staff cannot show, for a library
    that is not installed, and where a file is in the way that midiforge did not write; nothing
    is written then.
    """
    wanted = FORMATS.get(path.suffix.lower())
    if wanted is None:
        raise WrongArgument(_unknown(path), "path", hint="one of " + ", ".join(FORMATS))
    _check_place(path)
    wanted.seal.check(path)
    wanted.seal.write(path, wanted.make(Content(title, text, exercises, kit, paper, with_counts)))


def _unknown(path: Path) -> str:
    ending = path.suffix.lower()
    if not ending:
        return f"{quoted(path.name)} has no ending that names a format"
    if ending in (".mid", ".midi"):
        return "pages are no MIDI file, midiforge build writes those"
    meant = [name for name, each in FORMATS.items() if ending in each.meant_by]
    guess = f"did you mean {meant[0]!r}?" if meant else nearest(ending, FORMATS)
    return f"no pages are written as {quoted(path.suffix)}" + (
        f", {guess}" if guess.startswith("did") else ""
    )


def _check_place(path: Path) -> None:
    """Raises MidiforgeError, before the work, if no file can be there."""
    check_name(path)
    try:
        if path.is_dir():
            raise MidiforgeError("is a folder, not a file", str(path))
        if not path.exists() and not path.parent.is_dir():
            raise MidiforgeError("is not a folder", str(path.parent))
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None
