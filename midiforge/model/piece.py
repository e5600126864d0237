"""A piece: music that is the same at several tempos."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from midiforge.model.exercise import Exercise
from midiforge.model.number import exercises_said, numbers_said


@dataclass(frozen=True, slots=True)
class Piece:
    """The exercises of one number, which differ in nothing but tempo; at least one.

    A piece of which only some tempos are chosen has those.
    """

    exercises: tuple[Exercise, ...]

    @property
    def exercise(self) -> Exercise:
        """The first of them, for what all have in common."""
        return self.exercises[0]

    @property
    def title(self) -> str:
        return self.exercise.title

    @property
    def fastest(self) -> Exercise:
        """The exercise that gets fastest."""
        return max(self.exercises, key=lambda each: each.tempo.last)

    @property
    def number(self) -> str:
        """ "3"; "3b" or "3b-c" where not all its tempos are chosen; "" for none."""
        return numbers_said(each.number for each in self.exercises)

    @property
    def numbered(self) -> str:
        """ "exercise 3", "exercises 3b-c"."""
        return exercises_said(each.number for each in self.exercises)

    def at(self, tempo: float, nearer: float = 0.0) -> Exercise:
        """The exercise whose tempo is nearest; the first of several.

        nearer: tempos that differ less, as a share, are one.
        """

        def away(each: Exercise) -> float:
            apart = abs(float(each.tempo.first) / tempo - 1)
            return round(apart / nearer) if nearer else apart

        return min(self.exercises, key=away)


def tempo_said(exercise: Exercise) -> str:
    """A tempo of a piece, behind its letter where there are several: "b 76", "60 to 84"."""
    tempo = str(exercise.tempo).removesuffix(" bpm")
    return f"{exercise.number.letter} {tempo}".lstrip()


def pieces(exercises: Iterable[Exercise]) -> Iterator[Piece]:
    """Exercises in running order as pieces: those of one number together."""
    some: list[Exercise] = []
    for each in exercises:
        if some and (not each.number or each.number.piece != some[-1].number.piece):
            yield Piece(tuple(some))
            some = []
        some.append(each)
    if some:
        yield Piece(tuple(some))
