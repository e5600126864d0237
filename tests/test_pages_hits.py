"""The table of strokes: `midiforge sheet --out hits.csv`.

Times, counts and velocities are worked out here from the drill's own numbers, and compared with
what mido reads in the MIDI file of the same exercise. RFC 4180 (CSV).
"""

import csv
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.command.run import run

SIXTEENTH = Fraction(1, 4)


def rows(tmp_path: Path, **keys: Any) -> list[dict[str, str]]:
    drill = midiforge.check_drill({"stages": "full", "tempos": 60, **keys})
    midiforge.write_sheet(drill, tmp_path / "hits.csv")
    with (tmp_path / "hits.csv").open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream, strict=True))


def column(table: list[dict[str, str]], name: str) -> list[str]:
    return [row[name] for row in table]


def time(row: dict[str, str]) -> Fraction:
    return Fraction(int(row["numerator"]), int(row["denominator"]))


def test_a_paradiddle_is_eight_rows_a_half_bar_with_count_limb_and_time(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking=">RLRR >LRLL", tempos=90)
    assert len(table) == 16
    assert column(table, "exercise") == ["1"] * 16 and column(table, "bar") == ["1"] * 16
    counts = [f"{beat}{syllable}" for beat in "1234" for syllable in ("", "e", "&", "a")]
    assert column(table, "count") == counts
    assert column(table, "step") == [str(i) for i in range(1, 17)]
    assert [time(row) for row in table] == [i * SIXTEENTH for i in range(16)]
    assert [float(row["seconds"]) for row in table] == pytest.approx(
        [i / 4 * 60 / 90 for i in range(16)], abs=1e-6
    )
    assert column(table, "limb") == [f"{each}H" for each in "RLRRLRLL"] * 2
    assert column(table, "stroke") == [">R", "L", "R", "R", ">L", "R", "L", "L"] * 2
    assert column(table, "strength") == ["accent", "tap", "tap", "tap"] * 4
    # General MIDI 1, percussion: 38 acoustic snare, 42 closed hi-hat, on channel 10.
    sounds = {(row["limb"], row["voice"], row["channel"], row["note"]) for row in table}
    assert sounds == {("LH", "snare", "10", "38"), ("RH", "hihat-closed", "10", "42")}
    kit = midiforge.read_kit("general-midi-1")
    loud = {strength: str(kit.velocities[strength]) for strength in ("accent", "tap")}
    assert column(table, "velocity") == [loud[row["strength"]] for row in table]
    assert {row["sounds"] for row in table} == {"1"} and {row["layer"] for row in table} == {
        "hands"
    }


def test_ornaments_stand_with_their_stroke(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking="lR rrL (L) Rz")[:4]
    assert column(table, "stroke") == ["lR", "rrL", "(L)", "Rz"]
    assert column(table, "ornament") == ["flam", "drag", "", "buzz"]
    assert column(table, "grace_notes") == ["1", "2", "0", "0"]


def test_who_plays_beside_has_no_limb_and_the_click_no_row(tmp_path: Path) -> None:
    table = rows(tmp_path, feet="samba", layers="1 2& as cowbell")
    assert {row["layer"] for row in table} == {"feet", "1 2&"}
    beside = [row for row in table if row["layer"] == "1 2&"]
    assert {(row["limb"], row["stroke"], row["voice"]) for row in beside} == {("", "", "cowbell")}
    assert {row["count"] for row in beside} == {"1", "2&"}
    assert {row["limb"] for row in table} == {"LF", "RF", ""}


def test_what_the_player_answers_is_there_and_does_not_sound(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking="RLRR LRLL", form="1 call 1 response")
    sounds = {row["bar"]: row["sounds"] for row in table}
    assert sounds == {str(bar): str(bar % 2) for bar in range(1, len(sounds) + 1)}
    first, second = ([row["stroke"] for row in table if row["bar"] == bar] for bar in "12")
    assert first == second


def test_off_the_grid_there_is_a_count_and_no_step(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking="RLL", steps=3, feet="1 1e 1& 1a")
    feet = [row for row in table if row["layer"] == "feet" and row["bar"] == "1"]
    assert [(row["count"], row["step"]) for row in feet][:4] == [
        ("1", "1"), ("1e/4", ""), ("1&/2", ""), ("1a/4", ""),
    ]  # fmt: skip


def test_a_ramp_has_its_tempo_at_every_stroke(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking="RL", steps=1, ramp="60 to 70 by 5 every 1 bars")
    tempos = [row["tempo"] for row in table if int(row["bar"]) <= 3]
    assert tempos == ["60"] * 4 + ["65"] * 4 + ["70"] * 4
    starts = [float(row["seconds"]) for row in table if row["count"] == "1"]
    assert starts[:3] == pytest.approx([0, 4 * 60 / 60, 4 * 60 / 60 + 4 * 60 / 65], abs=1e-6)


def test_what_a_spreadsheet_takes_for_a_formula_or_a_day_is_none(tmp_path: Path) -> None:
    table = rows(tmp_path, sticking="-RLR")
    assert {row["title"][:2] for row in table} == {"'-"}
    assert not [cell for row in table for cell in row.values() if cell.count("/") == 1
                and all(each.isdigit() for each in cell.split("/"))]  # fmt: skip


ALIKE: dict[str, dict[str, Any]] = {
    "swing": {"sticking": "RLRL", "steps": 2, "swing": "2:1", "feet": "1 2& 4"},
    "ramp": {"sticking": "RLRR LRLL", "ramp": "60 to 72 by 5 every 1 bars"},
    "ornaments": {"sticking": "lR L rrL Rz (L)", "steps": 2, "feet": "samba"},
    "late entry": {"sticking": "RLRR LRLL", "entry": "late", "placements": "+3"},
    "crescendo": {"sticking": "RLRR", "dynamics": "crescendo 40% to 130% over 2 bars"},
    "unevenness": {"sticking": "RLRR", "humanise": {"timing": 8, "velocity": 6}},
    "who plays along": {"sticking": "RLRR", "layers": "son-clave-3-2", "tempos": "60, 92.5"},
    "another kit": {"sticking": ">RLRR", "meter": "7/8", "steps": 2, "kit": "general-midi-2"},
}


@pytest.mark.parametrize("name", ALIKE)
def test_every_row_that_sounds_is_a_note_of_the_midi_file(tmp_path: Path, name: str) -> None:
    keys = {"stages": "full", "tempos": 60, "count_in": 1, **ALIKE[name]}
    of = midiforge.Session(midiforge.check_drill(keys), log=None)
    of.sheet(tmp_path / "hits.csv")
    with (tmp_path / "hits.csv").open(newline="") as stream:
        table = list(csv.DictReader(stream))
    for exercise in of.lesson:
        before = float(exercise.tempo.seconds(-exercise.count_in, Fraction(0)))
        midi, at, struck = midiforge.midi_file(exercise, of.drill.kit), 0.0, list[Any]()
        for message in midi:
            at += message.time
            if message.type == "note_on" and message.velocity:
                note = message.channel + 1, message.note, message.velocity
                struck.append((note, at - before))
        own = [row for row in table if row["exercise"] == str(exercise.number)]
        assert len(own) == sum(hit.layer != "click" for hit in exercise.hits) > 4
        tick = float(exercise.tempo.quarter(Fraction(0))) / midi.ticks_per_beat
        for row in own:
            wanted = tuple(int(row[key]) for key in ("channel", "note", "velocity"))
            nearest = min(abs(float(row["seconds"]) - at) for note, at in struck if note == wanted)
            assert nearest <= tick + 1e-4, row


def test_some_exercises_are_chosen_by_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    drill = ("--sticking", "RLRR", "--feet", "samba", "--tempos", "60,80", "-q")
    assert run(["sheet", *drill, "--out", "hits.csv", "--only", "2,3b"]) == 0
    with Path("hits.csv").open(newline="") as stream:
        found = {row["exercise"] for row in csv.DictReader(stream)}
    assert found == {"2a", "2b", "3b"}
    assert capsys.readouterr().out == ""


def test_a_table_needs_no_extra_and_shows_what_no_staff_can(tmp_path: Path) -> None:
    assert len(rows(tmp_path, sticking="RLL", meter="4/8", steps=12)) == 48
