"""Feet placement: the foot patterns begun later, against still hands."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.counts import count_said, spoken
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.moves.places import Places, places, resolved

FEET_PLACEMENT = "feet placement"


class FeetPlacement(Move[Places]):
    """Where the feet start."""

    name = FEET_PLACEMENT
    columns = ("feet_placement",)
    of_feet = True
    keys = (
        Key(
            "feet_placements",
            "texts",
            "Where the feet start, against still hands.",
            "beat|bar|1,1&",
            default="0",
            places=True,
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> Places:  # noqa: ARG002
        return keys.read("feet_placements", places)

    def turned(self, material: Material, wish: Places) -> Iterator[Material]:
        for late in resolved(wish, material, "feet_placements"):
            count = count_said(material.meter, material.step, late)
            moved = Moved(
                self.name,
                late,
                of_feet=True,
                begins=True,
                count=count,
                aside=f"feet from {count}" if late else "",
                sentence=f"The feet begin on {spoken(count)}." if late else "",
                columns=(("feet_placement", count),),
            )
            feet = material.feet
            if late:
                later = late * material.step
                feet = tuple(replace(line, pattern=line.pattern.shifted(later)) for line in feet)
            yield material.then(moved, feet=feet)

    def many(self, material: Material, wish: Places) -> Mapping[str, int]:
        return {"feet_placements": len(resolved(wish, material, "feet_placements"))}
