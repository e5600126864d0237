"""Nothing that somebody else wrote steers the terminal of whoever reads it.

What steers one: control characters (ECMA-48, its one-byte forms of 0x80 to 0x9f too), and the
controls of writing direction (Unicode, UAX 9), which make a line read as another one.
"""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from test_live_ports import Library

from midiforge.command.run import run
from midiforge.live.screen.terminal import CLEAR_LINE, HERE, HOME, PLAIN, write

# A terminal's title, a cleared screen, in one byte too, a deleted letter, and a line turned round.
STEERS = "x\x1b]0;x\x07\x1b[2J\x9b2J\x7f\u202ey\u2067z\x1b[35m"
CONTROL = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
PROGRESS = re.compile(r"\r|\x1b\[(\?25[hl]|2K|1A)")  # a bar that is drawn and gone
STYLE = re.compile(r"\x1b\[[0-9;]*m")
TITLE = "".join(f"\\u{ord(each):04x}" for each in f"{STEERS}\n{STEERS}")
FILE = f"{STEERS}\n{STEERS}"
MUSIC = 'feet = "four-on-the-floor"\nmeter = "2/4"\ntempos = [300, 400]\ncount_in = 0\n'
DRILL = f"""
title = "{TITLE}"
text = "{TITLE}"
sticking = "RLRR"
accents = "beats"
drop_swapped = true
placements = "beat"
stages = ["feet", "full", "own"]
kit = "{TITLE}.toml"
{MUSIC}
[stage.own]
title = "{TITLE}"
limbs = ["RH"]
"""
KIT = f"""
name = "{TITLE}"
title = "{TITLE}"
starts_from = "general-midi-1"
[notes]
snare = 44
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A drill, a kit, a lesson, takes and a log, everything in them called so."""
    with pytest.MonkeyPatch.context() as changed:
        home = tmp_path_factory.mktemp("home")
        changed.chdir(home)
        changed.setenv("MIDIFORGE_LOG", str(home / f"{FILE}.db"))
        changed.setenv("XDG_DATA_HOME", str(home / STEERS))
        changed.setitem(sys.modules, "rtmidi", Library(f"pads{FILE}"))
        Path(f"{FILE}.toml").write_text(KIT, "utf-8")
        Path("drill.toml").write_text(DRILL, "utf-8")
        Path(f"{FILE}.drill.toml").write_text(DRILL, "utf-8")
        Path("kitless.toml").write_text('sticking = "RL"\n' + MUSIC, "utf-8")
        Path("broken.toml").write_text(f"title = {STEERS}", "utf-8")
        Path("unclosed.toml").write_text(f'title = "{STEERS}', "utf-8")
        Path("unknown.toml").write_text(f'"{TITLE}" = 1', "utf-8")
        Path("badkit.toml").write_text(f'[notes]\n"{TITLE}" = 1', "utf-8")
        assert run(["build", "drill.toml", "--out", "lesson", "--quiet"]) == 0
        for path in Path("lesson").glob("*.mid"):
            path.rename(f"{path.name[:2]}{STEERS}.mid")
        Path(f"{FILE}.mid").write_bytes(Path(f"02{STEERS}.mid").read_bytes())
        assert run(["review", f"{FILE}.mid", "drill.toml", "--exercise", "2a", "--note", FILE]) == 0
        yield home


COMMANDS = [
    ("build", "drill.toml", "--out", f"{FILE}"),
    ("build", "drill.toml", "--out", f"{FILE}"),
    ("build", "drill.toml", "--out", "as-json", "--json"),
    ("show", "drill.toml"),
    ("show", f"{FILE}.drill.toml", "--titles"),
    ("show", "drill.toml", "--json"),
    ("show", "drill.toml", "--picture", f"{FILE}.svg"),
    ("sheet", "drill.toml", "--out", f"{FILE}.musicxml"),
    ("sheet", "drill.toml", "--out", f"{FILE}.html", "--only", "1"),
    ("loop", "drill.toml", "--out", f"{FILE}.loops"),
    ("loop", "drill.toml", "--out", f"{FILE}.loops", "--json"),
    ("play", "drill.toml", "--only", "1a", "--times", "1", "--plain"),
    ("play", "drill.toml", "--only", "1a", "--record", f"{FILE}.take.mid", "--times", "1"),
    ("ports",),
    ("ports", "--json"),
    ("review", f"{FILE}.mid", f"{FILE}.drill.toml"),
    ("review", f"{FILE}.mid", "drill.toml", "--json", "--html", f"{FILE}.json.html"),
    ("review", f"{FILE}.mid", "drill.toml", "--html", f"{FILE}.heard.html", "--exercise", "1"),
    ("review", f"{FILE}.mid", "kitless.toml"),
    ("log",),
    ("log", "--json"),
    ("log", "--csv", "-"),
    ("log", "--csv", f"{FILE}.csv"),
    ("log", "--picture", f"{FILE}.course.svg"),
    ("log", "--join", f"{FILE}.db"),
    ("next", "drill.toml"),
    ("next", "drill.toml", "--json"),
    ("plan", "drill.toml", "--minutes", "40", "--out", f"{FILE}.plan"),
    ("plan", "drill.toml", "--json"),
    ("import", f"{FILE}.mid"),
    ("import", f"{FILE}.mid", "--json"),
    ("import", f"{FILE}.mid", "--out", f"{FILE}.groove.toml"),
    ("list", "kits"),
    ("list", "kits", "--json"),
    ("guide",),
    ("guide", "drill"),
]  # fmt: skip
WRONG = [
    (STEERS,),
    ("build", STEERS),
    ("build", f"--{STEERS}"),
    ("build", "broken.toml", "--out", "never"),
    ("build", "unclosed.toml", "--out", "never"),
    ("build", "unknown.toml", "--out", "never"),
    ("build", "kitless.toml", "--kit", "badkit.toml", "--out", "never"),
    ("build", "kitless.toml", "--kit", FILE + STEERS, "--out", "never"),
    ("build", "kitless.toml", "--set", STEERS, "--out", "never"),
    ("build", "kitless.toml", "--set", f"a{STEERS}=1", "--out", "never"),
    ("build", "drill.toml", "--out", f"{FILE}.mid/{STEERS}"),
    ("build", "drill.toml", "--out", "lesson" + "/" + STEERS * 40),
    ("show", "--sticking", STEERS),
    ("show", "--sticking", "RL", "--feet", FILE),
    ("show", "--sticking", "RL", "--tempos", STEERS),
    ("show", "drill.toml", "--only", STEERS),
    ("show", "drill.toml", "--picture", f"{FILE}.x"),
    ("sheet", "drill.toml", "--out", f"{FILE}.x"),
    ("sheet", "drill.toml", "--out", f"{FILE}.mid"),
    ("loop", "drill.toml", "--out", "never", "--kinds", STEERS),
    ("loop", "drill.toml", "--out", "never", "--audio", "wav", "--soundfont", FILE),
    ("play", "drill.toml", "--port", f"no{STEERS}"),
    ("play", "drill.toml", "--times", STEERS),
    ("play", "drill.toml", "--levels", STEERS),
    ("review", STEERS, "drill.toml"),
    ("review", "drill.toml", "drill.toml"),
    ("review", f"{FILE}.toml", "drill.toml"),
    ("review", f"{FILE}.mid", "drill.toml", "--exercise", STEERS),
    ("log", "--drill", f"no{STEERS}"),
    ("log", "--exercise", f"no{STEERS}"),
    ("log", "--join", f"{FILE}.mid"),
    ("log", "--csv", f"{FILE}.mid"),
    ("next", "drill.toml", "--log", f"{FILE}.toml"),
    ("next", "drill.toml", "--date", STEERS),
    ("plan", "drill.toml", "--log", STEERS),
    ("import", f"{FILE}.toml"),
    ("import", f"{FILE}.mid", "--as", STEERS),
    ("kit", STEERS),
    ("kit", "learn", "--out", f"{FILE}.new", "--voices", STEERS),
    ("kit", "learn", "--out", f"{FILE}.toml", "--starts-from", FILE),
    ("kit", "learn", "--out", f"no{STEERS}/{FILE}"),
    ("kit", "learn", "--out", "new.toml", "--port", f"no{STEERS}"),
    ("list", STEERS),
    ("guide", STEERS),
]  # fmt: skip


# Whoever has colours gets them from us alone.
COLOURED = [
    ("show", "drill.toml"),
    ("show", f"{FILE}.drill.toml", "--titles"),
    ("review", f"{FILE}.mid", "drill.toml", "--exercise", "1"),
    ("review", f"{FILE}.mid", "kitless.toml"),
    ("log",),
    ("next", "drill.toml"),
    ("plan", "drill.toml"),
    ("list", "kits"),
    ("guide", "moves"),
]
PLAIN_WORDS = ("next", "plan", "list")


def called(arguments: tuple[str, ...]) -> str:
    return " ".join(arguments).replace(FILE, "FILE").replace(STEERS, "STEERS")


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    capsys.readouterr()
    code = run([*arguments])
    return code, "".join(capsys.readouterr())


@pytest.mark.parametrize("arguments", COMMANDS, ids=called)
@pytest.mark.usefixtures("folder")
def test_what_a_command_prints_steers_nothing(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = printed(capsys, *arguments)
    assert code == 0, said
    tabs = arguments in (("list", "kits"), ("guide",))  # between columns
    assert not CONTROL.search(said.replace("\t", "") if tabs else said)


@pytest.mark.parametrize("arguments", COLOURED, ids=called)
@pytest.mark.usefixtures("folder")
def test_on_a_terminal_nothing_steers_but_our_styles(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    code, said = printed(capsys, *arguments)
    assert code == 0, said
    assert STYLE.search(said) or arguments[0] in PLAIN_WORDS or "--titles" in arguments
    assert "\x1b[35m" not in said
    assert not CONTROL.search(PROGRESS.sub("", STYLE.sub("", said)))


@pytest.mark.parametrize("arguments", WRONG, ids=called)
@pytest.mark.usefixtures("folder")
def test_an_error_steers_nothing_and_is_one_line(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = printed(capsys, *arguments)
    assert code == 2
    assert not CONTROL.search(said)
    assert said.startswith("midiforge: ") and said.count("\n") == 1


def test_a_screen_is_steered_by_our_sequences_alone(capfd: pytest.CaptureFixture[str]) -> None:
    write(f"{HOME}{HERE}{STEERS}{PLAIN}{CLEAR_LINE}\r\nnext")
    begin, _, rest = capfd.readouterr().out.partition("x")
    said, end, after = rest.partition(PLAIN)
    assert (begin, end, after) == (f"{HOME}{HERE}", PLAIN, f"{CLEAR_LINE}\r\nnext")
    assert not CONTROL.search(said)
