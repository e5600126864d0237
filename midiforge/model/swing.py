"""Swing: pairs of equal notes played long and short."""

import re
from fractions import Fraction

from midiforge.errors import MidiforgeError, quoted
from midiforge.frozen import frozen

STRAIGHT = _HALF = Fraction(1, 2)  # the share of the first of two equal notes


@frozen
class Swing:
    """How far the second note of each pair is put back.

    pair: the length of the two notes together, in quarter notes.
    share: the first note's share of the pair: 1/2 is straight, 2/3 is triplet swing.
    bar: of a meter in which pairs are counted from each bar line, in quarter notes; 0 for none.
        What is left of a bar behind its last whole pair stays straight.
    """

    pair: Fraction
    share: Fraction
    bar: Fraction = Fraction(0)

    @property
    def is_straight(self) -> bool:
        """Whether notes are played as written."""
        return self.share == _HALF

    def moves(self, grid: Fraction) -> bool:
        """Whether a line on a grid of such steps swings: if they are halves, quarters, eighths
        ... of a pair. Nobody swings triplets, sextuplets or quintuplets, nor the stroke of theirs
        that would fall in the middle of a pair."""
        return not self.is_straight and _halves(grid / self.pair)

    def played(self, time: Fraction, grid: Fraction = Fraction(0)) -> Fraction:
        """Where a written time is played; both in quarter notes, both exact.

        grid: the steps of the line that it belongs to; 0 for the grid of halves that it lies on,
            if it lies on one. On one grid, order and distance are kept: no two times meet.
        """
        if not self.moves(grid):
            return time
        begun = time // self.bar * self.bar if self.bar else Fraction(0)
        turn, within = divmod((time - begun) / self.pair, 1)
        if not _halves(within):
            return time
        if self.bar and (turn + 1) * self.pair > self.bar:
            return time
        if within < _HALF:
            played = within * 2 * self.share
        else:
            played = self.share + (within - _HALF) * 2 * (1 - self.share)
        return begun + (turn + played) * self.pair


def _halves(share: Fraction) -> bool:
    """Whether the denominator is a power of two."""
    return not share.denominator & (share.denominator - 1)


def read_ratio(text: str) -> Fraction:
    """The first note's share of a pair, from a ratio of long to short such as "2:1"."""
    match = re.fullmatch(r"\s*([0-9]{1,4})\s*:\s*([0-9]{1,4})\s*", text)
    if not match or not int(match[2]) or not 1 <= Fraction(int(match[1]), int(match[2])) <= 9:
        raise MidiforgeError(
            f"{quoted(text)} is not a swing ratio", hint="long to short, from 1:1 (straight) to 9:1"
        )
    return Fraction(int(match[1]), int(match[1]) + int(match[2]))
