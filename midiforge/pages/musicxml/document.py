"""A lesson as one MusicXML 4.0 document, for programs that show, play and print scores.

https://www.w3.org/2021/06/musicxml40/

One part for the player, one for each line above its staff; every score a section of them,
begun on a new system. Measures are numbered through the whole document, since readers find
their place by the number; the number that is shown is the bar's own, within its exercise.
"""

from collections.abc import Iterable, Sequence
from math import lcm

from midiforge import __version__
from midiforge.errors import MidiforgeError
from midiforge.insight.words import paragraphs
from midiforge.kits.kit import Kit
from midiforge.library import shelf
from midiforge.notation.score import PLAYERS_VOICES, Score
from midiforge.pages.musicxml.directions import text_of
from midiforge.pages.musicxml.measures import Staff, frames, measures, parts_of_a_quarter
from midiforge.pages.paper import Paper, paper_of

PLAYER = "Drum set"

_NAME = "score-partwise"
_PREAMBLE = f"""<?xml version="1.0" encoding="UTF-8" standalone="no"?>
<!DOCTYPE {_NAME} PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"\
 "http://www.musicxml.org/dtds/partwise.dtd">
"""
_ENCODING = f"""<encoding><software>midiforge {__version__}</software>\
<supports element="beam" type="yes"/>\
<supports element="stem" type="yes"/>\
<supports element="print" attribute="new-system" type="yes" value="yes"/></encoding>"""


def musicxml(
    title: str,
    scores: Iterable[Score],
    kit: Kit,
    *,
    paper: Paper | None = None,
    with_counts: bool = False,
    text: str = "",
) -> bytes:
    """One MusicXML document of a whole lesson, in UTF-8; the same lesson gives the same bytes.

    kit: its channel and note numbers are what readers play.
    paper: what pages are laid out for; A4 if not given.
    text: what the student is to read; it stands among the words of the first page.
    with_counts: whether what is counted aloud stands below the sticking, as a second verse.
    Raises MidiforgeError for a voice that the kit has no sound for, and where there is no score
    at all, which MusicXML cannot say.
    """
    paper = paper or paper_of("a4")
    written = tuple(scores)
    if not written:
        raise MidiforgeError("there is no exercise to write down")
    divisions = lcm(*map(parts_of_a_quarter, written))
    measured = tuple(frames(written, divisions, paper, with_counts))
    staves = _staves(written)
    out = [_PREAMBLE, f'<{_NAME} version="4.0">\n']
    if title.strip():
        out.append(f"<work><work-title>{text_of(title)}</work-title></work>\n")
    out.append(f"<identification>{_ENCODING}</identification>\n{_defaults(paper)}\n")
    out += (_credit(paragraph) for paragraph in paragraphs(text))
    out.append("<part-list>\n")
    out += (_score_part(staff, kit) for staff in staves)
    out.append("</part-list>\n")
    for staff in staves:
        out.append(f'<part id="{staff.id}">\n')
        out += measures(staff, measured, divisions, is_top=staff is staves[0])
        out.append("</part>\n")
    out.append(f"</{_NAME}>\n")
    return "".join(out).encode()


# The head of the document


def _defaults(paper: Paper) -> str:
    def tenths(mm: float) -> str:
        return f"{mm / paper.space * 10:.2f}"

    width, height, margin = map(tenths, (paper.width, paper.height, paper.margin))
    margins = "".join(
        f"<{side}-margin>{margin}</{side}-margin>" for side in ("left", "right", "top", "bottom")
    )
    return (
        f"<defaults><scaling><millimeters>{4 * paper.space:g}</millimeters>"
        "<tenths>40</tenths></scaling>"
        f"<page-layout><page-height>{height}</page-height><page-width>{width}</page-width>"
        f'<page-margins type="both">{margins}</page-margins></page-layout></defaults>'
    )


def _credit(paragraph: str) -> str:
    return f'<credit page="1"><credit-words>{text_of(paragraph)}</credit-words></credit>\n'


def _staves(written: Sequence[Score]) -> tuple[Staff, ...]:
    """The parts from the top: the lines above the player's staff, then the player."""
    own: dict[str, None] = {}  # voices, which come once
    above: dict[str, dict[str, None]] = {}
    titles: dict[str, str] = {}
    for score in written:
        own |= dict.fromkeys(head.voice for head in score.heads(*PLAYERS_VOICES))
        for name in score.above:
            titles.setdefault(name, score.title_above(name))
            above.setdefault(name, {}).update(
                dict.fromkeys(head.voice for head in score.heads(name))
            )
    return (
        *(
            Staff(f"P{number}", titles[name], 1, (name,), tuple(voices))
            for number, (name, voices) in enumerate(above.items(), start=2)
        ),
        Staff("P1", PLAYER, 5, PLAYERS_VOICES, tuple(own)),
    )


def _score_part(staff: Staff, kit: Kit) -> str:
    voices = shelf.voices()
    program = f"<midi-program>{kit.program}</midi-program>" if kit.program else ""
    out = [f'<score-part id="{staff.id}"><part-name>{text_of(staff.name)}</part-name>\n']
    for name in staff.instruments:
        title = voices[name].title if name in voices else name
        out.append(
            f'<score-instrument id="{staff.id}-{name}">'
            f"<instrument-name>{text_of(title)}</instrument-name></score-instrument>\n"
        )
    for name in staff.instruments:
        out.append(
            f'<midi-instrument id="{staff.id}-{name}"><midi-channel>{kit.channel}</midi-channel>'
            # Counted from 1 here, unlike everywhere else.
            f"{program}<midi-unpitched>{kit.note(name) + 1}</midi-unpitched></midi-instrument>\n"
        )
    return "".join((*out, "</score-part>\n"))
