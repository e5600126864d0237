"""Chord symbols over the staff, and the band, on pages and in the player.

"W3C" below is the MusicXML 4.0 reference, https://www.w3.org/2021/06/musicxml40/. How symbols are
set (flat and sharp signs, left-aligned over their beat, above everything else, not said again
while they go on) is common practice of engraving.
"""

import json
import math
import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

import music21
import pytest
from browser import chromium, sized
from poppler import needs_poppler
from test_pages_musicxml import assert_valid
from test_pages_pdf import _words

import midiforge
from midiforge.band.chord import read_chord
from midiforge.engraving.cut import cut
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.kits.kit import read_kit
from midiforge.model.band import ChordMark, Member, Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit
from midiforge.model.number import Number
from midiforge.notation import scores
from midiforge.notation.chords import printed
from midiforge.notation.returns import bars_round
from midiforge.notation.score import Bar
from midiforge.pages.musicxml import musicxml
from midiforge.pages.musicxml.harmony import harmony
from midiforge.pages.paper import paper_of
from midiforge.pages.script import script
from midiforge.pages.sheet import write_sheet

F = Fraction
FOUR = "Bm7b5 | E7#9 E7b9/G# | Am7 | %"
# A second chord in narrow bars, a chord on every beat, what stands high, what is cut into beats.
DENSE: dict[str, dict[str, Any]] = {
    "four bars over one": {"sticking": ">RLRR >LRLL", "feet": "tumbao", "chords": FOUR},
    "narrow bars": {
        "sticking": "R---",
        "steps": 1,
        "feet": "1",
        "chords": "F#m7b5/C Bbmaj7#11 | Ebmaj7",
    },
    "a chord on every beat": {
        "sticking": "llR L rrL R >R Lz (L) R",
        "voicing": "RH=crash,LH=ride",
        "chords": "Bbmaj7 G7#9/B Cm7b5 F7b13 | C#m7b5/E",
    },
    "triplets and a timeline": {
        "sticking": ">RLRRLRLL",
        "steps": 3,
        "feet": "x..x",
        "chords": "Cmaj7 F#m7b5 | B7#9#5",
        "percussion": "son-clave-3-2, congas at 70%",
    },
    "three in a bar of four": {"sticking": ">RL", "chords": "Dm7 G7 C6/9", "feet": "1 2 3 4"},
    "twelve-eight": {"sticking": ">RLL", "meter": "12/8", "chords": "Dm7 Ab13#11 | N.C."},
    "mixed": {"sticking": "R(L)R", "meter": "2+2+3/8", "feet": "1 2 3"},
    "a long chord on every stroke": {"sticking": ">RLRRLRLL"},
}
# What no drill asks for: the lengths of the chords, which go round.
ODD: dict[str, list[tuple[int | Fraction, str]]] = {
    "mixed": [(1, "Ebmaj7#11"), (1, "G#m7b5"), (Fraction(3, 2), "Db13")],
    "a long chord on every stroke": [(Fraction(1, 4), "Bbmaj7#11/F#"), (Fraction(1, 4), "Cm7b5")],
}


def _exercises(**keys: Any) -> list[Exercise]:
    drill = midiforge.check_drill({"stages": "full", "tempos": 60, "title": "Slack tide", **keys})
    return list(midiforge.exercises(drill))


def _full(chords: Sequence[tuple[int | Fraction, str]] = (), **keys: Any) -> Exercise:
    """An exercise with chords of given lengths, which go round."""
    [exercise] = _exercises(**{"sticking": "RLRRLRLL", "feet": "1 2 3 4", **keys})
    return exercise.changed(chords=tuple(_marks(chords, exercise.length)))


def _marks(chords: Sequence[tuple[int | Fraction, str]], end: Fraction) -> Iterator[ChordMark]:
    time, number = F(0), 0
    while chords and time < end:
        length, symbol = chords[number % len(chords)]
        yield ChordMark(time, min(F(length), end - time), symbol)
        time, number = time + length, number + 1


def _bars(exercise: Exercise) -> tuple[tuple[Bar, ...], int]:
    """The bars of the loop, and how often it goes round."""
    [score] = scores([exercise])
    return score.passages[-1].bars, score.passages[-1].times


def _said(bar: Bar) -> list[str]:
    """The symbols that are printed within a line."""
    return [f"{sign.time}:{sign.text}" for sign in bar.chords if not sign.goes_on]


def _write(folder: Path, name: str, found: Sequence[Exercise]) -> Path:
    path = folder / name
    write_sheet(path, "Slack tide", found, read_kit("general-midi-1"), paper_of("a4"))
    return path


# What is written once, and what goes on


def test_a_progression_longer_than_the_loop_is_written_as_long_as_it_is() -> None:
    exercise = _full([(4, "Bm7b5"), (2, "E7"), (2, "E7b9"), (4, "Am7"), (4, "Dm7")], repeats=8)
    assert exercise.returns_after_bars == 1
    bars, times = _bars(exercise)
    assert [_said(bar) for bar in bars] == [["0:Bm7♭5"], ["0:E7", "2:E7♭9"], ["0:Am7"], ["0:Dm7"]]
    assert times == 2
    assert not any(bar.repeats_chords for bar in bars)


@pytest.mark.parametrize("chords", [[(4, "C7")], [(2, "C7"), (2, "F7")], [(20, "C7")]])
def test_a_progression_no_longer_than_the_loop_changes_nothing_of_it(chords) -> None:
    plain = _full((), sticking="RLRRL", repeats=2)  # five sixteenths: back after five bars
    assert plain.returns_after_bars == 5
    bars, times = _bars(plain.changed(chords=tuple(_marks(chords, plain.length))))
    [score] = scores([plain])
    assert [bar.voices for bar in bars] == [bar.voices for bar in score.bars]
    assert (len(bars), times) == (5, 2)


def test_chords_that_never_meet_the_loop_again_are_written_to_the_end() -> None:
    bars, times = _bars(_full([(8, "C7"), (4, "F7"), (4, "G7")], repeats=6))
    assert (len(bars), times) == (6, 1)


def test_a_chord_that_goes_on_is_not_said_again() -> None:
    bars, times = _bars(_full([(8, "Bm7"), (8, "E7")], repeats=8))
    assert [_said(bar) for bar in bars] == [["0:Bm7"], [], ["0:E7"], []]
    assert [bar.repeats_chords for bar in bars] == [False, True, False, True]
    assert times == 2


def test_the_same_chord_marked_anew_in_each_bar_goes_on_as_well() -> None:
    bars, _ = _bars(_full([(4, "Bm7"), (4, "Bm7"), (4, "E7"), (4, "E7")], repeats=4))
    assert [_said(bar) for bar in bars] == [["0:Bm7"], [], ["0:E7"], []]


def test_a_chord_pulled_over_the_bar_line_is_said_where_it_begins() -> None:
    bars, _ = _bars(_full([(F(7, 2), "C7"), (F(9, 2), "F7")], repeats=2))
    assert [_said(bar) for bar in bars] == [["0:C7", "7/2:F7"], []]


def test_a_sign_stands_for_the_same_strokes_and_the_chords_over_it_are_said() -> None:
    bars, _ = _bars(_full([(4, "C7"), (4, "F7"), (2, "F7"), (2, "C7")], repeats=3))
    assert [bar.is_repeat for bar in bars] == [False, True, True]
    assert not any(bar.repeats_chords for bar in bars)


def test_chords_over_signs_are_all_drawn_and_no_line_begins_with_a_sign(tmp_path: Path) -> None:
    blues = "C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | A7b9 | Dm7 | G7 | Em7 A7 | Dm7 G7"
    bars = [bar.split() for bar in blues.split(" | ")]
    marks = [(F(4, len(bar)), symbol) for bar in bars for symbol in bar]
    exercise = _full(marks, repeats=12)
    found, lines = _symbols(tmp_path, exercise)
    assert [text for _, text in found] == [printed(symbol) for bar in bars for symbol in bar]
    assert lines == 3  # four bars each
    drawn = (tmp_path / "lesson.svg").read_text("utf-8")
    assert drawn.count('"#gE500"') == 12 - lines  # SMuFL repeat1Bar
    for line in drawn.split('"#gE069"')[1:]:
        note, sign = line.find('"#gE0A4"'), line.find('"#gE500"')
        assert 0 < note < sign


def test_a_sign_under_chords_that_are_not_said_again_is_no_wider_for_them() -> None:
    many = [(F(1), symbol) for symbol in ("Bbmaj7", "Eb7#9", "Ab13", "F#m7b5")]
    [score] = scores([_full([*many, *many, (4, "C7"), *many], repeats=4)])
    line = paper_of("a4").line
    pieces = cut(score, Engraver(), Layout(line, fill=line)).pieces
    again, plain, said = (piece.width for piece in pieces if piece.is_simile)
    assert again == plain < said / 2


def test_no_chord_is_said_and_its_silence_is_no_chord_that_goes_on() -> None:
    bars, _ = _bars(_full([(4, "C7"), (4, "")], repeats=2))
    assert [_said(bar) for bar in bars] == [["0:C7"], ["0:N.C."]]


def test_after_a_repeat_sign_the_chord_is_said_again() -> None:
    [exercise] = _exercises(sticking="RLRRLRLL", placements="+2", entry="late", repeats=2)
    entry = exercise.loop_start
    assert entry > 0, "the phrase enters late: its first time through is written before the loop"
    exercise = exercise.changed(chords=(ChordMark(F(0), exercise.length, "Am7"),))
    [score] = scores([exercise])
    first, loop = score.passages
    assert _said(first.bars[0]) == ["0:Am7"]
    assert _said(loop.bars[0]) == ["0:Am7"]


def test_the_exercises_of_a_piece_are_one_score_and_those_of_two_are_two() -> None:
    slow, fast = _exercises(sticking="RLRR", chords="Dm7 | G7", tempos=[60, 90])
    assert slow.hits is fast.hits
    assert len(list(scores([slow, fast]))) == 1
    chords = tuple(replace(m, symbol="Em7") for m in fast.chords)
    moved = fast.changed(number=Number(2), chords=chords)
    assert len(list(scores([slow, moved]))) == 2


def test_without_chords_and_band_nothing_is_longer_than_before() -> None:
    exercise = _full((), sticking="RLRRL", repeats=4)
    assert bars_round(exercise) == bars_round(exercise, {"bass", "comp"}) == 5


def test_a_timeline_of_the_band_is_written_and_other_percussion_is_only_heard() -> None:
    [exercise] = _exercises(sticking="RLRR", percussion="son-clave-3-2, congas, shaker at 50%")
    [score] = scores([exercise])
    assert score.above == ("son-clave-3-2",)
    assert {hit.layer for hit in exercise.hits} >= {"congas", "shaker"}


# How symbols are set


@pytest.mark.parametrize(
    ("typed", "expected"),
    [  # common practice; the signs are U+266D and U+266F (The Unicode Standard, 2600-26FF)
        ("Bm7b5", "Bm7\u266d5"),
        ("Bbm7b5", "B\u266dm7\u266d5"),
        ("F#m7", "F\u266fm7"),
        ("Ebmaj7", "E\u266dmaj7"),
        ("C7#9/E", "C7\u266f9/E"),
        ("Ab13#11/Gb", "A\u266d13\u266f11/G\u266d"),
        ("C7(b9,#11)", "C7(\u266d9,\u266f11)"),
        ("Cadd9", "Cadd9"),
        ("C6/9", "C6/9"),
        ("B", "B"),
        ("", "N.C."),
    ],
)
def test_flat_and_sharp_are_signs_and_no_letters(typed: str, expected: str) -> None:
    assert printed(typed) == expected


# Every symbol's box and baseline, and the ink of the music, by the bar (or beats) they are in.
_MEASURE = """
const box = (e) => {
  const b = e.getBoundingClientRect();
  return [b.left, b.top, b.right, b.bottom];
};
const shown = (e) => getComputedStyle(e.closest("g.again") || e).display !== "none";
return [...document.querySelectorAll("svg.system")].map((svg) => ({
  svg: box(svg), label: svg.getAttribute("aria-label"),
  symbols: [...svg.querySelectorAll("text.chord")].filter(shown).map((t) => {
    const m = t.getScreenCTM();
    return [t.textContent, box(t), m.d * t.y.baseVal[0].value + m.f, m.a];
  }),
  heads: [...svg.querySelectorAll("use")].filter((u) =>
    ["#gE0A4", "#gE0A9", "#gE0A3", "#gE0B3"].includes(u.getAttribute("href"))).map(box),
  ink: [...svg.querySelectorAll("use, path.s, path.line, g > g > path")].filter((e) =>
    !e.closest("defs") && shown(e)).map(box),
  words: [...svg.querySelectorAll("text.word")].map(box),
}));
"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


def _dense(name: str) -> Exercise:
    if name in ODD:
        return _full(ODD[name], **DENSE[name])
    return _exercises(**DENSE[name])[0]


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("name", DENSE)
def test_symbols_stand_over_their_beats_above_everything_and_clear_of_each_other(
    browser: Any, tmp_path: Path, name: str, width: int
) -> None:
    exercise = _dense(name)
    sized(browser, width, 900)
    browser.get(_write(tmp_path, "lesson.html", [exercise]).as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    pieces = browser.execute_script(_MEASURE)
    said = [text for piece in pieces for text, *_ in piece["symbols"]]
    wanted = [text for bar in _bars(exercise)[0] for text in (sign.text for sign in bar.chords)]
    assert [text for text in said if text in wanted] == said
    assert len(said) >= len({mark.symbol for mark in exercise.chords})
    for piece in pieces:
        left, top, right, _ = piece["svg"]
        highest = min(each[1] for each in piece["ink"])
        for text, box, baseline, scale in piece["symbols"]:
            assert top - 1 <= box[1], f"{text} is cut off"
            assert left <= box[0] and box[2] <= right + 1, f"{text} leaves its bar"
            assert baseline < highest, f"{text} stands in the music"
            assert all(
                box[2] < word[0]
                or word[2] < box[0]
                or word[3] <= box[1] + 8 * scale  # above: capitals leave a third of the box
                or word[1] >= baseline - 1
                for word in piece["words"]
            ), f"{text} meets the words"
        for (text, one, *_), (_, two, *_) in pairwise(piece["symbols"]):
            assert one[2] < two[0], f"{text} runs into the next"
        if piece["symbols"] and piece["heads"] and name not in ODD:
            # The first symbol of a piece begins where the first notehead does.
            _, box, _, scale = piece["symbols"][0]
            assert min(abs(head[0] - box[0]) for head in piece["heads"]) < 3 * scale


def test_on_screen_a_chord_that_goes_on_is_shown_only_where_it_begins_a_line(
    browser: Any, tmp_path: Path
) -> None:
    exercise = _full([(20, "F#m7"), (20, "B7")], sticking="RLRRL")  # no bar like the one before
    path = _write(tmp_path, "lesson.html", [exercise])
    for width, several in ((1280, True), (360, False)):
        sized(browser, width, 900)
        browser.get(path.as_uri())
        pieces = browser.execute_script(_MEASURE)
        starts = [i == 0 or p["svg"][0] < pieces[i - 1]["svg"][2] - 5 for i, p in enumerate(pieces)]
        assert all(starts) is not several
        for i, (piece, begins) in enumerate(zip(pieces, starts, strict=True)):
            new = i in (0, 5)
            assert bool(piece["symbols"]) == (begins or new), piece["label"]
    sized(browser, 1280, 900)  # without loading it anew
    browser.execute_script("dispatchEvent(new Event('resize'))")
    assert sum(bool(piece["symbols"]) for piece in browser.execute_script(_MEASURE)) < len(pieces)


def test_a_screen_reader_hears_the_chords_of_a_bar(browser: Any, tmp_path: Path) -> None:
    path = _write(tmp_path, "lesson.html", [_full([(2, "Bbm7"), (2, "Eb7")], repeats=2)])
    browser.get(path.as_uri())
    [label] = [piece["label"] for piece in browser.execute_script(_MEASURE)]
    assert label.startswith("bar 1, B♭m7, E♭7. 1: right")


@needs_poppler
def test_symbols_are_text_on_paper_with_their_signs_in_an_embedded_font(tmp_path: Path) -> None:
    chords = [(4, "Bbm7b5"), (4, "F#m7"), (2, "Ebmaj7"), (2, "C7#9/E"), (4, "")]
    path = _write(tmp_path, "lesson.pdf", [_full(chords, repeats=4)])
    done = subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, check=True)
    text = re.sub(r"\s+", "", done.stdout.decode())
    at = [text.rindex(printed(symbol)) for _, symbol in chords]
    assert at == sorted(at)
    fonts = subprocess.run(["pdffonts", path], capture_output=True, check=True).stdout.decode()
    rows = [line.split() for line in fonts.splitlines()[2:]]
    assert rows and all(row[-5:-2] == ["yes", "yes", "yes"] for row in rows)  # embedded, Unicode


@needs_poppler
@pytest.mark.parametrize("symbol", ["F#m7b5", "Bb7b9", "Ab7#11"])
def test_signs_in_a_symbol_stand_as_close_as_its_letters_and_touch_none(
    tmp_path: Path, symbol: str
) -> None:
    path = _write(tmp_path, "lesson.pdf", [_full([(4, symbol)])])
    words = _words(path)
    parts = next(
        words[first:last]
        for first in range(len(words))
        for last in range(first + 1, first + 8)
        if "".join(word.text for word in words[first:last]) == printed(symbol)
    )
    dot = 600 / 72
    left, right = int(parts[0].left * dot) - 4, int(parts[-1].right * dot) + 4
    top = int((parts[0].top + 1) * dot)
    bottom = top + int(0.7 * (parts[0].bottom - parts[0].top) * dot)  # the letters, no beam
    asked = f"-gray -r 600 -x {left} -y {top} -W {right - left} -H {bottom - top}".split()
    page = str(parts[0].page)
    image = subprocess.run(
        ["pdftoppm", *asked, "-f", page, "-l", page, path],
        capture_output=True,
        check=True,
    ).stdout
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", image)
    assert head
    across, grey = int(head[1]), image[head.end() :]
    inked = [min(grey[x::across]) < 128 for x in range(across)]
    blanks = [len(list(run)) for ink, run in groupby(inked) if not ink][1:-1]
    assert len(blanks) == len(symbol) - 1  # every letter and sign stands alone
    assert max(blanks) < 3 * min(blanks)


def _symbols(folder: Path, exercise: Exercise) -> tuple[list[tuple[float, str]], int]:
    """The size and the text of every symbol of an SVG, and how many lines it has."""
    drawn = _write(folder, "lesson.svg", [exercise]).read_text("utf-8")
    found = re.findall(r'<text class="chord start"[^>]*font-size="([\d.]+)">(.*?)</text>', drawn)
    lines = drawn.count('"#gE069"')  # the clefs: SMuFL unpitchedPercussionClef1
    return [(float(size), re.sub("<.*?>", "", text)) for size, text in found], lines


def test_a_chord_that_goes_on_is_said_again_where_a_line_begins(tmp_path: Path) -> None:
    exercise = _full([(20, "F#m7")], sticking="RLRRL")  # five different bars
    found, lines = _symbols(tmp_path, exercise)
    assert lines > 1
    assert [text for _, text in found] == ["F♯m7"] * lines


def test_bars_grow_for_their_symbols_and_are_cut_at_beats_before_symbols_shrink(
    tmp_path: Path,
) -> None:
    narrow, _ = _symbols(tmp_path, _dense("narrow bars"))
    beats, _ = _symbols(tmp_path, _dense("a chord on every beat"))
    [usual] = {size for size, _ in (*narrow, *beats)}
    crowded, lines = _symbols(tmp_path, _dense("a long chord on every stroke"))
    assert lines == 4 and {size for size, _ in crowded} == {usual}


def test_the_booklet_says_who_is_in_the_band_and_what_no_chord_is(tmp_path: Path) -> None:
    [exercise] = _exercises(sticking="RLRR", chords="Dm7 | N.C.", percussion="congas")
    page = _write(tmp_path, "lesson.html", [exercise]).read_text("utf-8")
    assert "the band: Congas (tumbao)" in page
    assert "strokes repeat every bar, chords every 2 bars" in page
    assert "<dt>N.C.</dt>" in page
    plain = _write(tmp_path, "plain.html", _exercises(sticking="RLRR")).read_text("utf-8")
    assert "N.C." not in plain


def test_the_key_shows_the_signs_above_the_staff(tmp_path: Path) -> None:
    found = _exercises(sticking="RLRR", layers="son-clave-3-2, x.x. as cowbell")
    page = _write(tmp_path, "lesson.html", found).read_text("utf-8")
    key = page[page.index('class="key"') : page.index('class="legend"')]
    shown = re.findall("<span>(.*?)</span>", key)
    assert shown[-2:] == [
        "Claves, above the staff",
        "Cowbell, above the staff",
    ]
    heads = re.findall(r'href="#g(E0\w+)"', key)
    assert set(re.findall(r'href="#g(E0[AB]\w)"', page)) == set(heads)


# MusicXML

QUALITIES = [
    "", "m", "dim", "aug", "7", "maj7", "m7", "m7b5", "dim7", "aug7", "mM7", "6", "m6", "9",
    "maj9", "m9", "11", "m11", "13", "m13", "maj13", "sus2", "sus4", "7b9", "7#9", "7b5", "7#11",
    "7b13", "7alt", "7b9b5", "7#9#5", "maj7#11", "maj7#5", "add9", "madd9", "6/9", "m6/9", "5",
    "7b9#11", "13b9", "13#11", "dimmaj7", "m9b5", "m7add11", "9#11",
]  # fmt: skip
ROOTS = ("C", "F#", "Bb", "Eb", "A")


def _read_back(symbol: str) -> Any:
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name/></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>'
        f"</attributes>{harmony(symbol)}"
        "<note><rest/><duration>4</duration></note></measure></part></score-partwise>"
    )
    assert_valid(text.encode())
    found = music21.converter.parse(text, format="musicxml")
    [chord] = found.recurse().getElementsByClass(music21.harmony.Harmony)
    return chord


@pytest.mark.parametrize("number", range(len(QUALITIES)))
def test_music21_hears_the_tones_of_the_symbol(number: int) -> None:
    root = ROOTS[number % len(ROOTS)]
    symbol = root + QUALITIES[number] + ("", "/D", "/Gb")[number % 3]
    chord = read_chord(symbol)
    assert chord is not None
    found = _read_back(symbol)
    assert {pitch.pitchClass for pitch in found.pitches} == chord.pitch_classes
    assert found.root().pitchClass == chord.root
    assert found.bass().pitchClass == chord.bass


def test_a_suspended_seventh_is_said_as_the_standard_has_it() -> None:
    # W3C, degree-alter: added degrees are relative to a dominant chord, whose seventh is minor.
    # music21 10.5.1 adds a major one, so it cannot be asked.
    text = harmony("C7sus4")
    assert ">suspended-fourth</kind>" in text
    assert "<degree-value>7</degree-value><degree-alter>0</degree-alter><degree-type>add<" in text


def test_no_chord_is_none_and_shows_no_root() -> None:
    # W3C, kind-value "none": the root-step's text should be empty.
    assert isinstance(_read_back(""), music21.harmony.NoChord)
    assert '<root-step text="">' in harmony("")
    assert harmony("N.C.") == harmony("")


def test_music21_finds_every_chord_at_its_time_and_as_it_is_typed() -> None:
    chords = [(4, "Bm7b5"), (F(3, 2), "E7#9"), (F(5, 2), "Ab13/Gb"), (4, "Am7"), (4, "")]
    for keys in ({}, {"steps": 3, "sticking": "R-L"}, {"sticking": "R---", "steps": 1}):
        exercise = _full(chords, repeats=8, **keys)
        written = list(scores([exercise]))
        xml = musicxml("", written, read_kit("general-midi-1"))
        assert_valid(xml)
        texts = re.findall(r'<kind(?: text="([^"]*)")?>', xml.decode())
        assert texts == ["m7♭5", "7♯9", "13", "m7", "N.C."]
        found = music21.converter.parse(xml.decode(), format="musicxml")
        times = [
            each.getOffsetInHierarchy(found)
            for each in found.recurse().getElementsByClass(music21.harmony.Harmony)
        ]
        assert times == [0.0, 4.0, 5.5, 8.0, 12.0]


def test_chords_are_the_drummer_s_part_s_where_others_are_written_too() -> None:
    [exercise] = _exercises(sticking="RLRR", chords="Dm7 | G7", percussion="son-clave-3-2")
    xml = musicxml("", list(scores([exercise])), read_kit("general-midi-1")).decode()
    parts = re.findall(r'<part id="(P\d)">(.*?)</part>', xml, re.DOTALL)
    assert {name: "<harmony>" in content for name, content in parts} == {"P2": False, "P1": True}


# The player


def _data(path: Path) -> list[dict[str, Any]]:
    found = re.search(r'id="lesson-sound">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)
    assert found
    exercises: list[dict[str, Any]] = json.loads(found[1])["exercises"]
    return exercises


BASS = Member("bass", "bass", "Double bass", 2, 33)
COMP = Member("comp", "comp", "Piano", 3, 1, F(1, 2))


def _with_band(repeats: int = 2, **changes: Any) -> Exercise:
    """Two bars of chords over one of drums; the bass plays something of its own every time."""
    exercise = _full([(4, "C7"), (4, "F7")], repeats=repeats)
    tones = [Tone(F(i), F(7, 8), 36 + 5 * (i % 2), 100, "bass") for i in range(4 * repeats)]
    tones += [Tone(F(4 * i), F(2), 60 + i % 2, 80, "comp") for i in range(repeats)]
    tones.sort(key=lambda tone: tone.time)
    return exercise.changed(**{"band": (BASS, COMP), "tones": tuple(tones), **changes})


def test_the_page_is_told_every_tone_as_it_is_to_sound(tmp_path: Path) -> None:
    [data] = _data(_write(tmp_path, "lesson.html", [_with_band()]))
    assert data["length"] == 8
    tones = data["tones"]["loop"]
    assert [each for each in tones if each[4] == "bass"] == [
        [i, 0.875, 36 + 5 * (i % 2), 100, "bass"] for i in range(8)
    ]
    comp = [each for each in tones if each[4] == "comp"]
    assert comp == [[4 * i, 2, 60 + i, 40, "comp"] for i in (0, 1)]  # half as loud: its level
    assert data["tones"]["before"] == []


def test_swing_moves_tones_as_it_moves_strokes(tmp_path: Path) -> None:
    [swung] = _exercises(sticking="RL", steps=2, swing="2:1")
    tones = (Tone(F(1, 2), F(1, 2), 40, 90, "bass"),)
    swung = swung.changed(band=(BASS,), tones=tones)
    [data] = _data(_write(tmp_path, "lesson.html", [swung]))
    third = pytest.approx(1 / 3)
    assert data["tones"]["loop"] == [[pytest.approx(2 / 3), third, 40, 90, "bass"]]


def test_the_cursor_goes_round_again_where_the_band_takes_longer(tmp_path: Path) -> None:
    tones = tuple(
        Tone(F(4 * i), F(1), 36 + i, 100, "bass") for i in range(4)
    )  # four bars over two that are written
    [data] = _data(_write(tmp_path, "lesson.html", [_with_band(4, tones=tones)]))
    assert data["length"] == 16
    times = [time for time, _, _ in data["cursor"]]
    assert times == sorted(times) and times[-1] == 16
    once = [(time, line, x) for time, line, x in data["cursor"] if time < 8]
    again = [(time - 8, line, x) for time, line, x in data["cursor"] if 8 < time < 16]
    assert again == [each for each in once if each[0] > 0]
    struck = [time for time, _, _, part, *_ in data["notes"]["loop"] if part == "hands"]
    assert max(struck) > 15, "the drummer's strokes go on as well"


def test_a_page_without_tones_has_nothing_of_them(tmp_path: Path) -> None:
    plain = _write(tmp_path, "plain.html", _exercises(sticking="RLRR")).read_text("utf-8")
    heard = _write(tmp_path, "heard.html", [_with_band()]).read_text("utf-8")
    assert "makers.tone =" in heard and "makers.tone =" not in plain
    assert '"tones"' not in plain
    assert "hideAgain" not in plain and 'class="again"' not in plain


def test_the_scripts_can_stand_in_a_page() -> None:
    # HTML, "Restrictions for contents of script elements".
    for name in ("tones.js", "again.js"):
        assert not any(each in script(name).lower() for each in ("</script", "<script", "<!--"))


# A page that is hidden schedules seconds ahead: whole loops to look at without waiting for them.
_HIDDEN = "Object.defineProperty(document, 'hidden', {get: () => true, configurable: true});"
_OFFLINE = """
window.AudioContext = class extends OfflineAudioContext {
  constructor() { super(1, 44100 * 6, 44100); }
  resume() { return Promise.resolve(); }
};
"""


def _open(browser: Any, path: Path, before: str) -> None:
    """The page, with a script before its own."""
    mark = '<script type="application/json"'
    text = path.read_text("utf-8").replace(mark, f"<script>{before}</script>{mark}", 1)
    path = path.with_name("opened.html")
    path.write_text(text, "utf-8")
    sized(browser, 1280, 900)
    browser.get(path.as_uri())


def _press(browser: Any, *controls: str) -> None:
    for control in controls:
        browser.execute_script(f"document.querySelector('.player-{control}').click()")
    browser.execute_script("document.querySelector('.first-play')?.click()")


def _tones(browser: Any) -> list[dict[str, Any]]:
    found = browser.execute_script("return lessonPlayer.scheduled")
    return sorted((each for each in found if each["kind"] == "tone"), key=lambda e: e["time"])


def test_every_tone_is_due_at_its_place_in_each_time_round(browser: Any, tmp_path: Path) -> None:
    [exercise] = _exercises(sticking="RLRR", tempos=240)
    exercise = _with_band(tempo=exercise.tempo)
    _open(browser, _write(tmp_path, "lesson.html", [exercise]), _HIDDEN)
    _press(browser, "countIn", "play")
    start = browser.execute_script("return lessonPlayer.startTime")
    tones = [each for each in _tones(browser) if each["time"] < start + 3.9]
    expected = sorted(
        (round(start + (float(tone.time) + 8 * turn) / 4, 6), tone.pitch)
        for tone in exercise.tones
        for turn in (0, 1)
        if (float(tone.time) + 8 * turn) / 4 < 3.9
    )
    assert sorted((round(each["time"], 6), each["note"]) for each in tones) == [
        (pytest.approx(time, abs=2e-6), note) for time, note in expected
    ]
    assert {each["part"] for each in tones} == {"band"}


_RENDERED = (
    "const done = arguments[0]; lessonPlayer.context.startRendering()"
    ".then((buffer) => done(Array.from(buffer.getChannelData(0))))"
)


def _power(samples: Sequence[float], begin: float, end: float) -> float:
    part = samples[int(begin * 44100) : int(end * 44100)]
    return sum(x * x for x in part) / len(part)


def test_the_switch_for_the_band_silences_tones_and_nothing_else_of_the_drummer(
    browser: Any, tmp_path: Path
) -> None:
    path = _write(tmp_path, "lesson.html", [_with_band()])
    heard = {}
    for parts in ((), ("band",), ("hands", "feet", "click")):
        _open(browser, path, _HIDDEN + _OFFLINE)
        label = browser.execute_script(
            "return document.querySelector('.player-band').parentNode.textContent"
        )
        _press(browser, "countIn", *parts, "play")
        heard[parts] = _power(browser.execute_async_script(_RENDERED), 0.1, 4)
    assert label == "The band"
    assert heard["hands", "feet", "click"] > 1e-6, "the band alone"
    assert heard["band",] > 1e-6, "the drummer alone"
    assert heard[()] > max(heard["band",], heard["hands", "feet", "click"])


_TONE = """
const done = arguments[3], [voice, note, seconds] = arguments;
const context = new OfflineAudioContext(1, 44100 * 3, 44100);
const event = { voice, note, velocity: 127 };
lessonPlayer.makers.tone(context, context.destination, 0.01, event, seconds);
context.startRendering().then((buffer) => done(Array.from(buffer.getChannelData(0))));
"""


def _at(samples: Sequence[float], hertz: float) -> float:
    """The level of one frequency in half a second of samples."""
    part = samples[4410 : 4410 + 22050]
    turn = 2 * math.pi * hertz / 44100
    real = sum(x * math.cos(turn * i) for i, x in enumerate(part))
    imaginary = sum(x * math.sin(turn * i) for i, x in enumerate(part))
    return 2 * math.hypot(real, imaginary) / len(part)


@pytest.mark.parametrize(
    ("voice", "note"), [("bass", 28), ("bass", 43), ("comp", 57), ("comp", 76)]
)
def test_a_tone_has_its_pitch_begins_softly_and_ends_when_it_is_over(
    browser: Any, tmp_path: Path, voice: str, note: int
) -> None:
    # Pitches: equal temperament from A4 = 440 Hz (ISO 16), which is note 69 (MIDI 1.0).
    _open(browser, _write(tmp_path, "lesson.html", [_with_band()]), "")
    samples = browser.execute_async_script(_TONE, voice, note, 1)
    hertz = 440 * 2 ** ((note - 69) / 12)
    assert _at(samples, hertz) > 5 * max(
        _at(samples, hertz * 2 ** (steps / 12)) for steps in (-2, -1, 1, 2)
    )
    assert max(map(abs, samples)) < 0.5
    assert max(map(abs, samples[:441])) == 0
    step = max(abs(b - a) for a, b in pairwise(samples[430:600]))
    assert step < max(map(abs, samples)) / 5, "no click at the beginning"
    assert _power(samples, 0.8, 1.0) > 1e-7
    assert _power(samples, 1.6, 3.0) == 0


def test_a_slower_tempo_holds_a_tone_that_sounds_for_longer(browser: Any, tmp_path: Path) -> None:
    exercise = _full([(4, "C7")], repeats=1, tempos=240)
    tones = (Tone(F(0), F(4), 60, 120, "comp"),)
    exercise = exercise.changed(band=(COMP,), tones=tones)
    ends = []
    for tempo in (None, 60):
        _open(browser, _write(tmp_path, "lesson.html", [exercise]), "")
        browser.execute_script(
            "const { makers } = lessonPlayer, own = makers.tone; window.held = [];"
            "makers.tone = (...all) => { const voice = own(...all); held.push(voice);"
            " return voice; };"
        )
        _press(browser, "countIn", "loop", "play")
        start, now = browser.execute_async_script(
            "const done = arguments[0], start = lessonPlayer.startTime; const look = () => "
            "lessonPlayer.context.currentTime > start + 0.15 ? done([start, "
            "lessonPlayer.context.currentTime]) : setTimeout(look, 10); look();"
        )
        if tempo:
            browser.execute_script(
                "const n = document.querySelector('.player-tempo'); n.value = arguments[0];"
                "n.dispatchEvent(new Event('input'));",
                tempo,
            )
        ends.append(browser.execute_script("return held[0].end") - start)
        assert now < start + 0.6
        _press(browser, "play")
    before, after = ends
    # Four quarters last 1 s at 240 a minute. Changed to 60 after t s, with 4 (1 - t) quarters to
    # go, it lasts t + 4 (1 - t) s; t is more than 0.15 and, however slow the machine, below 0.65.
    assert 3 * 0.35 < after - before < 3 * 0.85


def test_a_percussion_player_s_strokes_are_the_band_s(tmp_path: Path) -> None:
    [exercise] = _exercises(sticking="RLRR", percussion="congas")
    [data] = _data(_write(tmp_path, "lesson.html", [exercise]))
    parts = {note: part for _, note, _, part, *_ in data["notes"]["loop"]}
    congas = {62, 63, 64}  # General MIDI level 1: mute high, open high and low conga
    assert congas & parts.keys()
    assert {parts[note] for note in congas & parts.keys()} == {"band"}
    assert {hit.layer for hit in exercise.hits if isinstance(hit, Hit)} >= {"congas"}
