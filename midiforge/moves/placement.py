"""Placement: the phrase begun later, wrapped round or entering late."""

from collections.abc import Iterator, Mapping

from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.counts import count_said, spoken
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.moves.places import Places, places, resolved


@frozen
class Placements:
    """Where the phrase starts; late: whether it is silent until there the first time through."""

    places: Places
    late: bool


class Placement(Move[Placements]):
    """Where the phrase starts."""

    name = "placement"
    columns = ("placement",)
    keys = (
        Key(
            "placements",
            "texts",
            "Where the phrase starts: every step of the beat, phrase or bar, or a list of counts "
            "('1, 1e, 2&') and of grid steps later ('+0, +3').",
            "beat|phrase|bar|1,1e,2&",
            default="0",
            places=True,
        ),
        Key(
            "entry",
            "text",
            "A late phrase the first time through: wrapped round, or entering late.",
            "wrapped|late",
            default="wrapped",
            choices=("wrapped", "late"),
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> Placements:  # noqa: ARG002
        return Placements(keys.read("placements", places), keys.text("entry") == "late")

    def turned(self, material: Material, wish: Placements) -> Iterator[Material]:
        for late in resolved(wish.places, material, "placements"):
            count = count_said(material.meter, material.step, late)
            moved = Moved(
                self.name,
                late,
                begins=True,
                count=count,
                name=f"from {count}",
                does=f"begins on {spoken(count)}",
                columns=(("placement", count),),
            )
            phrase = material.phrase.placed(late) if material.phrase else None
            yield material.then(moved, phrase=phrase, late=late, entry=late if wish.late else 0)

    def many(self, material: Material, wish: Placements) -> Mapping[str, int]:
        return {"placements": len(resolved(wish.places, material, "placements"))}
