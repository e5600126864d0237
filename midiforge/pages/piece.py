"""A score cut into pieces that stand side by side: whole bars, or beats of long ones.

Each piece is complete: staff lines, engraved notes, the letters of the sticking and the counts
below their notes, its bar lines. The pieces of one score have one height, so that any number of
them make a line, on paper as on a telephone.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from html import escape
from itertools import pairwise
from math import ceil

from midiforge.model.counts import UNNAMED
from midiforge.model.meter import Meter
from midiforge.notation.rhythm import Value, cells_of
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
from midiforge.pages.chord_text import CHORD, chord_text, chord_width
from midiforge.pages.engrave import SPACE, Engraved, Engraver, Shapes

COLUMN = 2.3 * SPACE  # the least distance of two columns of the grid
_GRACE = 2.0 * SPACE  # what a grace note needs beside it
_TAIL = 0.6 * SPACE  # between what is engraved and the bar line
_LEAD = 3.0 * SPACE  # from the bar line to the first note, and from the last to the next
_REPEAT = 1.6 * SPACE  # what the dots of a repeat need
_LETTER, _SMALL, _COUNT, _WORD, _NUMBER = 21.0, 15.0, 17.0, 19.0, 13.0  # sizes of letters
_ROW = 2.3 * SPACE
_STAFF = 4 * SPACE
_STRETCH, _STRETCH_ALONE = 1.5, 1.8  # how much wider than it needs a bar is at most
_SIMILE = 11 * SPACE  # a bar with nothing but the sign for "the same again"
_SIMILES_BEHIND = 3  # of these behind a bar: four bars a line read best
_LINE_STAFF_GAP = 2.2 * SPACE
_LABEL_ROW = 1.8 * SPACE  # for the name of what plays beside, above its notes
_THIN, _THICK = 1.6, 5.0
_BEFORE_NOTE = 0.6 * SPACE  # a chord symbol begins where a notehead does
_BETWEEN_CHORDS = 0.9 * SPACE
_SMALLEST_CHORD = 0.3  # of the usual size; what is smaller is a dot


@dataclass(frozen=True, slots=True)
class Layout:
    """How a score is cut.

    widest: no piece is wider, in tenths of a space, unless a single beat is.
    fill: a width that whole pieces should fill in lines; 0 for pieces as narrow as reads well.
    with_counts: whether the counts stand below the notes.
    with_similes: whether a sign may stand for a bar with the strokes of the one before.
    """

    widest: float
    fill: float = 0.0
    with_counts: bool = False
    with_similes: bool = True


@dataclass(frozen=True, slots=True)
class Piece:
    """Beats of one bar, drawn.

    content: SVG within the piece's own coordinates: tenths of a staff space, 0 0 at its top left.
    times: where the columns of the grid and the strokes stand: (quarter notes from the first
        downbeat, x).
    glyphs: the music signs it draws.
    begins_bar: whether it is the first of its bar. is_simile: whether it is nothing but a sign
        for the bar before.
    again: chord symbols that go on from the piece before, drawn where it begins a line.
    written_out: what stands in its place there if it is nothing but a sign.
    """

    width: float
    content: str
    times: tuple[tuple[Fraction, float], ...]
    bar: int
    glyphs: frozenset[str]
    begins_bar: bool = True
    is_simile: bool = False
    again: str = ""
    written_out: "Piece | None" = None


@dataclass(frozen=True, slots=True)
class Setting:
    """A score as pieces.

    head: clef and time signature, drawn like a piece; it stands before the first.
    clef: the clef alone, as wide, for further lines.
    height: of every piece.
    staff: how far below the top the player's staff begins.
    """

    head: Piece
    clef: Piece
    pieces: tuple[Piece, ...]
    height: float
    staff: float


@dataclass(slots=True)
class _Cut:
    """A piece before it is drawn."""

    bar: Bar
    span: tuple[Fraction, Fraction]
    engraved: Engraved
    opens: bool = False  # a repeat begins here
    closes: str = ""  # the bar line at its end: "", "bar", "repeat"
    times: int = 1
    words: str = ""
    width: float = 0.0
    shift: float = 0.0
    is_simile: bool = False
    notes: dict[str, Note] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Rows:
    """Heights that all pieces of a score share, from their top."""

    words: float
    chords: float
    beside: tuple[float, ...]
    labels: tuple[float, ...]
    staff: float
    sticking: tuple[float, ...]
    counts: float
    height: float


def cut(score: Score, engraver: Engraver, layout: Layout) -> Setting:
    """A score as pieces, ready to be set side by side."""
    head = engraver.head(score.exercise.meter)
    head_width = max(x for name, x, *_ in head.staves[0].glyphs if name in _DIGITS) + 3 * SPACE
    spans = _spans(score, layout)
    widths = _widths(score, spans, layout, head_width)
    places = [
        (passage, bar, span, width)
        for passage in score.passages
        for bar in passage.bars
        for span, width in zip(spans, widths, strict=True)
    ]
    cuts = [_cut_one(score, engraver, *place, spans, simile=False) for place in places]
    rows = _rows(score, cuts, layout)
    pieces = tuple(_drawn(score, each, rows, layout) for each in cuts)
    if layout.with_similes and len(spans) == 1:
        pieces = tuple(
            replace(
                _drawn(score, _cut_one(score, engraver, *place, spans, simile=True), rows, layout),
                written_out=piece,
            )
            if place[1].is_repeat
            else piece
            for place, piece in zip(places, pieces, strict=True)
        )
    titles = [score.beside_title(name) for name in score.beside]
    with_meter = _head(head, rows, head_width, titles, clef_only=False)
    clef = _head(head, rows, head_width, titles, clef_only=True)
    return Setting(with_meter, clef, pieces, rows.height, rows.staff)


def key_piece(sign: Sign, engraver: Engraver) -> tuple[Piece, float]:
    """A sign alone on a staff, and how high that is."""
    note = Note(Fraction(0), Fraction(1), Value("quarter"), (Head(sign, ""),), mark=sign.mark)
    is_low = sign.place <= _LOW
    group = Group(Fraction(0), Fraction(1), None, (note,))
    of = Voice(FEET_VOICE if is_low else HANDS_VOICE, (group,))
    engraved = engraver.bar(_ONE_BEAT, Fraction(1), [[of]], (Fraction(0), Fraction(1)), _KEY_WIDTH)
    top = -_KEY_ROOM[0]
    used: set[str] = set()
    content = _staff_lines(-top, _KEY_WIDTH, True)
    [shapes] = engraved.staves
    content += _shapes(shapes, _KEY_WIDTH / 2 - engraved.places["s1v0n0"], -top, used)
    return Piece(_KEY_WIDTH, content, (), 0, frozenset(used)), _STAFF - top + _KEY_ROOM[1]


_ONE_BEAT = Meter.parse("1/4")
_LOW = 1  # staff places of the feet: stems down
_KEY_WIDTH = 5 * SPACE
_KEY_ROOM = (4.8 * SPACE, 2.2 * SPACE)  # above and below the staff


# How wide, and where to cut


def _needed(score: Score) -> float:
    """How wide the bar that needs most should be."""
    meter, step = score.exercise.meter, score.exercise.step
    columns = float(meter.bar / step)
    most = 0.0
    for bar in score.bars:
        notes = [note for voice in bar.voices for note in voice.notes]
        off_grid = len({n.start for n in notes if (n.start / step).denominator > 1})
        grace = sum(len(note.grace) for note in notes)
        most = max(most, (columns + 0.7 * off_grid) * COLUMN + grace * _GRACE)
        most = max(most, _needed_by_chords(bar, meter.bar)) if bar.chords else most
    return most + _LEAD


def _needed_by_chords(bar: Bar, length: Fraction) -> float:
    """How wide a bar of such a length must be for each of its symbols to end before the next."""
    times = [*(sign.time for sign in bar.chords), length]
    rooms = [later - earlier for earlier, later in pairwise(times)]
    return max(
        (chord_width(sign.text) + _BETWEEN_CHORDS) * float(length / room)
        for sign, room in zip(bar.chords, rooms, strict=True)
    )


def _spans(score: Score, layout: Layout) -> list[tuple[Fraction, Fraction]]:
    """The beats of each piece of a bar: one piece if it is not too wide, else as few as can be."""
    meter = score.exercise.meter
    starts = [start for start, _, _ in cells_of(meter)]
    room = layout.widest - 2 * _REPEAT
    wanted = min(max(ceil(_needed(score) / (1.12 * room)), 1), len(starts))
    size = ceil(len(starts) / wanted)
    edges = [*starts[::size], meter.bar]
    return [(edges[i], edges[i + 1]) for i in range(len(edges) - 1)]


def _widths(
    score: Score, spans: Sequence[tuple[Fraction, Fraction]], layout: Layout, head: float
) -> list[float]:
    bar = score.exercise.meter.bar
    needed = _needed(score)
    if not layout.fill:
        return [min(float((end - start) / bar) * needed, layout.widest) for start, end in spans]
    room = layout.fill - head - 2 * _REPEAT
    if len(spans) > 1:
        share = max(float((end - start) / bar) for start, end in spans)
        full = min(room - _TAIL, _STRETCH * needed * share) / share
    else:
        bars = list(score.bars)
        signs = [_simile_width(each, bar) + _TAIL for each in bars if each.is_repeat]
        signs = signs if layout.with_similes else []
        written = len(bars) - len(signs)
        # What is beside the notes of a bar: its end, and room for the signs that follow it.
        beside = _TAIL + _room_for_signs(signs, written, room - needed - _TAIL)
        in_line = max(int(room // (needed + beside)), 1)
        in_line = ceil(written / ceil(written / in_line))  # lines of about the same length
        stretch = _STRETCH_ALONE if len(bars) == 1 else _STRETCH
        full = min(room / in_line - beside, stretch * needed)
    return [float((end - start) / bar) * full for start, end in spans]


def _room_for_signs(signs: Sequence[float], written: int, room: float) -> float:
    """How wide the signs are that should stand behind each bar that is written out."""
    widest = max(signs, default=0.0)
    wanted = min(ceil(len(signs) / written), _SIMILES_BEHIND)
    return max(n * widest for n in range(wanted + 1) if n * widest <= max(room, 0.0))


def _simile_width(bar: Bar, length: Fraction) -> float:
    """How wide a sign for the bar before is, with the bar's own chords over it."""
    return max(_SIMILE, _needed_by_chords(bar, length) if bar.chords else 0.0)


def _cut_one(
    score: Score,
    engraver: Engraver,
    passage: Passage,
    bar: Bar,
    span: tuple[Fraction, Fraction],
    width: float,
    spans: Sequence[tuple[Fraction, Fraction]],
    simile: bool,
) -> _Cut:
    exercise = score.exercise
    width = min(width, _simile_width(bar, exercise.meter.bar)) if simile else width
    own = [v for v in bar.voices if v.name in (HANDS_VOICE, FEET_VOICE)]
    staves = [[voice] for voice in bar.voices if voice not in own] + [own]
    engraved = engraver.bar(exercise.meter, exercise.step, staves, span, round(width), simile)
    is_loop = passage is score.passages[-1]
    first = is_loop and bar is passage.bars[0] and span[0] == 0
    ends_bar = span == spans[-1]
    last = is_loop and bar is passage.bars[-1] and ends_bar
    return _Cut(
        bar=bar,
        span=span,
        engraved=engraved,
        opens=first,
        closes="repeat" if last else "bar" if ends_bar else "",
        times=passage.times if last else 1,
        words=bar.words if span[0] == 0 else "",
        width=width + _REPEAT * (first + last) + (_TAIL if ends_bar else 0),
        shift=_REPEAT * first,
        is_simile=simile,
        notes={} if simile else dict(_named(own, len(staves))),
    )


def _named(voices: Sequence[Voice], staff: int) -> Iterator[tuple[str, Note]]:
    """The notes of the player's staff by the names `mei` gives them."""
    for i, voice in enumerate(voices):
        for j, note in enumerate(voice.notes):
            yield f"s{staff}v{i}n{j}", note


# Drawing


def _rows(score: Score, cuts: Sequence[_Cut], layout: Layout) -> _Rows:
    """Room above and below the staves for the highest and lowest of all pieces."""
    depth = len(score.beside) + 1
    tops = [max(-each.engraved.staves[i].top for each in cuts) for i in range(depth)]
    bottoms = [max(each.engraved.staves[i].bottom for each in cuts) for i in range(depth)]
    at = 0.3 * SPACE
    words = 0.0
    if any(each.words or each.times > 1 for each in cuts):
        words = at + 0.8 * _WORD
        at = words + 0.9 * SPACE
    chords = 0.0
    if any(bar.chords for bar in score.bars):
        chords = at + 0.75 * CHORD + (0.0 if words else 0.7 * SPACE)
        at = chords + 0.9 * SPACE
    beside: list[float] = []
    labels: list[float] = []
    for top, bottom in zip(tops[:-1], bottoms[:-1], strict=True):
        at += max(top, SPACE) + _LABEL_ROW
        beside.append(at)
        labels.append(at - max(top, SPACE) - 0.3 * SPACE)
        at += max(bottom, SPACE) + _LINE_STAFF_GAP / 2
    at += max(tops[-1], 0.8 * SPACE)
    staff = at
    at += max(bottoms[-1], _STAFF)
    hands = max((len(n.sticking) for each in cuts for n in each.notes.values()), default=0)
    sticking = []
    for _ in range(hands):
        at += _ROW
        sticking.append(at)
    counts = 0.0
    if layout.with_counts:
        at += _ROW
        counts = at
    height = at + 0.8 * SPACE
    return _Rows(
        words, chords, tuple(beside), tuple(labels), staff, tuple(sticking), counts, height
    )


def _drawn(score: Score, each: _Cut, rows: _Rows, layout: Layout) -> Piece:
    used: set[str] = set()
    tops = (*rows.beside, rows.staff)
    parts = [_staff_lines(top, each.width, top == rows.staff) for top in tops]
    for shapes, top in zip(each.engraved.staves, tops, strict=True):
        parts.append(_shapes(shapes, each.shift, top, used))
    parts += _bar_lines(each, tops)
    if each.words:
        parts.append(_text(each.shift + 4, rows.words, _WORD, "word", each.words, "start"))
    if each.times > 1:
        said = f"{each.times} times"
        parts.append(_text(each.width - 2, rows.words, _WORD, "word", said, "end"))
    columns = dict(_columns(score, each))
    parts += _sticking(each, rows)
    if layout.with_counts and each.notes:  # a sign for the same bar again needs no counts
        parts += _counts(score, columns, rows)
    new, again = _chords(each, columns, rows) if each.bar.chords else ("", "")
    parts.append(new)
    start = (each.bar.number - 1) * score.exercise.meter.bar
    times = tuple((start + time, columns[time]) for time in sorted(columns))
    return Piece(
        each.width,
        "".join(parts),
        times,
        each.bar.number,
        frozenset(used),
        begins_bar=each.span[0] == 0,
        is_simile=each.is_simile,
        again=again,
    )


def _columns(score: Score, each: _Cut) -> Iterator[tuple[Fraction, float]]:
    """Where every grid step and every stroke of the piece stands.

    What has no note of its own lies between its neighbours.
    """
    begin, end = each.span
    known = {
        note.start: each.engraved.places[name] + each.shift
        for name, note in each.notes.items()
        if name in each.engraved.places and begin <= note.start < end
        and (not note.is_rest or note.length < end - begin)
    }  # fmt: skip
    lead = 1.6 * SPACE + each.shift
    known.setdefault(begin, lead)
    right = each.shift + each.engraved.width
    anchors = [*sorted(known.items()), (end, right)]
    wanted = {time for time, _ in score.counts if begin <= time < end} | known.keys()
    wanted |= {sign.time for sign in each.bar.chords if begin <= sign.time < end}
    for time in wanted:
        for (one, x), (two, following) in pairwise(anchors):
            if one <= time < two:
                yield time, x + float((time - one) / (two - one)) * (following - x)
                break


def _chords(each: _Cut, columns: dict[Fraction, float], rows: _Rows) -> tuple[str, str]:
    """The chord symbols of a piece: those that are new, and those for the beginning of a line."""
    begin, end = each.span
    before = [sign for sign in each.bar.chords if sign.time < begin][-1:]
    inside = [sign for sign in each.bar.chords if begin <= sign.time < end]
    signs = inside if inside and inside[0].time == begin else [*before, *inside]
    places = [columns[max(sign.time, begin)] - _BEFORE_NOTE for sign in signs]
    right = each.width + _BETWEEN_CHORDS
    rooms = [after - x - _BETWEEN_CHORDS for x, after in pairwise([*places, right])]
    # Bars are as wide as their symbols need, but where a line is too short for that.
    fits = [room / chord_width(sign.text) for sign, room in zip(signs, rooms, strict=True)]
    size = CHORD * max(min(1.0, *fits), _SMALLEST_CHORD)
    drawn: dict[bool, str] = {True: "", False: ""}
    for sign, x in zip(signs, places, strict=True):
        known = each.is_simile and each.bar.repeats_chords
        known = known or sign.goes_on or sign.time < begin
        drawn[known] += chord_text(x, rows.chords, size, sign.text)
    return drawn[False], drawn[True]


def _sticking(each: _Cut, rows: _Rows) -> Iterator[str]:
    for name, note in each.notes.items():
        if not note.sticking or name not in each.engraved.places:
            continue
        x = each.engraved.places[name] + each.shift
        for hand, y in zip(note.sticking, rows.sticking, strict=False):
            loud = any(head.is_accented for head in note.heads if head.hand == hand)
            kind = "hand accent" if loud else "hand"
            yield _text(x, y, _LETTER, kind, hand)
        for i, head in enumerate(note.grace):
            place = each.engraved.places.get(f"{name}g{i}")
            if place is not None:
                yield _text(place + each.shift, rows.sticking[0], _SMALL, "hand", head.hand.lower())


def _counts(score: Score, columns: dict[Fraction, float], rows: _Rows) -> Iterator[str]:
    for time, said in score.counts:
        if time in columns and said != UNNAMED:
            kind = "count beat" if said.isdigit() else "count"
            yield _text(columns[time], rows.counts, _COUNT, kind, said)


def _staff_lines(top: float, width: float, is_players: bool) -> str:
    count = 5 if is_players else 1
    lines = "".join(f"M0 {_n(top + i * SPACE)}h{_n(width)}" for i in range(count))
    return f'<path class="line" d="{lines}"/>'


def _bar_lines(each: _Cut, tops: Sequence[float]) -> Iterator[str]:
    down = f"V{_n(tops[-1] + _STAFF)}"
    high = tops[0] - (SPACE if len(tops) > 1 else 0)
    if each.opens:
        yield f'<path class="thick" d="M{_THICK / 2} {_n(high)}{down}"/>'
        yield f'<path class="thin" d="M{_THICK + 3.2} {_n(high)}{down}"/>'
        yield _dots(_THICK + 7.5, tops[-1])
    if each.closes == "bar":
        yield f'<path class="thin" d="M{_n(each.width - _THIN / 2)} {_n(high)}{down}"/>'
    if each.closes == "repeat":
        x = each.width
        yield f'<path class="thick" d="M{_n(x - _THICK / 2)} {_n(high)}{down}"/>'
        yield f'<path class="thin" d="M{_n(x - _THICK - 3.2)} {_n(high)}{down}"/>'
        yield _dots(x - _THICK - 7.5, tops[-1])


def _dots(x: float, top: float) -> str:
    return "".join(
        f'<circle cx="{_n(x)}" cy="{_n(top + place * SPACE)}" r="2.2"/>' for place in (1.5, 2.5)
    )


def _head(
    head: Engraved, rows: _Rows, width: float, beside: Sequence[str], clef_only: bool
) -> Piece:
    """Clef and time signature, without the note that was engraved to find out where they end."""
    used: set[str] = set()
    tops = (*rows.beside, rows.staff)
    parts = [_staff_lines(top, width, top == rows.staff) for top in tops]
    shapes = Shapes(
        glyphs=[
            glyph
            for glyph in head.staves[0].glyphs
            if glyph[1] < width and not (clef_only and glyph[0] != _PERCUSSION_CLEF)
        ]
    )
    parts.append(_shapes(shapes, 0, rows.staff, used))
    if beside and not clef_only:
        for title, y in zip(beside, rows.labels, strict=True):
            parts.append(_text(4, y, _NUMBER + 2, "word", title, "start"))
    if beside:
        down = f"M0.8 {_n(tops[0] - SPACE)}V{_n(tops[-1] + _STAFF)}"
        parts.append(f'<path class="thin" d="{down}"/>')
    return Piece(width, "".join(parts), (), 0, frozenset(used))


_PERCUSSION_CLEF = "E069"
_DIGITS = {f"E08{digit}" for digit in range(10)}


def _shapes(shapes: Shapes, x: float, y: float, used: set[str]) -> str:
    parts = []
    by_width: dict[float, list[str]] = {}
    for width, path in shapes.strokes:
        by_width.setdefault(width, []).append(path)
    for width, paths in by_width.items():
        parts.append(f'<path class="s" stroke-width="{width:g}" d="{"".join(paths)}"/>')
    if shapes.fills:
        parts.append(f'<path d="{"".join(shapes.fills)}"/>')
    for name, left, top, size in shapes.glyphs:
        used.add(name)
        if size == 1:
            parts.append(f'<use href="#g{name}" x="{_n(left)}" y="{_n(top)}"/>')
        else:
            place = f"translate({_n(left)} {_n(top)}) scale({size:g})"
            parts.append(f'<use href="#g{name}" transform="{place}"/>')
    return f'<g transform="translate({_n(x)} {_n(y)})">{"".join(parts)}</g>' if parts else ""


def _text(x: float, y: float, size: float, kind: str, text: str, anchor: str = "middle") -> str:
    kinds = f"{kind} {anchor}" if anchor != "middle" else kind
    return (
        f'<text class="{kinds}" x="{_n(x)}" y="{_n(y)}" font-size="{size:g}">{escape(text)}</text>'
    )


def _n(value: float) -> str:
    """A number with one decimal at most."""
    return f"{value:.1f}".removesuffix(".0")
