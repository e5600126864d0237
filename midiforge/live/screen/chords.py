"""The chord of the moment, and it and others in letters that can be read from the drums."""

from bisect import bisect_right

from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise

HIGH = 5


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


_DRAWN = """
A    B    C    D    E    F    G    M      N     a    b    d    g    i
.#.  ##.  .##  ##.  ###  ###  .##  #...#  #..#  ...  #..  ..#  .##  #
#.#  #.#  #..  #.#  #..  #..  #..  ##.##  ##.#  .##  #..  ..#  #.#  .
###  ##.  #..  #.#  ##.  ##.  #.#  #.#.#  #.##  #.#  ##.  .##  .##  #
#.#  #.#  #..  #.#  #..  #..  #.#  #...#  #..#  #.#  #.#  #.#  ..#  #
#.#  ##.  .##  ##.  ###  #..  .##  #...#  #..#  .##  ##.  .##  ##.  #

j   l  m      o    s    t    u    0    1   2    3    4    5    6
.#  #  .....  ...  .##  .#.  ...  ###  .#  ##.  ##.  #.#  ###  .##
..  #  .....  ###  #..  ###  #.#  #.#  ##  ..#  ..#  #.#  #..  #..
.#  #  ##.#.  #.#  .#.  .#.  #.#  #.#  .#  .#.  .#.  ###  ##.  ##.
.#  #  #.#.#  #.#  ..#  .#.  #.#  #.#  .#  #..  ..#  ..#  ..#  #.#
#.  #  #.#.#  ###  ##.  .##  .##  ###  .#  ###  ##.  ..#  ##.  .#.

7    8    9    #      +    -    /    (   )   .  ,
###  .#.  .#.  .#.#.  ...  ...  ..#  .#  #.  .  ..
..#  #.#  #.#  #####  .#.  ...  ..#  #.  .#  .  ..
.#.  .#.  .##  .#.#.  ###  ###  .#.  #.  .#  .  ..
.#.  #.#  ..#  #####  .#.  ...  #..  #.  .#  .  .#
.#.  .#.  ##.  .#.#.  ...  ...  #..  .#  #.  #  #.
"""
_LETTERS = {" ": [".."] * HIGH} | {
    letter: rows
    for block in _DRAWN.split("\n\n")
    for letter, *rows in zip(*map(str.split, block.strip().splitlines()), strict=True)
}


def large(text: str, width: int) -> list[str]:
    """The text in large letters as rows of "#" and spaces, as wide as there is room; [] where
    there is no room, or no letter for one of its letters."""
    if not text or not _LETTERS.keys() >= {*text}:
        return []
    letters = (_LETTERS[letter] for letter in text)
    rows = [" ".join(row).replace(".", " ") for row in zip(*letters, strict=True)]
    wide = 2 if 2 * len(rows[0]) <= width else 1
    if wide * len(rows[0]) > width:
        return []
    return ["".join(pixel * wide for pixel in row) for row in rows]
