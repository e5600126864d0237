"""What a person gets wrong is said in one line that names the place and the nearest right word.

No published source: the rules are the project's own (exit code 2, one line on standard error, no
traceback).
"""

import datetime
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.drill.keys import KEYS, STAGE_KEYS
from midiforge.errors import MidiforgeError, nearest

HANDS = ("--sticking", "RLRR LRLL")


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The one line that a refused command line gives."""
    code = run(["build", *arguments, "--out", "lesson"])
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.startswith("midiforge: ")
    assert err.endswith("\n")
    assert err.count("\n") == 1, err
    assert not Path("lesson").exists()
    return err


def test_a_drill_without_end_is_one_line_that_names_the_keys(
    capsys: pytest.CaptureFixture[str],
) -> None:
    everything = ("--placements", "bar", "--accent-placements", "bar", "--feet-placements", "bar")
    said = refused(
        capsys, "--sticking", "RLRR LRLL", *everything, "--meter", "16/4",
        "--steps", "8,12", "--feet", "samba", "--tempos", "60 to 160 by 1",
    )  # fmt: skip
    assert "exercises" in said and "up to 100,000" in said
    for key in ("placements", "accent_placements", "feet_placements", "tempos 101", "steps 2"):
        assert key in said


# Flags: what was typed, the key that the line names, what else it must say.
FLAGS = [
    (("--tempos", "0"), "tempos", "10 to 500"),
    (("--tempos", "-5"), "tempos", "'-5'"),
    (("--tempos", "nan"), "tempos", "'nan'"),
    (("--tempos", "inf"), "tempos", "'inf'"),
    (("--tempos", "1e400"), "tempos", "'1e400'"),
    (("--tempos", "100000"), "tempos", "10 to 500"),
    (("--tempos", "1/0"), "tempos", "'1/0'"),
    (("--tempos", "fast"), "tempos", "such as 92"),
    (("--tempos", "72,72.0"), "tempos", "twice"),
    (("--tempos", "60 to 100 by 0"), "tempos", "'0'"),
    (("--tempos", "60 to 100 by -5"), "tempos", "'-5'"),
    (("--tempos", "60 to 10000 by 1"), "tempos", "'10000'"),
    (("--ramp", "60 to 100"), "ramp", "every 2 bars"),
    (("--ramp", "60 to 100 by 4 every 0 bars"), "ramp", "0"),
    (("--ramp", "nan to 60 by 4 every 1 bars"), "ramp", "'nan'"),
    (("--meter", "4/3"), "meter", "1, 2, 4, 8, 16, 32, 64"),
    (("--meter", "0/4"), "meter", "1 to 64"),
    (("--meter", "65/4"), "meter", "1 to 64"),
    (("--meter", "4/0"), "meter", "'4/0'"),
    (("--meter", "2+2+0/8"), "meter", "'2+2+0/8'"),
    (("--meter", "4/4/4"), "meter", "such as 4/4"),
    (("--meter", "waltz"), "meter", "such as 4/4"),
    (("--meter", ""), "meter", "such as 4/4"),
    (("--pulse", "quater"), "", "'quarter'"),
    (("--sticking", "RLX"), "sticking", "column 3: 'X'"),
    (("--sticking", "Single Paradidle"), "sticking", "'single-paradiddle'"),
    (("--sticking", "flamacu"), "sticking", "'flamacue'"),
    (("--sticking", "R+R"), "sticking", "two strokes of the right hand at once"),
    (("--sticking", "B+L"), "sticking", "two strokes of the left hand at once"),
    (("--sticking", "K+K"), "sticking", "two strokes of the right foot at once"),
    (("--sticking", "lL"), "sticking", "of one hand"),
    (("--sticking", "lB"), "sticking", "'B'"),
    (("--sticking", "Rl"), "sticking", "column 3"),
    (("--sticking", "llllllR"), "sticking", "grace notes"),
    (("--sticking", "RL ("), "sticking", "never closed"),
    (("--sticking", "RL)"), "sticking", "column 3"),
    (("--sticking", "Kz"), "sticking", "buzz"),
    (("--sticking", "- -"), "sticking", "no strokes"),
    (("--sticking", "| |"), "sticking", "no strokes"),
    (("--sticking", "R" * 1025), "sticking", "1024"),
    (("--sticking", "R\0"), "sticking", "column 2"),
    (("--sticking", "R,LX"), "sticking", "sticking 2"),
    (("--feet", "tumbo"), "feet", "'tumbao'"),
    (("--feet", "tumbao on XX"), "feet", "RH, LH, RF or LF"),
    (("--feet", "tumbao on RH"), "feet", "right hand"),
    (("--feet", "1 3 as cowbel"), "feet", "'cowbell'"),
    (("--feet", "1 1"), "feet", "twice"),
    (("--feet", "9"), "feet", "1 to 4"),
    (("--feet", "...."), "feet", "no strokes"),
    (("--feet", "tumbao", "--partner", "smba"), "", "'samba'"),
    (("--layers", "son-clav"), "layers", "'son-clave-3-2'"),
    (("--layers", "tumbao"), "layers", "'tumbao as cowbell'"),
    (("--groove", "jaz-ride"), "groove", "'jazz-ride'"),
    (("--placements", "beats"), "placements", "beat"),
    (("--placements", "-1"), "placements", "'-1'"),
    (("--placements", "7"), "placements", "7 grid steps later is '+7'"),
    (("--placements", "3, 5"), "placements", "'5': a bar of 4/4 has no beat 5"),
    (("--placements", "+1025"), "placements", "1024"),
    (("--accents", "bets"), "accents", "'beats'"),
    (("--accents", "x..y"), "accents", "'x..y'"),
    (("--accents", "9"), "accents", "1 to 4"),
    (("--accent-placements", "folow"), "accent_placements", "'folow'"),
    (("--entry", "lte"), "entry", "'late'"),
    (("--lead", "bth"), "lead", "'both'"),
    (("--direction", "bakward"), "direction", "'backward'"),
    (("--order", "easy"), "order", "'easiest'"),
    (("--click", "of"), "click", "'off'"),
    (("--click-voice", "cowbel"), "click_voice", "'cowbell'"),
    (("--click-voice", "snare"), "click_voice", "plays 'snare'"),
    (("--surface", "snre"), "surface", "'snare'"),
    (("--kit", "general-mid"), "kit", "general-midi-"),
    (("--kit", ""), "kit", "general-midi-1"),
    (("--stages", "hand"), "stages", "'hands'"),
    (("--form", "1 tim"), "form", "'time'"),
    (("--form", "1 time"), "form", "no bar of the exercise"),
    (("--form", "1 time 1 exercise"), "form", "groove"),
    (("--form", "2 call 1 response"), "form", "2 call 2 response"),
    (("--voicing", "RH"), "voicing", "'RH'"),
    (("--voicing", "XX=snare"), "voicing", "'XX'"),
    (("--voicing", "RH acent=snare"), "voicing", "accent"),
    (("--voicing", "RH=snre"), "voicing", "'snare'"),
    (("--voicing", "RH grace=snare/ride"), "voicing", "take turns"),
    (("--dynamics", "cresendo over 4 bars"), "dynamics", "crescendo over 4 bars"),
    (("--dynamics", "crescendo 100% to 50% over 1 bars"), "dynamics", "no crescendo"),
    (("--gap", "0 on 1 off"), "gap", "2 on 2 off"),
    (("--swing", "1:2"), "swing", "1:1"),
    (("--swing", "1:0"), "swing", "'1:0'"),
    (("--swing-pair", "eigth"), "swing_pair", "'eighth'"),
    (("--steps", "0"), "steps", "1 to 12"),
    (("--steps", "13"), "steps", "1 to 12"),
    (("--steps", "x"), "steps", "'x'"),
    (("--count-in", "-1"), "count_in", "0 to 16"),
    (("--count-in", "17"), "count_in", "0 to 16"),
    (("--repeats", "0"), "repeats", "1 to 1000"),
    (("--repeats", "x"), "repeats", "'x' is not a whole number"),
    (("--format", "2"), "format", "0 to 1"),
    (("--flam-ms", "nan"), "flam_ms", "1 to 200"),
    (("--drag-ms", "201"), "drag_ms", "1 to 200"),
    (("--humanise-timing", "-1"), "humanise.timing", "0 to 50"),
    (("--humanise-velocity", "inf"), "humanise.velocity", "0 to 40"),
    (("--humanise-seed", "-1"), "humanise.seed", "0"),
    (("--every-strokes", "0"), "every.strokes", "1 to 16"),
    (("--every-strokes", "17"), "every.strokes", "1 to 16"),
    (("--every-longest-run", "2"), "every", "how many strokes"),
    (("--every-strokes", "4", "--every-starts", "X"), "every.starts", "R, L"),
    (("--every-strokes", "4", "--every-up-to", "rotaton"), "every.up_to", "'rotation'"),
    (("--every-strokes", "3", "--every-balanced"), "every", "no sticking"),
    (("--set", "x"), "--set", "KEY=VALUE"),
    (("--set", "=1"), "--set", "not KEY=VALUE"),
    (("--set", "tempo=60"), "", "'tempos'"),
    (("--set", "every.stroke=3"), "every", "'strokes'"),
    (("--set", "stage=1"), "stage", "table"),
    (("--set", "stage.duo=1"), "stage.duo", "table"),
    (("--set", "stage.duo.limb=RH"), "stage.duo", "'limbs'"),
    (("--set", 'stage.duo.limbs=["XX"]'), "limbs", "RH, LH, RF or LF"),
    (("--set", "stage.DUO.limbs=RH"), "", "duo"),
    (("--stickng", "RL"), "", "--sticking"),
    (("one.toml", "two.toml"), "", "two.toml"),
]


@pytest.mark.parametrize(("arguments", "key", "said"), FLAGS, ids=lambda value: str(value)[:40])
def test_a_wrong_flag_is_named_with_what_would_be_right(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], key: str, said: str
) -> None:
    hands = () if "--sticking" in arguments else HANDS
    err = refused(capsys, *hands, *arguments)
    assert key in err
    assert said in err


# Files: their content, the place in them that the line names, what else it must say.
FILES = [
    ("stickin = 'RLRR'", "", "'sticking'"),
    ("sticking = 'RLRR'\ntempo = 60", "", "'tempos'"),
    ("sticking = 'RLRX'", "sticking", "column 4"),
    ("sticking = '''\n>  >\nRLRR\n LRXL'''", "sticking", "line 3: column 4"),
    ("sticking = '''\n >\nR  L'''", "sticking", "over no stroke"),
    ("sticking = ['RL', 'RX']", "sticking", "sticking 2"),
    ("sticking = 'RL'\nmeter = '4/3'", "meter", "4/3"),
    ("sticking = 'RL'\ntempos = [60, 0]", "tempos", "0 is not a tempo"),
    ("sticking = 'RL'\ntempos = '60 72 8x'", "tempos", "'60 72 8x' is not a tempo"),
    ("sticking = 'RL'\ntempos = 1e400", "tempos", "inf"),
    ("sticking = 'RL'\ntempos = nan", "tempos", "nan"),
    ("sticking = 'RL'\nkit = 'nowhere'", "kit", "'nowhere'"),
    ("sticking = 'RL'\nfeet = 'smba'", "feet", "'samba'"),
    ("sticking = 'RL'\n[every]\nstroke = 3", "every", "'strokes'"),
    ("sticking = 'RL'\n[humanise]\nseeds = 3", "humanise", "'seed'"),
    ("sticking = 'RL'\n[stage.duo]\nlimb = 'RH'", "stage.duo", "'limbs'"),
    ("sticking = 'RL'\n[stage.duo]\nform = '1 x'", "stage.duo", "'x'"),
    ("sticking = 'RL'\n[voicing]\nXX = 'snare'", "voicing", "'XX'"),
    ("sticking = 'RL'\n[voicing]\nRH = 'snre'", "voicing: RH", "'snare'"),
    ("sticking = 'RL'\n[voicing]\nRH = []", "voicing: RH", "no voice"),
    ("sticking = 'RL'\nevery = 3", "every", "table"),
    ("sticking = 'RL'\ndrop_swapped = 'yes'", "drop_swapped", "true or false"),
    ("sticking = 'RL'\ncount_in = true", "count_in", "True"),
    ("sticking = 'RL'\nformat = 1.5", "format", "1.5"),
    ("sticking = 'RL'\nsticking = 'LR'", "not TOML", ""),
    ("sticking = 'RL", "", "not TOML"),
    ("sticking = 'RL'\nmeter 4/4", "line 2", "not TOML"),
    ("", "", "nothing to play"),
    ("title = 'nothing'", "", "nothing to play"),
    ("# a remark only", "", "nothing to play"),
]


@pytest.mark.parametrize(("content", "place", "said"), FILES, ids=lambda value: str(value)[:40])
def test_a_wrong_file_is_named_with_the_place_in_it(
    capsys: pytest.CaptureFixture[str], content: str, place: str, said: str
) -> None:
    Path("idea.toml").write_text(content, encoding="utf-8")
    err = refused(capsys, "idea.toml")
    assert err.startswith("midiforge: idea.toml: ")
    assert place in err
    assert said in err


def test_a_wrong_flag_over_a_file_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    Path("idea.toml").write_text("sticking = 'RL'", encoding="utf-8")
    assert "tempos" in refused(capsys, "idea.toml", "--tempos", "0")


def test_no_drill_at_all_asks_for_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--sticking" in refused(capsys)


UNREADABLE = {
    "binary": (bytes(range(256)), "not text"),
    "utf-16": ("sticking = 'RL'".encode("utf-16"), "not text"),
    "latin-1": ("title = 'für'".encode("latin-1"), "byte 11"),
    "zeros": (bytes(64), "not TOML"),
    "midi": (b"MThd\0\0\0\6\0\1\0\1\1\xe0MTrk\0\0\0\4\0\xff\x2f\0", "is a MIDI file"),
    "nested lists": (b"sticking = " + b"[" * 5000 + b"]" * 5000, "nested"),
    "nested names": (b"a" + b".b" * 3000 + b" = 1", "'a'"),
    "too large": (b"#" * (5 << 20), "too large"),
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_is_no_drill_is_named(capsys: pytest.CaptureFixture[str], name: str) -> None:
    content, said = UNREADABLE[name]
    Path("idea.toml").write_bytes(content)
    err = refused(capsys, "idea.toml")
    assert "idea.toml" in err
    assert any(each in err for each in said.split("|"))


def test_a_missing_file_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert "gone.toml: cannot be read" in refused(capsys, "gone.toml")


def test_a_folder_is_no_drill(capsys: pytest.CaptureFixture[str]) -> None:
    Path("idea.toml").mkdir()
    assert "idea.toml: cannot be read" in refused(capsys, "idea.toml")


def test_a_file_that_may_not_be_read_is_named(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # The super-user may read anything, so the system's refusal is put in here.
    def no(*_: object, **__: object) -> bytes:
        raise PermissionError(13, "Permission denied", "idea.toml")

    Path("idea.toml").write_text("sticking = 'RL'", encoding="utf-8")
    monkeypatch.setattr(Path, "read_bytes", no)
    monkeypatch.setattr(Path, "open", no)
    assert "idea.toml: cannot be read: permission denied" in refused(capsys, "idea.toml")


def test_a_link_to_itself_is_no_drill(capsys: pytest.CaptureFixture[str]) -> None:
    Path("idea.toml").symlink_to("idea.toml")
    assert "idea.toml: cannot be read" in refused(capsys, "idea.toml")


@pytest.mark.parametrize("mark", [b"\xef\xbb\xbf", b""], ids=["byte order mark", "none"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"], ids=["unix", "windows"])
def test_files_of_every_editor_are_read(mark: bytes, end: bytes) -> None:
    Path("idea.toml").write_bytes(mark + b"sticking = 'RL'" + end + b"tempos = 60" + end)
    assert midiforge.read_drill("idea.toml").tempos == (60,)


# One phrase that comes back only after thousands of bars, two strokes of one hand at once, and
# others that show only when the music is made.
MUSIC = {
    "a hand twice": ("sticking = 'lR+L'", "left hand"),
    "a foot twice": ("sticking = 'RLK'\nfeet = 'tumbao'", "right foot has two strokes at once"),
    "two patterns": ("feet = ['1 3 on RF', '3 on RF']", "bar 1, count 3"),
    "a layer": ("sticking = 'RL'\nlayers = 'son-clave-3-2 on RH'", "son-clave-3-2"),
    "long cycle": (f"sticking = '{'R' * 1020}L'\nfeet = 'x{'.' * 1012}'", "1,000"),
    "long gap": ("sticking = 'RL'\ngap = '1 on 9999 off'", "10,000 bars"),
    "long ramp": ("sticking = 'RL'\nramp = '60 to 100 by 0.1 every 1000 bars'", "1,000"),
    "a beat too many": ("sticking = 'RL'\nplacements = '9&'", "1 to 4"),
    "a step too many": ("sticking = 'RL'\nplacements = '2.9'", "2.1 to 2.4"),
}


@pytest.mark.parametrize("name", MUSIC)
def test_music_that_cannot_be_played_is_refused(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    content, said = MUSIC[name]
    Path("idea.toml").write_text(content, encoding="utf-8")
    assert said in refused(capsys, "idea.toml")


@pytest.mark.parametrize("name", MUSIC)
def test_music_that_cannot_be_played_is_refused_with_its_file(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    Path("idea.toml").write_text(MUSIC[name][0], encoding="utf-8")
    assert "idea.toml" in refused(capsys, "idea.toml")


def test_a_placement_outside_the_bar_names_its_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert "placements" in refused(capsys, *HANDS, "--placements", "9&")


def test_the_line_stays_short_whatever_was_typed(capsys: pytest.CaptureFixture[str]) -> None:
    err = refused(capsys, "--sticking", "R" * 1020 + "L", "--feet", "x" + "." * 1012)
    assert len(err) < 400


@pytest.mark.parametrize("key", ["tempos", "placements", "accents"])
@pytest.mark.parametrize("value", ["[]", "''", "' , '"])
def test_an_empty_list_names_its_key(
    capsys: pytest.CaptureFixture[str], key: str, value: str
) -> None:
    Path("idea.toml").write_text(f"sticking = 'RL'\n{key} = {value}", encoding="utf-8")
    assert key in refused(capsys, "idea.toml")


@pytest.mark.parametrize("value", ["", " ", ",", "\n"])
def test_an_empty_phrase_alone_is_refused(capsys: pytest.CaptureFixture[str], value: str) -> None:
    assert "sticking" in refused(capsys, "--sticking", value)


@pytest.mark.parametrize("value", ["''", "'  '", "[]"])
def test_an_empty_phrase_beside_feet_is_refused(
    capsys: pytest.CaptureFixture[str], value: str
) -> None:
    Path("idea.toml").write_text(f"sticking = {value}\nfeet = 'samba'", encoding="utf-8")
    assert "sticking" in refused(capsys, "idea.toml")


def test_a_typed_layer_without_a_voice_says_how_to_give_it_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    err = refused(capsys, *HANDS, "--layers", "x... x...")
    assert "layers" in err
    assert "as cowbell" in err


DIGITS = "9" * 5000
TOO_LONG = [
    ("--meter", f"{DIGITS}/4"),
    ("--meter", f"4/{DIGITS}"),
    ("--placements", f"{DIGITS}e"),
    ("--placements", f"1.{DIGITS}"),
    ("--accents", DIGITS),
    ("--feet", DIGITS),
    ("--set", f"repeats={DIGITS}"),
    ("--kit", "k" * 5000),
]


@pytest.mark.parametrize(("flag", "value"), TOO_LONG, ids=lambda value: str(value)[:20])
def test_a_number_of_thousands_of_digits_is_refused(
    capsys: pytest.CaptureFixture[str], flag: str, value: str
) -> None:
    refused(capsys, *HANDS, flag, value)


def test_a_number_of_thousands_of_digits_in_a_file_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("idea.toml").write_text(f"sticking = 'RL'\nrepeats = {DIGITS}", encoding="utf-8")
    assert "idea.toml" in refused(capsys, "idea.toml")


# A value of every type that TOML has, and texts that look like other things.
VALUES: tuple[Any, ...] = (
    *(True, False, 0, -1, 1, 3, 10**30, 1.5, -0.0, 1e308),
    *(float("nan"), float("inf"), float("-inf")),
    *(datetime.date(2020, 1, 1), datetime.datetime(2020, 1, 1), datetime.time(1, 2)),
    *("", " ", ",", "\n", "x", "é", "\u0663", "\u00b2", "1e9", "nan", "-5", "1_0", "1/2", "0"),
    *("\0", "\x1b[31m", "]", "0,0", "R", "RH=snare", "4/4", "beat", "1 3", "x..."),
    *([], [[]], [{}], [1, 2], ["x"], [True], [datetime.date(2020, 1, 1)], [float("nan")]),
    *(["a", "a"], [""], [" "], {}, {"a": 1}, {"": "snare"}, {"RH": []}, {"RH": 1}),
    *({"RH": [[]]}, {"RH": True}, {"x": {}}, {"x": {"limbs": []}}, {"X": {}}, {"": {}}),
)


def made(content: dict[str, Any]) -> None:
    """Makes the first exercises of a drill, or is told by MidiforgeError what is wrong with it."""
    try:
        drill = midiforge.check_drill(content)
        for exercise in islice(midiforge.exercises(drill), 4):
            midiforge.exercise_bytes(exercise, drill.kit, drill.file_format)
    except MidiforgeError as error:
        assert str(error)
        assert "\n" not in str(error)


@pytest.mark.parametrize("name", [key.name for key in KEYS])
def test_no_type_of_value_breaks_a_key(name: str) -> None:
    table, _, inner = name.rpartition(".")
    for value in VALUES:
        content: dict[str, Any] = {"sticking": "RLRR LRLL"}
        if table:
            content[table] = {"strokes": 4, inner: value} if table == "every" else {inner: value}
        else:
            content[name] = value
        made(content)


@pytest.mark.parametrize("name", [key.name for key in STAGE_KEYS])
def test_no_type_of_value_breaks_a_key_of_a_stage(name: str) -> None:
    for value in VALUES:
        made({"sticking": "RLRR LRLL", "stage": {"duo": {name: value}}})


WRONG_TYPES: dict[str, tuple[Any, ...]] = {
    "text": (True, 1, 1.5, [], {}, datetime.date(2020, 1, 1)),
    "texts": (True, [True], [[]], {}, datetime.date(2020, 1, 1)),
    "whole": (True, 1.5, [], {}, datetime.date(2020, 1, 1)),
    "number": (True, [], {}, datetime.date(2020, 1, 1)),
    "yes-no": ("yes", 1, 0, 1.5, [], {}, datetime.date(2020, 1, 1)),
    "table": (True, 1, 1.5, "x", [], datetime.date(2020, 1, 1)),
}


@pytest.mark.parametrize("name", [key.name for key in KEYS])
def test_a_value_of_the_wrong_type_is_refused_and_its_key_named(name: str) -> None:
    key = next(key for key in KEYS if key.name == name)
    table, _, inner = name.rpartition(".")
    for value in WRONG_TYPES[key.kind]:
        if name == "voicing" and value == {}:
            continue  # the one list that may be written as a table
        content: dict[str, Any] = {"sticking": "RLRR LRLL"}
        if table:
            content[table] = {"strokes": 4, inner: value} if table == "every" else {inner: value}
        else:
            content[name] = value
        with pytest.raises(MidiforgeError) as caught:
            midiforge.check_drill(content)
        assert f"{name}: " in str(caught.value)


@pytest.mark.parametrize(("key", "said"), [("pulse", "'quarter'"), ("partner", "'samba'")])
def test_a_wrong_word_is_laid_to_its_own_key(key: str, said: str) -> None:
    wrong = {"pulse": "quater", "partner": "smba"}[key]
    with pytest.raises(MidiforgeError, match=said) as caught:
        midiforge.check_drill({"sticking": "RL", "feet": "tumbao", key: wrong})
    assert caught.value.where == (key,)


def test_a_rule_that_is_no_text_is_refused() -> None:
    with pytest.raises(MidiforgeError):
        midiforge.check_drill({"sticking": "RL", "voicing": {1: "snare"}})


def test_two_rules_for_one_limb_are_refused() -> None:
    with pytest.raises(MidiforgeError):
        midiforge.check_drill({"sticking": "RL", "voicing": "RH=snare, RH=ride"})


@pytest.mark.parametrize("stage", [{"": {}}, {"duo": {"limbs": []}}, {"duo": {"limbs": ""}}])
def test_a_stage_without_a_name_or_a_limb_is_refused(stage: dict[str, Any]) -> None:
    with pytest.raises(MidiforgeError):
        midiforge.check_drill({"sticking": "RL", "stage": stage})


def test_a_whole_number_is_called_a_whole_number() -> None:
    with pytest.raises(MidiforgeError, match="whole number"):
        midiforge.check_drill({"sticking": "RL", "repeats": 1.5})


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("samb", ["samba", "bossa-nova"], "did you mean 'samba'?"),
        ("SAMBA", ["samba", "bossa-nova"], "did you mean 'samba'?"),
        ("zzz", ["b", "a"], "known: a, b"),
        ("zzz", [], "known: "),
    ],
)
def test_the_nearest_word_is_offered_or_else_the_known_ones(
    word: str, known: list[str], hint: str
) -> None:
    assert nearest(word, known) == hint


def test_the_nearest_word_lists_no_more_than_a_few() -> None:
    hint = nearest("zzz", [f"{i:03}" for i in range(100)])
    assert hint.endswith("and 92 more")


def test_an_error_seen_from_further_out_keeps_its_hint() -> None:
    error = MidiforgeError("is wrong", "key", hint="right").within("file", "").within("")
    assert str(error) == "file: key: is wrong (right)"
    assert error.where == ("file", "key")


def test_a_drill_stays_as_it_was_checked() -> None:
    """Neither through what it holds nor through what it was made of can it be changed."""
    stage: dict[str, Any] = {"limbs": ["RH"], "voicing": {"RH": "ride"}}
    given: dict[str, Any] = {"sticking": ["RL"], "stages": ["one"], "stage": {"one": stage}}
    drill = midiforge.check_drill(given)
    ours = drill.given["stage"]["one"]
    for table in (drill.given, drill.voicing, drill.stages[0].voicing, ours):
        with pytest.raises(TypeError):
            table["RH"] = ("snare",)
    given["sticking"] = stage["limbs"] = []
    assert list(drill.given["sticking"]) == ["RL"]
    assert list(ours["limbs"]) == ["RH"]


@pytest.mark.parametrize("name", ["a\0b", "x" * 300, "\ud800"], ids=["nul", "long", "half"])
def test_a_name_that_no_system_takes_is_one_error_wherever_it_is_given(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MIDIFORGE_LOG", "log.sqlite")
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", "tempos": "80"})
    exercise = next(iter(midiforge.exercises(drill)))
    Path("take.mid").write_bytes(midiforge.exercise_bytes(exercise, drill.kit))
    found, plan = midiforge.review("take.mid", drill), midiforge.plan(drill)
    jobs: list[Callable[[], object]] = [
        lambda: midiforge.build_lesson(drill, name),
        lambda: midiforge.write_loops(drill, name),
        lambda: midiforge.write_sheet(drill, f"{name}.svg"),
        lambda: midiforge.read_drill(name),
        lambda: midiforge.read_kit(name),
        lambda: midiforge.read_take(name),
        lambda: midiforge.import_groove(name),
        lambda: midiforge.write_review(found, name),
        lambda: midiforge.log_review(found, drill, name),
        lambda: midiforge.log_review(found, drill, "take.mid", log=name),
        lambda: midiforge.advise(drill, name),
        lambda: midiforge.write_plan(plan, name),
    ]
    for job in jobs:
        with pytest.raises(MidiforgeError):
            job()
    assert [path.name for path in tmp_path.iterdir()] == ["take.mid"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("loop", "--minutes", "nan"),
        ("loop", "--minutes", "inf"),
        ("loop", "--minutes", "-1"),
        ("play", "--rest", "nan"),
        ("play", "--rest", "601"),
    ],
)
def test_numbers_that_are_none_are_refused_by_their_flag(
    arguments: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = ("--out", str(tmp_path / "out")) if arguments[0] == "loop" else ("--port", "nobody")
    assert run([*arguments, "--sticking", "RLRR", *more]) == 2
    assert arguments[1] in capsys.readouterr().err


@pytest.mark.parametrize(("file_format", "times"), [(2, 1), (-1, 1), (1, 0), (1, -3), (1, 10**9)])
def test_a_file_is_of_a_format_that_there_is_and_goes_round_as_often_as_can_be(
    file_format: int, times: int
) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR"})
    with pytest.raises(midiforge.MidiforgeError):
        midiforge.exercise_bytes(
            next(iter(midiforge.exercises(drill))), drill.kit, file_format, times
        )


def test_nobody_plays_less_than_no_times() -> None:
    with pytest.raises(midiforge.MidiforgeError, match="times"):
        midiforge.play(midiforge.check_drill({"sticking": "RLRR"}), times=-1)
