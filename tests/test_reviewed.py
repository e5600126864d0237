"""What a drum teacher stumbled over once, and must not again."""

import csv
import io
from fractions import Fraction
from pathlib import Path

import mido
import pytest

import midiforge
from midiforge.drill.click import CLICK_VOICES
from midiforge.library.shelf import voices
from midiforge.midi import smf


def lesson(**keys: object) -> list[midiforge.Exercise]:
    return list(midiforge.exercises(midiforge.check_drill(keys)))


@pytest.mark.parametrize(
    ("rudiment", "meter", "steps"),
    [
        ("flam-accent", "6/8", 3),
        ("swiss-army-triplet", "12/8", 3),
        ("double-paradiddle", "12/8", 6),
        ("single-paradiddle", "12/8", 6),
        ("single-paradiddle", "4/4", 4),
        ("five-stroke-roll", "4/4", 8),
    ],
)
def test_a_rudiment_in_threes_is_at_home_in_dotted_beats(
    rudiment: str, meter: str, steps: int
) -> None:
    """Common practice: triplets become the eighths of 6/8, sextuplets its sixteenths."""
    [exercise] = lesson(sticking=rudiment, meter=meter, stages="hands")
    assert exercise.meter.beat / exercise.step == steps


def test_each_word_for_the_click_means_something_else() -> None:
    clicks = {}
    for word in ("throughout", "count-in", "off"):
        [exercise] = lesson(sticking="RL", click=word, stages="hands")
        clicks[word] = [hit.time for hit in exercise.hits if hit.layer == "click"]
    assert clicks["throughout"] == [Fraction(i) for i in range(-4, 4)]
    assert clicks["count-in"] == [Fraction(i) for i in range(-4, 0)]
    assert clicks["off"] == []


def test_without_a_click_nothing_is_counted_in_unless_wanted() -> None:
    assert lesson(sticking="RL", click="off", stages="hands")[0].count_in_bars == 0
    assert lesson(sticking="RL", click="off", count_in=2, stages="hands")[0].count_in_bars == 2


def test_a_silence_too_long_for_one_delta_time_is_bridged() -> None:
    """Standard MIDI Files 1.0: a delta time has at most 28 bits, so events must break it."""
    for ticks in (0, 0x3FFF, 0x4000, smf.LARGEST_QUANTITY, 3 * smf.LARGEST_QUANTITY + 5):
        track = b"\0" + smf.text(smf.TRACK_NAME, "x") + smf.wait(ticks) + smf.END_OF_TRACK
        content = smf.header(0, 1, 480) + smf.track_header(len(track)) + track
        [read] = mido.MidiFile(file=io.BytesIO(content)).tracks
        assert sum(message.time for message in read) == ticks


def test_a_stage_without_a_hand_does_not_sound_its_grace_notes() -> None:
    drill = midiforge.check_drill(
        {"sticking": "lRLRR", "stages": "right", "stage": {"right": {"limbs": "RH"}}}
    )
    [exercise] = midiforge.exercises(drill)
    parts = {note.part for note in midiforge.notes(exercise, drill.kit)}
    assert parts == {"RH", "click"}


def test_swing_is_of_eighths_whatever_the_grid() -> None:
    """Common practice: in 4/4 'swing 2:1' means eighths; triplets stay where they are."""
    for steps in (2, 4, 3):
        [exercise] = lesson(sticking="RLRL RLRL RLRL", steps=steps, swing="2:1", stages="hands")
        assert exercise.swing.played(Fraction(1, 2)) == Fraction(2, 3)
        assert exercise.swing.played(Fraction(1, 3)) == Fraction(1, 3)
    [exercise] = lesson(sticking="RL", swing="2:1", swing_pair="sixteenth", stages="hands")
    assert exercise.swing.played(Fraction(1, 4)) == Fraction(1, 3)


@pytest.mark.parametrize(
    ("words", "written"),
    [
        ("Baião \u2013 \u201clição\u201d č. 1", b'Baiao - "licao" c. 1'),
        ("plain", b"plain"),
        ("урок 1", "урок 1".encode()),
    ],
)
def test_text_is_ascii_where_letters_have_a_plain_form(words: str, written: bytes) -> None:
    """Standard MIDI Files 1.0 recommends ASCII; what has no plain form goes in as UTF-8."""
    assert smf.text(smf.MARKER, words)[3:] == written


def test_a_cue_says_the_tempo(tmp_path: Path) -> None:
    drill = midiforge.check_drill({"sticking": "RL", "tempos": "61, 83", "stages": "hands"})
    midiforge.build_lesson(drill, tmp_path)
    rows = list(csv.DictReader((tmp_path / "cues.csv").open(encoding="utf-8")))
    assert [row["title"].split(", ")[-1] for row in rows] == ["61 bpm"] * 2 + ["83 bpm"] * 2


def test_a_ramp_has_one_cue_for_each_step() -> None:
    [exercise] = lesson(sticking="RL", ramp="60 to 70 by 5 every 1 bars", stages="hands")
    titles = [section.title for section in exercise.sections]
    assert titles == ["Count-in", "60 bpm", "65 bpm", "70 bpm"]


def test_a_voice_that_the_kit_lacks_is_spoken_of(tmp_path: Path) -> None:
    """General MIDI level 1 has no rim shot."""
    drill = midiforge.check_drill({"sticking": "RL", "voicing": "RH=snare-rim"})
    report = midiforge.build_lesson(drill, tmp_path)
    assert any("no snare-rim" in sentence for sentence in report.warnings)


@pytest.mark.parametrize(
    ("feet", "meter", "strange"),
    [("bossa-nova", "3/4", True), ("jazz waltz", "4/4", True), ("tumbao", "6/8", True),
     ("tumbao", "4/4", False), ("four-on-the-floor", "3/4", False), ("samba", "2/4", False)],
)  # fmt: skip
def test_an_ostinato_far_from_home_is_spoken_of(feet: str, meter: str, strange: bool) -> None:
    from midiforge.lesson.remarks import remarks

    drill = midiforge.check_drill({"feet": feet, "meter": meter, "partner": "none"})
    assert bool(remarks(drill)) is strange


def test_rests_stay_apart_in_file_names(tmp_path: Path) -> None:
    drill = midiforge.check_drill(
        {"sticking": ["--L- K-L-", "L--- K--L"], "steps": 4, "stages": "full"}
    )
    midiforge.build_lesson(drill, tmp_path)
    names = sorted(path.name for path in tmp_path.glob("0*.mid"))
    assert ["_--L-_K-L-_" in names[0], "_L---_K--L_" in names[1]] == [True, True]


def test_every_voice_a_click_could_have_is_a_voice() -> None:
    assert {voice for pair in CLICK_VOICES for voice in pair} <= voices().keys()


def test_easy_to_hard_looks_at_all_limbs_whatever_stage_comes_last() -> None:
    """The order of the material must not depend on the order of the stages."""
    keys = {"sticking": ["RLRR LRLL", "RLRL"], "feet": "samba", "placements": "beat",
            "order": "easiest"}  # fmt: skip
    orders = []
    for stages in ("hands, full", "full, hands"):
        found = [each.variant for each in lesson(**keys, stages=stages) if each.stage == "full"]
        orders.append([(each.sticking, each.moved("placement").value) for each in found])
    assert orders[0] == orders[1]
