"""midiforge list"""

import sys
from enum import StrEnum
from typing import Annotated, Any

import typer

from midiforge.command.run import on_terminal


class Shelf(StrEnum):
    RUDIMENTS = "rudiments"
    OSTINATOS = "ostinatos"
    VOICES = "voices"
    KITS = "kits"


def listing(
    what: Annotated[Shelf, typer.Argument(help="What to list.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """List the rudiments, ostinatos, voices or kits that a drill can name."""
    rows = _ROWS[what]()
    if as_json:
        import json

        print(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        _print(rows)


def _rudiments() -> list[dict[str, Any]]:
    from midiforge.library import rudiments
    from midiforge.phrase.sticking import write_sticking

    return [
        {
            "number": each.number,
            "name": each.name,
            "family": each.family,
            "steps": each.steps,
            "sticking": write_sticking(each.phrase, each.steps),
        }
        for each in rudiments().values()
    ]


def _ostinatos() -> list[dict[str, Any]]:
    from midiforge.library import ostinatos

    return [
        {
            "name": each.name,
            "family": each.family,
            "limb": each.limb.value if each.limb else "",
            "meter": str(each.meter),
            "pattern": each.text,
            "partner": each.partner,
            "source": each.source,
        }
        for each in ostinatos().values()
    ]


def _voices() -> list[dict[str, Any]]:
    from midiforge.kit import DEFAULT, read_kit
    from midiforge.library import voices

    kit = read_kit(DEFAULT)
    return [
        {
            "name": each.name,
            "title": each.title,
            "note": kit.notes.get(each.name, ""),
            "without it": each.fallback,
        }
        for each in voices().values()
    ]


def _kits() -> list[dict[str, Any]]:
    from midiforge.kit import kit_names, read_kit

    kits = [read_kit(name) for name in kit_names()]
    return [
        {
            "name": kit.name,
            "title": kit.title,
            "channel": kit.channel,
            "voices": len(kit.notes),
            "source": kit.source,
        }
        for kit in kits
    ]


_ROWS = {
    Shelf.RUDIMENTS: _rudiments,
    Shelf.OSTINATOS: _ostinatos,
    Shelf.VOICES: _voices,
    Shelf.KITS: _kits,
}


def _print(rows: list[dict[str, Any]]) -> None:
    """Rows in columns: fitted to a terminal, else unshortened with a tab between."""
    if not on_terminal(sys.stdout):
        print("\t".join(rows[0]))
        for row in rows:
            print("\t".join(str(value) for value in row.values()))
        return
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in rows[0]:
        table.add_column(name, no_wrap=name in ("name", "number", "limb", "meter"))
    for row in rows:
        table.add_row(*(str(value).replace("[", r"\[") for value in row.values()))
    Console().print(table)
