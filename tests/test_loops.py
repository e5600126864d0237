"""Loops: what is left out, gaps, ladders, times round, and that MIDI closes to the tick.

MIDI is read back by mido; what it must hold follows from the exercise and from Standard MIDI
Files 1.0. No published source says what a loop leaves out: the names are the project's own.
"""

import io
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import mido
import pytest

from midiforge import check_drill, exercise_bytes, exercises
from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.loops import KINDS, Loop, Shape, loops, read_kinds
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.rounds import bare, unrolled

KEYS: dict[str, Any] = {
    "sticking": ">RLL>R >LRR>L",
    "feet": "tumbao",
    "chords": "Am7 | D9 | Gmaj7 | E7#9",
    "tempos": [66, 88],
    "count_in": 2,
    "stages": "full",
}


def drill_of(**keys: Any) -> Drill:
    return check_drill({**KEYS, **keys})


def loop_of(kind: str, drill: Drill | None = None, **shape: Any) -> Loop:
    return next(iter(loops(drill or drill_of(), Shape((kind,), **shape))))


def whole() -> Exercise:
    return bare(next(each for each in exercises(drill_of()) if each.stage == "full"))


Read = list[tuple[int, int, int, int]]


def notes_of(content: bytes) -> tuple[Read, int, int]:
    """(tick, channel, note, velocity) of all that is struck; the end's tick; ticks a quarter."""
    file = mido.MidiFile(file=io.BytesIO(content))
    struck, ends = [], set()
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "note_on" and message.velocity:
                struck.append((tick, message.channel, message.note, message.velocity))
        ends.add(tick)
    assert len(ends) == 1, "all tracks end together, at the end of the loop"
    return sorted(struck), ends.pop(), file.ticks_per_beat


def content_of(loop: Loop, drill: Drill | None = None) -> bytes:
    drill = drill or drill_of()
    return exercise_bytes(loop.exercise, drill.kit, drill.file_format, loop.times)


# What is left out


@pytest.mark.parametrize(
    ("kind", "gone"),
    [
        ("everything", ()),
        ("without-hands", HANDS),
        ("without-feet", FEET),
        ("without-drums", (*HANDS, *FEET)),
    ],
)
def test_a_leave_out_lacks_these_limbs_and_nothing_else(kind: str, gone: tuple[Limb, ...]) -> None:
    loop, full = loop_of(kind).exercise, whole()
    assert set(loop.hits) == {hit for hit in full.hits if hit.limb not in gone}
    assert loop.tones == full.tones and loop.band == full.band


def test_click_and_clave_are_alone() -> None:
    loop = loop_of("click-and-clave").exercise
    assert {hit.layer for hit in loop.hits} == {"click", "son-clave-2-3"}
    assert not loop.tones


def test_the_click_is_there_with_the_clave_even_where_the_drill_has_none() -> None:
    drill = drill_of(click="off")
    assert "click" in {h.layer for h in loop_of("click-and-clave", drill).exercise.hits}
    assert "click" not in {h.layer for h in loop_of("everything", drill).exercise.hits}


def test_a_loop_has_no_count_in_unless_asked() -> None:
    assert loop_of("everything").exercise.count_in_bars == 0
    counted = loop_of("everything", count_in=True).exercise
    assert counted.count_in_bars == 2
    assert [hit.layer for hit in counted.hits if hit.time < 0] == ["click"] * 8


def test_a_late_entry_is_left_before_the_loop() -> None:
    drill = drill_of(placements="+3", entry="late")
    once = next(each for each in exercises(drill) if each.stage == "full")
    assert once.loop_start > 0
    loop = loop_of("everything", drill).exercise
    assert loop.loop_start == 0 and loop.length == once.length - once.loop_start
    assert min(hit.time for hit in loop.hits) == 0


# Gaps


@pytest.mark.parametrize(
    ("gap", "on", "off"), [("", 2, 2), ("3 on 1 off", 3, 1), ("5 on 2 off", 5, 2)]
)
def test_gaps_are_silent_and_close_with_the_music(gap: str, on: int, off: int) -> None:
    drill = drill_of(gap=gap) if gap else drill_of()
    loop = loop_of("gaps", drill).exercise
    assert loop.bars % (on + off) == 0 and loop.bars % 4 == 0
    for hit in loop.hits:
        assert hit.time // 4 % (on + off) < on
    for tone in loop.tones:
        last = (tone.time + tone.length - Fraction(1, 1000)) // 4
        assert tone.time // 4 % (on + off) < on and last % (on + off) < on
    sounding = {int(hit.time // 4) for hit in loop.hits}
    assert sounding == {bar for bar in range(loop.bars) if bar % (on + off) < on}


def test_gaps_go_with_what_is_left_out() -> None:
    loop = loop_of("without-drums+gaps").exercise
    assert all(hit.limb is None and hit.time // 4 % 4 < 2 for hit in loop.hits)


# Ladders and minutes


def test_a_ladder_goes_through_the_tempos_in_one_track() -> None:
    loop = loop_of("ladder", ladder_bars=6)
    assert not loop.closes
    assert [bpm for _, bpm in loop.exercise.tempo.changes] == [66, 88]
    assert loop.exercise.bars == 16  # six bars are two times round four
    file = mido.MidiFile(file=io.BytesIO(content_of(loop)))
    tempos = [m for track in file.tracks for m in track if m.type == "set_tempo"]
    assert [round(mido.tempo2bpm(m.tempo), 3) for m in tempos] == [66, 88]
    assert file.length == pytest.approx(32 * 60 / 66 + 32 * 60 / 88, abs=1e-4)


def test_a_ladder_fills_minutes_too() -> None:
    loop = loop_of("ladder", minutes=5)
    assert loop.seconds >= 300
    spans = [section.length for section in loop.exercise.sections]
    assert len(spans) == 2 and spans[0] == spans[1]


@pytest.mark.parametrize("kind", ["nonsense", "gaps+gaps", "without-hands+without-feet"])
def test_a_kind_that_is_none_is_refused_from_python_too(kind: str) -> None:
    with pytest.raises(MidiforgeError):
        Shape((kind,))


def test_a_ladder_without_end_is_refused() -> None:
    with pytest.raises(MidiforgeError, match="the ladder would have"):
        loop_of("ladder", ladder_bars=100_000)


def test_a_drill_of_one_tempo_has_no_ladder_and_says_so() -> None:
    said: list[str] = []
    assert not [*loops(drill_of(tempos=70), Shape(("ladder",)), "", said.append)]
    assert len(said) == 1 and "two tempos" in said[0]


def test_minutes_are_filled_with_whole_times_round() -> None:
    loop = loop_of("everything", minutes=4)
    once = Fraction(8 * 4 * 60, 66)  # twice through four bars of chords: a form
    assert loop.seconds >= 240 > loop.seconds - once
    assert loop.seconds == loop.times * once


# MIDI


@pytest.mark.parametrize("file_format", [0, 1])
@pytest.mark.parametrize("count_in", [False, True])
def test_times_round_are_the_same_notes_again_to_the_tick(file_format: int, count_in: bool) -> None:
    drill = drill_of(format=file_format, flam_ms=20, sticking="lRLRL rLRLR")
    loop = loop_of("everything", drill, minutes=1, count_in=count_in)
    assert loop.times > 1
    found, end, division = notes_of(content_of(loop, drill))
    written_out = exercise_bytes(unrolled(loop.exercise, loop.times), drill.kit, file_format)
    assert (found, end, division) == notes_of(written_out)
    length = int(loop.exercise.length * division)
    before = int(loop.exercise.count_in * division)
    assert end == before + loop.times * length
    for number in range(1, loop.times - 1):
        turns = [
            [(tick - start, *rest) for tick, *rest in found if start <= tick < start + length]
            for start in (before + number * length, before + (number + 1) * length)
        ]
        assert turns[0] == turns[1]


def test_every_note_that_is_struck_is_ended_within_the_file() -> None:
    file = mido.MidiFile(file=io.BytesIO(content_of(loop_of("everything"))))
    for track in file.tracks:
        held: dict[tuple[int, int], int] = {}
        for message in track:
            if message.type == "note_on" and message.velocity:
                key = (message.channel, message.note)
                assert key not in held
                held[key] = 1
            elif message.type in ("note_off", "note_on"):
                held.pop((message.channel, message.note), None)
        assert not held


def test_each_player_has_a_channel_and_a_program_and_chords_are_in_the_file() -> None:
    """General MIDI level 1: 33 acoustic bass, 1 acoustic grand piano; drums on channel 10."""
    file = mido.MidiFile(file=io.BytesIO(content_of(loop_of("everything"))))
    programs = {
        (message.channel + 1, message.program + 1)
        for track in file.tracks
        for message in track
        if message.type == "program_change"
    }
    assert programs == {(2, 33), (3, 1)}
    texts = [m.text for track in file.tracks for m in track if m.type == "text"]
    assert texts == ["Am7", "D9", "Gmaj7", "E7#9"] * 2


# The set


def test_all_kinds_come_from_one_drill_and_what_is_the_same_is_told() -> None:
    drill = drill_of(placements="beat")
    found = [*loops(drill, Shape())]
    new = [each for each in found if each.same_as is None]
    assert {each.kind for each in new} == set(KINDS)
    for each in found:
        if each.same_as is not None:
            first = new[each.same_as].exercise
            assert first.hits == each.exercise.hits and first.tempo == each.exercise.tempo
    # The hands move, the rest stays: one loop without hands for all four placements.
    assert sum(each.kind == "without-hands" for each in new) == 2
    assert sum(each.kind == "everything" for each in new) == 8


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("without-hand", "did you mean 'without-hands'"),
        ("without-hands+without-feet", "does not go together"),
        ("gaps+gaps", "does not go together"),
        ("gap", "did you mean 'gaps'"),
    ],
)
def test_a_wrong_kind_is_told(text: str, said: str) -> None:
    with pytest.raises(MidiforgeError, match=said):
        read_kinds(text)


@pytest.mark.parametrize("change", [bare, lambda each: unrolled(each, 3)], ids=["bare", "unrolled"])
def test_a_loop_of_a_ramp_keeps_its_tempos(change: Callable[[Exercise], Exercise]) -> None:
    drill = drill_of(ramp="60 to 80 by 10 every 4 bars")
    once = next(each for each in exercises(drill) if each.stage == "full")
    assert [bpm for _, bpm in change(once).tempo.changes] == [60, 70, 80]


def test_what_is_bare_lasts_as_long_as_the_loop() -> None:
    once = next(each for each in exercises(drill_of()) if each.stage == "full")
    assert bare(once).seconds == once.tempo.seconds(once.loop_start, once.length)
    assert bare(bare(once)) == bare(once)
