"""Lead: the hands as written, changed over, or each in turn."""

from collections.abc import Iterator, Mapping

from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.hit import HANDS
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.phrase.sticking import write_sticking

_LEADS = {"R": "right lead", "L": "left lead", "": "hands changed over"}
_HANDS = {hand.letter: hand.title for hand in HANDS}


class Lead(Move[tuple[bool, ...]]):
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

    def read(self, keys: KeyReader, meter: Meter) -> tuple[bool, ...]:  # noqa: ARG002
        return keys.both("lead", "written", "swapped")

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
            )
            # One that has a name, or that no hand leads, is said as written.
            said = write_sticking(phrase) if swapped and lead and material.typed else material.said
            yield material.then(moved, phrase=phrase, said=said)

    def many(self, material: Material, wish: tuple[bool, ...]) -> Mapping[str, int]:  # noqa: ARG002
        return {"lead": len(wish)}
