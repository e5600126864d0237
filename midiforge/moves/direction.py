"""Direction: the phrase forward, backward, or each in turn."""

from collections.abc import Iterator, Mapping

from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move


class Direction(Move[tuple[bool, ...]]):
    """False for forward, True for backward."""

    name = "direction"
    columns = ("direction",)
    keys = (
        Key(
            "direction",
            "text",
            "The phrase forward, backward, or each in turn.",
            "forward|backward|both",
            default="forward",
            choices=("forward", "backward", "both"),
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> tuple[bool, ...]:  # noqa: ARG002
        return keys.both("direction", "forward", "backward")

    def turned(self, material: Material, wish: tuple[bool, ...]) -> Iterator[Material]:
        for backward in wish:
            word = "backward" if backward else "forward"
            moved = Moved(
                self.name,
                int(backward),
                aside="backward" if backward else "",
                does="runs backward" if backward else "",
                columns=(("direction", word),),
            )
            phrase = material.phrase
            yield material.then(moved, phrase=phrase.reversed() if backward and phrase else phrase)

    def many(self, material: Material, wish: tuple[bool, ...]) -> Mapping[str, int]:  # noqa: ARG002
        return {"direction": len(wish)}
