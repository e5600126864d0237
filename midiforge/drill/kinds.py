"""Whether a value is of the kind that its key takes, and lists however they were written."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from midiforge.drill.keys import Key
from midiforge.errors import MidiforgeError, nearest, quoted

_EXPECTED = {
    "text": "a text",
    "texts": "a text or a list of texts",
    "whole": "a whole number",
    "number": "a number",
    "yes-no": "true or false",
    "table": "a table",
}
_TYPES: dict[str, tuple[type, ...]] = {
    "text": (str,),
    "texts": (str, int, float, Fraction),
    "whole": (int, str),
    "number": (int, float, Fraction, str),
    "yes-no": (bool,),
    "table": (Mapping,),
}


def items_of(value: Any) -> Any:
    """A list or a table as it is, a text at its commas, anything else alone."""
    if isinstance(value, Mapping):
        return value
    if isinstance(value, (list, tuple, range)):
        return list(value)
    if isinstance(value, str):
        parts = [part for part in value.split(",") if part.strip()]
        # In a sticking of several lines columns matter.
        return [part.strip("\n") if "\n" in part else part.strip() for part in parts]
    return [value]


def of_kind(key: Key, value: Any, where: str) -> Any:
    """The value, if it is of the kind that the key takes."""
    several = key.kind == "texts" and isinstance(value, (list, tuple, range))
    rules = key.name == "voicing" and isinstance(value, Mapping)
    if not rules and not all(_is(each, key.kind) for each in (value if several else [value])):
        raise MidiforgeError(f"{quoted(value)} is not {_EXPECTED[key.kind]}", where)
    if key.choices:
        for item in items_of(value) if key.kind == "texts" else [value]:
            if item not in key.choices:
                known = [choice for choice in key.choices if choice]
                hint = nearest(str(item), known)
                raise MidiforgeError(
                    f"{quoted(item)} is not one of {', '.join(known)}", where, hint=hint
                )
    return value


def _is(value: Any, kind: str) -> bool:
    return isinstance(value, _TYPES[kind]) and (kind == "yes-no" or not isinstance(value, bool))
