"""PDF."""

from midiforge.files.own_file import Seal
from midiforge.pages.format import Content, Format


def _pdf(content: Content) -> bytes:
    from midiforge.pages.pdf import pdf
    from midiforge.pages.widths import Layout

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return pdf(content.booklet(layout), content.paper)


FORMAT = Format((".pdf",), "a booklet", _pdf, Seal("% midiforge sheet, sha256 {}\n"))
