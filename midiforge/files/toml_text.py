"""Keys and values as TOML 1.0 has them, for the files that midiforge writes."""

from collections.abc import Iterator, Mapping
from typing import Any

_WIDEST = 60  # columns of a list of texts in one line


def toml_lines(
    content: Mapping[str, Any], remarks: Mapping[str, str] | None = None, inside: str = ""
) -> Iterator[str]:
    """A table, a line each: keys and values, then the tables in it, an empty line before each.

    remarks: what stands above a key. inside: the names of the tables that it is in, with dots.
    """
    tables = {key: table for key, table in content.items() if isinstance(table, Mapping)}
    for key, value in content.items():
        if key not in tables:
            yield from (f"# {line}" for line in (remarks or {}).get(key, "").splitlines())
            yield from _assigned(toml_key(key), value)
    for key, table in tables.items():
        name = inside + toml_key(key)
        if not table or any(not isinstance(value, Mapping) for value in table.values()):
            yield from ("", f"[{name}]")
        yield from toml_lines(table, remarks, f"{name}.")


def _assigned(key: str, value: Any) -> Iterator[str]:
    line = f"{key} = {toml_value(value)}"
    texts = isinstance(value, (list, tuple)) and len(value) > 1 and isinstance(value[0], str)
    if texts and len(line) > _WIDEST:
        yield from (f"{key} = [", *(f"    {toml_value(item)}," for item in value), "]")
    else:
        yield line


def toml_key(name: str) -> str:
    """A key, in quotes where it needs them."""
    bare = name.replace("-", "").replace("_", "")
    return name if bare.isascii() and bare.isalnum() else _text(name)


def toml_value(value: object) -> str:
    """A value; what steers a terminal stands as a code in it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(
            f"{toml_key(str(key))} = {toml_value(item)}" for key, item in value.items()
        )
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, (list, tuple, range)):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    text = str(value)
    if "\n" in text and "\r" not in text:  # in a sticking of several lines columns matter
        return '"""\n' + "\n".join(_escaped(line) for line in text.split("\n")) + '"""'
    return _text(text)


def _text(text: str) -> str:
    return f'"{_escaped(text)}"'


def _escaped(text: str) -> str:
    quoted = text.replace("\\", "\\\\").replace('"', '\\"')
    return "".join(letter if letter.isprintable() else _code(letter) for letter in quoted)


def _code(letter: str) -> str:
    number = ord(letter)
    if 0xD800 <= number < 0xE000:  # a byte that was no text
        return "?"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
