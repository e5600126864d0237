"""The command as a person and a script meet it: what it prints where, and its exit codes.

No published source: the rules are the project's own. Exit codes: 0 done, 2 something to put
right, 130 interrupted (128 and the number of the signal, common practice of shells).
"""

import json
import os
import pty
import re
import resource
import select
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import midiforge
from midiforge.command.app import COMMANDS
from midiforge.command.app import command as command_line
from midiforge.command.run import run
from midiforge.drill.keys import KEYS
from midiforge.live.playing.controls import KEYS as COMMAND_OF

COMMAND = (sys.executable, "-m", "midiforge")
HANDS = ("--sticking", "RLRR LRLL")
ESCAPE = "\x1b"

Captured = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def said(capsys: Captured, *arguments: str) -> str:
    """What a command that succeeds prints."""
    code = run(list(arguments))
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return out


def refused(capsys: Captured, *arguments: str) -> str:
    """The one line of a command that is refused."""
    code = run(list(arguments))
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.startswith("midiforge: ")
    assert err.count("\n") == 1
    return err


def files(folder: str) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


# Asking for what there is


@pytest.mark.parametrize("flag", ["--help", "-h"])
def test_help_names_every_command(capsys: Captured, flag: str) -> None:
    out = said(capsys, flag)
    for name in ("build", "show", "list", "schema"):
        assert name in out


@pytest.mark.parametrize("command", ["build", "show"])
def test_help_names_every_key_s_flag(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    out = said(capsys, command, "--help")
    for key in KEYS:
        if key.kind != "table":
            assert key.flag in out


def test_help_of_a_command_is_read_at_a_glance(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lengths = {name: said(capsys, name, "--help").count("\n") for name in COMMANDS}
    assert max(lengths.values()) <= 66  # lines on a sheet of paper
    # Fewer than 32 a command: a third of what it was when keys had a sentence each.
    assert sum(lengths.values()) < 32 * len(lengths)


def test_the_list_of_commands_says_of_each_a_whole_sentence(capsys: Captured) -> None:
    _, _, listed = said(capsys, "--help").partition("Commands:\n")
    lines = [line.split(maxsplit=1) for line in listed.split("\n\n")[0].splitlines()]
    assert [name for name, _ in lines] == [*COMMANDS]
    assert all(sentence.endswith(".") and "..." not in sentence for _, sentence in lines)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_flag_says_what_it_is_for(name: str) -> None:
    made = getattr(command_line(), "commands")[name]  # noqa: B009  # of the library's own type
    for command in (made, *getattr(made, "commands", {}).values()):
        flags = [each for each in command.params if each.param_type_name == "option"]
        assert not [flag.opts for flag in flags if not flag.help]


def test_version_is_the_package_s(capsys: Captured) -> None:
    assert said(capsys, "--version") == f"midiforge {midiforge.__version__}\n"


def test_help_of_play_tells_every_key(capsys: Captured) -> None:
    _, _, told = said(capsys, "play", "--help").partition("Keys while it plays:")
    keys = {each for line in told.splitlines() for each in re.split("  +|, | ", line[:11]) if each}
    of_sessions = {"x"}  # "it hurts", which `practise` has
    assert {"space", *keys} >= set(COMMAND_OF) - {" ", ",", "="} - of_sessions and ", ." in told


@pytest.mark.parametrize("command", ["play", "loop"])
def test_help_has_no_default_twice_and_no_algebra(capsys: Captured, command: str) -> None:
    out = " ".join(said(capsys, command, "--help").split())
    assert not re.search(r"\] \[default|[0-9=<>]x|x[<>]", out)


def test_nothing_said_is_answered_with_help(capsys: Captured) -> None:
    assert run([]) == 2
    assert "build" in "".join(capsys.readouterr())


@pytest.mark.parametrize(
    ("what", "count", "some"),
    [
        ("rudiments", 40, {"single-paradiddle", "flam-tap", "triple-ratamacue"}),
        ("ostinatos", None, {"tumbao", "samba", "bossa-nova", "son-clave-3-2"}),
        ("voices", None, {"snare", "bass-drum", "hihat-closed"}),
        ("kits", None, {"general-midi-1", "general-midi-2", "electronic"}),
    ],
)
def test_lists_are_the_same_as_text_and_as_json(
    capsys: Captured, what: str, count: int | None, some: set[str]
) -> None:
    head, *lines = said(capsys, "list", what).splitlines()
    columns = head.split("\t")
    rows = json.loads(said(capsys, "list", what, "--json"))
    assert all(set(columns) <= set(row) for row in rows)
    assert len(lines) >= len(rows)
    assert count is None or len(rows) == count
    assert some <= {row["name"] for row in rows}


def test_a_list_has_a_line_a_row_and_a_tab_between_columns(capsys: Captured) -> None:
    for what in ("rudiments", "ostinatos", "voices", "kits"):
        head, *lines = said(capsys, "list", what).splitlines()
        rows = json.loads(said(capsys, "list", what, "--json"))
        tabs = head.count("\t")
        assert [line.count("\t") for line in lines] == [tabs] * len(rows), what


@pytest.mark.parametrize(
    ("arguments", "fragment"),
    [
        (("biuld",), "'build'"),
        (("list",), "rudiments"),
        (("list", "kit"), "'kits'"),
        (("list", "kits", "more"), "more"),
        (("list", "kits", "--jsn"), "--json"),
        (("build", *HANDS), "--out"),
        (("build", *HANDS, "--stickng", "R", "--out", "o"), "--sticking"),
        (("--versoin",), "--version"),
    ],
)
def test_a_slip_of_the_command_line_is_named_with_what_is_near(
    capsys: Captured, arguments: tuple[str, ...], fragment: str
) -> None:
    assert fragment in refused(capsys, *arguments)


def test_the_schema_takes_what_the_reader_takes(capsys: Captured) -> None:
    schema = json.loads(said(capsys, "schema"))
    jsonschema.Draft202012Validator.check_schema(schema)
    good: list[dict[str, Any]] = [
        {"sticking": "RLRR LRLL"},
        {"sticking": ["RL", "flam"], "tempos": [60, 72.5], "voicing": {"RH": ["ride", "snare"]}},
        {"every": {"strokes": 4, "up_to": "rotation"}, "stage": {"duo": {"limbs": ["RH", "RF"]}}},
    ]
    for drill in good:
        midiforge.check_drill(drill)
        jsonschema.validate(drill, schema)
    bad: list[dict[str, Any]] = [
        {"stickin": "RL"},
        {"sticking": True},
        {"sticking": "RL", "lead": "bth"},
        {"sticking": "RL", "every": 3},
        {"sticking": "RL", "stage": {"duo": {"limb": "RH"}}},
    ]
    for drill in bad:
        with pytest.raises(midiforge.MidiforgeError):
            midiforge.check_drill(drill)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(drill, schema)


# Building


def test_a_build_says_what_it_made(capsys: Captured) -> None:
    out = said(capsys, "build", *HANDS, "--title", "Two hands", "--out", "out")
    assert out.startswith("Two hands: 2 exercises in out\n")
    assert "lesson.mid" in out


def test_a_picture_is_an_svg_and_is_said_to_be_written(capsys: Captured) -> None:
    arguments = ["show", "--sticking", "RLRR LRLL", "--title", "Two hands", "--picture"]
    assert said(capsys, *arguments, "mine.svg") == "Two hands: 2 exercises in mine.svg\n"
    assert run([*arguments, "mine.png"]) == 2
    assert "--picture: 'mine.png' is no picture" in capsys.readouterr().err
    assert not Path("mine.png").exists()


def test_titles_are_a_line_each_with_what_shows_how_hard_it_is(capsys: Captured) -> None:
    drill = ("--sticking", "RLRR LRLL", "--feet", "samba", "--tempos", "70,90")
    head, *lines = said(capsys, "show", *drill, "--titles").splitlines()
    assert head.split("  ")[0] == "number"
    assert [line.split()[:2] for line in lines] == [
        ["1", "feet"],
        ["2", "hands"],
        ["3", "full"],
    ]
    at = head.index("tempos")
    assert all(line[at:].startswith("a 70, b 90") for line in lines)  # 1a, 1b
    facts = json.loads(said(capsys, "show", *drill, "--titles", "--json"))
    assert facts == json.loads(said(capsys, "show", *drill, "--json"))
    for line, fastest in zip(lines, facts[1::2], strict=True):
        assert fastest["title"] in line
        *_, bars, hard = line.split()
        assert (int(bars), float(hard)) == (
            fastest["bars"],
            pytest.approx(fastest["difficulty"]["score"], abs=0.051),
        )
    only = said(capsys, "show", *drill, "--titles", "--only", "3").splitlines()
    assert len(only) == 2 and only[1].startswith("3 ")


def test_titles_fit_a_terminal() -> None:
    from midiforge.screen.titles import title_lines

    drill = midiforge.check_drill({"sticking": "RLRR LRLL " * 8, "feet": "samba", "tempos": 70})
    shown = list(title_lines(midiforge.Lesson(drill).by_piece(), 80))
    assert max(map(len, shown)) <= 80 and len(shown) > 4
    keys = {"sticking": "RLRR LRLL " * 4, "feet": "samba", "tempos": "60 to 90 by 3"}
    shown = list(title_lines(midiforge.Lesson(midiforge.check_drill(keys)).by_piece(), 80))
    assert max(map(len, shown)) <= 80
    told = " ".join(shown)
    assert all(f"{letter} {60 + 3 * i}" in told for i, letter in enumerate("abcdefghijk"))


def test_a_picture_that_was_edited_is_left_as_it_is(capsys: Captured) -> None:
    arguments = ["show", "--sticking", "RLRR LRLL", "--only", "1", "--picture", "mine.svg"]
    assert run(arguments) == run(arguments) == 0
    drawn = Path("mine.svg")
    edited = drawn.read_bytes().replace(b"</svg>", b"<text>mine</text></svg>")
    drawn.write_bytes(edited)
    assert run(arguments) == 2
    assert drawn.read_bytes() == edited
    assert "changed since" in capsys.readouterr().err


def test_quiet_says_nothing(capsys: Captured) -> None:
    fast = ("--tempos", "400", "--placements", "phrase", "--sticking", "RLRL")
    assert said(capsys, "build", *fast, "--quiet", "--out", "out") == ""
    assert said(capsys, "build", *fast, "-q", "--out", "out") == ""


def test_json_is_all_that_is_printed(capsys: Captured) -> None:
    out = said(
        capsys,
        *("build", "--sticking", "RLRL", "--placements", "phrase", "--tempos", "400"),
        *("--title", 'a "b"', "--out", "out", "--json"),
    )
    facts = json.loads(out)
    assert facts["title"] == 'a "b"'
    assert facts["files"] == len(list(Path("out").glob("*.mid"))) - 1
    assert facts["folder"] == "out"
    assert facts["seconds"] > 0
    assert facts["dropped"]  # from the third step on RLRL is as from the first
    assert facts["warnings"]  # 26 strokes a second
    assert facts["kept"] == []


def test_json_and_quiet_together_is_json(capsys: Captured) -> None:
    json.loads(said(capsys, "build", *HANDS, "--out", "out", "--json", "--quiet"))


def test_what_is_left_out_and_why_is_told(capsys: Captured) -> None:
    out = said(capsys, "build", "--sticking", "RLRL", "--placements", "phrase", "--out", "out")
    assert "Left out:" in out
    assert "the same as" in out


def test_a_rate_beyond_the_sensible_is_told(capsys: Captured) -> None:
    out = said(capsys, "build", "--sticking", "RRRR", "--tempos", "200", "--out", "out")
    assert "Mind:" in out
    assert re.search(r"strokes a second.*: exercises? [0-9]", " ".join(out.split()))


def test_a_changed_file_that_was_left_is_told(capsys: Captured) -> None:
    said(capsys, "build", *HANDS, "--out", "out")
    old = next(Path("out").glob("01[a_]*.mid"))
    old.write_bytes(b"mine")
    out = said(capsys, "build", "--sticking", "RL", "--out", "out")
    assert old.name in out
    assert old.read_bytes() == b"mine"


def test_a_refused_build_says_nothing_but_the_line(capsys: Captured) -> None:
    for flags in ((), ("--json",), ("--quiet",)):
        assert "tempos" in refused(capsys, "build", *HANDS, "--tempos", "0", "--out", "out", *flags)
    assert not Path("out").exists()


FLAGS = (
    *("--sticking", "RLRR LRLL,lR RL", "--feet", "samba", "--meter", "4/4", "--swing", "2:1"),
    *("--placements", "0,1e,2&", "--accents", "own,beats", "--lead", "both"),
    *("--tempos", "72,92.5", "--voicing", "RH=ride,RH accent=ride-bell", "--count-in", "2"),
    *("--drop-swapped", "--humanise-timing", "3", "--humanise-seed", "7", "--format", "0"),
    *("--title", "Both ways"),
)
FILE = """
title = "Both ways"
sticking = ["RLRR LRLL", "lR RL"]
feet = "samba"
meter = "4/4"
swing = "2:1"
placements = [0, "1e", "2&"]
accents = ["own", "beats"]
lead = "both"
tempos = [72, 92.5]
count_in = 2
drop_swapped = true
format = 0
[voicing]
RH = "ride"
"RH accent" = "ride-bell"
[humanise]
timing = 3
seed = 7
"""


def test_flags_a_file_and_python_say_the_same(capsys: Captured) -> None:
    Path("both.toml").write_text(FILE, encoding="utf-8")
    said(capsys, "build", *FLAGS, "--out", "flags")
    said(capsys, "build", "both.toml", "--out", "file")
    midiforge.build_lesson(midiforge.read_drill("both.toml"), "python")
    assert len(files("flags")) > 30
    assert files("flags") == files("file") == files("python")


@pytest.mark.parametrize("text", ["60, 72, 84", "60 72 84", "60  72, 84", "60 to 84 by 12"])
def test_tempos_are_a_list_with_commas_or_spaces_or_a_ladder(text: str) -> None:
    drill = midiforge.check_drill({"sticking": "RL", "tempos": text})
    assert [*drill.tempos] == [60, 72, 84]


def test_the_module_and_the_command_are_one(capsys: Captured) -> None:
    said(capsys, "build", *HANDS, "--out", "here")
    done = subprocess.run(
        (*COMMAND, "build", *HANDS, "--out", "there"), capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert files("here") == files("there")


def test_a_flag_takes_the_place_of_the_file_s_key(capsys: Captured) -> None:
    Path("d.toml").write_text("sticking = 'RLRR LRLL'\ntempos = [60, 70]", encoding="utf-8")
    said(capsys, "build", "d.toml", "--tempos", "90", "--out", "out")
    assert all("90bpm" in path.name for path in Path("out").glob("0*.mid"))


def test_a_flag_for_one_key_of_a_table_leaves_the_others(capsys: Captured) -> None:
    Path("d.toml").write_text(
        "sticking = 'RL'\n[humanise]\ntiming = 4\nseed = 2\n[stage.duo]\nlimbs = 'RH'",
        encoding="utf-8",
    )
    said(capsys, "build", "d.toml", "--humanise-seed", "9", "--out", "a")
    Path("d.toml").write_text(
        "sticking = 'RL'\n[humanise]\ntiming = 4\nseed = 9\n[stage.duo]\nlimbs = 'RH'",
        encoding="utf-8",
    )
    said(capsys, "build", "d.toml", "--out", "b")
    assert files("a") == files("b")


def test_a_flag_given_twice_adds_to_itself(capsys: Captured) -> None:
    said(capsys, "build", *HANDS, "--tempos", "60", "--tempos", "70,80", "--out", "a")
    said(capsys, "build", *HANDS, "--tempos", "60,70,80", "--out", "b")
    assert files("a") == files("b")


@pytest.mark.parametrize(
    ("setting", "flags"),
    [
        ("tempos=[60, 70]", ("--tempos", "60,70")),
        ("tempos=60", ("--tempos", "60")),
        ("tempos=60 to 80 by 10", ("--tempos", "60 to 80 by 10")),
        ("title=plain words", ("--title", "plain words")),
        ("title=it's", ("--title", "it's")),
        ("title=", ("--title", "")),
        ("humanise.timing=5", ("--humanise-timing", "5")),
        ("every.strokes=3", ("--every-strokes", "3")),
        ("drop_swapped=true", ("--drop-swapped",)),
    ],
)
def test_set_says_what_a_flag_says(capsys: Captured, setting: str, flags: tuple[str, ...]) -> None:
    said(capsys, "build", *HANDS, "--set", setting, "--out", "set")
    said(capsys, "build", *HANDS, *flags, "--out", "flag")
    assert files("set") == files("flag")


def test_set_reaches_the_keys_that_have_no_flag(capsys: Captured) -> None:
    out = said(
        capsys,
        *("build", *HANDS, "--set", 'stage.duo.limbs=["RH"]', "--set", "stage.duo.title=alone"),
        *("--stages", "duo", "--out", "out"),
    )
    assert "1 exercise in" in out
    assert "alone" in next(Path("out").glob("01[a_]*.mid")).name


def test_set_takes_any_bare_text(capsys: Captured) -> None:
    said(capsys, "build", *HANDS, "--set", 'title=it\'s "x"', "--out", "out")


def test_set_leaves_a_bare_text_as_it_is(capsys: Captured) -> None:
    out = said(capsys, "build", *HANDS, "--set", "title=a\\b", "--out", "out")
    assert out.startswith("a\\b:")


@pytest.mark.parametrize("setting", ["tempos=60\nmeter='3/4'", "# remark=1", "tempos=60 # remark"])
def test_set_sets_one_key_and_no_other(capsys: Captured, setting: str) -> None:
    refused(capsys, "build", *HANDS, "--set", setting, "--out", "out")


def test_an_empty_folder_name_is_refused(capsys: Captured) -> None:
    refused(capsys, "build", *HANDS, "--out", "")


def test_a_title_does_not_steer_the_terminal(capsys: Captured) -> None:
    out = said(capsys, "build", *HANDS, "--title", f"a{ESCAPE}[31mb\nc", "--out", "out")
    assert ESCAPE not in out
    assert out.splitlines()[0].endswith("2 exercises in out")


def test_an_error_does_not_steer_the_terminal(capsys: Captured) -> None:
    assert ESCAPE not in refused(capsys, "build", f"a{ESCAPE}[31m.toml", "--out", "out")


def test_what_show_prints_does_not_steer_the_terminal(capsys: Captured) -> None:
    Path("kit.toml").write_text(
        'starts_from = "general-midi-1"\nname = "mine \\u001b[31m"\n[notes]\n"snare" = 40\n'
    )
    out = said(
        capsys,
        *("show", *HANDS, "--kit", "kit.toml", "--layers", "x. as hihat-splash"),
        *("--set", "stage.duo.limbs=['RH']", "--set", 'stage.duo.title="a\\u001b[31mb"'),
        *("--stages", "duo", "--title", f"t{ESCAPE}[31m"),
    )
    assert "a?[31mb" in out
    assert ESCAPE not in out


def test_a_picture_has_no_letter_that_xml_forbids() -> None:
    import xml.etree.ElementTree as xml

    title = 'stage.duo.title="a\\u001b[31mb"'
    settings = ("--set", "stage.duo.limbs=['RH']", "--set", title, "--stages", "duo")
    assert run(["show", *HANDS, *settings, "--picture", "one.svg"]) == 0
    assert "a?[31mb" in "".join(xml.parse("one.svg").getroot().itertext())


# Files whose names no system takes

LONG = "x" * 300


@pytest.mark.parametrize(
    "arguments",
    [
        ("show", *HANDS, "--kit", LONG),
        ("show", *HANDS, "--picture", f"{LONG}.svg"),
        ("build", *HANDS, "--out", LONG),
        ("build", f"{LONG}.toml", "--out", "out"),
        ("sheet", *HANDS, "--out", f"{LONG}.svg"),
        ("loop", *HANDS, "--out", LONG),
        ("plan", *HANDS, "--out", f"{LONG}.toml"),
        ("log", "--csv", LONG),
        ("log", "--log", LONG),
        ("review", LONG, *HANDS),
        ("import", LONG),
        ("import", LONG, "--kit", LONG),
        ("import", LONG, "--out", f"{LONG}.toml"),
    ],
    ids=lambda given: " ".join(each[:9] for each in given),
)
def test_a_name_that_is_too_long_is_said_and_nothing_else_is_blamed(
    capsys: Captured, arguments: tuple[str, ...]
) -> None:
    line = refused(capsys, *arguments)
    assert "xxxx" in line
    assert "standard output" not in line


def test_a_name_with_a_nul_is_no_kit(capsys: Captured) -> None:
    assert "no kit" in refused(capsys, "show", *HANDS, "--kit", "a\0b")


# Exit codes and streams of the real thing


def real(*arguments: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        (*COMMAND, *arguments), capture_output=True, text=True, timeout=60, **more
    )


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("--version",), 0),
        (("list", "kits"), 0),
        (("build", *HANDS, "--out", "out", "--quiet"), 0),
        (("build", *HANDS, "--tempos", "0", "--out", "out"), 2),
        (("build", "gone.toml", "--out", "out"), 2),
        (("nonsense",), 2),
    ],
    ids=lambda value: str(value)[:30],
)
def test_exit_codes(arguments: tuple[str, ...], code: int) -> None:
    done = real(*arguments)
    assert done.returncode == code
    assert ESCAPE not in done.stdout + done.stderr
    assert done.stderr.count("\n") == (1 if code else 0)
    assert bool(done.stdout) == (code == 0 and "--quiet" not in arguments)


def test_an_interrupt_is_said_in_one_line(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("midiforge.session.Session.build", interrupted)
    assert run(["build", *HANDS, "--out", "out"]) == 130
    assert capsys.readouterr() == ("", "midiforge: interrupted\n")


def test_an_interrupt_is_exit_code_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("midiforge.session.Session.build", interrupted)
    assert run(["build", *HANDS, "--out", "out"]) == 130


def test_a_fault_of_our_own_is_one_line_that_says_so(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("midiforge.session.Session.build", broken)
    assert run(["build", *HANDS, "--out", "out"]) == 70
    err = capsys.readouterr().err
    assert "fault of midiforge" in err
    assert err.count("\n") == 1
    monkeypatch.setenv("MIDIFORGE_TRACE", "1")
    with pytest.raises(ZeroDivisionError):
        run(["build", *HANDS, "--out", "out"])


def shell(line: str) -> subprocess.CompletedProcess[str]:
    command = " ".join(f"'{part}'" for part in COMMAND)
    return subprocess.run(
        ["/bin/sh", "-c", f"{command} {line}"], capture_output=True, text=True, timeout=60
    )


@pytest.mark.parametrize("line", ["list kits >&-", "build --sticking RL --out out >&-"])
def test_a_closed_output_is_no_traceback(line: str) -> None:
    done = shell(line)
    assert "Traceback" not in done.stderr
    assert done.returncode in (0, 2)


@pytest.mark.parametrize("line", ["list kits", "--version", "build --sticking RL --out out --json"])
def test_an_output_that_takes_no_more_is_said_in_one_line(line: str) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    done = shell(f"{line} >/dev/full")
    assert done.returncode == 2
    assert done.stderr.startswith("midiforge: ")
    assert done.stderr.count("\n") == 1


def test_a_file_without_an_end_is_refused() -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("this system has no /dev/zero")
    limit = 1 << 29
    done = real(
        *("build", "/dev/zero", "--out", "out"),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)),
    )
    assert done.returncode == 2
    assert done.stderr.startswith("midiforge: /dev/zero: ")
    assert done.stderr.count("\n") == 1


def test_a_reader_that_has_had_enough_is_no_error() -> None:
    done = shell("list voices | head -n 1")
    assert done.stderr == ""
    assert done.stdout.startswith("name")


def test_a_terminal_without_the_letters_of_a_title_is_no_traceback() -> None:
    surroundings = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = real("build", *HANDS, "--title", "für Élise", "--out", "out", env=surroundings)
    assert done.returncode == 0
    assert done.stderr == ""


def on_a_terminal(*arguments: str, **surroundings: str) -> tuple[str, str]:
    """What a command prints to a terminal, and what to a standard output that is none."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100", **surroundings}
    child = subprocess.Popen(
        (*COMMAND, *arguments),
        stdin=theirs,
        stderr=theirs,
        stdout=theirs if arguments[0] == "list" else subprocess.PIPE,
        env=environment,
    )
    os.close(theirs)
    seen, out = b"", b""
    streams = [ours] + ([child.stdout.fileno()] if child.stdout else [])
    while streams:
        ready, _, _ = select.select(streams, [], [], 30)
        assert ready, "nothing more comes"
        for stream in ready:
            try:
                block = os.read(stream, 65536)
            except OSError:  # how a terminal says that the other side is gone
                block = b""
            if not block:
                streams.remove(stream)
            elif stream == ours:
                seen += block
            else:
                out += block
    os.close(ours)
    assert child.wait(timeout=30) == 0
    return seen.decode(), out.decode()


MANY = ("build", "--every-strokes", "8", "--stages", "hands", "--out", "out")


def test_long_work_shows_its_progress_on_a_terminal_and_not_in_the_output() -> None:
    seen, out = on_a_terminal(*MANY, "--json", NO_COLOR="1")
    assert json.loads(out)["files"] == 256
    assert seen == ""
    seen, out = on_a_terminal(*MANY)
    assert "256" in seen
    assert out.startswith("Every sticking of 8: 256 exercises")
    assert ESCAPE not in out


def test_a_review_of_many_takes_shows_how_far_it_is_on_a_terminal_and_not_in_the_output() -> None:
    drill = ("--sticking", "RLRR", "--tempos", "60, 80")
    assert run(["build", *drill, "--out", "takes"]) == 0
    many = len([*Path("takes").glob("*.mid")])
    seen, out = on_a_terminal("review", "takes", *drill, "--no-log")
    assert f"{many}/{many}" in seen and "Takes" in seen
    assert "Takes" not in out and ESCAPE not in out


def test_quiet_is_quiet_on_a_terminal_too() -> None:
    assert on_a_terminal(*MANY, "--quiet") == ("", "")


def test_a_list_fits_a_terminal() -> None:
    seen, _ = on_a_terminal("list", "kits", NO_COLOR="1")
    lines = [line.rstrip("\r") for line in seen.split("\n")]
    assert "\t" not in seen
    assert "general-midi-1" in seen
    assert all(
        len(line.replace(f"{ESCAPE}[1m", "").replace(f"{ESCAPE}[0m", "")) <= 100 for line in lines
    )


# Shell completion


def completed(words: str, shell_name: str = "bash") -> list[str]:
    surroundings = {
        **os.environ,
        "_MIDIFORGE_COMPLETE": f"complete_{shell_name}",
        "COMP_WORDS": words,
        "COMP_CWORD": str(len(words.split(" ")) - 1),
    }
    code = "from midiforge.__main__ import main; main()"
    done = subprocess.run(
        (sys.executable, "-c", code), capture_output=True, text=True, env=surroundings, timeout=60
    )
    assert done.stderr == ""
    return done.stdout.split()


@pytest.mark.parametrize(
    ("words", "word"),
    [
        ("midiforge li", "list"),
        ("midiforge build --stick", "--sticking"),
        ("midiforge list ru", "rudiments"),
    ],
)
def test_the_shell_completes(words: str, word: str) -> None:
    assert completed(words) == [word]


@pytest.mark.parametrize(
    ("words", "word"),
    [
        ("midiforge build --order ea", "easiest"),
        ("midiforge build --kit elec", "electronic"),
        ("midiforge build --feet tumb", "tumbao"),
    ],
)
def test_the_shell_completes_values(words: str, word: str) -> None:
    assert completed(words) == [word]


@pytest.mark.parametrize("name", ["bash", "zsh", "fish"])
def test_the_completion_script_of_a_shell_is_printed(name: str) -> None:
    surroundings = {**os.environ, "_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    done = real("--show-completion", name, env=surroundings)
    assert done.returncode == 0
    assert "midiforge" in done.stdout
    assert done.stderr == ""


@pytest.mark.parametrize(
    "name", ["build", "show", "sheet", "loop", "play", "review", "next", "plan"]
)
def test_help_says_what_the_command_does_before_what_a_drill_can_say(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from midiforge.drill.keys import GROUPS

    assert run([name, "--help"]) == 0
    said = capsys.readouterr().out
    head = "The drill's keys as flags, each told by midiforge guide drill:\n"
    titles = [f"\n  {group.lower()}:" for group in GROUPS]
    places = [said.index(title) for title in ["Options:", *titles]]
    assert said.index(head) + len(head) == places[1] + 1
    assert places == sorted(places)
    own = said[places[0] : places[1]]
    assert "--help" in own and "--sticking" not in own
    for group, begin, end in zip(GROUPS, places[1:], [*places[2:], len(said)], strict=True):
        flags = [key.flag for key in GROUPS[group] if key.kind != "table"]
        assert all(flag in said[begin:end] for flag in flags)


@pytest.mark.parametrize(("name", "code"), [("SIGTERM", 143), ("SIGHUP", 129), ("SIGINT", 130)])
def test_a_signal_that_comes_where_python_drops_exceptions_ends_the_command_all_the_same(
    name: str, code: int
) -> None:
    # Python's manual, sys.unraisablehook: what a callback raises goes no further. Importing has
    # such callbacks, so a signal that comes soon may fall into one.
    program = (
        "import signal, sys, time, weakref\n"
        "from midiforge import __main__\n"
        "from midiforge.command import run\n"
        "class Thing: pass\n"
        "def fall_asleep(_):\n"
        "    thing = Thing()\n"
        f"    kept = weakref.ref(thing, lambda _: signal.raise_signal(signal.{name}))\n"
        "    del thing\n"
        "    time.sleep(20)\n"
        "run._run = fall_asleep\n"
        "__main__.main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=15, check=False
    )
    assert done.returncode == code
    assert "Traceback" not in done.stderr
