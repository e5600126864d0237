"""What is told to whoever watches a player: a screen, a recording."""

from collections.abc import Callable
from dataclasses import dataclass

from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.route import Place
from midiforge.model.tempo import plain


@dataclass(slots=True)
class Watcher:
    """What the player tells others while it plays; each may do nothing.

    bar: a bar begins. began: the same with when it began, on the clock, and whether straight after
        the bar before; told once something of it has sounded.
    moment: something sounded, `at` quarter notes into the bar.
    idle: there is time to spare, in nanoseconds. say: something to be read.
    made: an exercise was made ready, ahead of its time; from any thread.
    """

    bar: Callable[[Place], None] = lambda _: None
    began: Callable[[Place, int, bool], None] = lambda *_: None
    moment: Callable[[float], None] = lambda _: None
    idle: Callable[[int], None] = lambda _: None
    say: Callable[[str], None] = lambda _: None
    made: Callable[[PlayableExercise], None] = lambda _: None


def plain_line(place: Place) -> str:
    """The exercise that begins, for a screen that is none: its tempo, how often it goes round, and
    how long that takes."""
    exercise = place.playable.exercise
    tempo = plain(place.playable.bars[0].tempo)
    lasting = "for ever"
    if place.times:
        lasting = f"{float(exercise.lasting(place.times)):.0f} s"
        if place.times > 1:
            lasting = f"{place.times} times, {lasting}"
    return f"{exercise.number}. {exercise.title}, {tempo} bpm, {lasting}"
