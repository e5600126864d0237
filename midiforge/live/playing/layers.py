"""The layers of an exercise that can be silent, softer and louder, by their names."""

from collections.abc import Iterable

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.model.band import BASS, COMP, PERCUSSION
from midiforge.model.hit import CLICK
from midiforge.performance.notes import part_layer

HANDS, FEET, CHORDS = "hands", "feet", "chords"
LAYERS = (HANDS, FEET, CLICK, PERCUSSION, BASS, CHORDS)
BAND = (PERCUSSION, BASS, CHORDS)  # who plays with the drummer

# Other words for layers; "comp" is what the drill calls the part.
_WORDS = {**{layer: (layer,) for layer in LAYERS}, "band": BAND, COMP: (CHORDS,)}

_OF_MEMBER = {BASS: BASS, COMP: CHORDS}


def layers_named(word: str) -> tuple[str, ...]:
    """The layers that a word is for: one, or the band's three. MidiforgeError for none."""
    if word not in _WORDS:
        raise MidiforgeError(f"{quoted(word)} is not a layer", hint=nearest(word, _WORDS))
    return _WORDS[word]


def read_layers(text: str) -> frozenset[str]:
    """The layers that a list with commas names, such as "hands, band"."""
    words: Iterable[str] = filter(None, (each.strip() for each in text.split(",")))
    return frozenset(layer for word in words for layer in layers_named(word))


def layer_of(part: str) -> str:
    """The layer that a note is of, by its limb, the click or what a member of the band plays."""
    return _OF_MEMBER.get(part) or part_layer(part)
