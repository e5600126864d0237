"""How the tempos of a drill rise and fall."""

from fractions import Fraction
from math import ceil

from midiforge.drill.drill import Drill, Practice
from midiforge.drill.values import FASTEST, SLOWEST, slowest_tempo
from midiforge.frozen import frozen
from midiforge.hear.figures import begun_at
from midiforge.hear.limits import NOTICED
from midiforge.practice.entry import Entry

AS_ASKED = 0.015  # as a share; whoever plays to a click is no further from it, ours
SAME_TEMPO = 0.006  # as a share; tempos nearer than this are the same, as in reviews


@frozen
class Steps:
    """How a drill's tempos rise and fall.

    tempos: of the drill, the slowest first. lowest: how far down it goes, half the slowest.
    """

    tempos: tuple[Fraction, ...]
    goal: Fraction
    lowest: Fraction
    share: Fraction | None

    @classmethod
    def of(cls, drill: Drill) -> "Steps":
        tempos = tuple(sorted(drill.tempos))
        goal = drill.practice.goal or tempos[-1]
        first = min(tempos[0], goal)
        lowest = max(ceil(first / 2), slowest_tempo(drill.meter), SLOWEST)
        return cls(tempos, goal, min(first, Fraction(lowest)), drill.practice.up)

    @property
    def first(self) -> Fraction:
        """Where to begin."""
        return min(self.tempos[0], self.goal)

    def meant(self, entry: Entry) -> Fraction:
        """The tempo that somebody meant: the one that was asked, if it was played so, or begun so
        by who then rushes or drags; else the drill's, or a whole one."""
        began, first, last = entry.tempo, entry.first_third, entry.last_third
        if first and last and abs(last / first - 1) >= NOTICED:
            began = begun_at((first, last))
        if entry.asked and any(
            abs(tempo - entry.asked) <= AS_ASKED * entry.asked
            for tempo in (entry.tempo, first or entry.tempo, began)
        ):
            return Fraction(entry.asked).limit_denominator(1000)
        drills = (t for t in (*self.tempos, self.goal) if abs(began - t) <= SAME_TEMPO * t)
        return next(drills, _whole(Fraction(began)))

    def faster(self, tempo: Fraction) -> Fraction:
        """One step up, not past the goal."""
        if self.share is None:
            wish = min((other for other in self.tempos if other > tempo), default=self.goal)
        else:
            wish = max(_whole(tempo * (1 + self.share)), tempo + 1)
        return max(tempo, min(wish, self.goal, Fraction(FASTEST)))

    def slower(self, tempo: Fraction) -> Fraction:
        """One step down, not below the lowest."""
        share = self.share or Practice().up or Fraction(0)
        if self.share is None and tempo > self.tempos[0]:
            wish = max(other for other in self.tempos if other < tempo)
        else:
            wish = min(_whole(tempo / (1 + share)), tempo - 1)
        return min(tempo, max(wish, self.lowest))


def _whole(tempo: Fraction) -> Fraction:
    return Fraction(int(tempo + Fraction(1, 2)))
