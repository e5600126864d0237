"""A bar, or some beats of one, as MEI: what the engraving library reads.

MEI is the Music Encoding Initiative's open format. Only what drum staves need is written; bar
lines, letters and counts are set around the engraved notes by `midiforge.engraving.piece_drawing`.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from midiforge.engraving.widths import Span
from midiforge.model.meter import Meter
from midiforge.notation.rhythm import write_bar
from midiforge.notation.score import (
    FEET_VOICE,
    HANDS_VOICE,
    Group,
    Head,
    Note,
    Tuplet,
    Value,
    Voice,
)

_DURATIONS = {"whole": "1", "half": "2", "quarter": "4", "eighth": "8", "16th": "16", "32nd": "32"}
# SMuFL code points. The library has no triangle: a square of the same size is engraved, and
# `engrave` draws a triangle in its place.
_HEADS = {"x": "x", "circle-x": "U+E0B3", "diamond": "diamond", "triangle": "U+E0B9",
          "slashed": "U+E0CF"}  # fmt: skip
_MARKS = {"open": "open", "half-open": "snap", "closed": "stop"}
# Where rests stand, in lines and spaces above the bottom line, if there is another voice.
_REST_PLACES = {HANDS_VOICE: 7, FEET_VOICE: -2}


def mei(
    meter: Meter, step: Fraction, staves: Sequence[Sequence[Voice]], span: Span, simile: bool
) -> str:
    """An MEI document of the beats within `span`.

    staves: the voices of each staff, from the top; the last is the player's, with five lines.
    step: of the grid, whose columns are kept evenly apart.
    simile: whether a sign for "the same bar again" stands instead of the notes.
    """
    last = len(staves)
    definitions = "".join(
        f'<staffDef n="{number}" lines="{5 if number == last else 1}"/>'
        for number in range(1, last + 1)
    )
    grid = write_bar(meter, [i * step for i in range(int(meter.bar / step))])
    content = ""
    for number, voices in enumerate(staves, start=1):
        layers = [
            _layer(voice, f"s{number}v{i}", span, alone=len(voices) == 1)
            for i, voice in enumerate(voices)
        ]
        if simile:
            layers = ['<mRpt num.visible="false"/>']
        elif number == last:
            layers.append("".join(_spaces(grid, span)))
        numbered = "".join(f'<layer n="{i}">{text}</layer>' for i, text in enumerate(layers, 1))
        content += f'<staff n="{number}">{numbered}</staff>'
    return _document(f'<scoreDef><staffGrp bar.thru="false">{definitions}', content)


def head(meter: Meter) -> str:
    """An MEI document of a percussion clef and a time signature, with a note after them."""
    above = str(meter).partition("/")[0]
    return _document(
        f'<scoreDef meter.count="{above}" meter.unit="{meter.unit}"><staffGrp>'
        '<staffDef n="1" lines="5" clef.shape="perc"/>',
        '<staff n="1"><layer n="1"><note xml:id="s1v0n0" dur="4" loc="4"/></layer></staff>',
    )


def _document(definition: str, measure: str) -> str:
    return (
        '<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><meiHead><fileDesc>'
        "<titleStmt><title/></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>"
        f"{definition}</staffGrp></scoreDef><section>"
        f'<measure n="1" right="invis">{measure}</measure>'
        "</section></score></mdiv></body></music></mei>"
    )


def named(staves: Sequence[Sequence[Voice]]) -> Iterator[tuple[str, Voice, Note]]:
    """Every note and rest: the name that it has in the document, its voice, itself."""
    for number, voices in enumerate(staves, start=1):
        for i, voice in enumerate(voices):
            for j, note in enumerate(voice.notes):
                yield f"s{number}v{i}n{j}", voice, note


def beams(staves: Sequence[Sequence[Voice]]) -> dict[str, tuple[str, ...]]:
    """The part that each beamed note has of its beams, by the note's name."""
    words = (
        note
        for voices in staves
        for voice in voices
        for group in voice.groups
        for note in group.beams
    )
    return {name: own for (name, _, _), own in zip(named(staves), words, strict=True) if own}


def _inside(start: Fraction, span: Span) -> bool:
    return span[0] <= start < span[1]


def _layer(voice: Voice, prefix: str, span: Span, alone: bool) -> str:
    text = ""
    count = 0
    if voice.is_silent:
        return f'<mRest xml:id="{prefix}n0"/>' if span[0] == 0 else ""
    for group in voice.groups:
        if not _inside(group.start, span):
            if group.start < span[0] < group.start + group.length:
                text += _space(Value("quarter"))  # a rest that began in the beats before
            count += len(group.notes)
            continue
        notes = [
            _note(note, f"{prefix}n{count + i}", voice.name, alone)
            for i, note in enumerate(group.notes)
        ]
        count += len(notes)
        if group.tuplet and notes[0][0]:  # else its bracket would begin at the grace note
            text += notes[0][0]
            notes[0] = ("", notes[0][1])
        text += _tuplet(group.tuplet, _beamed(group, notes), voice.name)
    return text


def _beamed(group: Group, notes: list[tuple[str, str]]) -> str:
    if group.beam is None:
        return "".join(map("".join, notes))
    first, last = group.beam
    whole = [*map("".join, notes)]
    # Grace notes before the first note would be taken into the beam.
    before, note = notes[first]
    beam = "".join((note, *whole[first + 1 : last + 1]))
    return "".join((*whole[:first], before, f"<beam>{beam}</beam>", *whole[last + 1 :]))


def _tuplet(tuplet: Tuplet | None, content: str, voice: str) -> str:
    """A tuplet's content with its bracket, which in no voice, "", is not seen."""
    if tuplet is None:
        return content
    seen = "true" if voice else "false"
    place = "below" if voice == FEET_VOICE else "above"
    places = f' bracket.place="{place}" num.place="{place}"' if voice else ""
    return (
        f'<tuplet num="{tuplet.actual}" numbase="{tuplet.normal}" bracket.visible="{seen}" '
        f'num.visible="{seen}"{places}>{content}</tuplet>'
    )


def _note(note: Note, name: str, voice: str, alone: bool) -> tuple[str, str]:
    """Its grace notes, and the note itself."""
    duration = _duration(note.value)
    if note.is_rest:
        place = "" if alone else f' loc="{_REST_PLACES.get(voice, 0)}"'
        return "", f'<rest xml:id="{name}"{duration}{place}/>'
    stem = ' stem.dir="down"' if voice == FEET_VOICE else ' stem.dir="up"'
    mod = "z" if note.is_buzz else f"{note.slashes}slash" if note.slashes else ""
    mod = f' stem.mod="{mod}"' if mod else ""
    signs = "".join(_signs(note, voice))
    before = _grace(note.grace, name)
    heads = [*note.heads_by(lambda head: (head.sign.place, head.sign.head))]
    if len(heads) == 1:
        only = f'<note xml:id="{name}"{duration}{stem}{mod}{_head(heads[0])}>{signs}</note>'
        return before, only
    inner = "".join(f"<note{_head(head)}/>" for head in heads)
    return before, f'<chord xml:id="{name}"{duration}{stem}{mod}>{signs}{inner}</chord>'


def _signs(note: Note, voice: str) -> Iterator[str]:
    place = "below" if voice == FEET_VOICE else "above"
    if note.mark:
        yield f'<artic artic="{_MARKS[note.mark]}" place="above"/>'
    if note.is_accented:
        yield f'<artic artic="acc" place="{place}"/>'


def _duration(value: Value) -> str:
    return f' dur="{_DURATIONS[value.name]}"' + ' dots="1"' * value.dotted


def _head(head: Head) -> str:
    shape = _HEADS.get(head.sign.head)
    shaped = f' head.shape="{shape}"' if shape else ""
    return f' loc="{head.sign.place}"{shaped}' + ' head.mod="paren"' * head.is_ghost


def _grace(heads: Sequence[Head], name: str) -> str:
    """Grace notes before a note: one slashed, more of them beamed."""
    if not heads:
        return ""
    single = len(heads) == 1
    duration = "8" if single else "16"
    slash = ' stem.mod="1slash"' if single else ""
    notes = "".join(
        f'<note xml:id="{name}g{i}" dur="{duration}" grace="unacc" stem.dir="up"{slash}'
        f"{_head(head)}/>"
        for i, head in enumerate(heads)
    )
    return notes if single else f'<graceGrp slash="yes"><beam>{notes}</beam></graceGrp>'


def _spaces(grid: Iterable[Group], span: Span) -> Iterator[str]:
    """Blanks on every step of the grid, which keep its columns evenly apart."""
    for cell in grid:
        if _inside(cell.start, span):
            blanks = "".join(_space(blank.value) for blank in cell.notes)
            yield _tuplet(cell.tuplet, blanks, voice="")


def _space(value: Value) -> str:
    return f"<space{_duration(value)}/>"
