"""SVG."""

from midiforge.files.own_file import Seal
from midiforge.pages.format import Content, Format


def _svg(content: Content) -> str:
    from midiforge.pages.svg import svg
    from midiforge.pages.widths import Layout

    line = content.paper.line
    layout = Layout(line, fill=line, with_counts=content.with_counts)
    return svg(content.booklet(layout), content.paper)


FORMAT = Format((".svg",), "a picture", _svg, Seal("<!-- midiforge sheet, sha256 {} -->\n"))
