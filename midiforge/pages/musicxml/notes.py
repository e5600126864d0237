"""The notes of a voice: noteheads, values, grace notes, marks, letters."""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from operator import attrgetter
from typing import NamedTuple
from xml.sax.saxutils import escape

from midiforge.model.spelling import spelled
from midiforge.notation.chords import ChordSign
from midiforge.notation.rhythm import VALUES
from midiforge.notation.score import FEET_VOICE, Group, Head, Note, Tuplet, Value, Voice
from midiforge.pages.musicxml.harmony import harmony

_TECHNICAL = {
    "open": "open",
    # A circle with a stroke (from memory), where the usual sign is a circled plus.
    "half-open": 'half-muted smufl="guitarHalfOpenPedal"',
    "closed": "stopped",
}
_STEMLESS = VALUES[Fraction(4)]
_VOICE = attrgetter("voice")


def in_divisions(divisions: int, length: Fraction) -> int:
    """A length in quarter notes as a number of divisions of a quarter."""
    return length.numerator * divisions // length.denominator


class Hand(NamedTuple):
    """How one voice of a staff is written: its number, its stems, where its marks stand."""

    number: int
    stem: str
    placement: str


_HANDS = Hand(1, "up", "above")
_FEET = Hand(2, "down", "below")


def hand_of(voice: Voice) -> Hand:
    """How a voice is written."""
    return _FEET if voice.name == FEET_VOICE else _HANDS


def whole_bar_rest(length: int, number: int) -> str:
    """A rest of `length` divisions that fills a bar, in the voice of that number."""
    return (
        f'<note><rest measure="yes"/><duration>{length}</duration><voice>{number}</voice></note>\n'
    )


def notes(
    voice: Voice,
    part: str,
    divisions: int,
    counts: Mapping[Fraction, str],
    chords: Sequence[ChordSign],
) -> Iterator[str]:
    """The notes and rests of a voice, with counts (by time) as a second verse and chords between.

    part: the identity of its part. divisions: to a quarter note.
    """
    hand = hand_of(voice)
    for group in voice.groups:
        inside = _time_modification(group.tuplet)
        for i, (note, beams) in enumerate(zip(group.notes, group.beams, strict=True)):
            length = f"<duration>{in_divisions(divisions, note.length)}</duration>"
            value = _value(note.value, inside)
            beamed = "".join(_beam(level, word) for level, word in enumerate(beams, start=1))
            bracket = _bracket(group, i, hand) if group.tuplet else ""
            if chords:
                yield from harmonies(chords, note.start, note.start + note.length, divisions)
            if note.is_rest:
                notations = f"<notations>{bracket}</notations>" if bracket else ""
                yield (
                    f"<note><rest/>{length}<voice>{hand.number}</voice>{value}{notations}</note>\n"
                )
                continue
            yield from _grace_notes(note.grace, part, hand)
            notations = _notations(note, bracket, hand)
            lyrics = _lyric(1, _letters(note))
            if counts:
                lyrics += _lyric(2, counts.get(note.start, ""))
            for nth, head in enumerate(note.heads_by(_VOICE)):
                chord, last = ("<chord/>", "") if nth else ("", f"{beamed}{notations}{lyrics}")
                yield (
                    f"<note>{chord}{_place(head)}{length}{_ties(note)}{_instrument(part, head)}"
                    f"<voice>{hand.number}</voice>{value}{_stem(note.value, hand)}"
                    f"{_notehead(head)}{last}</note>\n"
                )


def harmonies(
    chords: Sequence[ChordSign], start: Fraction, end: Fraction | None, divisions: int
) -> Iterator[str]:
    """The chord symbols from `start` up to `end` (or all that follow), to stand before a note."""
    for sign in chords:
        if start <= sign.time and (end is None or sign.time < end):
            yield harmony(sign.symbol, in_divisions(divisions, sign.time - start))


def _beam(level: int, word: str) -> str:
    """A note's part of one beam; level 1 is that of eighths."""
    return f'<beam number="{level}">{word}</beam>'


def _letters(note: Note) -> str:
    """The sticking as a drill has it, "llR"; of their own they confuse readers.

    All the strokes of a roll, "RRLL".
    """
    letters = str(spelled(note.sticking, "".join(head.hand.lower() for head in note.grace)))
    return letters + "".join(head.hand for _, head in note.rolled)


def _place(head: Head) -> str:
    return (
        f"<unpitched><display-step>{head.sign.step}</display-step>"
        f"<display-octave>{head.sign.octave}</display-octave></unpitched>"
    )


def _instrument(part: str, head: Head) -> str:
    return f'<instrument id="{part}-{head.voice}"/>'


def _value(value: Value, inside: str) -> str:
    return f"<type>{value.name}</type>{'<dot/>' * value.dotted}{inside}"


def _stem(value: Value, hand: Hand) -> str:
    return "" if value.name == _STEMLESS else f"<stem>{hand.stem}</stem>"


def _ties(note: Note) -> str:
    return '<tie type="stop"/>' * note.goes_on + '<tie type="start"/>' * note.is_tied


def _notehead(head: Head) -> str:
    if head.is_ghost:
        return f'<notehead parentheses="yes">{head.sign.head}</notehead>'
    return "" if head.sign.head == "normal" else f"<notehead>{head.sign.head}</notehead>"


def _lyric(number: int, text: str) -> str:
    if not text:
        return ""
    return (
        f'<lyric number="{number}"><syllabic>single</syllabic><text>{escape(text)}</text></lyric>'
    )


def _grace_notes(heads: Sequence[Head], part: str, hand: Hand) -> Iterator[str]:
    """Before the beat, which is what readers take the slash for; several are beamed."""
    many = len(heads) > 1
    name = "16th" if many else "eighth"
    for i, head in enumerate(heads):
        word = "begin" if i == 0 else "end" if i == len(heads) - 1 else "continue"
        beams = _beam(1, word) + _beam(2, word) if many else ""
        yield (
            f'<note><grace slash="yes"/>{_place(head)}{_instrument(part, head)}'
            f"<voice>{hand.number}</voice><type>{name}</type><stem>{hand.stem}</stem>"
            f"{_notehead(head)}{beams}</note>\n"
        )


def _notations(note: Note, bracket: str, hand: Hand) -> str:
    marks = bracket
    if note.goes_on:
        marks += '<tied type="stop"/>'
    if note.is_tied:
        marks += '<tied type="start"/>'
    if note.slashes:
        tremolo = f'<tremolo type="single">{note.slashes}</tremolo>'
        marks += f"<ornaments>{tremolo}</ornaments>"
    if note.is_buzz:
        marks += '<ornaments><tremolo type="unmeasured">0</tremolo></ornaments>'
    if note.mark:
        marks += f'<technical><{_TECHNICAL[note.mark]} placement="{hand.placement}"/></technical>'
    if note.is_accented:
        marks += f'<articulations><accent placement="{hand.placement}"/></articulations>'
    return f"<notations>{marks}</notations>" if marks else ""


def _time_modification(tuplet: Tuplet | None) -> str:
    if tuplet is None:
        return ""
    return (
        f"<time-modification><actual-notes>{tuplet.actual}</actual-notes>"
        f"<normal-notes>{tuplet.normal}</normal-notes>"
        f"<normal-type>{tuplet.unit}</normal-type></time-modification>"
    )


def _bracket(group: Group, i: int, hand: Hand) -> str:
    """The ends of a tuplet's bracket; a beam over all of it makes the bracket needless."""
    last = len(group.notes) - 1
    bracket = "no" if group.beam == (0, last) else "yes"
    begins = (
        f'<tuplet type="start" number="1" bracket="{bracket}" placement="{hand.placement}"/>'
        if i == 0
        else ""
    )
    return begins + ('<tuplet type="stop" number="1"/>' if i == last else "")
