"""What a drill can name, for whoever chooses on the page."""

from collections.abc import Iterable
from functools import cache
from typing import Any

from midiforge.library import band, shelf
from midiforge.model.meter import Meter


def _named(entries: Iterable[Any]) -> list[dict[str, str]]:
    return [{"name": entry.name, "title": entry.title} for entry in entries]


@cache
def at_home_in(meter: Meter) -> list[str]:
    """The ostinatos that fit a meter, by name."""
    return [
        each.name
        for each in shelf.ostinatos().values()
        if meter.meets(each.meter, each.pattern.period)
    ]


@cache
def shelves() -> dict[str, list[dict[str, str]]]:
    """The names and titles on each shelf, by what keys of a drill call it."""
    from midiforge.kits.kit import kit_names, read_kit

    return {
        "rudiments": [
            {"name": each.name, "title": each.title, "family": each.family}
            for each in shelf.rudiments().values()
        ],
        "ostinatos": [
            {
                "name": each.name,
                "title": each.title,
                "family": each.family,
                "kind": each.kind,
                "meter": str(each.meter),
                "note": each.note,
            }
            for each in shelf.ostinatos().values()
        ],
        "voices": _named(shelf.voices().values()),
        "kits": [{"name": name, "title": read_kit(name).title} for name in kit_names()],
        "styles": _named(band.styles().values()),
        "percussion": _named(band.percussion().values()),
        "basses": _named(band.basses().values()),
        "comps": _named(band.comps().values()),
    }
