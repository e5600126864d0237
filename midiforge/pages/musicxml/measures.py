"""The measures of a part, and what all parts share of them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from midiforge.model.counts import UNNAMED
from midiforge.model.meter import Meter
from midiforge.model.swing import Swing
from midiforge.notation.chords import ChordSign
from midiforge.notation.score import Bar, Score
from midiforge.pages.musicxml import directions
from midiforge.pages.musicxml.directions import text_of
from midiforge.pages.musicxml.notes import (
    hand_of,
    harmonies,
    in_divisions,
    notes,
    whole_bar_rest,
)
from midiforge.pages.paper import Paper

# A system bears no more than this before it is hard to read.
_MOST_BARS = 4
_COLUMN = 29.0  # tenths of a staff space for the notes of one moment and the letter below


class Staff(NamedTuple):
    """A part of the document.

    voices: what it writes of a bar, by the voices' names.
    instruments: the library's names of the voices in it.
    """

    id: str
    name: str
    lines: int
    voices: tuple[str, ...]
    instruments: tuple[str, ...]


class Frame(NamedTuple):
    """What every part has of one measure, and what the top one has above it.

    opening: what comes before the notes, in all parts: breaks and barlines.
    time: the time signature, where it is new. style: where signs for the bar before begin or end;
        the strokes stand below them all the same, for whoever plays them.
    directions: words and marks, in the top part only.
    chords: those that are printed, in the player's part only.
    """

    bar: Bar
    opening: str
    time: str
    style: str
    directions: str
    closing: str
    length: int
    counts: Mapping[Fraction, str]
    chords: tuple[ChordSign, ...]


# What all parts share


def parts_of_a_quarter(score: Score) -> int:
    """Into how many parts a quarter must be divided for every length in a score."""
    lengths = {score.exercise.meter.bar}
    for bar in score.bars:
        for voice in bar.voices:
            lengths.update(note.length for note in voice.notes)
        lengths.update(sign.time for sign in bar.chords)
    return lcm(*(length.denominator for length in lengths))


def frames(
    written: Sequence[Score], divisions: int, paper: Paper, with_counts: bool
) -> Iterator[Frame]:
    """The measures of all scores, one after the other."""
    meter: Meter | None = None
    swing: Swing | None = None
    signs = False
    for score in written:
        exercise = score.exercise
        bar_length = in_divisions(divisions, exercise.meter.bar)
        first, loop = score.passages[0].bars[0], score.loop
        in_a_system = _bars_in_a_system(score, paper)
        for bar in score.bars:
            begins = meter is not None and (bar.number - first.number) % in_a_system == 0
            opening = '<print new-system="yes"/>\n' if begins else ""
            time, said = "", ""
            if bar is first:
                if exercise.meter != meter:
                    time = _time(exercise.meter)
                said = directions.title(score) + directions.tempo(score)
                if exercise.swing != swing and (swing or not exercise.swing.is_straight):
                    said += directions.swing(exercise.swing)
                    swing = exercise.swing
                meter = exercise.meter
            # As on the pages, no line begins with a sign.
            style = "" if signs is (bar.is_repeat and not begins) else _simile(not signs)
            signs ^= bool(style)
            if bar.words:
                words = f'<words enclosure="rectangle">{text_of(bar.words)}</words>'
                said += directions.direction(words)
            opening += _LEFT_BARLINE if bar is loop.bars[0] else ""
            closing = ""
            if bar is loop.bars[-1]:
                if loop.times > 1:
                    said += directions.direction(f"<words>{loop.times} times</words>")
                closing = _right_barline(loop.times)
            # What goes on is printed again where a system begins.
            chords = tuple(sign for sign in bar.chords if begins or not sign.goes_on)
            counts = {at: count for at, count in bar.counts if with_counts and count != UNNAMED}
            yield Frame(bar, opening, time, style, said, closing, bar_length, counts, chords)


def _bars_in_a_system(score: Score, paper: Paper) -> int:
    """How many bars a line of the page bears, shared out evenly among its lines."""
    bars = list(score.bars)
    columns = max(len({note.start for voice in bar.voices for note in voice.notes}) for bar in bars)
    most = max(1, min(_MOST_BARS, int(paper.line / _COLUMN) // columns))
    systems = -(-len(bars) // most)
    return -(-len(bars) // systems)


def _time(meter: Meter) -> str:
    beats, unit = str(meter).split("/")
    return f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"


def _simile(begins: bool) -> str:
    """Signs for the bar before, from here on or no more."""
    kind, bars = ("start", "1") if begins else ("stop", "")
    repeat = f'<measure-repeat type="{kind}">{bars}</measure-repeat>'
    return f"<measure-style>{repeat}</measure-style>"


_LEFT_BARLINE = (
    '<barline location="left"><bar-style>heavy-light</bar-style>'
    '<repeat direction="forward"/></barline>\n'
)


def _right_barline(times: int) -> str:
    """The end of what goes round; readers play it twice where nothing is said."""
    said = f' times="{times}"' if times > 1 else ""
    return (
        '<barline location="right"><bar-style>light-heavy</bar-style>'
        f'<repeat direction="backward"{said}/></barline>\n'
    )


# The measures of a part


def measures(staff: Staff, frames: Iterable[Frame], divisions: int, is_top: bool) -> Iterator[str]:
    """The measures of one part; the top one has the directions too."""
    begin = f"<divisions>{divisions}</divisions>"
    clef = (
        "<clef><sign>percussion</sign></clef>"
        f"<staff-details><staff-lines>{staff.lines}</staff-lines></staff-details>"
    )
    for number, frame in enumerate(frames, start=1):
        yield f'<measure number="{number}" text="{frame.bar.number}">\n{frame.opening}'
        attributes = f"{begin}{frame.time}{clef}{frame.style}"
        if attributes:
            yield f"<attributes>{attributes}</attributes>\n"
        begin = clef = ""
        if is_top:
            yield frame.directions
        # A system may begin with a line above the player's; how loud to play is said to the player.
        hairpin = frame.bar.hairpin if staff.lines > 1 else None
        if hairpin:
            yield directions.swell_begins(hairpin)
        yield from _voices(staff, frame, divisions)
        if hairpin:
            yield directions.swell_ends(hairpin)
        yield f"{frame.closing}</measure>\n"


def _voices(staff: Staff, frame: Frame, divisions: int) -> Iterator[str]:
    """The voices of one bar, one after the other, with the way back to its beginning between."""
    written = [voice for voice in map(frame.bar.voice, staff.voices) if voice]
    sounding = [voice for voice in written if not voice.is_silent]
    chords = frame.chords if staff.lines > 1 else ()
    if not sounding:
        yield from harmonies(chords, Fraction(0), None, divisions)
        # Two rests on top of each other would say no more than one.
        yield whole_bar_rest(frame.length, 1)
        return
    for i, voice in enumerate(written):
        if i:
            chords = ()
            yield f"<backup><duration>{frame.length}</duration></backup>\n"
        if voice.is_silent:
            yield from harmonies(chords, Fraction(0), None, divisions)
            yield whole_bar_rest(frame.length, hand_of(voice).number)
        else:
            counts = frame.counts if voice is sounding[0] and staff.lines > 1 else {}
            yield from notes(voice, staff.id, divisions, counts, chords)
