"""The examples, the schema and the public names say what the program does."""

import ast
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


def test_public_names_are_those_that_type_checkers_read() -> None:
    source = ast.parse(Path(midiforge.__file__).read_text("utf-8"))
    read = [
        (name.name, name.asname)
        for node in ast.walk(source)
        if isinstance(node, ast.If)
        for line in node.body
        if isinstance(line, ast.ImportFrom)
        for name in line.names
    ]
    assert [(name, name) for name in midiforge.__all__] == read  # "as": a name that is passed on
    everything: dict[str, Any] = {}
    exec("from midiforge import *", everything)
    assert set(midiforge.__all__) < set(everything)


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
        others = {"Callable", "MidiFile", "MidiSource", "None", "Path"}
        yield from {*re.findall(r"[A-Z]\w+", hint)} - others
    elif isinstance(hint, type) and hint.__module__.startswith("midiforge"):
        yield hint.__name__
    for inner in hint if isinstance(hint, list) else get_args(hint):
        yield from _types_of_ours(inner)
