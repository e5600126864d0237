"""The JSON Schema of a drill file, for editors, made from the table of keys."""

from typing import Any

from midiforge.drill.keys import BY_NAME, GROUPS, STAGE_KEYS
from midiforge.keys.key import Key

_SCALAR = {"type": ["string", "number"]}
_KINDS: dict[str, dict[str, Any]] = {
    "text": {"type": "string"},
    "texts": {
        "anyOf": [
            *({"type": kind} for kind in ("string", "number")),
            {"type": "array", "items": _SCALAR},
        ]
    },
    "whole": {"type": "integer"},
    "number": {"type": "number"},
    "yes-no": {"type": "boolean"},
}


def drill_schema() -> dict[str, Any]:
    """The schema, draft 2020-12."""
    properties: dict[str, Any] = {}
    for group in GROUPS.values():
        for key in group:
            table, dot, name = key.name.rpartition(".")
            place = properties
            if dot:
                place = properties.setdefault(table, _table({}))["properties"]
            place[name] = _TABLES[key.name]() if key.name in _TABLES else _value(key)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "midiforge drill",
        **_table(properties),
    }


def _table(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _stages() -> dict[str, Any]:
    stage = _table({key.name: _value(key) for key in STAGE_KEYS})
    return {
        "type": "object",
        "description": "Stages of your own, each a table [stage.NAME].",
        "additionalProperties": stage,
    }


def _bars() -> dict[str, Any]:
    return {
        "type": "object",
        "description": BY_NAME["bars"].help,
        "additionalProperties": {"type": "string"},
    }


def _texts() -> dict[str, Any]:
    return {**_bars(), "description": BY_NAME["texts"].help}


_TABLES = {"stage": _stages, "bars": _bars, "texts": _texts}


def _value(key: Key) -> dict[str, Any]:
    value = {**_KINDS[key.kind], "description": key.help}
    if key.choices and key.kind == "text":
        value["enum"] = list(key.choices)
    if key.default != "":
        value["default"] = key.default
    if key.name == "voicing":
        rule = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}
        value["anyOf"] = [*value["anyOf"], {"type": "object", "additionalProperties": rule}]
    return value
