"""How loud each layer is while it plays, and which one is being made softer or louder."""

from collections.abc import Mapping, Sequence

from midiforge.errors import MidiforgeError, quoted
from midiforge.live.playing.layers import LAYERS, layers_named

SOFTEST, LOUDEST, STEP = 20, 150, 10  # per cent of what a note's velocity would be
AS_WRITTEN = 100


class Levels:
    """Levels of layers, in per cent of their velocities.

    chosen: the layer that is made softer or louder; "" until one is.
    changes: how often anything was changed or chosen.
    """

    def __init__(self, levels: Mapping[str, int] | None = None) -> None:
        self.chosen = ""
        self.changes = 0
        self._levels = dict.fromkeys(LAYERS, AS_WRITTEN) | dict(levels or {})
        self.velocities = {layer: scaled(level) for layer, level in self._levels.items()}

    def __getitem__(self, layer: str) -> int:
        return self._levels[layer]

    def choose_next(self, layers: Sequence[str]) -> None:
        """Goes on to the next of these layers, round and round."""
        if layers:
            at = layers.index(self.chosen) + 1 if self.chosen in layers else 0
            self.chosen = layers[at % len(layers)]
            self.changes += 1

    def change(self, by: int, layers: Sequence[str]) -> None:
        """Changes the chosen layer by so many per cent; the first of these if none is chosen."""
        if self.chosen not in layers:
            self.choose_next(layers)
        if self.chosen:
            level = max(SOFTEST, min(LOUDEST, self._levels[self.chosen] + by))
            self._levels[self.chosen] = level
            self.velocities[self.chosen] = scaled(level)
            self.changes += 1

    def told(self) -> list[str]:
        """The layers that there is something to be told of: changed, or chosen."""
        return [x for x in LAYERS if x == self.chosen or self._levels[x] != AS_WRITTEN]


def scaled(level: int) -> bytes:
    """Each velocity at a level: 1 to 127; nothing that sounds falls silent."""
    return bytes(min(127, max(1, (velocity * level + 50) // 100)) for velocity in range(128))


def read_levels(text: str) -> dict[str, int]:
    """Levels from "band=80, bass=60"; of a layer that is named twice the last one counts."""
    found: dict[str, int] = {}
    for each in filter(None, (part.strip() for part in text.split(","))):
        layer, equals, level = (word.strip() for word in each.partition("="))
        if not equals:
            raise MidiforgeError(f"{quoted(each)} is no level", hint="such as bass=80")
        layers = layers_named(layer)
        number = level.removesuffix("%").strip()
        whole = number.isascii() and number.isdigit() and len(number) <= 3
        if not whole or not SOFTEST <= int(number) <= LOUDEST:
            raise MidiforgeError(
                f"{quoted(level)} is no level for {layer}",
                hint=f"per cent from {SOFTEST} to {LOUDEST}; --mute {layer} for silence",
            )
        found |= dict.fromkeys(layers, int(number))
    return found
