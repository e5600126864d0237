"""`midiforge loop`: what it writes, what it says, and that it writes all or nothing.

What a missing FluidSynth does is put in by hand; the project's own rules otherwise.
"""

import csv
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import mido
import pytest

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.folders.loops import COLUMNS, INDEX, RECORD, write_loops
from midiforge.loops import KINDS, Shape

DRILL = """
title = "Low tide"
sticking = ">RLRL >LRLR"
feet = "bossa-nova"
chords = "Fmaj7 | Gm7 C7"
tempos = [70, 90]
stages = ["feet", "full"]
"""


@pytest.fixture
def drill_file(tmp_path: Path) -> Path:
    path = tmp_path / "low-tide.toml"
    path.write_text(DRILL)
    return path


def run(*arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "midiforge", *map(str, arguments)],
        capture_output=True,
        text=True,
        env={**os.environ, **environment},
        timeout=60,
    )


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / INDEX).open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_the_command_writes_every_kind_and_an_index_of_them(
    drill_file: Path, tmp_path: Path
) -> None:
    out = tmp_path / "loops"
    ran = run("loop", drill_file, "--out", out)
    assert ran.returncode == 0, ran.stderr
    rows = rows_of(out)
    assert tuple(rows[0]) == COLUMNS
    assert {row["kind"] for row in rows} == set(KINDS)
    assert {row["file"] for row in rows} == {path.name for path in out.glob("*.mid")}
    for row in rows:
        length = mido.MidiFile(out / row["file"]).length
        assert length == pytest.approx(float(row["seconds"]), abs=1e-4)


def test_a_loop_is_named_as_its_exercise_with_its_kind_for_the_stage(
    drill_file: Path, tmp_path: Path
) -> None:
    drill = midiforge.read_drill(drill_file)
    midiforge.build_lesson(drill, tmp_path / "b")
    write_loops(drill, tmp_path / "l", Shape(("without-hands", "without-drums+gaps")))
    built = {path.name for path in (tmp_path / "b").glob("[0-9]*.mid")}
    loops = [path.name for path in (tmp_path / "l").glob("*.mid")]
    assert loops
    for name in loops:
        assert re.sub("_without-(hands|drums[+]gaps)", "", name) in built


def test_json_tells_what_was_written(drill_file: Path, tmp_path: Path) -> None:
    ran = run("loop", drill_file, "--out", tmp_path / "l", "--kinds", "without-hands", "--json")
    facts = json.loads(ran.stdout)
    assert [each["kind"] for each in facts["loops"]] == ["without-hands"] * 4
    assert [each["exercises"] for each in facts["loops"]] == [["1a"], ["1b"], ["2a"], ["2b"]]
    assert all(each["closes"] and each["audio"] is None for each in facts["loops"])


def test_loops_and_a_lesson_can_share_a_folder(drill_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "both"
    assert run("build", drill_file, "--out", out).returncode == 0
    built = {path.name for path in out.iterdir()}
    assert run("loop", drill_file, "--out", out).returncode == 0
    assert built <= {path.name for path in out.iterdir()}
    assert run("build", drill_file, "--out", out).returncode == 0
    assert (out / INDEX).exists()


def test_loops_take_the_place_of_earlier_ones_and_of_nothing_else(
    drill_file: Path, tmp_path: Path
) -> None:
    out = tmp_path / "loops"
    run("loop", drill_file, "--out", out)
    (out / "mine.txt").write_text("notes")
    changed = next(out.glob("*gaps*.mid"))
    changed.write_bytes(b"changed by hand")
    ran = run("loop", drill_file, "--out", out, "--kinds", "everything")
    assert ran.returncode == 0 and changed.name in ran.stdout
    assert {path.name for path in out.iterdir() if "everything" not in path.name} == {
        "mine.txt",
        changed.name,
        INDEX,
        RECORD,
    }


def test_every_exercise_has_loops_as_the_documentation_says(
    drill_file: Path, tmp_path: Path
) -> None:
    run("loop", drill_file, "--out", tmp_path / "l")
    told = {number for row in rows_of(tmp_path / "l") for number in row["exercises"].split()}
    lesson = midiforge.exercises(midiforge.read_drill(drill_file))
    assert told == {str(each.number) for each in lesson}


def test_only_these_exercises_are_looped(drill_file: Path, tmp_path: Path) -> None:
    run("loop", drill_file, "--out", tmp_path / "l", "--only", "2b", "--kinds", "everything")
    assert [row["exercises"] for row in rows_of(tmp_path / "l")] == ["2b"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--kinds", "hands"], "--kinds: 'hands' is no kind of loop"),
        (["--audio", "mp3"], "--audio: 'mp3' is no format of audio"),
        (["--soundfont", "x.sf2"], "--soundfont: there is no sound to make"),
        (["--audio", "wav", "--soundfont", "nowhere.sf2"], "nowhere.sf2: cannot be read"),
        (["--only", "99"], "--only: there is no exercise 99"),
        (["--tempos", "70", "--kinds", "ladder"], "a ladder needs two tempos"),
        (["--kinds", "ladder", "--ladder-bars", "100000"], "--ladder-bars"),
        (["--percussion", "congas at -5%"], "percussion: 'congas': -5% is no level"),
        (["--chords", "Dm7 | Hm"], "chords: bar 2: 'Hm' is no chord"),
        (["--style", "polka"], "style: no style is called 'polka'"),
        (["--percussion", "bembe"], "percussion: 'bembe' is at home in 12/8"),
        (["--minutes", "-1"], "--minutes"),
    ],
)
def test_what_is_wrong_takes_one_line_and_writes_nothing(
    drill_file: Path, tmp_path: Path, arguments: list[str], said: str
) -> None:
    out = tmp_path / "loops"
    ran = run("loop", drill_file, "--out", out, *arguments)
    assert ran.returncode == 2
    assert said in ran.stderr and ran.stderr.count("\n") == 1
    assert not out.exists()


def test_no_folder_is_an_error(drill_file: Path) -> None:
    ran = run("loop", drill_file)
    assert ran.returncode == 2 and "--out: no folder is named" in ran.stderr


def test_without_fluidsynth_the_midi_is_written_and_the_way_to_get_it_told(
    drill_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("soundfile")
    from midiforge.sound import fluid

    fluid.library.cache_clear()
    monkeypatch.setattr(fluid, "_loaded", lambda: None)
    drill = midiforge.read_drill(drill_file)
    report = write_loops(drill, tmp_path / "l", Shape(("everything",)), audio="wav")
    fluid.library.cache_clear()
    assert "FluidSynth" in report.missing and "install" in report.missing
    assert [each.audio for each in report.written] == [""] * 4
    assert len(list((tmp_path / "l").glob("*.mid"))) == 4


def test_a_full_disk_leaves_the_folder_as_it_was(
    drill_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "loops"
    drill = midiforge.read_drill(drill_file)
    write_loops(drill, out, Shape(("everything",)))
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    written = Path.write_bytes

    def full(self: Path, content: bytes) -> int:
        if "gaps" in self.name:
            raise OSError(28, "No space left on device")
        return written(self, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(MidiforgeError, match="cannot be written: no space left"):
        write_loops(drill, out)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


@pytest.mark.parametrize(
    ("flags", "told"),
    [
        ((), True),
        (("--clave", "2-3"), True),  # but nobody to lean on it
        (("--chords", "Dm7 | G7"), False),
        (("--style", "rock"), False),  # which has no percussion of its own
        (("--percussion", "none"), False),
        (("--layers", "son-clave-3-2"), False),
    ],
)
def test_only_who_asks_for_no_band_and_no_layer_is_told_how_to(
    flags: tuple[str, ...], told: bool, tmp_path: Path
) -> None:
    ran = run("loop", "--sticking", "RLRR LRLL", *flags, "--out", tmp_path / "l")
    assert ran.returncode == 0
    assert ("--chords" in ran.stdout and "--percussion" in ran.stdout) is told


def test_flags_say_the_same_as_a_file(drill_file: Path, tmp_path: Path) -> None:
    run("loop", drill_file, "--out", tmp_path / "a")
    flags = [
        "--sticking",
        ">RLRL >LRLR",
        "--feet",
        "bossa-nova",
        "--tempos",
        "70,90",
        "--stages",
        "feet,full",
    ]
    flags += ["--title", "Low tide", "--chords", "Fmaj7 | Gm7 C7"]
    run("loop", *flags, "--out", tmp_path / "b")
    a, b = ({p.name: p.read_bytes() for p in (tmp_path / x).iterdir()} for x in "ab")
    assert a == b


def test_the_index_says_of_every_exercise_which_file_is_it_without_its_hands(
    drill_file: Path, tmp_path: Path
) -> None:
    # One exercise without its hands is another's feet alone: one file, and two things in the index.
    out = tmp_path / "loops"
    run("loop", drill_file, "--out", out)
    rows = rows_of(out)
    kinds: dict[str, list[str]] = {}
    for row in rows:
        for number in row["exercises"].split():
            kinds.setdefault(number, []).append(row["kind"])
    lesson = midiforge.exercises(midiforge.read_drill(drill_file))
    with_both = [
        str(each.number)
        for each in lesson
        if {hit.limb.is_hand for hit in each.hits if hit.limb} == {True, False}
    ]
    assert with_both
    for number in with_both:
        assert {"everything", "without-hands", "without-feet"} <= set(kinds[number])
        assert len(kinds[number]) == len(set(kinds[number]))
    assert {row["file"] for row in rows} == {each.name for each in out.glob("*.mid")}


def test_loops_of_an_earlier_time_that_go_are_counted(drill_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "loops"
    first = json.loads(run("loop", drill_file, "--out", out, "--json").stdout)
    assert first["removed"] == 0
    second = run("loop", drill_file, "--out", out, "--kinds", "gaps")
    gone = len(first["loops"]) - len(rows_of(out))
    assert gone > 1 and f"Removed from the folder: {gone} files" in second.stdout
    again = run("loop", drill_file, "--out", out, "--kinds", "gaps")
    assert "Removed" not in again.stdout
