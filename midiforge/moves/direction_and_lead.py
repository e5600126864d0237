"""Direction and lead: the phrase forward or backward, its hands as written or changed over."""

from collections.abc import Iterator

from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.hit import HANDS
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.phrase.sticking import write_sticking


class EitherWay(Move[tuple[bool, ...]]):
    """A move with two ways to go: False for the first word of its key, True for the second."""

    def read(self, keys: KeyReader, meter: Meter) -> tuple[bool, ...]:  # noqa: ARG002
        [key] = self.keys
        return keys.both(key.name, *key.choices[:2])


class Direction(EitherWay):
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

    def turned(self, material: Material, wish: tuple[bool, ...]) -> Iterator[Material]:
        for backward in wish:
            word = "backward" if backward else "forward"
            moved = Moved(
                self.name,
                int(backward),
                aside="backward" if backward else "",
                does="runs backward" if backward else "",
                columns=(("direction", word),),
                thing="which way the sticking runs",
                usual=word,
            )
            phrase = material.phrase
            yield material.then(moved, phrase=phrase.reversed() if backward and phrase else phrase)


_LEADS = {"R": "right lead", "L": "left lead", "": "hands changed over"}
_HANDS = {hand.letter: hand.title for hand in HANDS}


class Lead(EitherWay):
    """False for the hands as written, True for changed over."""

    name = "lead"
    columns = ("lead",)
    keys = (
        Key(
            "lead",
            "text",
            "Hands as written, changed over, or each in turn.",
            "written|swapped|both",
            default="written",
            choices=("written", "swapped", "both"),
        ),
    )

    def turned(self, material: Material, wish: tuple[bool, ...]) -> Iterator[Material]:
        written = material.phrase
        if written is None:
            return
        for swapped in wish:
            phrase = written.swapped() if swapped else written
            lead = phrase.lead
            moved = Moved(
                self.name,
                int(swapped),
                aside=_LEADS[lead] if swapped or len(wish) > 1 else "",
                does=f"is led by the {_HANDS[lead]}" if swapped and lead else "",
                columns=(("lead", lead),),
                thing="which hand leads",
            )
            # One that has a name, or that no hand leads, is said as written.
            said = write_sticking(phrase) if swapped and lead and material.typed else material.said
            yield material.then(moved, phrase=phrase, said=said)
