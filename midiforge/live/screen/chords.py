"""The chord of the moment, and what comes after it."""

from bisect import bisect_right

from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise


class Chords:
    """What an exercise is played to, by time in quarter notes as played."""

    def __init__(self, exercise: Exercise) -> None:
        self._begins = [float(exercise.swing.played(mark.time)) for mark in exercise.chords]
        self._symbols = [mark.symbol or NO_CHORD for mark in exercise.chords]
        self._seam = self._index(float(exercise.loop_start))

    def at(self, time: float, again: bool) -> tuple[str, str]:
        """The chord at a time and the next that is another; "" for none.

        Before the beginning it is the first. again: whether the seam leads back this time.
        """
        here = self._index(time)
        now, *following = self._symbols[here:] or [""]
        if again:
            following += self._symbols[self._seam :]
        return now, next((symbol for symbol in following if symbol != now), "")

    def _index(self, time: float) -> int:
        return max(bisect_right(self._begins, time + 1e-6) - 1, 0)
