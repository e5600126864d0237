"""What a move is: something that turns a drill's material over, and how that is told."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, ClassVar, Generic, TypeVar

from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved, Variant
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Phrase

Wish = TypeVar("Wish")


@frozen
class Material:
    """A drill's material moved some way, ready for the next move and in the end for every stage.

    steps: to a beat. step: in quarter notes.
    feet: the foot patterns. layers: the lines beside them.
    phrase: from the first downbeat on; None where the drill has only feet and layers.
    size: its steps before any move. name: of the sticking, or its letters as typed; typed: whether
    they are. said: as titles say it.
    late: grid steps by which the phrase is placed later; entry: those of them that stay silent the
        first time through.
    clash: why it cannot be played; "" if it can.
    """

    meter: Meter
    steps: int
    feet: tuple[Line, ...]
    layers: tuple[Line, ...] = ()
    phrase: Phrase | None = None
    size: int = 1
    name: str = ""
    said: str = ""
    typed: bool = False
    late: int = 0
    entry: int = 0
    moved: tuple[Moved, ...] = ()
    clash: str = ""

    @property
    def step(self) -> Fraction:
        return self.meter.beat / self.steps

    @property
    def variant(self) -> Variant:
        lead = self.phrase.placed(-self.late).lead if self.phrase else ""
        return Variant(self.name, self.said, lead, self.moved)

    def then(self, *moved: Moved, **changes: Any) -> "Material":
        """The material changed, and what changed it."""
        return replace(self, moved=(*self.moved, *moved), **changes)


class Move(Generic[Wish]):
    """One way to turn material over: all there is to know of it.

    name: as `Moved.move` has it. keys: of the drill. columns: of a lesson's index.
    of_feet: whether it moves what the feet repeat, and so a drill without a sticking, too.
    """

    name: ClassVar[str]
    keys: ClassVar[tuple[Key, ...]] = ()
    columns: ClassVar[tuple[str, ...]] = ()
    of_feet: ClassVar[bool] = False

    def read(self, keys: KeyReader, meter: Meter) -> Wish:
        """What a drill wishes; raises MidiforgeError that names the key."""
        raise NotImplementedError

    def turned(self, material: Material, wish: Wish) -> Iterator[Material]:
        """The material in every way that is wished, in teaching order."""
        raise NotImplementedError

    def many(self, material: Material, wish: Any) -> Mapping[str, int]:  # noqa: ARG002
        """How many ways that are, by the key that makes them."""
        return {key.name: len(wish) for key in self.keys}


def turned_over(material: Material, moves: Sequence[tuple[Move[Any], Any]]) -> Iterator[Material]:
    """The material through one move after the other; the last one changes fastest."""
    if not moves:
        yield material
        return
    *before, (move, wish) = moves
    for earlier in turned_over(material, before):
        yield from move.turned(earlier, wish)
