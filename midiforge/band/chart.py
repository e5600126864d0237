"""What bass and chords play from: chords over a stretch of bars, and the figures played to them."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, pairwise
from math import ceil
from operator import attrgetter
from typing import NamedTuple

from midiforge.band.chord import Change, Chord, Progression
from midiforge.library.band import Figure
from midiforge.model.band import ChordMark
from midiforge.model.meter import Meter

REST, HOLD = ".", "-"
_AHEAD = "nNOI"  # marks that play the chord of the next beat


class Attack(NamedTuple):
    """One note or chord of a figure: when, for how long (quarter notes), and its mark.

    of: a moment of the chord that it plays.
    goes_on: whether it is the rest of one that a change of chord broke.
    at_top: whether it is the rest of one that the seam broke: of the chord that begins there,
    whatever its mark says.
    """

    time: Fraction
    length: Fraction
    mark: str
    of: Fraction = Fraction(0)
    goes_on: bool = False
    at_top: bool = False

    @property
    def end(self) -> Fraction:
        return self.time + self.length


@dataclass(frozen=True)
class Chart:
    """Chords over `length` quarter notes, from time 0, which a loop goes back to.

    form: after how many quarter notes figures are begun anew.
    """

    progression: Progression
    meter: Meter
    form: Fraction
    length: Fraction

    @cached_property
    def changes(self) -> list[Change]:
        """Those of the progression, again and again."""
        once, size = self.progression.changes, self.progression.length
        rounds = (number * size for number in range(ceil(self.length / size)))
        changes = (change._replace(time=start + change.time) for start in rounds for change in once)
        return [change for change in changes if change.time < self.length]

    @cached_property
    def turns(self) -> list[Fraction]:
        """When another chord begins; not when the same one is written again."""
        pairs = pairwise([self.changes[-1], *self.changes])
        return [new.time for old, new in pairs if new.time == 0 or new.chord != old.chord]

    @property
    def marks(self) -> Iterator[ChordMark]:
        """The chord symbols, each until the next."""
        ends = [*(change.time for change in self.changes[1:]), self.length]
        for (time, _, symbol), end in zip(self.changes, ends, strict=True):
            yield ChordMark(time, end - time, symbol)

    def place(self, time: Fraction) -> int:
        """Which change is the last up to a time; before 0 and after the end it goes round."""
        return bisect_right(self.changes, time % self.length, key=attrgetter("time")) - 1

    def chord(self, time: Fraction) -> Chord | None:
        """The chord that sounds at a time, likewise."""
        return self.changes[self.place(time)].chord

    def began(self, time: Fraction) -> Fraction:
        """When the chord of a time began, in the loop."""
        return self.turns[bisect_right(self.turns, time % self.length) - 1]

    def ends(self, time: Fraction) -> Fraction:
        """When the chord of a time ends, at the latest with the loop."""
        after = bisect_right(self.turns, time)
        return self.turns[after] if after < len(self.turns) else self.length

    def next_beat(self, time: Fraction) -> Fraction:
        """The first beat after a time."""
        bar, within = divmod(time, self.meter.bar)
        ends = accumulate(self.meter.beat_lengths)
        return bar * self.meter.bar + next(end for end in ends if end > within)

    def attacks(self, figure: Figure) -> list[Attack]:
        """A figure again and again, begun anew with every form and ended with what it has for the
        last bar of one.

        What would be held over the end is ended there. Unless the figure rests at the top it is
        struck anew at 0: so the top of the form can be heard, and the first time has it too.
        """
        size = ceil(self.form / figure.step)
        once = (figure.pattern * (size // len(figure.pattern) + 1))[: size - len(figure.last)]
        once += figure.last
        steps = ceil(self.length / figure.step)
        attacks = _attacks((once * (steps // size + 1))[:steps], figure.step)
        if not attacks:
            return []
        first, last = attacks[0].time, attacks[-1]
        left = min(last.end - self.length, first, self.length)
        again = left > 0 and not figure.rests_at_top
        top = [Attack(Fraction(0), left, last.mark, at_top=True)] if again else []
        attacks[-1] = last._replace(length=min(last.length, self.length - last.time))
        return top + attacks

    def broken(self, attacks: Iterable[Attack]) -> Iterator[Attack]:
        """The attacks, struck again where another chord begins within them."""
        for attack in attacks:
            inside = slice(
                bisect_right(self.turns, attack.time), bisect_left(self.turns, attack.end)
            )
            for time, end in pairwise([attack.time, *self.turns[inside], attack.end]):
                yield attack._replace(time=time, length=end - time, goes_on=time > attack.time)

    def played(self, attacks: Iterable[Attack]) -> list[Attack]:
        """The attacks, broken and told which chord they play; what is held into the chord that it
        anticipates is one attack."""
        played: list[Attack] = []
        for attack in self.broken(attacks):
            if attack.goes_on and attack.time == played[-1].of == played[-1].end:
                played[-1] = played[-1]._replace(length=played[-1].length + attack.length)
                continue
            ahead = attack.mark in _AHEAD and not (attack.at_top or attack.goes_on)
            of = self.next_beat(attack.time) if ahead else attack.time
            played.append(attack._replace(of=of))
        return played


def _attacks(marks: str, step: Fraction) -> list[Attack]:
    """The attacks of one time through marks, one a step.

    What is held at the beginning is the end of the last attack, which goes round.
    """
    size = len(marks)
    attacks = []
    for i, mark in enumerate(marks):
        if mark in (REST, HOLD):
            continue
        held = 1
        while held < size and marks[(i + held) % size] == HOLD:
            held += 1
        attacks.append(Attack(i * step, held * step, mark))
    return attacks
