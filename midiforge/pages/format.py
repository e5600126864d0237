"""What a format of pages is."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from midiforge.files.own_file import Seal
from midiforge.files.record import Unsealed
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.pages.paper import Paper

if TYPE_CHECKING:
    from midiforge.pages.booklet import Booklet
    from midiforge.pages.widths import Layout


@frozen
class Content:
    """What is to be read.

    text: the teacher's own, for the student; paragraphs are parted by empty lines.
    paper, with_counts: how pages look, where there are some; whether the counts stand below the
        notes.
    """

    title: str
    text: str
    exercises: Iterable[Exercise]
    kit: Kit
    paper: Paper
    with_counts: bool

    def booklet(self, layout: "Layout") -> "Booklet":
        """The content engraved."""
        from midiforge.pages.booklet import booklet
        from midiforge.pages.engrave import Engraver

        return booklet(self.title, self.text, self.exercises, Engraver(), layout)


@frozen
class Format:
    """A format, as its module in `midiforge.pages.formats` declares it; what it needs to write is
    imported when it writes.

    endings: of its files, the usual one first. gives: what comes of it, in a few words.
    make: the whole content of a file, which ends with a line's end.
    seal: how a file is told as ours to replace: by a remark that its readers skip, or `Unsealed`
        where a format has none.
    meant_by: endings that nothing is written as, and that may be meant for this one.
    """

    endings: tuple[str, ...]
    gives: str
    make: Callable[[Content], str | bytes]
    seal: Seal | Unsealed
    meant_by: tuple[str, ...] = ()
