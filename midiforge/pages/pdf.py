"""The booklet on paper. Set by the typesetting library typst, which embeds all fonts."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

from midiforge import __version__
from midiforge.errors import MidiforgeError
from midiforge.pages.booklet import ABOUT, CAUTIONS, Booklet, Entry
from midiforge.pages.drawing import in_lines, line_svg
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
_KEPT_WHOLE = 3  # so many lines of music are never parted
_SHORT_TEXT = 600  # letters that stay with the music above them

# All that varies comes in as string literals or lengths, so that no text is read as markup.
_RULES = """
#set document(title: {title}, author: (), keywords: ("midiforge {version}",), date: none)
#set page(paper: "{paper}", margin: (x: {margin}mm, top: {margin}mm, bottom: {margin}mm),
  footer: context [#set text(size: 0.8em, fill: luma(90))
    #text({short}) #h(1fr) #counter(page).display("1 / 1", both: true)])
#set text(font: ("{font}", "DejaVu Sans Mono"), size: {size}pt, lang: "en")
#set par(leading: 0.6em)
#show heading.where(level: 1): it => block(below: 0.9em, text(size: 1.75em, it.body))
#show heading.where(level: 2): it => block(above: 1.5em, below: 0.7em, text(size: 1.2em, it.body))
#show heading.where(level: 3): it => it.body
#let faint(body) = text(fill: luma(90), body)
#let page-of(name) = context link(label(name), str(counter(page).at(label(name)).first()))
#let blank(width) = box(width: width, height: 0.7em, stroke: (bottom: 0.5pt))
#let tick = box(width: 0.75em, height: 0.75em, baseline: 0.08em, stroke: 0.6pt, radius: 0.1em)
#let tempos(pulse, all, feel) = [#text(pulse) #h(0.2em) = #h(0.5em)
  #for each in all [#box[#tick #h(0.15em) #text(each)] #h(0.9em)] #h(0.4em) #strong(text(feel))]
#let exercise(number, name, title, job, tempo, facts) = block(below: 0.5em, sticky: true, {{
  grid(columns: (auto, 1fr), column-gutter: 0.8em,
    text(size: 1.25em, weight: "bold", number),
    [#heading(level: 3, outlined: true, text(size: 1.1em, title)) #label(name)])
  v(-0.1em)
  if job != "" {{ block(above: 0.55em, below: 0.55em, emph(text(job))) }}
  block(above: 0.55em, [#tempo #h(1fr) reached #blank(3.2em) on #blank(5em)])
  if facts != "" {{ block(above: 0.5em, faint(text(size: 0.92em, facts))) }}
}})
#let music(width, svg) = image(bytes(svg), format: "svg", width: width * 1mm, alt: "drum notation")
"""


def pdf(booklet: Booklet, paper: Paper) -> bytes:
    """The booklet as a PDF document. Raises MidiforgeError where typst is not installed."""
    try:
        import typst
    except ImportError:
        raise MidiforgeError(
            "PDF needs the package typst", hint='pip install "midiforge[pages]"'
        ) from None
    compiler: Any = typst
    source = "\n".join(_source(booklet, paper))
    made: bytes = compiler.compile(source.encode(), format="pdf", timestamp=0)
    return made if made.endswith(b"\n") else made + b"\n"


def _source(booklet: Booklet, paper: Paper) -> Iterator[str]:
    yield _RULES.format(
        title=_string(booklet.title),
        short=_string(_cut(booklet.title, 60)),
        version=__version__,
        paper=_PAPERS[paper.name],
        margin=paper.margin,
        font=FONT,
        size=13 if paper.is_large else 10.5,
    )
    yield f"#heading(level: 1, text({_string(_breakable(_cut(booklet.title, 300)))}))"
    for paragraph in booklet.text:
        yield f"#text({_string(_breakable(paragraph))})#parbreak()"
    yield f"#text({_string(ABOUT)})"
    yield from _order(booklet)
    yield from _key(booklet, paper)
    yield "== Look after yourself"
    for caution in CAUTIONS:
        yield f"- #text({_string(caution)})"
    yield "#v(1.5em)"
    for entry in booklet.entries:
        yield from _exercise(entry, booklet, paper)


def _order(booklet: Booklet) -> Iterator[str]:
    yield "== Practice order"
    rows = "\n".join(
        f"  text({_string(entry.number)}), link(label({_string(entry.anchor)}), "
        f"text({_string(_breakable(entry.title))})), text({_string(', '.join(entry.tempos))}), "
        f"page-of({_string(entry.anchor)}), blank(3em),"
        for entry in booklet.entries
    )
    yield (
        "#table(columns: (auto, 1fr, auto, auto, auto), stroke: (x, y) => "
        "(bottom: if y == 0 { 0.6pt } else { 0.2pt + luma(170) }), inset: (x: 4pt, y: 3.2pt),\n"
        '  align: (right, left, left, right, left),\n  table.header(faint("No."), '
        'faint("exercise"), faint("tempos"), faint("page"), faint("reached")),\n' + rows + ")"
    )


def _key(booklet: Booklet, paper: Paper) -> Iterator[str]:
    if not booklet.key:
        return
    yield "== Key"
    signs = "\n".join(
        "  block(breakable: false, align(center)["
        f"{_image([sign.piece], booklet, paper, booklet.key_height)}\n"
        f"    #v(-0.5em) #text(size: 0.85em, {_string(sign.title)})]),"
        for sign in booklet.key
    )
    columns = 5 if paper.is_large else 7
    yield f"#grid(columns: (1fr,) * {columns}, row-gutter: 0.8em, column-gutter: 0.4em,\n{signs})"
    legend = "\n".join(
        f"  align(center, strong(text({_string(sign)}))), text({_string(meaning)}),"
        for sign, meaning in booklet.legend
    )
    if legend:
        yield (
            "#grid(columns: (auto, 1fr, auto, 1fr), column-gutter: 0.9em, row-gutter: 0.7em,\n"
            f"{legend})"
        )
    yield (
        "#text(size: 0.85em, fill: luma(90))[Hands stems up, feet stems down. Places on the staff "
        "after N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994.]"
    )


def _exercise(entry: Entry, booklet: Booklet, paper: Paper) -> Iterator[str]:
    lines = [*in_lines(entry.setting, paper.line)]
    images = [_image(line, booklet, paper, entry.setting.height) for line in lines]
    tempos = "".join(f"{_string(each)}, " for each in entry.tempos)
    head = (
        f"#exercise({_string(entry.number)}, {_string(entry.anchor)}, "
        f"{_string(_breakable(entry.title))}, {_string(entry.job)}, "
        f"tempos({_string(entry.pulse)}, ({tempos}), {_string(entry.feel)}), "
        f"{_string(' · '.join(entry.facts))})"
    )
    own = [f"#block(above: 0.9em)[#text({_string(_breakable(each))})]" for each in entry.text]
    kept = own if sum(map(len, entry.text)) < _SHORT_TEXT else []
    room = (paper.height - 2 * paper.margin) * 0.8
    high = entry.setting.height / _TENTHS * paper.space
    if len(lines) <= _KEPT_WHOLE and len(lines) * high < room:
        yield _together([head, *images, *kept])
    else:
        # A line stays with the title and two at the end with each other, so that pages are
        # filled and no line stands alone on one.
        yield _together([head, images[0]])
        for image in images[1:-2]:
            yield _together([image])
        yield _together([*images[-2:], *kept] if len(images) > 2 else [*images[1:], *kept])
    yield from () if kept else own
    yield "#v(1.2em)"


def _together(parts: Sequence[str]) -> str:
    """A heading and lines of music that no page break parts."""
    content = "\n".join(f"#block(above: 0.3em, below: 0.3em)[{each}]" for each in parts)
    return f"#block(breakable: false, above: 0.3em, below: 0.3em)[{content}]"


def _image(line: list[Any], booklet: Booklet, paper: Paper, height: float) -> str:
    width, svg = line_svg(line, height, booklet.glyphs, f"'{FONT}'", _SIGNS)
    mm = width / _TENTHS * paper.space
    return f"#music({mm:.2f}, {_string(svg)})"


def _string(text: str) -> str:
    """A text as a literal that typst reads back as it was; control characters are left out."""
    kept = printable(text, "", besides="\u200b\u200c\u200d\u200e\u200f")
    return '"' + kept.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "\u2026"


def _breakable(text: str) -> str:
    """The text, in which words longer than a line may be broken."""
    return re.sub(r"\S{24}(?=\S{8})", lambda found: found[0] + "\u200b", text)
