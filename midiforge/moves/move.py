"""What a move is: something that turns a drill's material over, and how that is told."""

from collections.abc import Iterable, Iterator, Mapping
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

    name: of the sticking, or its letters as typed; typed: whether they are. said: as titles say it.
    phrase: from the first downbeat on; None where the drill has only feet and layers.
    size: its steps before any move. steps: to a beat. step: in quarter notes.
    feet: the foot patterns. layers: the lines beside them.
    late: grid steps by which the phrase is placed later; entry: those of them that stay silent the
        first time through.
    clash: why it cannot be played; "" if it can.
    """

    meter: Meter
    name: str
    said: str
    phrase: Phrase | None
    size: int
    steps: int
    feet: tuple[Line, ...]
    layers: tuple[Line, ...] = ()
    late: int = 0
    entry: int = 0
    moved: tuple[Moved, ...] = ()
    clash: str = ""
    typed: bool = False

    @property
    def step(self) -> Fraction:
        return self.meter.beat / self.steps

    @property
    def variant(self) -> Variant:
        lead = self.phrase.placed(-self.late).lead if self.phrase else ""
        return Variant(self.name, self.said, lead, self.moved)

    def then(self, moved: Moved, **changes: Any) -> "Material":
        """The material changed, and what changed it."""
        return replace(self, moved=(*self.moved, moved), **changes)


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

    def many(self, material: Material, wish: Wish) -> Mapping[str, int]:
        """How many ways that are, by the key that makes them."""
        raise NotImplementedError


def turned_over(material: Material, moves: Iterable[tuple[Move[Any], Any]]) -> Iterator[Material]:
    """The material through one move after the other; the last one changes fastest."""
    turned: Iterator[Material] = iter((material,))
    for move, wish in moves:
        turned = _each_turned(turned, move, wish)
    return turned


def _each_turned(materials: Iterator[Material], move: Move[Any], wish: Any) -> Iterator[Material]:
    for material in materials:
        yield from move.turned(material, wish)
