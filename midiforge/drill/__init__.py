"""A drill: the one idea a lesson is made from, read and checked."""

from typing import TYPE_CHECKING

from midiforge.lazy import lazily

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.drill.read import check_drill, read_drill
else:
    __getattr__, __dir__ = lazily(
        __name__,
        {
            "Drill": "midiforge.drill.drill",
            "check_drill": "midiforge.drill.read",
            "read_drill": "midiforge.drill.read",
        },
    )

__all__ = ["Drill", "check_drill", "read_drill"]
