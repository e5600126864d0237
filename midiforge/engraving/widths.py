"""How wide the pieces of a score are, and where its bars are cut."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import ceil

from midiforge.engraving.shapes import SPACE
from midiforge.engraving.text_width import chord_width
from midiforge.frozen import frozen
from midiforge.notation.rhythm import cells_of
from midiforge.notation.score import Bar, Score

COLUMN = 2.3 * SPACE  # the least distance of two columns of the grid
_COUNTED = 1.9 * SPACE  # of two counts
_GRACE = 2.4 * SPACE  # what a grace note and its letter need
TAIL = 0.6 * SPACE  # between what is engraved and the bar line
_LEAD = 3.0 * SPACE  # from the bar line to the first note, and from the last to the next
REPEAT = 1.6 * SPACE  # what the dots of a repeat need
_STRETCH, _STRETCH_ALONE = 1.5, 1.8  # how much wider than it needs a bar is at most
_CLOSER = 1.04  # than it should be a piece may be, so that it need not be cut
_SIMILE = 11 * SPACE  # a bar with nothing but the sign for "the same again"
_SIMILES_BEHIND = 3  # of these behind a bar: four bars a line read best
BETWEEN_CHORDS = 0.9 * SPACE

Span = tuple[Fraction, Fraction]  # from, up to: quarter notes from the bar line


@frozen
class Layout:
    """How a score is cut.

    widest: no piece with the clef before it is wider, in tenths of a space, unless a single beat
        is.
    fill: a width that whole pieces should fill in lines; 0 for pieces as narrow as reads well.
    with_counts: whether the counts stand below the notes.
    with_similes: whether a sign may stand for a bar with the strokes of the one before.
    """

    widest: float
    fill: float = 0.0
    with_counts: bool = False
    with_similes: bool = True


def _needed(score: Score, layout: Layout) -> float:
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
        most = max(most, len(bar.counts) * _COUNTED) if layout.with_counts else most
    return most + _LEAD


def _needed_by_chords(bar: Bar, length: Fraction) -> float:
    """How wide a bar of such a length must be for each of its symbols to end before the next."""
    times = [*(sign.time for sign in bar.chords), length]
    rooms = [later - earlier for earlier, later in pairwise(times)]
    return max(
        (chord_width(sign.text) + BETWEEN_CHORDS) * float(length / room)
        for sign, room in zip(bar.chords, rooms, strict=True)
    )


def _room(layout: Layout, head: float) -> float:
    """How wide the notes of a piece may be; `head` is the room for the clef."""
    return layout.widest - head - 2 * REPEAT - TAIL


def spans_of(score: Score, layout: Layout, head: float) -> list[Span]:
    """The beats of each piece of a bar: one piece if it is not too wide, else as few as can be."""
    meter = score.exercise.meter
    starts = [start for start, _, _ in cells_of(meter)]
    room = _room(layout, head)
    wanted = min(max(ceil(_needed(score, layout) / (_CLOSER * room)), 1), len(starts))
    size = ceil(len(starts) / wanted)
    edges = [*starts[::size], meter.bar]
    return [(edges[i], edges[i + 1]) for i in range(len(edges) - 1)]


def widths(score: Score, spans: Sequence[Span], layout: Layout, head: float) -> list[float]:
    """How wide each piece of a bar is, in tenths of a space; `head` is the room for the clef."""
    bar = score.exercise.meter.bar
    needed = _needed(score, layout)
    if not layout.fill:
        room = _room(layout, head)
        return [min(float((end - start) / bar) * needed, room) for start, end in spans]
    room = layout.fill - head - 2 * REPEAT
    if len(spans) > 1:
        share = max(float((end - start) / bar) for start, end in spans)
        full = min(room - TAIL, _STRETCH * needed * share) / share
    else:
        bars = list(score.bars)
        signs = [simile_width(repeated, bar) + TAIL for repeated in bars if repeated.is_repeat]
        signs = signs if layout.with_similes else []
        written = len(bars) - len(signs)
        # What is beside the notes of a bar: its end, and room for the signs that follow it.
        beside = TAIL + _room_for_signs(signs, written, room - needed - TAIL)
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


def simile_width(bar: Bar, length: Fraction) -> float:
    """How wide a sign for the bar before is, with chords over it where they are others."""
    says_chords = bar.chords and not bar.repeats_chords
    return max(_SIMILE, _needed_by_chords(bar, length) if says_chords else 0.0)
