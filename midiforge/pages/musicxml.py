"""A lesson as one MusicXML 4.0 document, for programs that show, play and print scores.

https://www.w3.org/2021/06/musicxml40/

One part for the player, one for each thing that plays beside; every score a section of them,
begun on a new system. Measures are numbered through the whole document, since readers find
their place by the number; the number that is shown is the bar's own, within its exercise.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple
from xml.sax.saxutils import escape

from midiforge import __version__
from midiforge.errors import MidiforgeError
from midiforge.insight.words import ranges
from midiforge.kit import Kit
from midiforge.library import shelf
from midiforge.model.counts import UNNAMED
from midiforge.model.meter import Meter
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap, plain
from midiforge.notation.chords import ChordSign
from midiforge.notation.rhythm import VALUES, Tuplet, Value, value_of
from midiforge.notation.score import (
    FEET_VOICE,
    HANDS_VOICE,
    Bar,
    Group,
    Head,
    Note,
    Passage,
    Score,
    Voice,
)
from midiforge.notation.title import title_of
from midiforge.pages.harmony import harmony
from midiforge.pages.paper import Paper, paper_of

PLAYER = "Drum set"

# A system bears no more than this before it is hard to read.
_MOST_BARS = 4
_COLUMN = 29.0  # tenths of a staff space for the notes of one moment and the letter below
# By the length of the pair; MusicXML knows no other swung notes.
_SWING_TYPES = {Fraction(1): "eighth", Fraction(1, 2): "16th"}
_TECHNICAL = {
    "open": "open",
    # A circle with a stroke (from memory), where the usual sign is a circled plus.
    "half-open": 'half-muted smufl="guitarHalfOpenPedal"',
    "closed": "stopped",
}
_STEMLESS = VALUES[Fraction(4)]
_NAME = "score-partwise"
_PREAMBLE = f"""<?xml version="1.0" encoding="UTF-8" standalone="no"?>
<!DOCTYPE {_NAME} PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"\
 "http://www.musicxml.org/dtds/partwise.dtd">
"""
_ENCODING = f"""<encoding><software>midiforge {__version__}</software>\
<supports element="beam" type="yes"/>\
<supports element="stem" type="yes"/>\
<supports element="print" attribute="new-system" type="yes" value="yes"/></encoding>"""
_LINE_BREAKS = re.compile("[\t\n\r]+")
# What XML 1.0 does not allow in a document, even escaped (section 2.2, Char).
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class _Staff(NamedTuple):
    """A part of the document.

    voices: what it writes of a bar, by the voices' names.
    instruments: the library's names of the voices in it.
    """

    id: str
    name: str
    lines: int
    voices: tuple[str, ...]
    instruments: tuple[str, ...]


class _Hand(NamedTuple):
    """How one voice of a staff is written: its number, its stems, where its marks stand."""

    number: int
    stem: str
    placement: str


_HANDS = _Hand(1, "up", "above")
_FEET = _Hand(2, "down", "below")


class _Frame(NamedTuple):
    """What every part has of one measure, and what the top one has above it.

    opening: what comes before the notes, in all parts: breaks and barlines.
    time: the time signature, where it is new.
    directions: words and marks, in the top part only.
    chords: those that are printed, in the player's part only.
    """

    bar: Bar
    opening: str
    time: str
    directions: str
    closing: str
    length: int
    counts: Mapping[Fraction, str]
    chords: tuple[ChordSign, ...]


def musicxml(
    title: str,
    scores: Iterable[Score],
    kit: Kit,
    *,
    paper: Paper | None = None,
    with_counts: bool = False,
) -> bytes:
    """One MusicXML document of a whole lesson, in UTF-8; the same lesson gives the same bytes.

    kit: its channel and note numbers are what readers play.
    paper: what pages are laid out for; A4 if not given.
    with_counts: whether what is counted aloud stands below the sticking, as a second verse.
    Raises MidiforgeError for a voice that the kit has no sound for, and where there is no score
    at all, which MusicXML cannot say.
    """
    paper = paper or paper_of("a4")
    written = tuple(scores)
    if not written:
        raise MidiforgeError("there is no exercise to write down")
    divisions = lcm(*map(_parts_of_a_quarter, written))
    frames = tuple(_frames(written, divisions, paper, with_counts))
    staves = _staves(written)
    out = [_PREAMBLE, f'<{_NAME} version="4.0">\n']
    if title.strip():
        out.append(f"<work><work-title>{_text(title)}</work-title></work>\n")
    out.append(f"<identification>{_ENCODING}</identification>\n{_defaults(paper)}\n<part-list>\n")
    out += (_score_part(staff, kit) for staff in staves)
    out.append("</part-list>\n")
    for staff in staves:
        out.append(f'<part id="{staff.id}">\n')
        out += _measures(staff, frames, divisions, is_top=staff is staves[0])
        out.append("</part>\n")
    out.append(f"</{_NAME}>\n")
    return "".join(out).encode()


# The head of the document


def _text(text: str) -> str:
    """A text as the content of an element: escaped, on one line, without what XML forbids."""
    return escape(_FORBIDDEN.sub("", _LINE_BREAKS.sub(" ", text)))


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


def _staves(written: Sequence[Score]) -> tuple[_Staff, ...]:
    """The parts from the top: what plays beside the player, then the player."""
    own = dict.fromkeys(voice for score in written for _, voice, _ in score.signs)
    beside: dict[str, dict[str, None]] = {}
    titles: dict[str, str] = {}
    for score in written:
        for name in score.beside:
            found = beside.setdefault(name, {})
            titles.setdefault(name, score.beside_title(name))
            for bar in score.bars:
                voice = bar.voice(name)
                for note in voice.notes if voice else ():
                    found.update(dict.fromkeys(head.voice for head in note.heads))
    return (
        *(
            _Staff(f"P{number}", titles[name], 1, (name,), tuple(voices))
            for number, (name, voices) in enumerate(beside.items(), start=2)
        ),
        _Staff("P1", PLAYER, 5, (HANDS_VOICE, FEET_VOICE), tuple(own)),
    )


def _score_part(staff: _Staff, kit: Kit) -> str:
    voices = shelf.voices()
    program = f"<midi-program>{kit.program}</midi-program>" if kit.program else ""
    out = [f'<score-part id="{staff.id}"><part-name>{_text(staff.name)}</part-name>\n']
    for name in staff.instruments:
        title = voices[name].title if name in voices else name
        out.append(
            f'<score-instrument id="{staff.id}-{name}">'
            f"<instrument-name>{_text(title)}</instrument-name></score-instrument>\n"
        )
    for name in staff.instruments:
        out.append(
            f'<midi-instrument id="{staff.id}-{name}"><midi-channel>{kit.channel}</midi-channel>'
            # Counted from 1 here, unlike everywhere else.
            f"{program}<midi-unpitched>{kit.note(name) + 1}</midi-unpitched></midi-instrument>\n"
        )
    return "".join((*out, "</score-part>\n"))


# What all parts share


def _parts_of_a_quarter(score: Score) -> int:
    """Into how many parts a quarter must be divided for every length in a score."""
    lengths = {score.exercise.meter.bar}
    for bar in score.bars:
        for voice in bar.voices:
            lengths.update(note.length for note in voice.notes)
        lengths.update(sign.time for sign in bar.chords)
    return lcm(*(length.denominator for length in lengths))


def _frames(
    written: Sequence[Score], divisions: int, paper: Paper, with_counts: bool
) -> Iterator[_Frame]:
    meter: Meter | None = None
    swing: Swing | None = None
    for score in written:
        exercise = score.exercise
        bar_length = _in(divisions, exercise.meter.bar)
        counts = {at: said for at, said in score.counts if with_counts and said != UNNAMED}
        first, last = score.passages[0].bars[0], score.passages[-1].bars[-1]
        in_a_system = _bars_in_a_system(score, paper)
        for passage in score.passages:
            for bar in passage.bars:
                begins = meter is not None and (bar.number - first.number) % in_a_system == 0
                opening = '<print new-system="yes"/>\n' if begins else ""
                time, said = "", ""
                if bar is first:
                    if exercise.meter != meter:
                        time = _time(exercise.meter)
                    said = _title(score) + _tempo(score)
                    if exercise.swing != swing and (swing or not exercise.swing.is_straight):
                        said += _swing(exercise.swing)
                        swing = exercise.swing
                    meter = exercise.meter
                if bar.words:
                    words = f'<words enclosure="rectangle">{_text(bar.words)}</words>'
                    said += _direction(words)
                opening += _left_barline(passage, bar)
                if passage.times > 1 and bar is passage.bars[-1]:
                    said += _direction(f"<words>{passage.times} times</words>")
                closing = _right_barline(passage, bar, is_end=bar is last)
                # What goes on is printed again where a system begins.
                chords = tuple(sign for sign in bar.chords if begins or not sign.goes_on)
                yield _Frame(bar, opening, time, said, closing, bar_length, counts, chords)


def _bars_in_a_system(score: Score, paper: Paper) -> int:
    """How many bars a line of the page bears, shared out evenly among its lines."""
    bars = list(score.bars)
    columns = max(len({note.start for voice in bar.voices for note in voice.notes}) for bar in bars)
    most = max(1, min(_MOST_BARS, int(paper.line / _COLUMN) // columns))
    systems = -(-len(bars) // most)
    return -(-len(bars) // systems)


def _in(divisions: int, length: Fraction) -> int:
    return length.numerator * divisions // length.denominator


def _time(meter: Meter) -> str:
    beats, unit = str(meter).split("/")
    return f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"


def _left_barline(passage: Passage, bar: Bar) -> str:
    if passage.times == 1 or bar is not passage.bars[0]:
        return ""
    return (
        '<barline location="left"><bar-style>heavy-light</bar-style>'
        '<repeat direction="forward"/></barline>\n'
    )


def _right_barline(passage: Passage, bar: Bar, is_end: bool) -> str:
    repeats = passage.times > 1 and bar is passage.bars[-1]
    if not (repeats or is_end):
        return ""
    repeat = f'<repeat direction="backward" times="{passage.times}"/>' if repeats else ""
    return f'<barline location="right"><bar-style>light-heavy</bar-style>{repeat}</barline>\n'


# Words and marks above the top part


def _direction(kind: str, sound: str = "") -> str:
    return (
        f'<direction placement="above"><direction-type>{kind}</direction-type>{sound}</direction>\n'
    )


def _title(score: Score) -> str:
    numbers = ranges(each.order for each in score.exercises if each.order)
    mark = _direction(f"<rehearsal>{numbers}</rehearsal>") if numbers else ""
    title = _text(title_of(score.exercise))
    return mark + _direction(f'<words font-weight="bold" font-size="12">{title}</words>')


def _tempo(score: Score) -> str:
    """The first tempo as a mark that readers play, and in words what else it is played at."""
    tempo = score.exercise.tempo
    unit = value_of(tempo.pulse)
    if unit is None:
        pulse = score.exercise.meter.pulse_name
        mark = f"<words>{_text(pulse)} = {plain(tempo.first)}</words>"
    else:
        mark = (
            f"<metronome><beat-unit>{unit.name}</beat-unit>{'<beat-unit-dot/>' * unit.dotted}"
            f"<per-minute>{plain(tempo.first)}</per-minute></metronome>"
        )
    others = [plain(each.tempo.first) for each in score.exercises[1:]]
    words = f"also at {', '.join(others)}" if others else _ramp(tempo, score.exercise.meter)
    said = _direction(mark, sound=f'<sound tempo="{_decimal(tempo.first * tempo.pulse)}"/>')
    return said + _direction(f"<words>{_text(words)}</words>") if words else said


def _ramp(tempo: TempoMap, meter: Meter) -> str:
    if len(tempo.changes) == 1:
        return ""
    (start, slow), (second, fast) = tempo.changes[:2]
    bars = int((second - start) / meter.bar)
    change = f"{plain(abs(fast - slow))} {'more' if fast > slow else 'less'}"
    return f"{tempo}, {change} every {f'{bars} bars' if bars > 1 else 'bar'}"


def _decimal(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")


def _swing(swing: Swing) -> str:
    kind = _SWING_TYPES.get(swing.pair, "")
    if swing.is_straight:
        return _direction(
            "<words>straight</words>", sound="<sound><swing><straight/></swing></sound>"
        )
    ratio = swing.share / (1 - swing.share)
    first, second = ratio.numerator, ratio.denominator
    words = f"<words>swung {kind or 'note'}s {first}:{second}</words>"
    if not kind:
        return _direction(words)
    return _direction(
        words,
        sound=f"<sound><swing><first>{first}</first><second>{second}</second>"
        f"<swing-type>{kind}</swing-type></swing></sound>",
    )


# The measures of a part


def _measures(
    staff: _Staff, frames: Iterable[_Frame], divisions: int, is_top: bool
) -> Iterator[str]:
    begin = f"<divisions>{divisions}</divisions>"
    clef = (
        "<clef><sign>percussion</sign></clef>"
        f"<staff-details><staff-lines>{staff.lines}</staff-lines></staff-details>"
    )
    for number, frame in enumerate(frames, start=1):
        yield f'<measure number="{number}" text="{frame.bar.number}">\n{frame.opening}'
        attributes = f"{begin}{frame.time}{clef}"
        if attributes:
            yield f"<attributes>{attributes}</attributes>\n"
        begin = clef = ""
        if is_top:
            yield frame.directions
        yield from _voices(staff, frame, divisions)
        yield f"{frame.closing}</measure>\n"


def _voices(staff: _Staff, frame: _Frame, divisions: int) -> Iterator[str]:
    """The voices of one bar, one after the other, with the way back to its beginning between."""
    found = [voice for voice in map(frame.bar.voice, staff.voices) if voice]
    sounding = [voice for voice in found if not voice.is_silent]
    chords = frame.chords if staff.lines > 1 else ()
    if not sounding:
        yield from _harmonies(chords, Fraction(0), None, divisions)
        # Two rests on top of each other would say no more than one.
        yield _whole_bar_rest(frame.length, 1)
        return
    for i, voice in enumerate(found):
        if i:
            chords = ()
            yield f"<backup><duration>{frame.length}</duration></backup>\n"
        if voice.is_silent:
            yield from _harmonies(chords, Fraction(0), None, divisions)
            yield _whole_bar_rest(frame.length, _hand_of(voice).number)
        else:
            counts = frame.counts if voice is sounding[0] and staff.lines > 1 else {}
            yield from _notes(voice, staff.id, divisions, counts, chords)


def _hand_of(voice: Voice) -> _Hand:
    return _FEET if voice.name == FEET_VOICE else _HANDS


def _whole_bar_rest(length: int, number: int) -> str:
    return (
        f'<note><rest measure="yes"/><duration>{length}</duration><voice>{number}</voice></note>\n'
    )


def _notes(
    voice: Voice,
    part: str,
    divisions: int,
    counts: Mapping[Fraction, str],
    chords: Sequence[ChordSign],
) -> Iterator[str]:
    hand = _hand_of(voice)
    for group in voice.groups:
        beams = _beams(group)
        inside = _time_modification(group.tuplet)
        for i, (note, beam) in enumerate(zip(group.notes, beams, strict=True)):
            length = f"<duration>{_in(divisions, note.length)}</duration>"
            value = _value(note.value, inside)
            bracket = _bracket(group, i, hand) if group.tuplet else ""
            if chords:
                yield from _harmonies(chords, note.start, note.start + note.length, divisions)
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
            for nth, head in enumerate(_heads(note)):
                chord, last = ("<chord/>", "") if nth else ("", f"{beam}{notations}{lyrics}")
                yield (
                    f"<note>{chord}{_place(head)}{length}{_instrument(part, head)}"
                    f"<voice>{hand.number}</voice>{value}{_stem(note.value, hand)}"
                    f"{_notehead(head)}{last}</note>\n"
                )


def _harmonies(
    chords: Sequence[ChordSign], start: Fraction, end: Fraction | None, divisions: int
) -> Iterator[str]:
    """The chord symbols from `start` up to `end` (or all that follow), to stand before a note."""
    for sign in chords:
        if start <= sign.time and (end is None or sign.time < end):
            yield harmony(sign.symbol, _in(divisions, sign.time - start))


def _letters(note: Note) -> str:
    """The sticking as a drill has it, "llR"; of their own they confuse readers."""
    return "".join(head.hand.lower() for head in note.grace) + note.sticking


def _heads(note: Note) -> Iterable[Head]:
    """One notehead for each voice: of two hands on one surface the louder, as it sounds."""
    if len(note.heads) == 1:
        return note.heads
    kept: dict[str, Head] = {}
    for head in note.heads:
        if head.voice not in kept or kept[head.voice].is_ghost:
            kept[head.voice] = head
    return kept.values()


def _place(head: Head) -> str:
    return (
        f"<unpitched><display-step>{head.sign.step}</display-step>"
        f"<display-octave>{head.sign.octave}</display-octave></unpitched>"
    )


def _instrument(part: str, head: Head) -> str:
    return f'<instrument id="{part}-{head.voice}"/>'


def _value(value: Value, inside: str) -> str:
    return f"<type>{value.name}</type>{'<dot/>' * value.dotted}{inside}"


def _stem(value: Value, hand: _Hand) -> str:
    return "" if value.name == _STEMLESS else f"<stem>{hand.stem}</stem>"


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


def _grace_notes(heads: Sequence[Head], part: str, hand: _Hand) -> Iterator[str]:
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


def _notations(note: Note, bracket: str, hand: _Hand) -> str:
    marks = bracket
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


def _bracket(group: Group, i: int, hand: _Hand) -> str:
    """The ends of a tuplet's bracket; a beam over all of it makes the bracket needless."""
    last = len(group.notes) - 1
    bracket = "no" if group.beam == (0, last) else "yes"
    begins = (
        f'<tuplet type="start" number="1" bracket="{bracket}" placement="{hand.placement}"/>'
        if i == 0
        else ""
    )
    return begins + ('<tuplet type="stop" number="1"/>' if i == last else "")


# Beams


def _beam(level: int, word: str) -> str:
    return f'<beam number="{level}">{word}</beam>'


def _beams(group: Group) -> list[str]:
    """The beams of each note of a group, at every level; a rest breaks all but the first."""
    beams = [""] * len(group.notes)
    if group.beam is None:
        return beams
    first, last = group.beam
    for i in range(first, last + 1):
        note = group.notes[i]
        if note.is_rest:
            continue
        word = "begin" if i == first else "end" if i == last else "continue"
        before = _flags(group.notes[i - 1]) if i > first else 0
        after = _flags(group.notes[i + 1]) if i < last else 0
        beams[i] = _beam(1, word)
        for level in range(2, note.value.flags + 1):
            if before >= level:
                word = "continue" if after >= level else "end"
            else:
                word = "begin" if after >= level else _hook(group, i)
            beams[i] += _beam(level, word)
    return beams


def _flags(note: Note) -> int:
    return 0 if note.is_rest else note.value.flags


def _hook(group: Group, i: int) -> str:
    """Which way a beam for one note alone points: to the note that it makes a whole with."""
    note = group.notes[i]
    plain_length = note.length * 2 / 3 if note.value.dotted else note.length
    completes = (note.start - group.start) // plain_length % 2 == 1
    if group.beam and i in group.beam:
        completes = i == group.beam[1]
    return "backward hook" if completes else "forward hook"
