"""The chord of the moment, and it and others in letters that can be read from the drums."""

from bisect import bisect_right
from collections.abc import Sequence

from midiforge.frozen import frozen
from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise


@frozen
class Chords:
    """What is played to, by time: when each begins, in quarter notes as played, and its symbol.

    loop_start: where the seam leads back to.
    """

    begins: Sequence[float]
    symbols: Sequence[str]
    loop_start: float

    def at(self, time: float, again: bool) -> tuple[str, str]:
        """The chord at a time and the next that is another; "" for none.

        Before the beginning it is the first. again: whether the seam leads back this time.
        """
        if not self.symbols:
            return "", ""
        here = self._index(time)
        following = list(self.symbols[here + 1 :])
        if again:
            following += self.symbols[self._index(self.loop_start) :]
        now = self.symbols[here]
        return now, next((each for each in following if each != now), "")

    def _index(self, time: float) -> int:
        return max(bisect_right(self.begins, time + 1e-6) - 1, 0)


def chords_of(exercise: Exercise) -> Chords:
    """The chords of an exercise, swing applied."""
    played = exercise.swing.played
    return Chords(
        [float(played(mark.time)) for mark in exercise.chords],
        [mark.symbol or NO_CHORD for mark in exercise.chords],
        float(exercise.loop_start),
    )


# Letters five pixels high; each row of a letter is a word.
_LETTERS = {
    "A": ".#. #.# ### #.# #.#",
    "B": "##. #.# ##. #.# ##.",
    "C": ".## #.. #.. #.. .##",
    "D": "##. #.# #.# #.# ##.",
    "E": "### #.. ##. #.. ###",
    "F": "### #.. ##. #.. #..",
    "G": ".## #.. #.# #.# .##",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "a": "... .## #.# #.# .##",
    "b": "#.. #.. ##. #.# ##.",
    "d": "..# ..# .## #.# .##",
    "g": ".## #.# .## ..# ##.",
    "i": "# . # # #",
    "j": ".# .. .# .# #.",
    "l": "# # # # #",
    "m": "..... ..... ##.#. #.#.# #.#.#",
    "o": "... ### #.# #.# ###",
    "s": ".## #.. .#. ..# ##.",
    "t": ".#. ### .#. .#. .##",
    "u": "... #.# #.# #.# .##",
    "0": "### #.# #.# #.# ###",
    "1": ".# ## .# .# .#",
    "2": "##. ..# .#. #.. ###",
    "3": "##. ..# .#. ..# ##.",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ##. ..# ##.",
    "6": ".## #.. ##. #.# .#.",
    "7": "### ..# .#. .#. .#.",
    "8": ".#. #.# .#. #.# .#.",
    "9": ".#. #.# .## ..# ##.",
    "#": ".#.#. ##### .#.#. ##### .#.#.",
    "+": "... .#. ### .#. ...",
    "-": "... ... ### ... ...",
    "/": "..# ..# .#. #.. #..",
    "(": ".# #. #. #. .#",
    ")": "#. .# .# .# #.",
    ".": ". . . . #",
    ",": ".. .. .. .# #.",
    " ": ".. .. .. .. ..",
}
HIGH = 5


def large(text: str, width: int) -> list[str]:
    """The text in large letters as rows of "#" and spaces, as wide as there is room; [] where
    there is no room, or no letter for one of its letters."""
    if not text or any(letter not in _LETTERS for letter in text):
        return []
    letters = [_LETTERS[letter].split() for letter in text]
    rows = [" ".join(letter[row] for letter in letters).replace(".", " ") for row in range(HIGH)]
    wide = 2 if 2 * len(rows[0]) <= width else 1
    if wide * len(rows[0]) > width:
        return []
    return ["".join(pixel * wide for pixel in row) for row in rows]
