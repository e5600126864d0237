"""Some of a drill's exercises, by their numbers."""

from collections.abc import Callable, Iterable, Iterator

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.lesson.lesson import exercises
from midiforge.lesson.variants import Dropped
from midiforge.model.exercise import Exercise
from midiforge.model.number import Chooser, read_spans


def chosen_exercises(
    drill: Drill,
    only: str = "",
    dropped: Callable[[Dropped], None] | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[Exercise]:
    """The exercises of a drill that `only` names by number, as "3,5-8,9b"; all of them for "".

    dropped: told of every variant that comes out the same as an earlier one. progress: told how
    many exercises have gone by.
    Raises MidiforgeError if there is none, or one of the numbers names none.
    """
    chooser = chooser_of(only)
    chosen = []
    for each in counted(exercises(drill, dropped), progress):
        if chooser.takes(each.number):
            chosen.append(each)
        elif chooser.is_done(each.number):
            break
    check_chosen(chooser)
    return [*_some(chosen, drill)]


def all_exercises(
    drill: Drill, dropped: Callable[[Dropped], None] | None = None
) -> Iterator[Exercise]:
    """All exercises of a drill as they are made; raises MidiforgeError at the end if none was."""
    return _some(exercises(drill, dropped), drill)


def counted(
    exercises: Iterable[Exercise], progress: Callable[[int], None] | None
) -> Iterator[Exercise]:
    """The exercises; `progress` is told how many have gone by."""
    for count, each in enumerate(exercises, start=1):
        yield each
        if progress:
            progress(count)


def _some(exercises: Iterable[Exercise], drill: Drill) -> Iterator[Exercise]:
    none = True
    for each in exercises:
        none = False
        yield each
    if none:
        raise MidiforgeError("there is no exercise", drill.source)


def chooser_of(only: str, parameter: str = "only") -> Chooser:
    """What chooses the exercises that a parameter names; WrongArgument for what is no number."""
    try:
        return Chooser(read_spans(only))
    except MidiforgeError as error:
        raise WrongArgument(error.what, parameter, hint=error.hint) from None


def check_chosen(chooser: Chooser, parameter: str = "only") -> None:
    """Raises WrongArgument if something that the parameter names is not there."""
    try:
        chooser.check()
    except MidiforgeError as error:
        raise WrongArgument(error.what, parameter, hint=error.hint) from None
