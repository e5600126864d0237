"""Keys and values as TOML 1.0 has them, for the files that midiforge writes."""

from collections.abc import Mapping
from typing import Any


def toml_key(name: str) -> str:
    """A key, in quotes where it needs them."""
    bare = name.replace("-", "").replace("_", "")
    return name if bare.isascii() and bare.isalnum() else _text(name)


def toml_value(value: Any) -> str:
    """A value; what steers a terminal stands as a code in it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(
            f"{toml_key(str(key))} = {toml_value(each)}" for key, each in value.items()
        )
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, (list, tuple, range)):
        return f"[{', '.join(toml_value(each) for each in value)}]"
    text = str(value)
    if "\n" in text and "\r" not in text:  # in a sticking of several lines columns matter
        return '"""\n' + "\n".join(_escaped(line) for line in text.split("\n")) + '"""'
    return _text(text)


def _text(text: str) -> str:
    return f'"{_escaped(text)}"'


def _escaped(text: str) -> str:
    found = text.replace("\\", "\\\\").replace('"', '\\"')
    return "".join(each if each.isprintable() else _code(each) for each in found)


def _code(letter: str) -> str:
    number = ord(letter)
    if 0xD800 <= number < 0xE000:  # a byte that was no text
        return "?"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
