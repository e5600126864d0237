"""A whole lesson: every variant, every stage, every tempo, in running order."""

from collections.abc import Callable, Iterator
from itertools import chain

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, argument
from midiforge.lesson.outline import LeftOut, Outline, outlines
from midiforge.lesson.size import check_size, most_pieces
from midiforge.model.exercise import Exercise
from midiforge.model.number import Chooser, read_named, read_spans
from midiforge.model.piece import Piece

Progress = Callable[[int], None]


class Lesson:
    """The exercises of a drill: made one at a time as they are asked for, and none twice the same.

    What is asked for by number is made alone: `lesson["13b"]`, `lesson.select("3,5-8")`.

    Raises MidiforgeError, naming the drill's file, for more exercises than a lesson may have, and
    where music is made for music that cannot be played.
    """

    def __init__(self, drill: Drill) -> None:
        self.drill = drill
        check_size(drill)

    @property
    def digits(self) -> int:
        """Of its numbers, so that names of files sort."""
        return max(2, len(str(most_pieces(self.drill))))

    def outlines(self, left_out: Callable[[LeftOut], None] | None = None) -> Iterator[Outline]:
        """Its pieces before they are written out, in running order.

        left_out: told of every variant that makes no exercises.
        """
        return outlines(self.drill, left_out)

    @property
    def pieces(self) -> Iterator[Piece]:
        """Its pieces."""
        return (outline.piece() for outline in self.outlines())

    def __iter__(self) -> Iterator[Exercise]:
        return chain.from_iterable(self.by_piece())

    def __getitem__(self, number: str | int) -> Exercise:
        """An exercise by its number, "3b"; of a piece, "3", the first."""
        try:
            return self.select(str(read_named(str(number))))[0]
        except WrongArgument as error:
            raise MidiforgeError(error.what, hint=error.hint) from None

    def select(
        self,
        only: str | int = "",
        left_out: Callable[[LeftOut], None] | None = None,
        progress: Progress | None = None,
        parameter: str = "only",
    ) -> list[Exercise]:
        """The exercises that `only` names by number, as a list; see `by_piece`."""
        return [*chain.from_iterable(self.by_piece(only, left_out, progress, parameter))]

    def by_piece(
        self,
        only: str | int = "",
        left_out: Callable[[LeftOut], None] | None = None,
        progress: Progress | None = None,
        parameter: str = "only",
    ) -> Iterator[tuple[Exercise, ...]]:
        """The exercises that `only` names by number, as "3,5-8,9b", those of a piece together; all
        of them for "".

        left_out: told of every variant that makes no exercises. progress: told how many exercises
        have gone by. parameter: that `only` was given as.
        Raises MidiforgeError in the end if there is none, or one of the numbers names none.
        """
        with argument(parameter):
            chooser = Chooser(read_spans(str(only)))
        count, why = 0, list[str]()

        def tell(variant: LeftOut) -> None:
            if not why:
                why.append(str(variant))
            if left_out:
                left_out(variant)

        for outline in self.outlines(tell):
            wanted = [number for number in outline.numbers if chooser.takes(number)]
            if wanted:
                exercises = outline.exercises()
                yield tuple(exercise for exercise in exercises if exercise.number in wanted)
            elif chooser.is_done(outline.numbers[0]):
                break
            count += len(outline.numbers)
            if progress:
                progress(count)
        with argument(parameter):
            chooser.check()
        if not count:
            raise MidiforgeError("there is no exercise", self.drill.source, hint="".join(why[:1]))
