"""MusicXML."""

from midiforge.files.own_file import Seal
from midiforge.pages.format import Content, Format


def _musicxml(content: Content) -> str | bytes:
    from midiforge.notation.write import scores
    from midiforge.pages.musicxml import musicxml

    return musicxml(
        content.title,
        scores(content.exercises),
        content.kit,
        paper=content.paper,
        with_counts=content.with_counts,
        text=content.text,
    )


FORMAT = Format(
    (".musicxml",),
    "a score for notation programs",
    _musicxml,
    Seal("<!-- midiforge sheet, sha256 {} -->\n"),
    meant_by=(".xml", ".mxl"),
)
