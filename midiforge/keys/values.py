"""Values of keys: whether one is of the kind that its key takes, lists however they were written,
numbers and limbs. Whoever calls says which key they are of."""

import re
from collections.abc import Mapping
from contextlib import suppress
from fractions import Fraction
from typing import Any

from midiforge.errors import is_not, nearest
from midiforge.keys.key import Key
from midiforge.model.hit import Limb

# What is expected of a kind of key, and as what a file or a flag may give it.
_KINDS: dict[str, tuple[str, tuple[type, ...]]] = {
    "text": ("a text", (str,)),
    "texts": ("a text or a list of texts", (str, int, float, Fraction)),
    "whole": ("a whole number", (int, str)),
    "number": ("a number", (int, float, Fraction, str)),
    "yes-no": ("true or false", (bool,)),
    "table": ("a table", (Mapping,)),
}


def items_of(value: Any, counted: bool = False) -> Any:
    """A list or a table as it is, a text as its parts, anything else alone.

    A semicolon always parts a text; so does a comma, but for this. counted: of patterns that may
    be typed by count. There a comma between single counts joins them: "1, 3" is the one pattern
    "1 3", "own, 1, 3" is two. Where a pattern has several counts of its own, as in "1 3, 2 4",
    commas part patterns again. A list of nothing but numbers is one pattern, too.
    """
    if isinstance(value, Mapping):
        return value
    if isinstance(value, (list, tuple, range)):
        if counted and value and not any(isinstance(item, str) for item in value):
            return [" ".join(map(str, value))]
        return list(value)
    if isinstance(value, str):
        parts = [part for text in value.split(";") for part in _at_commas(text, counted)]
        # In a sticking of several lines columns matter.
        return [part.strip("\n") if "\n" in part else part.strip() for part in parts]
    return [str(value)] if counted else [value]


def joined(value: Any) -> str:
    """The first pattern that commas between counts make of a text, as `items_of` reads it; ""
    for none, and for a text that knows semicolons."""
    if not isinstance(value, str) or ";" in value:
        return ""
    return next((part for part in items_of(value, counted=True) if part not in value), "")


_COUNT = r">?[0-9]{1,3}([e&a+]|\.[0-9]{1,3})?"


def _at_commas(text: str, counted: bool) -> list[str]:
    parts = [part for part in text.split(",") if part.strip()]
    if not counted:
        return parts
    single = [all(re.fullmatch(_COUNT, bar.strip()) for bar in part.split("|")) for part in parts]
    bars = [bar for part in parts for bar in part.split("|")]
    if any(re.match(rf"\s*{_COUNT}\s+{_COUNT}(\s|$)", bar) for bar in bars):
        return parts
    patterns: list[str] = []
    for i, part in enumerate(parts):
        if i and single[i] and single[i - 1]:
            patterns[-1] += f" {part.strip()}"
        else:
            patterns.append(part.strip())
    return patterns


def of_kind(key: Key, value: Any, where: str) -> Any:
    """The value, if it is of the kind that the key takes."""
    expected, types = _KINDS[key.kind]
    several = key.kind == "texts" and isinstance(value, (list, tuple, range))
    rules = key.name == "voicing" and isinstance(value, Mapping)
    for item in value if several else () if rules else [value]:
        if not isinstance(item, types) or (isinstance(item, bool) and key.kind != "yes-no"):
            raise is_not(value, expected).within(where)
    if key.choices:
        for item in items_of(value, key.counted) if key.kind == "texts" else [value]:
            if item not in key.choices:
                known = [choice for choice in key.choices if choice]
                hint = nearest(str(item), known)
                raise is_not(item, f"one of {', '.join(known)}", hint).within(where)
    return value


# Numbers and limbs

_LIMBS = {limb.value.lower(): limb for limb in Limb} | {limb.title: limb for limb in Limb}


def whole(value: object, low: int, high: int, what: str = "") -> int:
    """A whole number from `low` to `high`; `what` is counted, for the error."""
    if isinstance(value, str) and re.fullmatch(r"\s*-?[0-9]{1,9}\s*", value):
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise is_not(value, f"a whole number from {low} to {high}", what)
    return value


def number(value: object, low: float, high: float) -> float:
    """A number from `low` to `high`."""
    if isinstance(value, str):
        with suppress(ValueError):
            value = float(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise is_not(value, f"a number from {low:g} to {high:g}")
    return float(value)


def limb(text: str) -> Limb:
    """ "RH" or "right hand"."""
    named = _LIMBS.get(text.strip().lower())
    if named is None:
        raise is_not(text, "a limb", "RH, LH, RF or LF")
    return named
