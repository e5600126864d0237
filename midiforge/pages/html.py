"""The booklet as one HTML file: to read on any screen, to hear, to print."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from midiforge import __version__
from midiforge.engraving.drawing import STYLE, Piece, bar_number, joined, sign_definitions
from midiforge.engraving.ink import moved
from midiforge.engraving.shapes import SPACE
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.pages.aloud import pieces_said
from midiforge.pages.booklet import ABOUT, CAUTIONS, PLACES, Booklet, Entry, Group
from midiforge.pages.due import hearing
from midiforge.pages.paper import Paper
from midiforge.pages.script import script
from midiforge.pages.sound import Place, sound
from midiforge.svg import Svg, element, escaped, inline, together

_HERE = Path(__file__).parent
WIDEST = 49.0 * SPACE  # a line of music that a telephone shows at a size that can be read
_EDGES = "1.5rem"  # left and right of the music on a telephone
_SCREEN_SPACE, _LARGE_SCREEN_SPACE = 7.2, 10.0  # CSS pixels between staff lines
_NOTE_LINES = 5  # for the student, at the end of a print
_PAPER_NAMES = {"a4": "A4", "letter": "letter"}


def html(booklet: Booklet, paper: Paper, kit: Kit) -> str:
    """The booklet as an HTML document that loads nothing from elsewhere.

    Its settings come from `cut` with `WIDEST`, so that they fit a telephone. kit: the student's.
    """
    sections = [section(group, kit) for group in booklet.groups]
    heard = [exercise for own in sections for exercise in own.heard]
    data = json.dumps(
        {"hearing": hearing(kit), "exercises": heard}, separators=(",", ":"), ensure_ascii=False
    )
    data = data.replace("<", "\\u003c")  # or a name could end the script
    drawn = [piece for own in sections for piece in own.drawn]
    signs = sign_definitions(booklet.glyphs, [*drawn, *(sign.piece for sign in booklet.key)])
    scripts = ["main.js", "folds.js"]
    if any("tones" in exercise for exercise in heard):
        scripts.append("tones.js")
    if any(piece.again for piece in drawn):
        scripts.append("again.js")
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta name="generator" content="midiforge {__version__}">',
        f"<title>{escaped(booklet.title)}</title>",
        f"<style>{_style(paper)}</style></head><body>",
        element("svg", signs, class_="signs", width=0, height=0, aria_hidden="true"),
        f"<header><h1>{escaped(booklet.title)}</h1>",
        *_names(booklet),
        *_words(booklet),
        "<noscript><p>With scripts switched on, every exercise can be heard on this page; "
        "nothing is loaded for it.</p></noscript></header><main>",
        *_front(booklet),
        *(own.markup for own in sections),
        f'</main><section class="printed notes"><h2>Notes</h2>{"<i></i>" * _NOTE_LINES}</section>',
        f'<script type="application/json" id="lesson-sound">{data}</script>',
        f"<script>{script(*scripts)}</script>",
        "</body></html>",
    ]
    return "\n".join(parts) + "\n"


@frozen
class Section:
    """A family as it stands on a page.

    heard: what the player is told of each of its exercises. drawn: the music, for its signs.
    """

    markup: str
    heard: tuple[dict[str, Any], ...]
    drawn: tuple[Piece, ...]


def section(group: Group, kit: Kit, goes_on: bool = False, is_whole: bool = True) -> Section:
    """A family's markup and what is heard of it; its settings are cut with `WIDEST`.

    kit: the student's. goes_on: whether its heading stands before another part of it. is_whole:
        whether it has all its entries.
    """
    drawings = [list(_drawings(entry)) for entry in group.entries]
    heard = []
    for entry, own in zip(group.entries, drawings, strict=True):
        places = [place for number, drawing in enumerate(own) for place in _places(drawing, number)]
        heard.append(sound(entry, places, kit))
    alone = is_whole and len(group.entries) == 1
    markup = "\n".join(_group(group, iter(drawings), alone, goes_on))
    drawn = (piece for own in drawings for drawing in own for piece in drawing)
    return Section(markup, tuple(heard), tuple(drawn))


def _style(paper: Paper) -> str:
    own = (_HERE / "page.css").read_text(encoding="utf-8")
    player = (_HERE / "player.css").read_text(encoding="utf-8")
    screen = _LARGE_SCREEN_SPACE if paper.is_large else _SCREEN_SPACE
    narrow = f"calc((100vw - {_EDGES}) / {WIDEST / SPACE:g})"
    return (
        f":root{{--space:min({screen:g}px, {narrow})}}"
        f"@media(min-width:48rem){{:root{{--space:{1.25 * screen:g}px}}}}"
        f"\n{STYLE}\n{own}\n{player}\n"
        f"@page{{size:{_PAPER_NAMES[paper.name]};margin:{paper.margin:g}mm}}"
        f"@media print{{:root{{--space:{paper.space:g}mm}}}}"
    )


def _words(booklet: Booklet) -> Iterator[str]:
    """The teacher's text; a long one scrolls on a telephone, where music comes first."""
    if booklet.text:
        yield '<div class="words" tabindex="0" role="region" aria-label="From your teacher">'
        yield from _own(booklet.text)
        yield "</div>"


def _front(booklet: Booklet) -> Iterator[str]:
    """What stands before the music: folded on a screen, open on paper."""
    yield '<div class="front">'
    yield _fold("order", "Practice order")
    yield f"<p>{escaped(ABOUT)}</p><table><thead><tr><th>No.<th>exercise"
    yield "<th>tempos</tr></thead><tbody>"
    for group in booklet.groups:
        yield (
            f'<tr><td>{group.number}<td><a href="#{group.entries[0].anchor}">'
            f"{escaped(group.title)}</a>{_ways(group)}<td>{escaped(', '.join(group.tempos))}</tr>"
        )
    yield "</tbody></table></details>"
    if booklet.key:
        yield f'{_fold("key", "Key")}<ul class="voices">'
        for sign in booklet.key:
            piece = sign.piece
            drawing = _svg(piece.content, piece.width, booklet.key_height, "sign", sign.title)
            yield f"<li>{drawing}<span>{escaped(sign.title)}</span></li>"
        yield '</ul><dl class="legend">'
        for sign_text, meaning in booklet.legend:
            yield f"<div><dt>{escaped(sign_text)}</dt><dd>{escaped(meaning)}</dd></div>"
        yield f"</dl><p class=small>{PLACES}</p></details>"
    yield f"{_fold('care', 'Look after yourself')}<ul>"
    yield from (f"<li>{escaped(caution)}</li>" for caution in CAUTIONS)
    yield "</ul></details></div>"


def _fold(kind: str, title: str) -> str:
    return f'<details class="{kind}"><summary><h2>{title}</h2></summary>'


def _ways(group: Group) -> str:
    ways = (
        f'<a href="#{entry.anchor}">{escaped(way)}</a>'
        for entry, way in zip(group.entries, group.ways, strict=False)
    )
    return f": {', '.join(ways)}" if group.ways else ""


def _group(
    group: Group, drawings: Iterator[Sequence[Sequence[Piece]]], alone: bool, goes_on: bool
) -> Iterator[str]:
    """A family under its heading; an exercise that stands alone is headed by its own."""
    feel = f'<span class="feel">{escaped(group.feel)}</span>' if group.feel else ""
    head = [
        f'<span class="number">{group.number}</span> {escaped(group.title)}</h2>',
        f'<p class="job">{escaped(group.job)}</p>',
        f'<p class="tempos">{escaped(group.pulse)} = {_ticks(group.tempos)}{feel}',
    ]
    facts = f"</p>{_facts(group.facts)}"
    if alone:
        [entry] = group.entries
        yield f'<section class="group exercise" id="{entry.anchor}" {_labelled(entry.anchor)}>'
        yield f'<h2 id="{entry.anchor}-title">{"".join(head)}{_REACHED}{facts}'
        yield from _music(entry, next(drawings))
    else:
        name = f"family-{group.anchor}"
        if goes_on:
            yield '<div class="group family goes-on">'
        else:
            yield f'<section class="group family" {_labelled(name)}>'
            yield f'<h2 id="{name}-title">{"".join(head)}{facts}'
        for entry in group.entries:
            ticks = f'<span class="ticks">{_ticks(entry.tempos)}{_REACHED}</span>'
            job = f'<p class="job">{escaped(entry.job)}</p>' if entry.job else ""
            yield f'<section class="exercise" id="{entry.anchor}" {_labelled(entry.anchor)}>'
            yield (
                f'{ticks}<h3 id="{entry.anchor}-title"><span class="number">{entry.number}</span> '
                f"{escaped(entry.way)}</h3>{job}{_facts(entry.facts)}"
            )
            yield from _music(entry, next(drawings))
            yield "</section>"
    yield from _own(group.text)
    yield "</div>" if goes_on else "</section>"


def _own(paragraphs: Iterable[str]) -> Iterator[str]:
    return (f'<p class="own">{escaped(paragraph)}</p>' for paragraph in paragraphs)


def _names(booklet: Booklet) -> Iterator[str]:
    """Who it is for; what is not known stands on paper alone, to be filled in."""
    said = booklet.names.said
    kind = "names" if any(said.values()) else "names printed"
    yield f'<p class="{kind}">'
    for name, text in said.items():
        yield f"<span{'' if text else ' class=printed'}>{name} "
        yield f"<b>{escaped(text)}</b></span>" if text else "<i></i></span>"
    yield "</p>"


_REACHED = '<span class="reached">reached <i></i> on <i></i></span>'


def _labelled(name: str) -> str:
    return f'aria-labelledby="{name}-title"'


def _ticks(words: Iterable[str]) -> str:
    return "".join(f"<span class=tempo>{escaped(word)}</span>" for word in words if word)


def _facts(facts: Sequence[str]) -> str:
    return f'<p class="facts">{escaped(" · ".join(facts))}</p>' if facts else ""


def _music(entry: Entry, drawings: Sequence[Sequence[Piece]]) -> Iterator[str]:
    """The bars, which a screen makes lines of, and lines of the beats of a bar that is too wide.

    Every piece has a clef hung out at its left. Who is before it in its line lies upon it, so that
    only the first of each line shows it, and all lines begin below each other.
    """
    setting = entry.setting
    clef, height = setting.clef, setting.height
    room = f"--clef:{clef.width / SPACE:.2f}"
    yield f'<div class="player"></div><div class="music" style="{room}">'
    labels = pieces_said(entry.score, setting.pieces)
    name = f"{entry.anchor}-clef"
    for i, (drawing, label) in enumerate(zip(drawings, labels, strict=True)):
        *before, piece = drawing
        width, content = joined([*before, _with_again(piece)])
        sheet = element("rect", class_="sheet", width=width, height=height)
        hung: tuple[Svg, ...] = (element("defs", element("g", clef.content, id=name)),)
        if not before:
            number = bar_number(setting, piece)
            hung = element("use", href=f"#{name}"), number
            hung = (element("g", *hung, class_="clef", transform=moved(-clef.width, 0)),)
        drawn = together((sheet, *hung, content))
        svg = _svg(drawn, width, height, "system", label, len(drawings) - i)
        begins = '<div class="bar">' if i == 0 or _begins(piece) else ""
        ends = i + 1 == len(drawings) or _begins(drawings[i + 1][-1])
        yield f"{begins}{svg}{'</div>' * ends}"
    yield "</div>"
    yield from _own(entry.text)


def _begins(piece: Piece) -> bool:
    """Whether a bar that is written out begins, with those behind it that are the same again."""
    return piece.begins_bar and not piece.is_simile


def _drawings(entry: Entry) -> Iterator[list[Piece]]:
    """The pieces as they are drawn: clef and time signature with the first."""
    first, *others = entry.setting.pieces
    yield [entry.setting.head, first]
    for piece in others:
        yield [piece]


def _places(drawing: Sequence[Piece], number: int) -> Iterator[Place]:
    before = 0.0
    for piece in drawing:
        for time, x in piece.times:
            yield time, number, before + x
        before += piece.width
    if piece.times:
        yield _end(piece), number, before


def _end(piece: Piece) -> Fraction:
    """When a piece is over, as far as its columns tell: one more of them."""
    times = [time for time, _ in piece.times]
    return times[-1] + (times[-1] - times[-2] if len(times) > 1 else Fraction(1))


def _svg(content: Svg, width: float, height: float, kind: str, label: str, above: int = 0) -> str:
    """above: what lies above what."""
    room = f"--w:{width / SPACE:.2f}" + f";z-index:{above}" * bool(above)
    box = f"0 0 {width:.1f} {height:.1f}"
    return inline(label, content, class_=kind, style=room, viewBox=box)


def _with_again(piece: Piece) -> Piece:
    """The piece with the chords that go on, which `again.js` hides within a line."""
    if not piece.again:
        return piece
    content = together((piece.content, element("g", piece.again, class_="again")))
    return replace(piece, content=content)
