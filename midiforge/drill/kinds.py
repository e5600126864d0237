"""Whether a value is of the kind that its key takes, and lists however they were written."""

from collections.abc import Mapping
from typing import Any

from midiforge.drill.keys import Key
from midiforge.errors import MidiforgeError, nearest


def items_of(value: Any) -> Any:
    """A list or a table as it is, a text at its commas, nothing as nothing."""
    if isinstance(value, (list, Mapping)):
        return value
    if isinstance(value, str):
        return [part.strip("\n") for part in value.split(",") if part.strip()]
    return [value]


def of_kind(key: Key, value: Any, where: str) -> Any:
    """The value, if it is of the kind that the key takes."""
    fine = {
        "text": lambda: isinstance(value, str),
        "texts": lambda: (
            isinstance(value, (str, int, float, list, Mapping)) and not isinstance(value, bool)
        ),
        "whole": lambda: isinstance(value, (int, str)) and not isinstance(value, bool),
        "number": lambda: isinstance(value, (int, float, str)) and not isinstance(value, bool),
        "yes-no": lambda: isinstance(value, bool),
        "table": lambda: isinstance(value, Mapping),
    }[key.kind]()
    if key.kind == "texts" and isinstance(value, Mapping) and key.name != "voicing":
        fine = False
    if key.kind == "texts" and isinstance(value, list):
        fine = all(isinstance(i, (str, int, float)) and not isinstance(i, bool) for i in value)
    if not fine:
        expected = {"yes-no": "true or false", "texts": "a text or a list of texts"}
        raise MidiforgeError(f"{value!r} is not {expected.get(key.kind, 'a ' + key.kind)}", where)
    if key.choices:
        items = items_of(value) if key.kind == "texts" else [value]
        for item in items:
            if item not in key.choices:
                known = [choice for choice in key.choices if choice]
                raise MidiforgeError(
                    f"{item!r} is not one of {', '.join(known)}",
                    where,
                    hint=nearest(str(item), known),
                )
    return value
