"""The examples, the schema and the README say what the program does."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

import midiforge
from midiforge.command.run import run
from midiforge.drill.keys import KEYS
from midiforge.drill.schema import drill_schema

ROOT = Path(__file__).parent.parent
DRILLS = sorted((ROOT / "examples").glob("0*.toml"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", DRILLS, ids=lambda path: path.stem)
def test_an_example_fits_the_schema(path: Path) -> None:
    """JSON Schema draft 2020-12, by the reference library jsonschema."""
    jsonschema.Draft202012Validator(drill_schema()).validate(tomllib.loads(path.read_text("utf-8")))


@pytest.mark.parametrize("path", DRILLS, ids=lambda path: path.stem)
def test_an_example_builds_without_a_warning(path: Path, tmp_path: Path) -> None:
    report = midiforge.build_lesson(midiforge.read_drill(path), tmp_path / "lesson")
    assert report.built.files > 3
    assert not report.warnings


def test_the_schema_is_a_schema_and_refuses_unknown_keys() -> None:
    jsonschema.Draft202012Validator.check_schema(drill_schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"stickng": "RL"}, drill_schema())


def test_the_schema_beside_the_examples_is_the_program_s() -> None:
    text = (ROOT / "examples" / "drill.schema.json").read_text(encoding="utf-8")
    assert json.loads(text) == drill_schema()


def test_every_key_has_a_flag_that_build_and_show_explain(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for command in ("build", "show"):
        assert run([command, "--help"]) == 0
        text = capsys.readouterr().out
        assert not [key.flag for key in KEYS if key.kind != "table" and key.flag not in text]


def test_the_readme_s_drill_is_its_flags() -> None:
    """The file and the flags in the README are said to be the same lesson."""
    written = re.search(r"```\n(title = .*?)```", README, re.DOTALL)
    flags = re.search(r"midiforge build (--sticking .*) --out", README)
    assert written and flags
    from shlex import split

    words = split(flags[1])
    given = dict(zip((word[2:] for word in words[::2]), words[1::2], strict=True))
    file = midiforge.check_drill(tomllib.loads(written[1]))
    ours = midiforge.check_drill(given)
    assert [each.hits for each in midiforge.exercises(file)] == [
        each.hits for each in midiforge.exercises(ours)
    ]


def test_the_readme_s_pictures_are_what_its_commands_draw(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    commands = re.findall(r"^midiforge (show .*) --picture (\S+)$", README, re.MULTILINE)
    assert commands
    from shlex import split

    for words, picture in commands:
        assert run([*split(words), "--picture", str(tmp_path / "new.svg")]) == 0
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
    from shlex import split

    assert drawn
    for number, (words, picture) in enumerate(drawn):
        made = tmp_path / f"{number}.svg"
        assert run([*split(words), "--out", str(made)]) == 0
        new, old = (path.read_text("utf-8") for path in (made, ROOT / picture))
        assert re.findall(r">([^<>]+)</text>", new) == re.findall(r">([^<>]+)</text>", old)
        assert f"]({picture})" in README


def test_the_readme_names_only_files_that_are_there() -> None:
    for path in re.findall(r"\((examples/[^)]+|[A-Z]+\.md)\)", README):
        assert (ROOT / path).exists()
