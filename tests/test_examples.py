"""The examples, the schema and the README say what the program does."""

import inspect
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

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


def test_the_readme_s_python_does_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("verovio")
    code = re.search(r"```python\n(.*?)```", README, re.DOTALL)
    assert code
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MIDIFORGE_LOG", "log.sqlite")
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    names: dict[str, Any] = {}
    exec(code[1], names)
    said = capsys.readouterr().out
    lesson = list(midiforge.exercises(names["drill"]))
    assert f"{lesson[-1].number} {lesson[-1].title} " in said
    assert names["report"].built.files == len(lesson)
    assert names["pages"].exercises == 3
    kinds = {each.loop.kind for each in names["loops"].written}
    assert kinds == {"without-hands", "gaps"}
    assert f"\nClean: all {names['found'].review.tally.expected} strokes" in said  # our own file
    assert names["found"].review.exercise.number == lesson[-1].number
    assert (tmp_path / "review.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert names["advice"].last is not None  # the exercise that was logged is the last
    assert midiforge.read_drill(tmp_path / "today.toml").running
    assert midiforge.check_drill(tomllib.loads(names["groove"].text))
    assert set(said.splitlines()[-1].split()) >= {"electronic", "bossa-nova", "congas"}


def test_public_names_are_those_that_are_listed() -> None:
    assert set(midiforge.__all__) < set(dir(midiforge))
    for name in midiforge.__all__:
        assert getattr(midiforge, name).__name__ == name
    assert "nonsense" not in dir(midiforge)
    with pytest.raises(AttributeError, match="nonsense"):
        midiforge.nonsense  # noqa: B018


def test_what_a_public_function_takes_and_gives_is_public_too() -> None:
    """Types of ours in the signatures of functions, and in the fields of an exercise."""
    public = [getattr(midiforge, name) for name in midiforge.__all__]
    some = [each for each in public if inspect.isfunction(each)]
    ours = {
        name
        for each in (*some, midiforge.Exercise, midiforge.Piece, midiforge.Shape)
        for hint in inspect.get_annotations(each).values()
        for name in _types_of_ours(hint)
    }
    assert ours <= set(midiforge.__all__)
    assert {"Meter", "Swing", "TempoMap", "Touch", "Dynamics", "Reviewed", "Plan"} <= ours


def _types_of_ours(hint: Any) -> Iterator[str]:
    if isinstance(hint, str):  # a type imported only for the checker
        yield from {*re.findall(r"[A-Z]\w+", hint)} - {"Callable", "None", "Path"}
    elif isinstance(hint, type) and hint.__module__.startswith("midiforge"):
        yield hint.__name__
    for inner in hint if isinstance(hint, list) else get_args(hint):
        yield from _types_of_ours(inner)
