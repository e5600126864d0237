"""The house: everything flows one way, and outputs know nothing of each other.

The project's own rules, as DEVELOPERS.md draws them.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import midiforge

HOME = Path(midiforge.__file__).parent
OUTPUTS = ("midi", "live", "sound", "screen", "pages", "report")
ABOVE_ALL = ("command", "desk", "at_the_kit", "session", "calls", "folders", "__init__", "__main__")
# From what everything reads to what makes exercises: none imports one further right.
MAKING = ("model", "phrase", "library", "kits", "band", "keys", "moves", "drill", "lesson", "loops")
# The file format itself, which is read and written; the output is what is made of an exercise.
BETWEEN = ("insight", "notation", "engraving", "performance", "stave", "hear", "files")
LEARNING = "kits.learn"
FORMAT = tuple(f"midiforge.midi.{each}" for each in ("smf", "reading", "content", "message"))


def room(path: Path) -> str:
    return _room(".".join(path.relative_to(HOME).with_suffix("").parts))


def _room(module: str) -> str:
    # Learning a kit stands beside kits, and goes through ports.
    return LEARNING if module.startswith(LEARNING) else module.split(".")[0]


@cache
def trees() -> dict[Path, list[ast.AST]]:
    """The nodes of each module."""
    return {
        path: [*ast.walk(ast.parse(path.read_text("utf-8")))] for path in sorted(HOME.rglob("*.py"))
    }


@cache
def imports() -> list[tuple[str, str, str]]:
    return [*_imports()]


def _imports() -> Iterator[tuple[str, str, str]]:
    """Which room imports which, and where; within functions too, but not for types alone."""
    for path, nodes in trees().items():
        typing_only = {
            id(inner)
            for node in nodes
            if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
            for inner in ast.walk(node)
        }
        for node in nodes:
            if id(node) in typing_only:
                continue
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module]
                if node.module == "midiforge":
                    names = [f"midiforge.{each.name}" for each in node.names]
            elif isinstance(node, ast.Import):
                names = [each.name for each in node.names]
            else:
                continue
            for name in names:
                names_of = [f"{name}.{each.name}" for each in getattr(node, "names", ())]
                if name in FORMAT or (name == "midiforge.midi" and set(names_of) <= {*FORMAT}):
                    continue
                if name.startswith("midiforge.") and not name.endswith("__version__"):
                    where = f"{path.relative_to(HOME)}:{node.lineno}"
                    yield room(path), _room(name.removeprefix("midiforge.")), where


@pytest.mark.parametrize("output", OUTPUTS)
def test_an_output_knows_no_other_output_and_no_drill(output: str) -> None:
    others = {*OUTPUTS, "drill", "lesson", "loops", "practice"} - {output}
    assert not [(where, to) for by, to, where in imports() if by == output and to in others]


def test_nothing_imports_what_is_further_right() -> None:
    wrong = [
        (where, to)
        for by, to, where in imports()
        if by in MAKING and to in MAKING and MAKING.index(to) > MAKING.index(by)
    ]
    assert not wrong


@pytest.mark.parametrize("maker", [*MAKING, *BETWEEN])
def test_what_makes_exercises_knows_no_output(maker: str) -> None:
    assert not [(where, to) for by, to, where in imports() if by == maker and to in OUTPUTS]


def test_nobody_below_imports_the_command() -> None:
    assert not [
        (where, to)
        for by, to, where in imports()
        if to in ("command", "session", "calls", "folders") and by not in ABOVE_ALL
    ]


def test_rooms_do_not_look_into_each_other_s_private_names() -> None:
    found = []
    for path, nodes in trees().items():
        for node in nodes:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("midiforge."):
                found += [
                    (path.name, each.name)
                    for each in node.names
                    if each.name.startswith("_") and each.name != "__version__"
                ]
    assert not found


def test_one_place_prints_what_commands_say_and_one_what_has_a_style() -> None:
    prints: set[tuple[str, str]] = set()
    for path, nodes in trees().items():
        for node in nodes:
            if not isinstance(node, ast.Call):
                continue
            name = node.func.id if isinstance(node.func, ast.Name) else ""
            method = node.func.attr if isinstance(node.func, ast.Attribute) else ""
            if name == "print" or method in ("print", "out", "echo", "secho", "writelines"):
                prints.add((path.relative_to(HOME).as_posix(), name or f".{method}"))
    assert prints == {("command/terminal.py", "print"), ("printable.py", ".print")}
