"""A plan as a drill file: the drill's own keys, and which of its exercises come when."""

import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from midiforge.disk import is_file
from midiforge.kit import ENDING, kit_names
from midiforge.model.number import numbers_said
from midiforge.model.tempo import plain
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.words import turn_words
from midiforge.printable import printable


def drill_file(plan: Plan, folder: Path) -> str:
    """The plan as TOML; rests, and what a drill cannot say, stand in it as remarks.

    folder: where the file is to lie; the drill's own kit is named from there.
    """
    given = dict(plan.drill.given)
    given["title"] = plan.drill.title
    if "kit" in given:
        given["kit"] = _kit(str(given["kit"]), plan.drill.source, folder)
    given.pop("running", None)
    lines = [
        f"# A plan of practice: {plan.minutes} minutes on {plan.day.isoformat()}, "
        f"{clock(plan.seconds)} in all.",
        "# Numbers are those of play and build.",
    ]
    if len(plan.stretches) > 1:
        pieces = "; then ".join(
            f"--only {numbers_said(each, between=',')}" for each in plan.stretches
        )
        lines += ["# Nothing stops for a rest by itself, so play it in pieces:", f"# {pieces}"]
    lines.append("")
    tables: dict[str, dict[str, Any]] = {}
    for name, value in given.items():
        table, dot, inner = name.partition(".")
        if dot:
            tables.setdefault(table, {})[inner] = value
        elif isinstance(value, Mapping):
            tables[name] = dict(value)
        else:
            lines.append(f"{_key(name)} = {_value(value)}")
    lines += ["", *_running(plan)]
    for table, content in tables.items():
        lines += ["", *_table(table, content)]
    return "\n".join(lines) + "\n"


def _running(plan: Plan) -> Iterator[str]:
    yield "running = ["
    for turn, numbers in plan.numbered:
        words = printable(turn_words(turn, numbers))
        if turn.advice is None:
            yield f"    # {clock(turn.start)} rest, {words}"
            continue
        text = _chosen(turn, plan)
        yield f"    # {clock(turn.start)} {turn.phase}: {words}"
        yield from [f"    {_value(text)},"] * turn.times
    yield "]"


def _chosen(turn: Turn, plan: Plan) -> str:
    piece = turn.number.piece
    if plan.drill.running:  # numbers are those of the whole drill
        piece = plan.drill.chosen_pieces[piece - 1][0].number.piece
    text = str(piece)
    if turn.tempo is not None:
        text += f" at {plain(turn.tempo)}"
    return f"{text} repeats {turn.repeats}" if turn.repeats else text


def _kit(name: str, source: str, folder: Path) -> str:
    """A kit's name as it is; the path of a kit file, as seen from `folder`."""
    if name in kit_names():
        return name
    home = Path(source).parent if source else Path()
    for path in (home / name, home / f"{name}{ENDING}"):
        if is_file(path):
            whole = path.resolve()
            with suppress(ValueError):  # on another drive
                return Path(os.path.relpath(whole, folder.resolve())).as_posix()
            return whole.as_posix()
    return name


# TOML


def _table(name: str, content: Mapping[str, Any]) -> Iterator[str]:
    inner = {key: value for key, value in content.items() if isinstance(value, Mapping)}
    headed = len(inner) < len(content) or not content
    if headed:
        yield f"[{name}]"
    for key, value in content.items():
        if key not in inner:
            yield f"{_key(str(key))} = {_value(value)}"
    for number, (key, value) in enumerate(inner.items()):
        if headed or number:
            yield ""
        yield f"[{name}.{_key(str(key))}]"
        for each, found in value.items():
            yield f"{_key(str(each))} = {_value(found)}"


def _key(name: str) -> str:
    bare = name.replace("-", "").replace("_", "")
    return name if bare.isascii() and bare.isalnum() else _text(name)


def _value(value: Any) -> str:
    """A value as TOML 1.0 has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(str(key))} = {_value(each)}" for key, each in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, (list, tuple, range)):
        return f"[{', '.join(_value(each) for each in value)}]"
    text = str(value)
    if "\n" in text and "\r" not in text:  # in a sticking of several lines columns matter
        return '"""\n' + "\n".join(_escaped(line) for line in text.split("\n")) + '"""'
    return _text(text)


def _text(text: str) -> str:
    return f'"{_escaped(text)}"'


def _escaped(text: str) -> str:
    found = text.replace("\\", "\\\\").replace('"', '\\"')
    return "".join(
        letter if letter.isprintable() or letter == " " else _code(letter) for letter in found
    )


def _code(letter: str) -> str:
    number = ord(letter)
    if 0xD800 <= number < 0xE000:  # a byte that was no text
        return "?"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
