"""A score cut into pieces that stand side by side: whole bars, or beats of long ones.

Each piece is complete: staff lines, engraved notes, the letters of the sticking and the counts
below their notes, its bar lines. The pieces of one score have one height, so that any number of
them make a line, on paper as on a telephone.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.model.meter import Meter
from midiforge.notation.rhythm import Value
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
from midiforge.notation.sign import Sign
from midiforge.pages.drawing import Piece, Setting
from midiforge.pages.engrave import Engraver
from midiforge.pages.ink import shapes_at
from midiforge.pages.mei import named
from midiforge.pages.piece_drawing import (
    DIGITS,
    STAFF,
    Cut,
    drawn,
    head_piece,
    rows_of,
    staff_lines,
)
from midiforge.pages.shapes import SPACE
from midiforge.pages.widths import REPEAT, TAIL, Layout, Span, simile_width, spans_of, widths
from midiforge.svg import together

_ONE_BEAT = Meter.parse("1/4")
_LOW = 1  # staff places of the feet: stems down
_KEY_WIDTH = 5 * SPACE
_KEY_ROOM = (4.8 * SPACE, 0.6 * SPACE)  # above the staff, and below all that is drawn


class _Place(NamedTuple):
    """Where a piece is in its score, and how wide it should be."""

    passage: Passage
    bar: Bar
    span: Span
    width: float


@frozen
class _Cutter:
    """Cuts the pieces of one score."""

    score: Score
    engraver: Engraver
    spans: Sequence[Span]

    def simile(self, place: _Place) -> Cut:
        """The sign that stands for a bar like the one before."""
        most = simile_width(place.bar, self.score.exercise.meter.bar)
        return self.piece(place._replace(width=min(place.width, most)), simile=True)

    def piece(self, place: _Place, simile: bool = False) -> Cut:
        """A piece, engraved and ready to be drawn; its sign alone, if it is one for a bar."""
        exercise, (passage, bar, span, width) = self.score.exercise, place
        own = [v for v in bar.voices if v.name in (HANDS_VOICE, FEET_VOICE)]
        staves = [[voice] for voice in bar.voices if voice not in own] + [own]
        notes = {name: note for name, voice, note in named(staves) if voice in own}
        engraved = self.engraver.bar(
            exercise.meter, exercise.step, staves, span, round(width), simile
        )
        is_loop = passage is self.score.loop
        first = is_loop and bar is passage.bars[0] and span[0] == 0
        ends_bar = span == self.spans[-1]
        last = is_loop and bar is passage.bars[-1] and ends_bar
        return Cut(
            bar=bar,
            span=span,
            engraved=engraved,
            opens=first,
            closes="repeat" if last else "bar" if ends_bar else "",
            times=passage.times if last else 1,
            words=bar.words if span[0] == 0 else "",
            width=width + REPEAT * (first + last) + (TAIL if ends_bar else 0),
            shift=REPEAT * first,
            is_simile=simile,
            notes={} if simile else notes,
        )


def cut(score: Score, engraver: Engraver, layout: Layout) -> Setting:
    """A score as pieces, ready to be set side by side."""
    head = engraver.head(score.exercise.meter)
    head_width = max(x for name, x, *_ in head.staves[0].glyphs if name in DIGITS) + 3 * SPACE
    spans = spans_of(score, layout)
    cutter = _Cutter(score, engraver, spans)
    places = [
        _Place(passage, bar, span, width)
        for passage in score.passages
        for bar in passage.bars
        for span, width in zip(spans, widths(score, spans, layout, head_width), strict=True)
    ]
    cuts = [cutter.piece(place) for place in places]
    rows = rows_of(score, cuts, layout)
    pieces = tuple(drawn(score, each, rows, layout) for each in cuts)
    if layout.with_similes and len(spans) == 1:
        pieces = tuple(
            replace(drawn(score, cutter.simile(place), rows, layout), written_out=piece)
            if place.bar.is_repeat
            else piece
            for place, piece in zip(places, pieces, strict=True)
        )
    titles = [score.title_above(name) for name in score.above]
    with_meter = head_piece(head, rows, head_width, titles, clef_only=False)
    # As wide as clef, time signature and repeat sign, so that bars stand below each other.
    clef_width = head_width + REPEAT * cuts[0].opens
    clef = head_piece(head, rows, clef_width, titles, clef_only=True)
    return Setting(with_meter, clef, pieces, rows.height, rows.staff)


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
