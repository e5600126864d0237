"""Spacing measured in the engraved shapes of random drills: distances, collisions, right edges."""

from collections.abc import Iterator
from functools import cache
from itertools import combinations, pairwise
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.engraving import cut as cutting
from midiforge.engraving.drawing import Setting, in_lines
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.piece_drawing import Cut
from midiforge.engraving.shapes import GLYPH_SCALE, SPACE, Shapes
from midiforge.engraving.widths import REPEAT, TAIL, Layout
from midiforge.errors import MidiforgeError
from midiforge.notation import scores
from midiforge.pages.paper import paper_of

pytest.importorskip("verovio")

LINE = paper_of("a4").line
HEAD = 1.18 * SPACE  # the width of a notehead in the font Bravura
TOUCHING = 0.6  # tenths of a staff space that boxes may share: they are larger than their ink
engraver = cache(Engraver)

_MARKED = ("(L)", ">R", ">L", "lR", "rL", "rrL")
DRILLS = st.fixed_dictionaries(
    {
        "sticking": st.lists(
            st.sampled_from(("R", "L", "-", "K", "B", "RR", "LL", "Rz", *_MARKED)),
            min_size=2,
            max_size=10,
        ).map(" ".join),
        "steps": st.sampled_from([1, 2, 3, 4, 4, 5, 6, 8, 8]),
        "meter": st.sampled_from(["4/4", "3/4", "6/8", "5/4", "7/8", "2/4", "12/8"]),
        "feet": st.sampled_from(["none", "samba", "1 2", "1a 2& on LF", "x.x on RF"]),
        "voicing": st.sampled_from(
            [
                "RH=hihat-closed",
                "RH=snare",
                "RH=ride, RH accent=ride-bell, LH accent=floor-tom",
                "RH=hihat-open/hihat-closed",
                "RH=crash, LH=floor-tom",
            ]
        ),
        "stages": st.just("full"),
    }
)


class Box(NamedTuple):
    """What is drawn, and where: left, right, top, bottom in tenths of a staff space."""

    kind: str
    left: float
    right: float
    top: float
    bottom: float


KINDS = {
    "E0": "head", "E4E": "rest", "E4A": "accent", "E5E": "sign", "E63": "sign", "E88": "number",
    "E24": "flag", "E26": "bracket", "E22": "on stem",
}  # fmt: skip
# What belongs together touches.
TOGETHER = {
    frozenset(pair)
    for pair in (
        ("head", "stem"), ("head", "bracket"), ("head", "flag"), ("stem", "beam"), ("beam",),
        ("stem", "flag"), ("stem", "bracket"), ("stem", "on stem"), ("tuplet", "number"),
        ("stem",), ("flag", "bracket"), ("beam", "flag"),
    )
}  # fmt: skip


def boxes(shapes: Shapes) -> Iterator[Box]:
    """The signs, beams, stems and tuplets of a staff."""
    for name, x, y, size in shapes.glyphs:
        left, low, wide, high = (GLYPH_SCALE * size * each for each in engraver().boxes[name])
        kind = next((kind for start, kind in KINDS.items() if name.startswith(start)), name)
        yield Box(kind, x + left, x + left + wide, y - low - high, y - low)
    areas = [path for path in shapes.fills if "a" not in path]  # not the dots
    for path in (*areas, *(path for _, path in shapes.strokes)):
        numbers = [float(each) for each in path.strip("Mz").replace("L", " ").split()]
        xs, ys = numbers[::2], numbers[1::2]
        if path in areas:
            yield Box("beam", min(xs), max(xs), min(ys), max(ys))
        elif len(xs) == 3:
            yield Box("tuplet", min(xs), max(xs), min(ys), max(ys))
        elif abs(xs[0] - xs[1]) < 0.1:
            yield Box("stem", min(xs) - 0.5, max(xs) + 0.5, min(ys), max(ys))


def collide(one: Box, other: Box) -> bool:
    beside = min(one.right, other.right) - max(one.left, other.left)
    over = min(one.bottom, other.bottom) - max(one.top, other.top)
    return min(beside, over) > TOUCHING and frozenset((one.kind, other.kind)) not in TOGETHER


def on_paper(content: dict[str, object]) -> tuple[list[Cut], Setting] | None:
    """The pieces of a drill's score before they are drawn, and as drawn on A4; None for a drill
    that cannot be played or written."""
    try:
        [*_, score] = scores(midiforge.exercises(midiforge.check_drill(content)))
    except (MidiforgeError, ValueError):
        return None
    pieces: list[Cut] = []
    with pytest.MonkeyPatch.context() as patch:
        drawn = cutting.drawn

        def noted(score, piece, *rest):  # type: ignore[no-untyped-def]
            pieces.append(piece)
            return drawn(score, piece, *rest)

        patch.setattr(cutting, "drawn", noted)
        setting = cutting.cut(score, engraver(), Layout(LINE, fill=LINE))
    return pieces, setting


@settings(max_examples=40, deadline=None)
@given(DRILLS)
def test_nothing_that_is_engraved_touches_what_it_does_not_belong_to(
    content: dict[str, object],
) -> None:
    """Two voices, rests under beams, accents, hi-hat signs, brackets and numbers of tuplets."""
    pieces, _ = on_paper(content) or ([], None)
    for piece in pieces[:4]:
        for shapes in piece.engraved.staves:
            drawn = [*boxes(shapes)]
            assert [pair for pair in combinations(drawn, 2) if collide(*pair)] == []


@settings(max_examples=40, deadline=None)
@given(DRILLS)
def test_columns_are_as_far_apart_as_their_times(content: dict[str, object]) -> None:
    """Only grace notes and brackets, and columns of two grids close by each other, need more than
    their time gives; no two columns come nearer than noteheads are wide."""
    pieces, _ = on_paper(content) or ([], None)
    for piece in pieces[:4]:
        columns = sorted(piece.engraved.columns.items())
        gaps = [(later - time, right - x) for (time, x), (later, right) in pairwise(columns)]
        assert all(gap > HEAD for _, gap in gaps)
        shares = [gap / float(lasting) for lasting, gap in gaps]
        notes = [*piece.notes.values()]
        ghosts = [head for note in notes for head in note.heads if head.is_ghost]
        if shares and not ghosts and not any(note.grace for note in notes):
            tight = min(gap for _, gap in gaps) < 2.5 * SPACE  # lines of two grids
            assert tight or max(shares) < 1.01 * min(shares)


@settings(max_examples=40, deadline=None)
@given(DRILLS)
def test_full_lines_end_at_one_edge(content: dict[str, object]) -> None:
    _, setting = on_paper(content) or ([], None)
    lines = [*in_lines(setting, LINE)] if setting else []
    wide = [sum(piece.width for piece in line) for line in lines]
    assert all(width <= LINE + 0.5 for width in wide)
    for width in wide:
        short = max(wide) - width
        assert short < 0.01 or short > REPEAT + TAIL
