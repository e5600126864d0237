"""A phrase: strokes on equal grid steps, and how it is turned and moved."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from midiforge.frozen import frozen
from midiforge.model.hit import HANDS, Limb, Strength

T = TypeVar("T")


@frozen
class Stroke:
    """One stroke of a sticking.

    grace: how many grace notes of the other hand come before it (1 flam, 2 drag).
    """

    limb: Limb
    strength: Strength = Strength.TAP
    grace: int = 0
    buzz: bool = False


Step = tuple[Stroke, ...]  # what sounds together on one grid step; () is a rest


@frozen
class Phrase:
    """Strokes on equal grid steps, repeating. Moving a phrase gives a new one.

    name: the rudiment's name, or the sticking as typed.
    """

    name: str
    steps: tuple[Step, ...]

    def __len__(self) -> int:
        return len(self.steps)

    @property
    def period(self) -> int:
        """The fewest steps after which it repeats itself; divides its length."""
        return period(self.steps)

    def placed(self, late: int) -> "Phrase":
        """Begun `late` steps later, its end wrapped round to the front."""
        return replace(self, steps=rotated(self.steps, late))

    def reversed(self) -> "Phrase":
        """Last step first; grace notes stay before their strokes."""
        return replace(self, steps=self.steps[::-1])

    def swapped(self) -> "Phrase":
        """The hands changed over; feet stay."""

        def swap(stroke: Stroke) -> Stroke:
            return replace(stroke, limb=stroke.limb.opposite) if stroke.limb.is_hand else stroke

        return self.mapped(swap)

    def mapped(self, change: Callable[[Stroke], Stroke]) -> "Phrase":
        """With every stroke changed."""
        return replace(self, steps=tuple(tuple(map(change, step)) for step in self.steps))

    def only(self, limbs: frozenset[Limb]) -> "Phrase":
        """Without the strokes and grace notes of other limbs."""

        def kept(step: Step) -> Iterator[Stroke]:
            for stroke in step:
                if stroke.limb in limbs:
                    alone = stroke.grace and stroke.limb.opposite not in limbs
                    yield replace(stroke, grace=0) if alone else stroke

        return replace(self, steps=tuple(tuple(kept(step)) for step in self.steps))

    def unaccented(self, limbs: frozenset[Limb] = frozenset(Limb)) -> "Phrase":
        """The accents of `limbs` played as taps; ghosts stay."""

        def tap(stroke: Stroke) -> Stroke:
            accented = stroke.strength is Strength.ACCENT and stroke.limb in limbs
            return replace(stroke, strength=Strength.TAP) if accented else stroke

        return self.mapped(tap)

    @property
    def accents(self) -> tuple[bool, ...]:
        """For each step, whether a hand's stroke on it is accented."""
        return tuple(
            any(s.strength is Strength.ACCENT and s.limb.is_hand for s in step)
            for step in self.steps
        )

    @property
    def lead(self) -> str:
        """The hand of the first hand stroke, "R" or "L"; "" if no hand plays."""
        for step in self.steps:
            for stroke in step:
                if stroke.limb in HANDS:
                    return stroke.limb.letter
        return ""

    @property
    def limbs(self) -> frozenset[Limb]:
        """Every limb that plays."""
        return frozenset(stroke.limb for step in self.steps for stroke in step)


@frozen
class Sticking:
    """A phrase and how it likes to be written.

    steps: grid steps to a quarter note that a rudiment is usually written in; 0 for no wish.
    """

    phrase: Phrase
    title: str
    steps: int = 0


def accented(step: Step) -> Step:
    """The step with its hand strokes accented; the strokes of feet stay as they are."""
    return tuple(
        replace(stroke, strength=Strength.ACCENT) if stroke.limb.is_hand else stroke
        for stroke in step
    )


def rotated(items: Sequence[T], late: int) -> tuple[T, ...]:
    """The items begun `late` places later, the end wrapped round to the front."""
    late %= len(items)
    return (*items[len(items) - late :], *items[: len(items) - late])


def period(items: Sequence[T]) -> int:
    """The fewest places by which `items` can be rotated without a change."""
    size = len(items)
    for length in range(1, size // 2 + 1):
        if size % length == 0 and items[length:] == items[:-length]:
            return length
    return size
