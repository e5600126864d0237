"""A drill's file, changed key by key: what a person wrote around the keys stays as it is."""

import hashlib
import os
from collections.abc import Mapping
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AbstractTable

from midiforge.drill.keys import BY_NAME
from midiforge.errors import MidiforgeError, within
from midiforge.files.disk import aside, check_name, parsed_toml, read_toml_text, real, to_disk
from midiforge.files.swap import held
from midiforge.files.toml_text import toml_lines
from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.values import items_of

_WRITABLE = 0o222  # by anybody
_PATIENCE = 10.0  # seconds, while somebody else writes into the folder


@frozen
class DrillFile:
    """A drill's file as it was read or written.

    text: all that stands in it.
    """

    path: Path
    text: str

    @property
    def digest(self) -> str:
        """The same for the same text."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]

    @property
    def content(self) -> dict[str, Any]:
        """Its keys and values; MidiforgeError where it is no TOML."""
        return parsed_toml(self.text, self.path)

    def shown(self) -> dict[str, str]:
        """What a person reads of each key that is given, by its name, "table.key"."""
        content = self.content
        values = {name: _value(content, name) for name in BY_NAME}
        return {n: shown(BY_NAME[n], value) for n, value in values.items() if value is not None}

    def changed(self, changes: Mapping[str, str]) -> "DrillFile":
        """With keys as a person typed them; "" takes one out.

        Raises MidiforgeError where one cannot be read at all; whether a drill comes of it is not
        looked at.
        """
        before = self.shown()
        try:
            document = tomlkit.parse(self.text)
        except (TOMLKitError, RecursionError) as error:
            raise MidiforgeError(f"not TOML: {error}", str(self.path)) from None
        for name, typed in changes.items():
            if name not in BY_NAME:
                raise MidiforgeError("is no key of a drill", name)
            if typed == before.get(name, ""):
                continue
            with within(name):
                _set(document, name, typed)
        return DrillFile(self.path, tomlkit.dumps(document))

    def write(self, before: "DrillFile | None" = None) -> bool:
        """Writes the file whole, or leaves it as it was; where it is a link, what that leads to.

        before: what has to stand there now; None for nothing. Gives whether it did: where it did
        not, somebody else wrote, in whichever process, and the file stays theirs.
        Raises MidiforgeError where it cannot be written, or is not to be: it is read-only.
        """
        path = real(self.path)
        if before and path.exists() and not path.stat().st_mode & _WRITABLE:
            hint = "allow that it is written, or work on a copy"
            raise MidiforgeError("is read-only", str(self.path), hint=hint)
        check_name(path)
        with ExitStack() as held_open, suppress(_Elsewhere):
            with suppress(OSError):  # a drive of the network may have no locks
                held_open.enter_context(held(path.parent, _PATIENCE))
            if before is None and os.path.lexists(self.path):
                return False
            with aside(path) as beside:
                beside.write_bytes(self.text.encode())
                to_disk(beside)  # so that there is next to no time between the look and the move
                if before is not None and read_drill_file(path).text != before.text:
                    raise _Elsewhere
            return True
        return False


class _Elsewhere(Exception):
    """Somebody else wrote meanwhile."""


def read_drill_file(path: Path) -> DrillFile:
    """The file as it is now; MidiforgeError if it cannot be read."""
    return DrillFile(path, read_toml_text(path))


def shown(key: Key, value: Any) -> str:
    """A value as it is typed: lists with commas, or semicolons where commas are in them."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        if key.kind == "table":
            return "\n".join(toml_lines(value)).strip("\n")
        return ", ".join(f"{name}={_taken_in_turn(voices)}" for name, voices in value.items())
    if isinstance(value, (list, tuple)):
        parts = [str(part) for part in value]
        several = key.counted or any("," in part for part in parts)
        return ("; " if several else ", ").join(parts)
    return str(value)


def _taken_in_turn(voices: Any) -> str:
    return " / ".join(map(str, voices)) if isinstance(voices, (list, tuple)) else str(voices)


def _value(content: Mapping[str, Any], name: str) -> Any:
    table, dot, inner = name.partition(".")
    if not dot:
        return content.get(name)
    of_table = content.get(table)
    return of_table.get(inner) if isinstance(of_table, Mapping) else None


def _set(document: tomlkit.TOMLDocument, name: str, typed: str) -> None:
    outer, dot, inner = name.partition(".")
    key = BY_NAME[name]
    if not dot:
        _put(document, name, _meant(key, typed, document.get(name)))
        return
    table = document.get(outer)
    if not isinstance(table, AbstractTable):
        if not typed.strip():
            return
        if table is not None:
            hint = "take it out of the drill as text"
            raise MidiforgeError(f"stands beside {outer}, which is no table", hint=hint)
        table = tomlkit.table()
        document.add(outer, table)
    _put(table, inner, _meant(key, typed, table.get(inner)))
    if not table:
        document.remove(outer)


def _put(table: Any, name: str, value: Any) -> None:
    if value is not None:
        table[name] = value
    elif name in table:
        table.remove(name)


def _meant(key: Key, typed: str, before: Any) -> Any:
    """What is written for what was typed, in the way that the key was written before."""
    text = typed.strip("\n") if key.name == "sticking" else typed.strip()
    if not text.strip():
        return None
    if key.kind == "table":
        return _table(text)
    if isinstance(before, Mapping):
        return {name: _in_turn(voice) for name, voice in map(_rule, items_of(text))}
    if key.kind == "yes-no":
        return {"true": True, "false": False}.get(text, text)
    if key.kind in ("whole", "number") or isinstance(before, (int, float)):
        return _number(text)
    if key.kind == "texts" and isinstance(before, list):
        parts = [_number(str(part)) for part in items_of(text, key.counted)]
        return parts if len(parts) > 1 else text
    if key.name in ("text", "sticking") and "\n" in text:
        return tomlkit.string(f"\n{text}\n", multiline=True)
    return text


def _table(text: str) -> Any:
    parsed_toml(text, Path("its table"))
    table = tomlkit.table()
    for name, value in tomlkit.parse(text).items():
        table.add(name, value)
    return table


def _rule(text: str) -> tuple[str, str]:
    name, _, voice = str(text).partition("=")
    return name.strip(), voice.strip()


def _in_turn(voice: str) -> str | list[str]:
    parts = [part.strip() for part in voice.split("/")]
    return parts if len(parts) > 1 else voice


def _number(text: str) -> Any:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text
