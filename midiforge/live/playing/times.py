"""How often exercises go round."""

from collections.abc import Callable

from midiforge.model.exercise import Exercise

LEAST_BARS = 4  # that an exercise lasts where nobody says how often: one bar is over too soon

# How often an exercise goes round; 0 for ever.
Times = Callable[[Exercise], int]


def always(times: int) -> Times:
    """Each exercise so often."""
    return lambda _: times


def four_bars(exercise: Exercise) -> int:
    """As often as makes four bars at least."""
    return max(1, -(-(LEAST_BARS - exercise.loop_bar) // exercise.loop_bars))
