"""How bars are engraved: columns, brackets, buzzes. What is asked for is common practice."""

import re
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

import midiforge
from midiforge.engraving.cut import cut, key_piece
from midiforge.engraving.drawing import Piece, Setting, in_lines
from midiforge.engraving.engrave import Engraved, Engraver
from midiforge.engraving.even import Column, Grid
from midiforge.engraving.shapes import SPACE, Mark
from midiforge.engraving.widths import Layout, widths
from midiforge.model.meter import Meter
from midiforge.notation import Score, scores
from midiforge.notation.sign import sign_of
from midiforge.pages.paper import paper_of

pytest.importorskip("verovio")

LINE = paper_of("a4").line
HEAD = 1.18 * SPACE  # the width of a notehead in the font Bravura


@pytest.fixture(scope="module")
def engraver() -> Engraver:
    return Engraver()


def written(**keys: object) -> Score:
    """The last exercise of a drill: everything together."""
    return [*scores(midiforge.exercises(midiforge.check_drill(keys)))][-1]


def on_paper(engraver: Engraver, **keys: object) -> Setting:
    return cut(written(**keys), engraver, Layout(LINE, fill=LINE))


def engraved(engraver: Engraver, width: float = 900, **keys: object) -> Engraved:
    """The first bar, `width` tenths of a staff space wide."""
    score = written(**keys)
    bar, exercise = next(iter(score.bars)), score.exercise
    span = (Fraction(0), exercise.meter.bar)
    return engraver.bar(exercise.meter, exercise.step, [list(bar.voices)], span, width)


def points(path: str) -> list[tuple[float, float]]:
    numbers = [float(each) for each in path.strip("Mz").replace("L", " ").split()]
    return [*zip(numbers[::2], numbers[1::2], strict=True)]


# Columns


@pytest.mark.parametrize(
    "sticking",
    [
        "RLRR LRLL RLRR LRLL",
        "lRLRL rLRLR lRLRL rLRLR",
        "R(L)(L)R (L)R(L)(L) R(L)(L)R (L)R(L)(L)",
        "llRLRR rrLRLL llRLRR rrLRLL",
        "lR-L- llR(L)L- Rz-lR(L) --rL-",
    ],
)
def test_equal_steps_are_equally_far_apart_whatever_stands_before_a_note(
    engraver, sticking
) -> None:
    keys = {"sticking": sticking, "stages": "hands"}
    found = engraved(engraver, 900, **keys)
    [voice] = next(iter(written(**keys).bars)).voices
    heads = [
        (note.start, found.places[f"s1v0n{i}"])
        for i, note in enumerate(voice.notes)
        if not note.is_rest
    ]
    (first, left), (last, right) = heads[0], heads[-1]
    for time, x in heads:
        share = (time - first) / (last - first)
        assert x == pytest.approx(left + float(share) * (right - left), abs=0.1)


def test_every_step_of_the_grid_has_its_column_and_heads_stand_in_them(engraver) -> None:
    score = written(sticking="lR-L- llR(L)L- Rz-lR(L) --rL-", feet="1 3")
    for piece in cut(score, engraver, Layout(LINE, fill=LINE)).pieces:
        apart = [later - x for (_, x), (_, later) in pairwise(piece.times)]
        assert len(apart) == 15
        assert max(apart) - min(apart) < 0.01


def test_a_flam_on_one_begins_the_bar_where_a_stroke_without_one_does(engraver) -> None:
    plain = on_paper(engraver, sticking="RLRR LRLL RLRR LRLL").pieces[0]
    flam = on_paper(engraver, sticking="lRLRR LRLL RLRR LRLL").pieces[0]
    assert flam.times[0][1] - plain.times[0][1] < 0.3 * SPACE + plain.width / 100


def test_what_has_no_room_in_its_column_takes_it_from_the_others_evenly() -> None:
    times = [Fraction(i) for i in range(4)]
    columns = {time: Column(0, 0, HEAD) for time in times}
    columns[times[2]].left = 40
    grid = Grid({}, Fraction(1), (Fraction(0), Fraction(4)))
    first, second, third, fourth = grid.places(columns, 140)
    assert third - second == pytest.approx(HEAD + 40 + 2)
    assert second - first == pytest.approx(fourth - third) == pytest.approx(140 - fourth)
    assert grid.places(columns, 60) == []


def test_grace_notes_never_touch_the_note_before_however_narrow_the_bar(engraver) -> None:
    keys = {"sticking": "llRrrL llRrrL llRrrL llRrrL", "steps": 2}
    score = written(**keys)
    bar, exercise = next(iter(score.bars)), score.exercise
    for width in (420, 600, 900):
        found = engraved(engraver, width, **keys)
        names = [f"s1v0n{i}" for i in range(len([*bar.voices[0].notes]))]
        assert len(names) == exercise.meter.bar / exercise.step
        for before, name in pairwise(names):
            assert found.places[f"{name}g0"] - found.places[before] > 0.9 * HEAD


@pytest.mark.parametrize("entry", ["wrapped", "late"])
def test_the_columns_of_all_lines_stand_below_each_other(engraver, entry) -> None:
    keys = {"sticking": "RLRRL LRLLR RLL", "steps": 4, "placements": "+2", "entry": entry}
    setting = on_paper(engraver, **keys)
    lines = [*in_lines(setting, LINE)]
    assert len(lines) > 3
    first, *further = (head.width + bar.times[0][1] for head, bar, *_ in lines)
    assert [x for x in further if x != pytest.approx(first, abs=0.01)] == []


# Letters and signs


TEXT = re.compile(
    r'<text class="([^"]*)" x="(-?[\d.]+)" y="(-?[\d.]+)" font-size="([\d.]+)">([^<]*)</text>'
)


def letters(setting: Setting) -> list[tuple[str, float, float, float]]:
    """The letters of the sticking: which, x, y, size."""
    return [
        (text, float(x), float(y), float(size))
        for piece in setting.pieces
        for kind, x, y, size, text in TEXT.findall(str(piece.content))
        if "hand" in kind
    ]


def test_the_letters_of_a_unison_stand_close_above_each_other(engraver) -> None:
    [right, left, *_] = letters(on_paper(engraver, sticking="B", steps=1))
    assert (right[0], left[0]) == ("R", "L")
    assert right[1] == left[1]
    assert 0.72 * right[3] < left[2] - right[2] < right[3]  # clear of each other, less than a line


def test_no_letter_below_a_grace_note_can_be_read_as_a_figure(engraver) -> None:
    """Two plain small l's before a letter are the number 11 in many fonts."""
    drag = letters(on_paper(engraver, sticking="llR rL", steps=1))[:5]
    assert sorted(text for text, *_ in drag) == sorted("\N{SCRIPT SMALL L}\N{SCRIPT SMALL L}RrL")


@pytest.mark.parametrize("voice", ["hihat-open", "hihat-half"])
@pytest.mark.parametrize("steps", [1, 2, 4, 8])
def test_accents_are_clear_of_the_signs_of_a_hi_hat(engraver, voice, steps) -> None:
    bar = engraved(engraver, 1800, sticking=">R", steps=steps, voicing={"RH": voice})
    (accent, sign) = (
        [(y, engraver.boxes[name]) for name, _, y, _ in bar.staves[0].glyphs if name in names]
        for names in (("E4A0",), ("E5E7", "E631"))
    )
    assert accent and len(accent) == len(sign)
    for (over, (_, low, *_)), (under, (_, bottom, _, height)) in zip(accent, sign, strict=True):
        scale = 4 * SPACE / 1000
        assert (under - scale * (bottom + height)) - (over - scale * low) > 0.4 * SPACE


# Brackets


@pytest.mark.parametrize("steps", [3, 5, 7])
def test_brackets_are_level_and_their_numbers_in_the_middle(engraver, steps) -> None:
    keys = {"sticking": "R - L (L)", "steps": steps, "voicing": "LH=floor-tom, RH=crash"}
    [staff] = engraved(engraver, 1000, **keys).staves
    brackets = [points(path) for _, path in staff.strokes if len(points(path)) == 3]
    assert len(brackets) >= 4
    for left, right in zip(brackets[::2], brackets[1::2], strict=True):
        (_, hook), (begin, height), (inner, _) = left
        assert {y for _, y in (*left[1:], *right[1:])} == {height}
        assert hook > height  # it opens downwards, over the notes
        middle = (begin + right[1][0]) / 2
        assert (inner + right[2][0]) / 2 == pytest.approx(middle, abs=0.2)
        numbers = [x for name, x, *_ in staff.glyphs if name.startswith("E88")]
        assert any(inner < x < right[2][0] for x in numbers)


@pytest.mark.parametrize("steps", [3, 5, 6])
def test_the_brackets_of_a_bar_stand_in_a_row_whatever_is_accented(engraver, steps) -> None:
    keys = {"sticking": "RL", "accents": "1", "steps": steps, "voicing": "RH accent=crash"}
    [staff] = engraved(engraver, 1000, **keys).staves
    brackets = [points(path) for _, path in staff.strokes if len(points(path)) == 3]
    assert len(brackets) == 8
    assert len({bracket[1][1] for bracket in brackets}) == 1


def test_the_number_of_a_bracket_is_clear_of_an_accent_under_it(engraver) -> None:
    keys = {"sticking": "RLL", "accents": "1 1& 2", "steps": 3}
    [staff] = engraved(engraver, 1000, **keys).staves
    [(above, top), *_], numbers = (
        [(x, y) for name, x, y, _ in staff.glyphs if name.startswith(wanted)][at:]
        for wanted, at in (("E4A0", 1), ("E88", 0))
    )
    [(x, bottom), *_] = numbers
    scale = 4 * SPACE / 1000
    assert abs(x - above) < SPACE  # under the number
    _, low, _, high = engraver.boxes["E4A0"]
    number_low = engraver.boxes["E883"][1]
    assert (top - scale * (low + high)) - (bottom - scale * number_low) > 0.4 * SPACE


# Buzzes


# Beams


def beams_of(bar: Engraved) -> list[tuple[float, float, float, float]]:
    """Left, right, top and bottom of every beam."""
    areas = [points(path) for path in bar.staves[0].fills if "L" in path]
    return [
        (min(xs), max(xs), min(ys), max(ys))
        for xs, ys in (zip(*area, strict=True) for area in areas)
    ]


@pytest.mark.parametrize("surface", ["snare", "hihat-closed", "tom-low", "crash"])
@pytest.mark.parametrize("steps", [2, 4, 8, 12])
def test_stems_grow_with_their_beams(engraver: Engraver, steps: int, surface: str) -> None:
    """No beam comes nearer to a notehead than a space and a half, however many there are."""
    bar = engraved(
        engraver, 1800, sticking="RL", steps=steps, voicing={"RH": surface}, stages="full"
    )
    heads = [(x, y) for name, x, y, _ in bar.staves[0].glyphs if name.startswith("E0A")]
    assert heads
    for x, y in heads:
        over = [b for left, right, _, b in beams_of(bar) if left - 1 <= x + HEAD <= right + 1]
        assert over and y - max(over) >= 1.5 * SPACE


def test_a_stub_points_to_the_note_that_it_makes_a_whole_with(engraver: Engraver) -> None:
    """The thirty-second between a sixteenth and a dotted one belongs to the dotted one."""
    bar = engraved(engraver, 1200, sticking="R-LR--R-", steps=8, meter="1/4")
    stubs = [beam for beam in beams_of(bar) if beam[1] - beam[0] < 1.5 * SPACE]
    [(left, right, *_)] = stubs
    second = bar.places["s1v0n1"]
    assert left >= second and right > second + SPACE


@pytest.mark.parametrize("steps", [2, 3, 4, 8])
@pytest.mark.parametrize("surface", ["snare", "hihat-closed", "floor-tom"])
@pytest.mark.parametrize("feet", ["none", "samba"])
def test_the_z_of_a_buzz_touches_neither_beam_nor_notehead(engraver, steps, surface, feet) -> None:
    # A samba's feet are in beams of their own, below the staff.
    voicing = f"RH={surface}, LH=snare"
    keys = {"sticking": "Rz Lz Rz L", "steps": steps, "voicing": voicing, "feet": feet}
    staff = engraved(engraver, 1000, **keys).staves[-1]
    buzzes = [glyph for glyph in staff.glyphs if glyph[0] == "E22A"]
    assert len(buzzes) == 3 * steps
    beams = [points(path) for path in staff.fills if "L" in path]
    heads = [(x, y) for name, x, y, _ in staff.glyphs if name.startswith("E0A")]
    for name, x, y, size in buzzes:
        _, _, top, bottom = Mark("", "glyph", ((x, y),), size, name).extent(engraver.boxes)
        own = min(y for head, y in heads if head < x < head + HEAD + 1)  # the feet's lie below
        over = [beam for beam in beams if min(beam)[0] - 1 <= x <= max(beam)[0] + 1]
        above = max(y for beam in over for _, y in beam if y < own)
        assert above < top < bottom < own - 0.4 * SPACE


# Time signatures


@pytest.mark.parametrize("meter", ["2+2+3/8", "4+4+4+3/16", "8+3/8", "7/8", "15/16"])
def test_the_numbers_of_a_time_signature_do_not_touch_and_stand_over_each_other(
    engraver, meter
) -> None:
    [staff] = engraver.head(Meter.parse(meter)).staves
    rows: dict[float, list[tuple[float, float]]] = {}
    for name, x, y, size in staff.glyphs:
        if name.startswith("E08"):
            left, right, *_ = Mark("", "glyph", ((x, y),), size, name).extent(engraver.boxes)
            rows.setdefault(y, []).append((left, right))
    above, below = (sorted(rows[y]) for y in sorted(rows))
    if "+" in meter:
        assert all(later - right > 0.2 * SPACE for (_, right), (later, _) in pairwise(above))
    middles = [(row[0][0] + row[-1][1]) / 2 for row in (above, below)]
    assert middles[0] == pytest.approx(middles[1], abs=0.15 * SPACE)


# Hairpins


def hairpin(piece: Piece) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """The upper and the lower line of a piece's hairpin, as points."""
    [path] = re.findall(r'stroke-width="1.3" d="([^"]+)"', piece.content)
    upper, lower = (points(each) for each in path.strip("M").split("M"))
    return upper, lower


def test_a_hairpin_is_drawn_through_all_its_bars_without_a_step(engraver) -> None:
    keys = {"sticking": "RLRR LRLL", "stages": "hands", "dynamics": "crescendo over 4 bars"}
    pieces = on_paper(engraver, **keys).pieces
    assert len(pieces) == 4
    found = [hairpin(piece) for piece in pieces]
    for (upper, lower), piece in zip(found, pieces, strict=True):
        assert lower[0][1] - upper[0][1] < lower[1][1] - upper[1][1]
        assert 0 <= upper[0][0] < upper[1][0] <= piece.width
    for (upper, lower), (next_upper, next_lower) in pairwise(found):
        assert upper[1][1] == next_upper[0][1]
        assert lower[1][1] == next_lower[0][1]
    assert found[0][0][0][1] == found[0][1][0][1]  # it begins closed
    assert [
        sign for piece in pieces for sign in re.findall(r">([mpf]+)</text>", piece.content)
    ] == [
        "p",
        "f",
    ]


# The key, and brackets


@pytest.mark.parametrize("sign", [sign_of("hihat-pedal"), sign_of("crash"), sign_of("bass-drum")])
def test_a_sign_of_the_key_has_room_for_its_whole_stem(engraver, sign) -> None:
    piece, height = key_piece(sign, engraver)
    [across] = re.findall(r'<g transform="translate\(\S+ (\S+)\)">', piece.content)
    ends = [
        float(across) + y
        for path in re.findall(r'class="s"[^>]* d="(M[^"]*)"', piece.content)
        for _, y in points(path)
    ]
    assert min(ends) >= 0 and max(ends) <= height


def test_brackets_of_a_ghost_note_are_clear_of_the_notehead_below_it(engraver) -> None:
    bar = engraved(engraver, sticking="R-R-", feet="jazz-feathered-quarters")
    drawn = [
        Mark("", "glyph", ((x, y),), size, glyph) for glyph, x, y, size in bar.staves[-1].glyphs
    ]
    brackets = [mark for mark in drawn if mark.glyph in ("E26A", "E26B")]
    assert len(brackets) == 8  # of four ghost notes, two of them over the hi-hat's foot
    crosses = [mark.extent(engraver.boxes) for mark in drawn if mark.glyph == "E0A9"]
    free = SPACE / 10
    for bracket in brackets:
        left, right, top, bottom = bracket.extent(engraver.boxes)
        for cross in crosses:
            beside = right + free <= cross[0] or cross[1] + free <= left
            assert beside or bottom + free <= cross[2] or cross[3] + free <= top


def test_how_wide_bars_are_is_worked_out_once_for_all_of_them(
    engraver: Engraver, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Score] = []

    def counted(score: Score, *more: Any) -> list[float]:
        asked.append(score)
        return widths(score, *more)

    monkeypatch.setattr("midiforge.engraving.cut.widths", counted)
    score = written(sticking="RLRRL")
    assert len(cut(score, engraver, Layout(LINE, fill=LINE)).pieces) > 2
    assert len(asked) == 1


def test_whichever_thread_makes_an_engraver_it_engraves() -> None:
    """verovio's second toolkit in a process, made by another thread, engraves nothing."""
    from concurrent.futures import ThreadPoolExecutor

    from midiforge.engraving.engrave import Engraver
    from midiforge.model.meter import Meter

    Engraver().head(Meter.parse("4/4"))
    for meter in ("3/4", "5/4", "7/8"):
        with ThreadPoolExecutor(1) as other:
            engraved = other.submit(lambda m=meter: Engraver().head(Meter.parse(m))).result()
        assert engraved.staves
