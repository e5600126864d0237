"""A score cut into pieces that stand side by side: whole bars, or beats of long ones.

Each piece is complete: staff lines, engraved notes, the letters of the sticking and the counts
below their notes, its bar lines. The pieces of one score have one height, so that any number of
them make a line, on paper as on a telephone.
"""

from collections.abc import Container, Iterator
from dataclasses import replace
from fractions import Fraction

from midiforge.engraving.drawing import Piece, Setting, in_lines
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.ink import shapes_at
from midiforge.engraving.mei import named
from midiforge.engraving.piece_drawing import (
    DIGITS,
    STAFF,
    Cut,
    drawn,
    head_piece,
    rows_of,
    staff_lines,
)
from midiforge.engraving.shapes import SPACE
from midiforge.engraving.widths import REPEAT, TAIL, Layout, Span, simile_width, spans_of, widths
from midiforge.model.meter import Meter
from midiforge.notation.score import (
    FEET_VOICE,
    HANDS_VOICE,
    PLAYERS_VOICES,
    Bar,
    Group,
    Head,
    Note,
    Passage,
    Score,
    Value,
    Voice,
)
from midiforge.notation.sign import Sign
from midiforge.svg import together

_ONE_BEAT = Meter.parse("1/4")
_SHORT = REPEAT + TAIL
_LOW = 1  # staff places of the feet: stems down
_KEY_WIDTH = 5 * SPACE
_KEY_ROOM = (4.8 * SPACE, 0.6 * SPACE)  # above the staff, and below all that is drawn


def cut(
    score: Score, engraver: Engraver, layout: Layout, only: Container[int] | None = None
) -> Setting:
    """A score as pieces, ready to be set side by side.

    only: the numbers of the bars that are wanted, one at least; None for all.
    """
    head = engraver.head(score.exercise.meter)
    head_width = max(x for name, x, *_ in head.staves[0].glyphs if name in DIGITS) + 3 * SPACE
    spans = spans_of(score, layout, head_width)
    wide = widths(score, spans, layout, head_width)  # of every bar alike
    places = [
        (passage, bar, span, width)
        for passage in score.passages
        for bar in passage.bars
        if only is None or bar.number in only
        for span, width in zip(spans, wide, strict=True)
    ]
    cuts = [_engraved(score, engraver, *place) for place in places]
    rows = rows_of(score, cuts, layout)
    pieces = [drawn(score, piece, rows, layout) for piece in cuts]
    # A line that is made here may have to begin with such a bar written out, in one piece.
    if layout.with_similes and (len(spans) == 1 or not layout.fill):
        for i, (passage, bar, (start, _), width) in enumerate(places):
            if bar.is_repeat and start == 0:
                length = score.exercise.meter.bar
                narrow = min(width, simile_width(bar, length))
                whole = passage, bar, (start, length), narrow
                cuts[i] = _engraved(score, engraver, *whole, simile=True)
                pieces[i] = replace(drawn(score, cuts[i], rows, layout), written_out=pieces[i])
        pieces = [
            piece
            for piece, (_, bar, (start, _), _) in zip(pieces, places, strict=True)
            if start == 0 or not bar.is_repeat
        ]
    titles = [score.title_above(name) for name in score.above]
    with_meter = head_piece(head, rows, head_width, titles, clef_only=False)
    # As wide as clef, time signature and repeat sign, so that bars stand below each other.
    clef_width = head_width + REPEAT * cuts[0].opens
    clef = head_piece(head, rows, clef_width, titles, clef_only=True)
    setting = Setting(with_meter, clef, tuple(pieces), rows.height, rows.staff)
    for i, wider in _ends_of_lines(setting, layout.fill):
        end = drawn(score, replace(cuts[i], width=wider), rows, layout)
        pieces[i] = replace(end, written_out=pieces[i].written_out)
    return replace(setting, pieces=tuple(pieces))


def _ends_of_lines(setting: Setting, fill: float) -> Iterator[tuple[int, float]]:
    """The last pieces of full lines, with how wide they must be for the lines to end alike.

    What only one of them has, the dots of a repeat, makes the others a little short.
    """
    lines = [*in_lines(setting, fill)] if fill else []
    wide = [sum(piece.width for piece in line) for line in lines]
    widest = max(wide, default=0.0)
    edge = fill if fill - widest <= _SHORT else widest
    last = -1
    for line, width in zip(lines, wide, strict=True):
        last += len(line) - 1  # without its clef
        if 0 < edge - width <= _SHORT:
            yield last, line[-1].width + edge - width


def _engraved(
    score: Score,
    engraver: Engraver,
    passage: Passage,
    bar: Bar,
    span: Span,
    width: float,
    simile: bool = False,
) -> Cut:
    """A piece, engraved and ready to be drawn; `simile`: the sign for the bar before alone."""
    meter = score.exercise.meter
    own = [voice for voice in bar.voices if voice.name in PLAYERS_VOICES]
    staves = [[voice] for voice in bar.voices if voice not in own] + [own]
    notes = {name: note for name, voice, note in named(staves) if voice in own}
    is_loop, ends_bar = passage is score.loop, span[1] == meter.bar
    first = is_loop and bar is passage.bars[0] and span[0] == 0
    last = is_loop and bar is passage.bars[-1] and ends_bar
    return Cut(
        bar=bar,
        span=span,
        engraved=engraver.bar(meter, score.exercise.step, staves, span, round(width), simile),
        opens=first,
        closes="repeat" if last else "bar" if ends_bar else "",
        times=passage.times if last else 1,
        words=bar.words if span[0] == 0 else "",
        width=width + REPEAT * (first + last) + (TAIL if ends_bar else 0),
        shift=REPEAT * first,
        is_simile=simile,
        notes={} if simile else notes,
    )


def key_piece(sign: Sign, engraver: Engraver, is_above: bool = False) -> tuple[Piece, float]:
    """A sign alone on a staff, and how high that is.

    is_above: whether it stands on a line above the player's staff, set as high as the middle
        of the player's staff.
    """
    note = Note(Fraction(0), Fraction(1), Value("quarter"), (Head(sign, ""),), mark=sign.mark)
    is_low = sign.place <= _LOW and not is_above
    group = Group(Fraction(0), Fraction(1), None, (note,))
    of = Voice(FEET_VOICE if is_low else HANDS_VOICE, (group,))
    staves = [[of], []] if is_above else [[of]]
    engraved = engraver.bar(_ONE_BEAT, Fraction(1), staves, (Fraction(0), Fraction(1)), _KEY_WIDTH)
    top = _KEY_ROOM[0] + (STAFF / 2 if is_above else 0)
    shapes = engraved.staves[0]
    shift = _KEY_WIDTH / 2 - engraved.places["s1v0n0"]
    drawing = [staff_lines(top, _KEY_WIDTH, not is_above), shapes_at(shapes, shift, top)]
    bottom = max(_KEY_ROOM[0] + STAFF, top + shapes.bottom) + _KEY_ROOM[1]
    return Piece(_KEY_WIDTH, together(drawing), (), 0, shapes.signs), bottom
