"""README and guide say what the program does: every command line, drill and piece of Python in them
is run, in a folder with nothing but the examples and what a drummer would bring along.

Ports are a stand-in's (test_live_ports.py), and whoever plays there quits at once;
test_live_jack.py plays through real ones.
"""

import re
import shlex
import shutil
import sys
import time
import tomllib
from collections.abc import Iterator
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from test_live_ports import Library

import midiforge
from midiforge.at_the_kit import screen as kit_screen
from midiforge.command.app import command as command_line
from midiforge.command.guide import CHAPTERS, FOLDER, chapter_text, summary
from midiforge.command.run import run
from midiforge.drill.keys import BY_NAME, GROUPS, KEYS, STAGE_KEYS
from midiforge.kits.kit import COMMANDS
from midiforge.kits.learn import screen as learn_screen
from midiforge.live.playing import controls
from midiforge.live.playing import play as playing
from midiforge.live.playing.controls import KEYS as KEYS_WHILE_PLAYING
from midiforge.live.playing.controls import Command
from midiforge.loops import KINDS
from midiforge.pages.hits import COLUMNS
from midiforge.pages.sheet import FORMATS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = {"README": README} | {name: (FOLDER / f"{name}.md").read_text("utf-8") for name in CHAPTERS}
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
BLOCK_OR_SPAN = re.compile(BLOCK.pattern + r"|`(midiforge [^`]+)`", re.MULTILINE | re.DOTALL)
WRITES = ("--out", "--record", "--html", "--picture", "--csv")
PLACEHOLDER = re.compile(r"\b[A-Z]{4,}")
WIDEST = 78  # columns of code that a terminal of 80 shows unbroken


def blocks(page: str, *kinds: str) -> list[str]:
    return [text for kind, text in BLOCK.findall(PAGES[page]) if kind in kinds]


def command_lines(page: str) -> Iterator[tuple[list[str], str | None]]:
    """Command lines as they come, without `midiforge`; and what is said to come of them, if it is.

    In a sentence a command's name alone, or with something to put in, is no command line.
    """
    for kind, block, span in BLOCK_OR_SPAN.findall(PAGES[page]):
        if span and (" ".join(span.split()[1:]) in NAMES or PLACEHOLDER.search(span)):
            continue
        if kind == "console":
            for command, said in re.findall(r"^\$ midiforge (.*)\n((?:[^$].*\n)*)", block, re.M):
                yield shlex.split(command), said
        elif span or not kind:
            for line in (span or block.replace("\\\n", "")).replace("&& ", "\n").splitlines():
                program, _, rest = line.partition(" ")
                if program in ("midiforge", ".venv/bin/midiforge"):
                    yield shlex.split(rest), None


def commands() -> Iterator[tuple[str, Any]]:
    """Every command by its name, such as "kit learn"."""
    for name, command in command_line().commands.items():  # type: ignore[attr-defined]
        inner = getattr(command, "commands", {})
        yield from ((f"{name} {each}", inner[each]) for each in inner)
        if not inner:
            yield name, command


NAMES = dict(commands())
FLAGS = {"--help", "--install-completion"} | {
    flag
    for command in NAMES.values()
    for parameter in command.params
    for flag in (*parameter.opts, *parameter.secondary_opts)
}


class Pads(Library):
    """Ports, and a bass drum that is struck three times, slowly enough to be learnt."""

    def __init__(self, *names: str) -> None:
        super().__init__(*names)
        pads = self

        class Input(self.MidiIn):  # type: ignore[name-defined, misc]
            def set_callback(self, callback: Any) -> None:
                pads.heard_by, pads.struck, pads.last = callback, 0, time.monotonic()

        self.MidiIn = Input

    def strikes_and_quits(self) -> Iterator[Command]:
        if time.monotonic() - self.last < 0.25:
            return
        self.last = time.monotonic()
        self.struck += 1
        if self.struck > 3:
            yield from (Command.QUIT, Command.QUIT)  # the first only asks whether that is meant
        else:
            self.heard_by(([0x99, 36, 100], 0.0), None)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where a reader tries things, and three ports."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MIDIFORGE_LOG", str(tmp_path / "log.sqlite"))
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    pads = Pads("module", "synthesiser", "daw")
    monkeypatch.setitem(sys.modules, "rtmidi", pads)
    for home in (controls, playing, kit_screen):
        monkeypatch.setattr(home, "pressed", lambda: iter([Command.QUIT]))
    monkeypatch.setattr(learn_screen, "pressed", pads.strikes_and_quits)
    if not lacking("open"):  # a page that is opened is left at once
        monkeypatch.setattr("uvicorn.Server.run", lambda *_, **__: None)
        monkeypatch.setattr("webbrowser.open", lambda _: True)
    return tmp_path


def bring(words: list[str]) -> None:
    """What a drummer has before the command: something played, and a groove."""
    for before, word in pairwise(words):
        path = Path(word)
        if word == "takes":
            path.mkdir()
            path /= "take-1.mid"
        brought = re.fullmatch(r"take(-\d)?\.mid|groove\.mid", path.name) and before not in WRITES
        if brought and not path.exists():
            drill = midiforge.read_drill("examples/01-slack-water-bossa.toml")
            played = next(each for each in midiforge.exercises(drill) if str(each.number) == "5b")
            path.write_bytes(midiforge.exercise_bytes(played, drill.kit))


NEEDS = {
    "sheet": ["verovio", "typst"],
    "open": ["verovio", "starlette", "uvicorn", "websockets", "tomlkit"],
}


def lacking(command: str) -> list[str]:
    return [name for name in NEEDS.get(command, ()) if find_spec(name) is None]


def missing(words: list[str]) -> str:
    """Why this machine cannot run a command; "" if it can."""
    without = lacking(words[0])
    return f"{' '.join(words[:2])}: {', '.join(without)} not installed" if without else ""


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.usefixtures("folder")
def test_every_command_line_of_a_page_runs(page: str, capsys: pytest.CaptureFixture[str]) -> None:
    left_out = []
    for words, said in command_lines(page):
        if reason := missing(words):
            left_out.append(reason)
            continue
        bring(words)
        capsys.readouterr()
        code = run(words)
        out, err = capsys.readouterr()
        assert code == 0, f"midiforge {shlex.join(words)}: {err}"
        assert said is None or out == said
    if left_out:
        pytest.skip("; ".join(left_out))


def test_a_page_without_commands_would_be_noticed() -> None:
    assert all(list(command_lines(page)) for page in PAGES if page != "python")
    assert sum(len(list(command_lines(page))) for page in PAGES) > 60


@pytest.mark.parametrize("page", PAGES)
def test_flags_and_commands_that_a_page_names_are_there(page: str) -> None:
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", PAGES[page])) <= FLAGS
    for span in re.findall(r"`midiforge ([^`]+)`", PAGES[page]):
        assert any(f"{span} ".startswith(f"{name} ") for name in NAMES) or span in FLAGS


def as_drill(text: str) -> dict[str, Any]:
    """Keys of a drill with what they need besides; a key without its table is one of `[every]`."""
    given = tomllib.loads(text)
    every = {key: given.pop(key) for key in [*given] if f"every.{key}" in BY_NAME}
    base: dict[str, Any] = {"sticking": "RLRR LRLL"}
    if "every" in given or every:
        base = {"every": {"strokes": 4, **every}}
    if "road_map" in given:
        base = {}
    return base | ({"feet": "tumbao"} if "partner" in given else {}) | given


@pytest.mark.parametrize("page", PAGES)
def test_every_piece_of_a_drill_or_kit_on_a_page_is_one(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT / "examples")
    spans = re.findall(r"`(\w+ = [^`]+)`", PAGES[page])
    for text in [*blocks(page, "toml"), *spans]:
        if "starts_from" in text:
            (tmp_path / "kit.toml").write_text(text, "utf-8")
            assert midiforge.read_kit(tmp_path / "kit.toml").notes
        else:
            drill = midiforge.check_drill(as_drill(text))
            assert "running" in text or next(iter(midiforge.exercises(drill))).hits


def test_the_drill_of_the_guide_is_its_flags_and_an_example() -> None:
    """The file, the flags and the example are said to be the same lesson."""
    written = blocks("drill", "toml")[0]
    flags = next(words for words, _ in command_lines("drill") if "--sticking" in words)
    given = dict(zip((word[2:] for word in flags[1::2]), flags[2::2], strict=True))
    del given["out"]
    drills = [
        midiforge.check_drill(tomllib.loads(written)),
        midiforge.check_drill(given),
        midiforge.read_drill(ROOT / "examples" / "01-slack-water-bossa.toml"),
    ]
    file, typed, example = ([each.hits for each in midiforge.exercises(it)] for it in drills)
    assert file == typed == example


@pytest.mark.usefixtures("folder")
def test_files_and_columns_that_are_named_are_those_of_a_build() -> None:
    assert run(["build", "examples/01-slack-water-bossa.toml", "--out", "lesson", "--quiet"]) == 0
    listed = [line.split()[0] for line in blocks("README", "text")[0].splitlines()]
    listed += re.findall(r"`(\w+\.(?:csv|mid))` \|", PAGES["drill"])
    assert len(listed) > 8
    assert not [name for name in listed if not Path("lesson", name).exists()]
    columns = Path("lesson", "index.csv").read_text("utf-8").splitlines()[0].split(",")
    assert {"bars", "seconds", "returns_after_bars"} <= set(columns)


@pytest.mark.usefixtures("folder")
def test_the_python_of_the_guide_does_what_it_says(capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("verovio")
    names: dict[str, Any] = {}
    for code in blocks("python", "python"):
        exec(code, names)
    said = capsys.readouterr().out
    lesson = list(midiforge.exercises(names["drill"]))
    assert f"{lesson[-1].number} {lesson[-1].title} {len(lesson[-1].hits)}\n" in said
    assert names["report"].built.files == len(lesson)
    assert names["pages"].exercises == 3
    kinds = {each.loop.kind for each in names["loops"].written}
    assert kinds == {"without-hands", "gaps"}
    assert len(names["sounding"]) >= len(lesson[-1].hits)
    assert names["tones"] == []  # a drill without chords
    assert f"\nAll {names['heard'].review.tally.expected} strokes clean" in said  # our own file
    assert names["heard"].review.exercise.number == lesson[-1].number
    assert Path("review.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert names["advice"].last is not None  # the exercise that was logged is the last
    assert midiforge.read_drill("today.toml").running
    assert midiforge.check_drill(tomllib.loads(names["groove"].text))
    assert set(said.split()) >= {"electronic", "bossa-nova", "congas", "single-paradiddle"}
    assert said.splitlines()[-1].startswith("unknown key 'stickng'")


# Pictures


def test_the_readme_s_pictures_are_what_its_commands_draw(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    commands = re.findall(r"^midiforge (show .*) --picture (\S+)$", README, re.MULTILINE)
    assert commands
    for words, picture in commands:
        assert run([*shlex.split(words), "--picture", str(tmp_path / "new.svg")]) == 0
        assert (tmp_path / "new.svg").read_bytes() == (ROOT / picture).read_bytes()
        assert f"]({picture})" in README
        (tmp_path / "new.svg").unlink()


def test_the_readme_s_engraved_pictures_show_what_its_commands_engrave(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The words in it; where its ink is depends on the engraving library's version."""
    pytest.importorskip("verovio")
    monkeypatch.chdir(ROOT)
    drawn = re.findall(r"^midiforge (sheet .*) --out (examples/\S+)$", README, re.MULTILINE)
    assert drawn
    for number, (words, picture) in enumerate(drawn):
        made = tmp_path / f"{number}.svg"
        assert run([*shlex.split(words), "--out", str(made)]) == 0
        new, old = (path.read_text("utf-8") for path in (made, ROOT / picture))
        assert re.findall(r">([^<>]+)</text>", new) == re.findall(r">([^<>]+)</text>", old)
        assert f"]({picture})" in README


# What is named where


def test_the_readme_names_only_files_that_are_there() -> None:
    linked = re.findall(r"\]\(([^)]+)\)", README)
    assert len(linked) > len(CHAPTERS)
    assert not [path for path in linked if not (ROOT / path).exists()]


def test_the_readme_is_short_and_maps_all_commands_and_chapters() -> None:
    assert len(README.split()) <= 1300
    rows = re.findall(r"^\| `midiforge ([a-z ]+)` \|", README, re.MULTILINE)
    assert sorted(rows) == sorted(NAMES)
    rows = re.findall(r"^\| \[(\w+)\]\(midiforge/guide/\1\.md\) \| (.*) \|$", README, re.MULTILINE)
    assert rows == [(name, summary(name)) for name in CHAPTERS]


def test_the_chapters_are_the_files_of_the_guide() -> None:
    assert sorted(CHAPTERS) == sorted(path.stem for path in FOLDER.glob("*"))


@pytest.mark.parametrize("name", CHAPTERS)
def test_a_chapter_begins_with_its_title_and_one_sentence(name: str) -> None:
    title, summary, _ = PAGES[name].split("\n\n", 2)
    assert re.fullmatch(r"# \w[\w ,]*", title)
    assert re.fullmatch(r"[A-Z][^.\n|`]+\.", summary)


@pytest.mark.parametrize("name", CHAPTERS)
def test_a_chapter_s_code_fits_a_terminal_and_its_references_are_there(name: str) -> None:
    lines = "".join(blocks(name, "", "toml", "python")).splitlines()
    assert not [line for line in lines if len(line) > WIDEST]
    assert set(re.findall(r"chapter `(\w+)`", PAGES[name])) <= set(CHAPTERS)


def test_every_key_of_a_drill_is_explained_once_under_its_group() -> None:
    text = chapter_text("drill")
    assert "keys.py" not in text  # which stands for the list where nothing makes it
    for group, keys in {**GROUPS, "In a table [stage.NAME]": STAGE_KEYS}.items():
        _, begins, rest = text.partition(f"\n### {group}\n")
        listed = rest.strip().partition("\n\n")[0]
        assert begins
        assert re.findall(r"^- \*\*([\w.]+)\*\*", listed, re.MULTILINE) == [k.name for k in keys]
        assert not [key.name for key in keys if key.help not in listed]


def test_every_key_of_a_drill_stands_in_another_chapter_too() -> None:
    elsewhere = "".join(text for name, text in PAGES.items() if name != "README")
    missing = [
        key.name
        for key in KEYS
        if not re.search(rf"\b{key.name.split('.')[-1]}\b|\[{key.name}\.", elsewhere)
    ]
    assert not missing


def test_lists_in_the_chapters_are_whole() -> None:
    for page, names in (
        ("kits", COMMANDS),
        ("live", [key for key in KEYS_WHILE_PLAYING if key not in " ="]),  # = is + without shift
        ("band", midiforge.styles()),
        ("loops", KINDS),
        ("pages", (*FORMATS, *COLUMNS)),
    ):
        assert not [name for name in names if f"`{name}`" not in PAGES[page]]


# The command


def test_the_guide_lists_its_chapters_and_prints_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["guide"]) == 0
    listed = [line.split("\t") for line in capsys.readouterr().out.splitlines()][1:]
    assert listed == [[name, summary(name)] for name in CHAPTERS]
    assert run(["guide", "Moves"]) == 0
    assert capsys.readouterr().out == PAGES["moves"]


def test_an_unknown_chapter_names_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["guide", "sticking"]) == 2
    said = capsys.readouterr()
    assert said.err == (
        "midiforge: the guide has no chapter 'sticking' (did you mean 'stickings'?)\n"
    )
    assert not said.out


@pytest.mark.parametrize("columns", [40, 80])
@pytest.mark.parametrize("name", ["", *CHAPTERS])
def test_a_terminal_gets_a_chapter_laid_out(
    name: str, columns: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    assert run(["guide", *name.split()]) == 0
    out = capsys.readouterr().out
    assert "\x1b[" in out or not name
    lines = re.sub(r"\x1b\[[0-9;]*m", "", out).splitlines()
    assert not [line for line in lines if len(line) > columns]
    assert not [line for line in lines if re.match(r"#|```|\|", line)]
