"""Some of a drill's exercises, by their numbers."""

from collections.abc import Callable

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.lesson.lesson import exercises
from midiforge.lesson.variants import Dropped
from midiforge.model.exercise import Exercise
from midiforge.model.number import Chooser, read_spans


def chosen_exercises(
    drill: Drill, only: str = "", dropped: Callable[[Dropped], None] | None = None
) -> list[Exercise]:
    """The exercises of a drill that `only` names by number, as "3,5-8,9b"; all of them for "".

    dropped: told of every variant that comes out the same as an earlier one.
    Raises MidiforgeError if there is none, or one of the numbers names none.
    """
    chooser = chooser_of(only)
    chosen = [each for each in exercises(drill, dropped) if chooser.takes(each.number)]
    check_chosen(chooser)
    if not chosen:
        raise MidiforgeError("there is no exercise", drill.source)
    return chosen


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
