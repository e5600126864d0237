"""HTML."""

from midiforge.files.own_file import Seal
from midiforge.pages.format import Content, Format


def _html(content: Content) -> str:
    from midiforge.pages.html import WIDEST, html
    from midiforge.pages.widths import Layout

    # On a narrow screen a sign for the bar before would stand alone on its line.
    layout = Layout(WIDEST, with_counts=content.with_counts, with_similes=False)
    return html(content.booklet(layout), content.paper)


FORMAT = Format(
    (".html",), "pages that can be heard", _html, Seal("<!-- midiforge sheet, sha256 {} -->\n")
)
