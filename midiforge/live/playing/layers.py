"""The layers of an exercise that can be silent, softer and louder, by their names; how loud each is
while it plays, and which one is being made softer or louder."""

from collections.abc import Iterator, Mapping, Sequence

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.model.band import BASS, COMP, PERCUSSION
from midiforge.model.hit import CLICK

HANDS, FEET, CHORDS = "hands", "feet", "chords"
LAYERS = (HANDS, FEET, CLICK, PERCUSSION, BASS, CHORDS)
BAND = (PERCUSSION, BASS, CHORDS)  # who plays with the drummer

# Other words for layers; "comp" is what the drill calls the part.
_WORDS = {**{layer: (layer,) for layer in LAYERS}, "band": BAND, COMP: (CHORDS,)}


def layers_named(word: str) -> tuple[str, ...]:
    """The layers that a word is for: one, or the band's three. MidiforgeError for none."""
    if word not in _WORDS:
        raise MidiforgeError(f"{quoted(word)} is not a layer", hint=nearest(word, _WORDS))
    return _WORDS[word]


def read_layers(text: str) -> frozenset[str]:
    """The layers that a list with commas names, such as "hands, band"."""
    return frozenset(layer for word in _listed(text) for layer in layers_named(word))


def _listed(text: str) -> Iterator[str]:
    """The items of a list with commas."""
    return filter(None, (item.strip() for item in text.split(",")))


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
    levels: dict[str, int] = {}
    for part in _listed(text):
        layer, equals, level = (word.strip() for word in part.partition("="))
        if not equals:
            raise MidiforgeError(f"{quoted(part)} is no level", hint="such as bass=80")
        layers = layers_named(layer)
        number = level.removesuffix("%").strip()
        whole = number.isascii() and number.isdigit() and len(number) <= 3
        if not whole or not SOFTEST <= int(number) <= LOUDEST:
            raise MidiforgeError(
                f"{quoted(level)} is no level for {layer}",
                hint=f"per cent from {SOFTEST} to {LOUDEST}; --mute {layer} for silence",
            )
        levels |= dict.fromkeys(layers, int(number))
    return levels
