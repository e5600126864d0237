"""A player's own kit file: what it may say, and what is said of it where it is wrong.

No published source: the rules are the project's own. Note numbers, velocities, channels and
programs have the ranges of MIDI 1.0 (channel voice messages: seven bits of data, 16 channels).
"""

from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError
from midiforge.kits.kit import STRENGTHS, kit_names

VELOCITIES = "[velocities]\n" + "".join(f"{name} = 64\n" for name in STRENGTHS)
NOTES = "[notes]\nsnare = 38\nhihat-closed = 42\nhihat-pedal = 44\nbass-drum = 36\nclaves = 75\n"
STARTS = "starts_from = 'general-midi-1'\n"


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def kit_of(content: str, name: str = "mine.toml") -> midiforge.Kit:
    Path(name).write_text(content, encoding="utf-8")
    return midiforge.read_kit(name)


def wrong(content: str) -> str:
    with pytest.raises(MidiforgeError) as caught:
        kit_of(content)
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith("mine.toml: ")
    return line


# What the file says, and what the line names: the table, the key, what would be right.
WRONG = [
    ("", "notes"),
    (VELOCITIES, "notes"),
    (NOTES, "velocities: no velocity for 'accent'"),
    (NOTES + "[velocities]\naccent = 1\n", "no velocity for 'tap'"),
    (STARTS + "chanel = 1", "'channel'"),
    (STARTS + "[note]\nsnare = 1", "'notes'"),
    (STARTS + "[notes]\nsnre = 1", "notes: no voice is called 'snre' (did you mean 'snare'?)"),
    (STARTS + "[velocities]\naccnt = 1", "velocities: unknown strength 'accnt' (did you mean"),
    (STARTS + "[heard]\n38 = 'snre'", "heard: 38: no voice is called 'snre' (did you mean 'snare'"),
    (STARTS + "[heard]\nx = 'snare'", "heard: 'x' is not a note number"),
    (STARTS + "[heard]\n'-1' = 'snare'", "heard: '-1'"),
    (STARTS + "[heard]\n'\u00b2' = 'snare'", "heard: '\u00b2'"),
    (STARTS + "[heard]\n128 = 'snare'", "heard: '128' is not a note number"),
    (STARTS + "[[notes]]\nx = 1", "notes: a table was expected"),
    ("starts_from = 'general-midi-3'", "starts_from: no kit is called 'general-midi-3' (did you"),
    ("starts_from = 'gone/kit.toml'", "'gone/kit.toml'"),
    ("starts_from = 3", "starts_from: the name of a kit"),
    ("starts_from = 'mine.toml'", "ring"),
    ("starts_from = ", "not TOML"),
    ("a = 1\na = 2", "not TOML"),
]


@pytest.mark.parametrize(("content", "said"), WRONG, ids=lambda value: str(value)[:40])
def test_a_wrong_kit_file_is_named_with_the_place_in_it(content: str, said: str) -> None:
    assert said in wrong(content)


# Every key that holds a number, and its range.
NUMBERS = [
    ("[notes]\nsnare", "notes: snare", 0, 127),
    ("[velocities]\ntap", "velocities: tap", 1, 127),
    ("[hihat]\ncontroller", "hihat: controller", 0, 127),
    ("channel", "channel", 1, 16),
    ("program", "program", 1, 128),
]
NO_NUMBERS = ["true", "1.5", "'38'", "''", "[]", "{}", "2020-01-01", "nan", "inf", "-1"]


@pytest.mark.parametrize(("key", "place", "low", "high"), NUMBERS, ids=lambda value: str(value))
def test_a_number_must_be_one_that_midi_has(key: str, place: str, low: int, high: int) -> None:
    start = "starts_from = 'electronic'\n"  # it has a pedal
    for value in (*NO_NUMBERS, str(low - 1), str(high + 1)):
        line = wrong(f"{start}{key} = {value}\n")
        assert f"{place}: " in line
        assert f"from {low} to {high}" in line
    for value in (low, high):
        kit_of(f"{start}{key} = {value}\n")


@pytest.mark.parametrize("table", ["notes", "velocities", "heard", "hihat"])
def test_a_table_must_be_a_table(table: str) -> None:
    for value in NO_NUMBERS:
        if value != "{}":
            assert f"{table}: a table" in wrong(f"{STARTS}{table} = {value}\n")


@pytest.mark.parametrize("value", [each for each in NO_NUMBERS if each != "''"])
def test_what_is_heard_must_be_a_voice(value: str) -> None:
    assert "heard: 38" in wrong(f"{STARTS}[heard]\n38 = {value}\n")


@pytest.mark.parametrize("key", ["name", "title", "source"])
@pytest.mark.parametrize("value", ["1", "true", "[]", "{}", "2020-01-01"])
def test_a_title_must_be_a_text(key: str, value: str) -> None:
    assert key in wrong(f"{STARTS}{key} = {value}\n")


@pytest.mark.parametrize("value", ["[]", "0", "false", "''"])
def test_a_kit_to_start_from_must_be_a_text(value: str) -> None:
    assert "starts_from" in wrong(f"starts_from = {value}\n{NOTES}{VELOCITIES}")


def test_an_unknown_key_of_the_pedal_is_refused() -> None:
    assert "'controller'" in wrong(STARTS + "[hihat]\ncontroler = 4")


def test_a_pedal_is_open_below_where_it_is_closed() -> None:
    assert "hihat" in wrong(STARTS + "[hihat]\ncontroller = 4\nopen_below = 90\nclosed_above = 30")


@pytest.mark.parametrize("content", ["[notes]\nsnare = {}", "[heard]\n{} = 'snare'"])
def test_a_number_of_thousands_of_digits_is_refused(content: str) -> None:
    wrong(STARTS + content.format("9" * 5000))


UNREADABLE = {"binary": b"\xff\xfe\0\1", "zeros": bytes(64), "large": b"#" * (5 << 20)}


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_is_no_kit_is_named(name: str) -> None:
    Path("mine.toml").write_bytes(UNREADABLE[name])
    with pytest.raises(MidiforgeError, match=r"mine\.toml"):
        midiforge.read_kit("mine.toml")


def test_a_folder_is_no_kit() -> None:
    Path("mine.toml").mkdir()
    with pytest.raises(MidiforgeError, match=r"no kit is called 'mine\.toml'"):
        midiforge.read_kit("mine.toml")


def test_kits_that_start_from_each_other_are_refused() -> None:
    Path("a.toml").write_text("starts_from = 'b'", encoding="utf-8")
    Path("b.toml").write_text("starts_from = 'c'", encoding="utf-8")
    Path("c.toml").write_text("starts_from = 'a'", encoding="utf-8")
    with pytest.raises(MidiforgeError, match="ring") as caught:
        midiforge.read_kit("a.toml")
    assert caught.value.where[0] == "a.toml"


def test_a_ring_by_a_roundabout_path_is_refused() -> None:
    Path("sub").mkdir()
    assert "ring" in wrong("starts_from = 'sub/../mine'")


def test_a_long_line_of_kits_is_read_or_refused() -> None:
    for i in range(1200):
        Path(f"k{i}.toml").write_text(f"starts_from = 'k{i + 1}'", encoding="utf-8")
    Path("k1200.toml").write_text(STARTS, encoding="utf-8")
    try:
        assert midiforge.read_kit("k0").note("snare") == 38
    except MidiforgeError as error:
        assert "k" in str(error)


def test_an_error_names_the_kit_file_that_it_is_in() -> None:
    Path("base.toml").write_text(STARTS + "[notes]\nsnare = 300", encoding="utf-8")
    assert "base.toml" in wrong("starts_from = 'base'")


def test_a_kit_starts_from_another() -> None:
    base = midiforge.read_kit("general-midi-1")
    mine = kit_of(STARTS + "channel = 3\nprogram = 9\n[notes]\nsnare = 40\n[velocities]\ntap = 5\n")
    assert (mine.channel, mine.program) == (3, 9)
    assert mine.notes == {**base.notes, "snare": 40}
    assert mine.velocities == {**base.velocities, "tap": 5}


def test_a_kit_without_a_name_goes_by_that_of_its_file() -> None:
    assert kit_of(STARTS).name == "mine"


def test_a_kit_needs_no_other() -> None:
    mine = kit_of(NOTES + VELOCITIES)
    assert (mine.name, mine.channel, mine.program) == ("mine", 10, None)
    assert mine.note("snare") == 38
    assert mine.heard[42] == "hihat-closed"


def test_a_kit_is_found_beside_its_drill_with_or_without_its_ending() -> None:
    Path("drills").mkdir()
    Path("drills/pads.toml").write_text(STARTS + "[notes]\nsnare = 40", encoding="utf-8")
    for name in ("pads", "pads.toml", str(Path("drills/pads.toml").resolve())):
        Path("drills/d.toml").write_text(f"sticking = 'RL'\nkit = '{name}'", encoding="utf-8")
        assert midiforge.read_drill("drills/d.toml").kit.note("snare") == 40


def test_a_kit_named_by_a_flag_is_found_from_here(capsys: pytest.CaptureFixture[str]) -> None:
    Path("drills").mkdir()
    Path("drills/d.toml").write_text("sticking = 'RL'", encoding="utf-8")
    Path("pads.toml").write_text(STARTS, encoding="utf-8")
    assert run(["build", "drills/d.toml", "--kit", "pads.toml", "--out", "out"]) == 0
    assert capsys.readouterr().err == ""


def test_a_kit_named_by_a_flag_is_found_from_here_without_its_ending(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("drills").mkdir()
    Path("drills/d.toml").write_text("sticking = 'RL'", encoding="utf-8")
    Path("pads.toml").write_text(STARTS, encoding="utf-8")
    assert run(["build", "drills/d.toml", "--kit", "pads", "--out", "out"]) == 0, (
        capsys.readouterr()
    )


@pytest.mark.parametrize("name", kit_names())
def test_a_file_of_a_kit_s_name_does_not_stand_before_it(name: str) -> None:
    Path(f"{name}.toml").write_text(STARTS + "[notes]\nsnare = 1\n", encoding="utf-8")
    assert midiforge.read_kit(name).note("snare") == 38
    if name != "general-midi-1":
        assert midiforge.read_kit(f"{name}.toml").note("snare") == 1


def test_a_wrong_kit_of_a_drill_is_laid_to_drill_key_and_kit(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("pads.toml").write_text(STARTS + "[notes]\nsnare = -1", encoding="utf-8")
    Path("d.toml").write_text("sticking = 'RL'\nkit = 'pads'", encoding="utf-8")
    assert run(["build", "d.toml", "--out", "out"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("midiforge: d.toml: kit: pads.toml: notes: snare: -1 is not")
    assert err.count("\n") == 1


def test_a_voice_that_a_kit_lacks_is_named() -> None:
    Path("small.toml").write_text(
        "[notes]\nsnare = 38\nclaves = 75\n" + VELOCITIES, encoding="utf-8"
    )
    with pytest.raises(MidiforgeError, match="no sound for the voice"):
        midiforge.check_drill({"sticking": "RL", "kit": "small.toml"})


def test_a_drill_that_takes_every_sound_leaves_none_to_the_click() -> None:
    Path("small.toml").write_text(NOTES.replace("claves = 75\n", "") + VELOCITIES, encoding="utf-8")
    with pytest.raises(MidiforgeError, match="click"):
        midiforge.check_drill({"sticking": "RL", "kit": "small.toml"})


def test_a_kit_is_read_by_a_path_too() -> None:
    Path("mine.toml").write_text(STARTS + "[notes]\nsnare = 40\n", encoding="utf-8")
    assert midiforge.read_kit(Path("mine.toml")) == midiforge.read_kit("mine.toml")
    assert midiforge.read_kit(Path("electronic")) == midiforge.read_kit("electronic")
