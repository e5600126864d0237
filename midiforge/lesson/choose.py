"""Some of a drill's exercises, by their numbers."""

import re
from collections.abc import Callable

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, quoted
from midiforge.lesson.lesson import exercises
from midiforge.lesson.variants import Dropped
from midiforge.model.exercise import Exercise

_ONLY, _SUCH_AS = "only", "such as 3,5-8"


def chosen_exercises(
    drill: Drill, only: str = "", dropped: Callable[[Dropped], None] | None = None
) -> list[Exercise]:
    """The exercises of a drill that `only` names by number, as "3,5-8"; all of them for "".

    dropped: told of every variant that comes out the same as an earlier one.
    Raises MidiforgeError if there is none.
    """
    wanted = wanted_numbers(only)
    chosen = [each for each in exercises(drill, dropped) if wanted is None or wanted(each)]
    if not chosen and wanted:
        raise WrongArgument(f"there is no exercise {only.strip()}", _ONLY)
    if not chosen:
        raise MidiforgeError("there is no exercise", drill.source)
    return chosen


def says_how_often(drill: Drill, exercise: Exercise) -> bool:
    """Whether the drill has one of its exercises go round more than once."""
    own = drill.running[exercise.order - 1].repeats if drill.running else 0
    return (own or drill.repeats) > 1


def wanted_numbers(only: str) -> Callable[[Exercise], bool] | None:
    """Whether an exercise is among those that `only` names; None for ""."""
    wanted = _numbers(only)
    if not wanted:
        return None
    return lambda each: any(each.order in numbers for numbers in wanted)


def _numbers(text: str) -> list[range]:
    """The numbers that "3,5-8" names."""
    found = []
    parts = [part.strip() for part in text.split(",")]
    if text and not any(parts):
        raise WrongArgument(f"{quoted(text)} names no exercise", _ONLY, hint=_SUCH_AS)
    for part in filter(None, parts):
        match = re.fullmatch(r"([0-9]{1,6})(?:\s*-\s*([0-9]{1,6}))?", part)
        if not match:
            raise WrongArgument(f"{quoted(part)} is not a number", _ONLY, hint=_SUCH_AS)
        if match[2] and int(match[2]) < int(match[1]):
            hint = f"{match[2]}-{match[1]}"
            raise WrongArgument(f"{quoted(part)} runs backward", _ONLY, hint=hint)
        found.append(range(int(match[1]), int(match[2] or match[1]) + 1))
    return found
