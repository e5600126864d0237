"""A piece drawn: around the engraved notes its staff lines, bar lines, letters, counts, chords."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from midiforge.engraving.drawing import Piece
from midiforge.engraving.engrave import Engraved
from midiforge.engraving.even import HALF_HEAD
from midiforge.engraving.ink import chord_at, dots, line, shapes_at, stroke, text_at
from midiforge.engraving.shapes import SPACE, Shapes
from midiforge.engraving.text_width import CHORD, chord_width, text_width
from midiforge.engraving.widths import BETWEEN_CHORDS, Layout, Span
from midiforge.model.counts import UNNAMED
from midiforge.notation.score import FEET_VOICE, Bar, Note, Score
from midiforge.notation.swells import Hairpin
from midiforge.svg import NOTHING, Svg, element, short, together

_LETTER, _SMALL, _COUNT, _WORD, _NUMBER = 21.0, 18.0, 17.0, 19.0, 13.0  # sizes of letters
_ROW = 2.3 * SPACE
_BELOW_LETTER = 1.9 * SPACE  # from one hand's letter to the other's of the same moment
STAFF = 4 * SPACE
# A script l: two plain ones before a letter are an eleven in many fonts.
GRACE_LETTERS = {"R": "r", "L": "\N{SCRIPT SMALL L}"}
_LINE_STAFF_GAP = 2.2 * SPACE
_LABEL_ROW = 1.8 * SPACE  # for the name of a line above the staff, above its notes
_SWELL = 1.1 * SPACE  # how far a hairpin opens
_LEVEL = 19.0  # the size of the sign of a level
_THIN, _THICK = 1.6, 5.0
_BEFORE_NOTE = 0.6 * SPACE  # a chord symbol begins where a notehead does
# From the middle of a notehead to the end of a tie; what is beside the stem may have slashes.
_BELOW_HEAD, _BESIDE_HEAD, _BESIDE_STEM = 0.75 * SPACE, 0.3 * SPACE, 1.4 * SPACE
_SMALLEST_CHORD = 0.3  # of the usual size; what is smaller is a dot


@dataclass(slots=True)
class Cut:
    """A piece before it is drawn."""

    bar: Bar
    span: Span
    engraved: Engraved
    opens: bool = False  # a repeat begins here
    closes: str = ""  # the bar line at its end: "", "bar", "repeat"
    times: int = 1
    words: str = ""
    width: float = 0.0
    shift: float = 0.0
    is_simile: bool = False
    notes: dict[str, Note] = field(default_factory=dict)


@dataclass(slots=True)
class Rows:
    """Heights that all pieces of a score share, from their top; 0 for what is in none of them."""

    words: float = 0.0
    chords: float = 0.0
    above: list[float] = field(default_factory=list)
    labels: list[float] = field(default_factory=list)
    staff: float = 0.0
    sticking: list[float] = field(default_factory=list)
    counts: float = 0.0
    swell: float = 0.0
    height: float = 0.0


def rows_of(score: Score, cuts: Sequence[Cut], layout: Layout) -> Rows:
    """Room above and below the staves for the highest and lowest of all pieces."""
    staves = [*zip(*(piece.engraved.staves for piece in cuts), strict=True)]
    *tops, top = (max(-shapes.top for shapes in some) for some in staves)
    *bottoms, bottom = (max(shapes.bottom for shapes in some) for some in staves)
    rows = Rows()
    at = 0.3 * SPACE
    if any(piece.words or piece.times > 1 for piece in cuts):
        rows.words = at + 0.8 * _WORD
        at = rows.words + 0.9 * SPACE
    if any(bar.chords for bar in score.bars):
        rows.chords = at + 0.75 * CHORD + (0.0 if rows.words else 0.7 * SPACE)
        at = rows.chords + 0.9 * SPACE
    for above, below in zip(tops, bottoms, strict=True):
        rows.labels.append(at + _LABEL_ROW - 0.3 * SPACE)
        at += max(above, SPACE) + _LABEL_ROW
        rows.above.append(at)
        at += max(below, SPACE) + _LINE_STAFF_GAP / 2
    rows.staff = at + max(top, 0.8 * SPACE)
    at = rows.staff + max(bottom, STAFF)
    hands = max((len(n.sticking) for piece in cuts for n in piece.notes.values()), default=0)
    rows.sticking = [at + _ROW + i * _BELOW_LETTER for i in range(hands)]
    at = rows.sticking[-1] if hands else at
    if layout.with_counts:
        at += _ROW
        rows.counts = at
    if any(bar.hairpin for bar in score.bars):
        rows.swell = at + 0.5 * _ROW + 0.5 * _SWELL
        at = rows.swell + 0.5 * _SWELL
    rows.height = at + 0.8 * SPACE
    return rows


def drawn(score: Score, piece: Cut, rows: Rows, layout: Layout) -> Piece:
    """A piece with everything around its notes."""
    tops = (*rows.above, rows.staff)
    parts = [staff_lines(top, piece.width, top == rows.staff) for top in tops]
    for shapes, top in zip(piece.engraved.staves, tops, strict=True):
        parts.append(shapes_at(shapes, piece.shift, top))
    parts += _bar_lines(piece, tops)
    if piece.words:
        parts.append(text_at(piece.shift + 4, rows.words, _WORD, "word", piece.words, "start"))
    if piece.times > 1:
        said = f"{piece.times} times"
        parts.append(text_at(piece.width - 2, rows.words, _WORD, "word", said, "end"))
    columns = _columns(piece)
    parts += _sticking(piece, columns, rows)
    parts += _ties(piece, rows.staff)
    if layout.with_counts and piece.notes:  # a sign for the same bar again needs no counts
        parts += _counts(piece.bar, columns, rows)
    if piece.bar.hairpin:
        parts += _swell(piece.bar.hairpin, piece, score.exercise.meter.bar, rows.swell)
    new, again = _chords(piece, columns, rows) if piece.bar.chords else (NOTHING, NOTHING)
    parts.append(new)
    start = (piece.bar.number - 1) * score.exercise.meter.bar
    times = tuple((start + time, x) for time, x in sorted(columns.items()))
    return Piece(
        piece.width,
        together(parts),
        times,
        piece.bar.number,
        frozenset[str]().union(*(shapes.signs for shapes in piece.engraved.staves)),
        begins_bar=piece.span[0] == 0,
        is_simile=piece.is_simile,
        again=again,
    )


def _columns(piece: Cut) -> dict[Fraction, float]:
    """Where every grid step and every stroke of the piece stands.

    What has no note of its own lies between its neighbours.
    """
    begin, end = piece.span
    columns = {time: x + piece.shift for time, x in piece.engraved.columns.items()}
    columns.setdefault(begin, 1.6 * SPACE + piece.shift)
    right = piece.shift + piece.engraved.width + HALF_HEAD
    anchors = [*sorted(columns.items()), (end, right)]
    wanted = [time for time, _ in piece.bar.counts] + [sign.time for sign in piece.bar.chords]
    wanted += [time for note in piece.notes.values() for time, _ in note.rolled]
    for time in wanted:
        for (one, x), (two, following) in pairwise(anchors):
            if one <= time < two:
                columns[time] = x + float((time - one) / (two - one)) * (following - x)
    return columns


def _chords(piece: Cut, columns: dict[Fraction, float], rows: Rows) -> tuple[Svg, Svg]:
    """The chord symbols of a piece: those that are new, and those for the beginning of a line."""
    begin, end = piece.span
    before = [sign for sign in piece.bar.chords if sign.time < begin][-1:]
    inside = [sign for sign in piece.bar.chords if begin <= sign.time < end]
    signs = inside if inside and inside[0].time == begin else [*before, *inside]
    places = [columns[max(sign.time, begin)] - _BEFORE_NOTE for sign in signs]
    right = piece.width + BETWEEN_CHORDS
    rooms = [after - x - BETWEEN_CHORDS for x, after in pairwise([*places, right])]
    # Bars are as wide as their symbols need, but where a line is too short for that.
    fits = [room / chord_width(sign.text) for sign, room in zip(signs, rooms, strict=True)]
    size = CHORD * max(min(1.0, *fits), _SMALLEST_CHORD)
    new, again = list[Svg](), list[Svg]()
    for sign, x in zip(signs, places, strict=True):
        known = piece.is_simile and piece.bar.repeats_chords
        known = known or sign.goes_on or sign.time < begin
        (again if known else new).append(chord_at(x, rows.chords, size, sign.text))
    return together(new), together(again)


def _ties(piece: Cut, top: float) -> Iterator[Svg]:
    """Arcs below the hands' noteheads, or above them if the feet have a voice below.

    They go from the edge of the piece or to it where a tie goes further.
    """
    up = piece.bar.voice(FEET_VOICE) is not None
    names = [name for name in piece.notes if name in piece.engraved.places]
    for i, name in enumerate(names):
        note, x = piece.notes[name], piece.engraved.places[name] + piece.shift
        if note.is_rest:
            continue
        y = top + (8 - min(head.sign.place for head in note.heads)) * SPACE / 2
        y += -_BELOW_HEAD if up else _BELOW_HEAD
        if note.goes_on and not (i and piece.notes[names[i - 1]].is_tied):
            yield _arc(0.5 * SPACE, x - _BESIDE_HEAD, y, up)
        if note.is_tied:
            follows = i + 1 < len(names) and piece.notes[names[i + 1]].goes_on
            end = piece.engraved.places[names[i + 1]] + piece.shift if follows else piece.width
            begin = x + (_BESIDE_STEM if up else _BESIDE_HEAD)
            yield _arc(begin, end - _BESIDE_HEAD, y, up)


def _arc(left: float, right: float, y: float, up: bool) -> Svg:
    """A tie: thicker in the middle than at its ends."""
    bend = min(0.3 * (right - left), SPACE)
    way = -1 if up else 1
    low = min(0.2 * (right - left), 0.8 * SPACE)
    inner, outer = (short(y + way * (low + by)) for by in (0.0, 1.8))
    one, two = short(left + bend), short(right - bend)
    path = (
        f"M{short(left)} {short(y)}C{one} {outer} {two} {outer} {short(right)} {short(y)}"
        f"C{two} {inner} {one} {inner} {short(left)} {short(y)}z"
    )
    return element("path", d=path)


def _sticking(piece: Cut, columns: dict[Fraction, float], rows: Rows) -> Iterator[Svg]:
    places = {name: x + piece.shift for name, x in piece.engraved.places.items()}
    for name, note in piece.notes.items():
        if not note.sticking or name not in places:
            continue
        for hand, y in zip(note.sticking, rows.sticking, strict=False):
            loud = any(head.is_accented for head in note.heads if head.hand == hand)
            yield text_at(places[name], y, _LETTER, "hand accent" if loud else "hand", hand)
        for time, head in note.rolled:
            if time in columns:
                yield text_at(columns[time], rows.sticking[0], _LETTER, "hand", head.hand)
        for i, head in enumerate(note.grace):
            if (grace := f"{name}g{i}") in places:
                letter = GRACE_LETTERS[head.hand]
                yield text_at(places[grace], rows.sticking[0], _SMALL, "hand", letter)


def _counts(bar: Bar, columns: dict[Fraction, float], rows: Rows) -> Iterator[Svg]:
    for time, said in bar.counts:
        if time in columns and said != UNNAMED:
            kind = "count beat" if said.isdigit() else "count"
            yield text_at(columns[time], rows.counts, _COUNT, kind, said)


def _swell(hairpin: Hairpin, piece: Cut, bar: Fraction, y: float) -> Iterator[Svg]:
    """The piece's part of a hairpin, and the signs of the levels at its ends."""
    left, right = 0.0, piece.width
    size, down = _LEVEL, 0.3 * _LEVEL
    if hairpin.begins and piece.span[0] == 0:
        left = piece.shift + _level_room(hairpin.begins)
        yield text_at(piece.shift + 4, y + down, size, "level", hairpin.begins, "start")
    if hairpin.ends and piece.span[1] == bar:
        right = piece.width - _level_room(hairpin.ends)
        yield text_at(piece.width - 6, y + down, size, "level", hairpin.ends, "end")
    change = hairpin.closing - hairpin.opening
    begin, end = (
        0.5 * _SWELL * float(hairpin.opening + change * time / bar) for time in piece.span
    )
    if right > left:
        sides = (
            f"M{short(left)} {short(y + way * begin)}L{short(right)} {short(y + way * end)}"
            for way in (-1, 1)
        )
        yield stroke(1.3, "".join(sides))


def _level_room(sign: str) -> float:
    return text_width(sign, _LEVEL) + 1.2 * SPACE


def staff_lines(top: float, width: float, is_players: bool) -> Svg:
    """The five lines of the player's staff, or the one of a line above it."""
    places = (top + i * SPACE for i in range(5 if is_players else 1))
    return line("line", "".join(f"M0 {short(y)}h{short(width)}" for y in places))


def _bar_lines(piece: Cut, tops: Sequence[float]) -> Iterator[Svg]:
    high = tops[0] - (SPACE if len(tops) > 1 else 0)

    def upright(kind: str, x: float) -> Svg:
        return line(kind, f"M{short(x)} {short(high)}V{short(tops[-1] + STAFF)}")

    if piece.opens:
        yield upright("thick", _THICK / 2)
        yield upright("thin", _THICK + 3.2)
        yield dots(_THICK + 7.5, tops[-1])
    if piece.closes == "bar":
        yield upright("thin", piece.width - _THIN / 2)
    if piece.closes == "repeat":
        yield upright("thick", piece.width - _THICK / 2)
        yield upright("thin", piece.width - _THICK - 3.2)
        yield dots(piece.width - _THICK - 7.5, tops[-1])


def head_piece(
    head: Engraved, rows: Rows, width: float, above: Sequence[str], clef_only: bool
) -> Piece:
    """Clef and time signature, without the note that was engraved to find out where they end."""
    tops = (*rows.above, rows.staff)
    parts = [staff_lines(top, width, top == rows.staff) for top in tops]
    signs = [sign for sign in head.staves[0].glyphs if sign[1] < width]
    if clef_only:
        signs = [sign for sign in signs if sign[0] == _PERCUSSION_CLEF]
    shapes = Shapes(glyphs=signs)
    parts.append(shapes_at(shapes, 0, rows.staff))
    for title, y in zip([] if clef_only else above, rows.labels, strict=False):
        parts.append(text_at(4, y, _NUMBER + 2, "word", title, "start"))
    if above:
        parts.append(line("thin", f"M0.8 {short(tops[0] - SPACE)}V{short(tops[-1] + STAFF)}"))
    return Piece(width, together(parts), (), 0, shapes.signs)


_PERCUSSION_CLEF = "E069"
DIGITS = {f"E08{digit}" for digit in range(10)}
