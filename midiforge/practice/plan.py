"""Minutes of practice filled from what is to be done next.

    phase     how long                                what
    warm-up   15 per cent, 1 to 10 minutes            the easiest that are known, others each day,
                                                      at first clearly slower than they were good
                                                      at, then faster; of nothing known the easiest
    work      what is left                            what `advice` says to raise, keep, lower or
                                                      begin, in turn
    review    a quarter, where something is due or    due for review, then done; what was played
              done                                    longest ago first
    rest      3 minutes after at most 25 of playing   the hands, the ears and the mind

No exercise comes twice in a row if there is another. One lasts about two minutes and
three at most, and a short one is left after about thirty times round, unless it is the only one;
what takes longer to come round lasts longer. All of these figures are common practice.
An exercise goes round as often as brings it nearest to its time; what is over or under is taken up
by the next, so that the whole comes out within half a minute. The same log, drill and day give the
same plan.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import groupby, islice
from math import ceil, floor
from typing import Any

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.frozen import frozen
from midiforge.insight.difficulty import difficulty
from midiforge.lesson.compose import MOST_STROKES
from midiforge.lesson.lesson import Lesson, Progress
from midiforge.model.number import Number
from midiforge.model.tempo import TempoMap
from midiforge.phrase.cycle import MOST_BARS
from midiforge.practice.advice import advise
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good
from midiforge.practice.standing import WORK, Action, Advice, Group
from midiforge.practice.steps import Steps

LEAST, MOST = 5, 180  # minutes
WARM_UP_SHARE = Fraction(15, 100)
REVIEW_SHARE = Fraction(1, 4)
REST, LONGEST_STRETCH = 180, 25 * 60  # seconds
# Of what it was good at: the first, the second, and all others of a warm-up.
WARM_UP_TEMPOS = (Fraction(70, 100), Fraction(75, 100), Fraction(80, 100))
# Seconds and times round of one exercise, about; half as much again where that comes out even.
USUAL_TURN, USUAL_ROUNDS = 120, 32

_LEAST_WARM_UP, _MOST_WARM_UP = 60, 600
_WARM_UPS = 4  # exercises among which a day's are chosen
_SHORTEST_TURN = 60  # seconds, however short an exercise is
_SHORTEST = 45  # seconds; a shorter piece of a phase goes to its neighbour
_ROUND = 30  # seconds that a turn may be over or under
_MOST_TIMES = 20
_JUDGED = 12  # exercises among which the easiest is looked for


@frozen
class Turn:
    """One piece of a plan.

    phase: "warm-up", "work", "review" or "rest".
    start, seconds: when it begins, and how long it is to last.
    advice: the exercise and what is said of it; None for a rest.
    tempo: pulses a minute; None for an exercise that gets faster by itself.
    repeats: how often it goes round; 0 for as often as the drill writes it.
    times: how often it is played so, with its count-in each time.
    written: how long that lasts; `seconds` unless it does not fit.
    """

    phase: str
    start: Fraction
    seconds: Fraction
    advice: Advice | None = None
    tempo: Fraction | None = None
    repeats: int = 0
    times: int = 1
    written: Fraction = Fraction(0)

    @property
    def end(self) -> Fraction:
        return self.start + self.seconds

    @property
    def number(self) -> Number:
        """Of the exercise in the drill, if there is one at that tempo; else of its piece; of
        none for a rest."""
        if self.advice is None:
            return Number()
        group = self.advice.group
        same = [each.number for each in group.exercises if each.tempo.first == self.tempo]
        return same[0] if same else group.exercise.number.whole

    @property
    def remark(self) -> str:
        """What to do where going round does not fit; "" where it does."""
        if self.written == self.seconds:
            return ""
        word = "stop at" if self.written > self.seconds else "again until"
        return f"{word} {clock(self.end)}"


@frozen
class Plan:
    """Minutes of practice; `turns` in order, one after the other."""

    drill: Drill
    day: date
    minutes: int
    turns: tuple[Turn, ...]

    @property
    def seconds(self) -> Fraction:
        return self.turns[-1].end

    @property
    def numbered(self) -> Iterator[tuple[Turn, tuple[Number, ...]]]:
        """Each turn with the numbers that it has where the plan is played; none for a rest."""
        numbers = iter(self._numbers())
        for turn in self.turns:
            yield turn, tuple(islice(numbers, turn.times if turn.advice else 0))

    def _numbers(self) -> Iterator[Number]:
        """What follows itself shares a number, as `lesson.pieces` has it."""
        played = [turn for turn in self.turns if turn.advice]
        stretches = groupby(played, key=lambda turn: (turn.number.piece, turn.repeats))
        for piece, (_, some) in enumerate(stretches, start=1):
            many = sum(turn.times for turn in some)
            yield from (Number(piece, place, many) for place in range(many))

    @property
    def stretches(self) -> list[tuple[Number, ...]]:
        """The numbers that are played between rests."""
        found: list[tuple[Number, ...]] = [()]
        for turn, numbers in self.numbered:
            if turn.advice is None:
                found.append(())
            else:
                found[-1] += numbers
        return found


def clock(seconds: Fraction | int) -> str:
    """Minutes and seconds: "12:30"."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02}"


def make_plan(
    lesson: Lesson,
    entries: Sequence[Entry],
    day: date,
    minutes: int,
    progress: Progress | None = None,
) -> Plan:
    """A plan for `minutes` minutes, within one.

    entries: of the log, any. progress: told how many exercises were looked at.
    Raises MidiforgeError for fewer than 5 minutes or more than 180, and where nothing is left to
    play because of pain.
    """
    if not LEAST <= minutes <= MOST:
        raise WrongArgument(
            f"{minutes} minutes cannot be planned", "minutes", hint=f"{LEAST} to {MOST}"
        )
    advised = advise(lesson, entries, day, progress)
    filler = _Filler(lesson.drill, advised, day)
    return Plan(lesson.drill, day, minutes, tuple(filler.turns(minutes)))


# How long what lasts


def _stretches(minutes: int) -> list[Fraction]:
    """The times of playing between rests, in seconds: as few as may be, and equal."""
    total = 60 * minutes
    rests = max(0, ceil(Fraction(total + REST, LONGEST_STRETCH + REST)) - 1)
    return [Fraction(total - rests * REST, rests + 1)] * (rests + 1)


def _phases(playing: Fraction, works: bool, reviews: bool) -> list[tuple[str, Fraction]]:
    """How much of the playing each phase gets, in seconds."""
    warm = min(max(playing * WARM_UP_SHARE, Fraction(_LEAST_WARM_UP)), Fraction(_MOST_WARM_UP))
    review = playing * REVIEW_SHARE if reviews else Fraction(0)
    if not works:
        review = playing - warm
    work = playing - warm - review
    return [
        (phase, length)
        for phase, length in (("warm-up", warm), ("work", work), ("review", review))
        if length > 0
    ]


def _pieces(
    stretches: Sequence[Fraction], phases: Sequence[tuple[str, Fraction]]
) -> list[list[tuple[str, Fraction]]]:
    """The phases laid over the stretches; pieces too short to play go to their neighbour."""
    left = [*phases]
    found: list[list[tuple[str, Fraction]]] = []
    for stretch in stretches:
        pieces: list[tuple[str, Fraction]] = []
        room = stretch
        while room > 0 and left:
            phase, length = left.pop(0)
            took = min(room, length)
            pieces.append((phase, took))
            room -= took
            if took < length:
                left.insert(0, (phase, length - took))
        found.append(_no_slivers(pieces))
    return found


def _no_slivers(pieces: list[tuple[str, Fraction]]) -> list[tuple[str, Fraction]]:
    kept: list[tuple[str, Fraction]] = []
    spare = Fraction(0)
    for phase, length in pieces:
        if length < _SHORTEST:
            if kept:
                kept[-1] = (kept[-1][0], kept[-1][1] + length)
            else:
                spare += length
        else:
            kept.append((phase, length + spare))
            spare = Fraction(0)
    return kept or pieces


# What is played


class _Filler:
    """Chooses exercises for the pieces, one after the other."""

    def __init__(self, drill: Drill, found: Sequence[Advice], day: date) -> None:
        self.drill, self.day = drill, day
        self.steps = Steps.of(drill)
        self.good: dict[Group, Fraction] = {}
        for advice in found:
            tempos = [
                Fraction(entry.tempo).limit_denominator(1000)
                for entry in advice.group.entries
                if entry.day <= day and is_good(entry, drill.practice)
            ]
            if tempos:
                self.good[advice.group] = max(tempos)
        allowed = [each for each in found if each.action is not Action.LEAVE]
        if not allowed:
            raise MidiforgeError(
                "there is nothing to play: pain was noted with every exercise of the drill",
                hint="rest; if it stays or comes back, ask a doctor or physiotherapist",
            )
        self.allowed = allowed
        self.pools = {
            "warm-up": self._easy(allowed),
            "work": self._work(allowed),
            "review": self._review(allowed),
        }
        self.taken = dict.fromkeys(self.pools, 0)
        self.alone = len({each.group for each in allowed}) < 2
        self.warmed = 0

    @staticmethod
    def _work(allowed: Sequence[Advice]) -> list[Advice]:
        """What is being worked on, what was played longest ago first; then what is new."""
        open_now = [each for each in allowed if each.action in WORK]
        new = [each for each in allowed if each.action is Action.BEGIN]
        return [*sorted(open_now, key=_last_played), *new]

    @staticmethod
    def _review(allowed: Sequence[Advice]) -> list[Advice]:
        """What is due, then what is done; what was played longest ago first."""
        due = [each for each in allowed if each.action is Action.REVIEW]
        done = [each for each in allowed if each.action in (Action.DONE, Action.GO_ON)]
        return [*sorted(due, key=_last_played), *sorted(done, key=_last_played)]

    def _easy(self, allowed: Sequence[Advice]) -> list[Advice]:
        """Some to warm up with, another one first each day: the easiest known, else the easiest."""
        known = [each for each in allowed if each.group in self.good]
        some = (known or self._work(allowed) or [*allowed])[:_JUDGED]
        easy = sorted(some, key=lambda each: difficulty(each.group.exercise).score)[:_WARM_UPS]
        first = self.day.toordinal() % len(easy)
        return [*easy[first:], *easy[:first]]

    def turns(self, minutes: int) -> Iterator[Turn]:
        stretches = _stretches(minutes)
        works, reviews = bool(self.pools["work"]), bool(self.pools["review"])
        pieces = _pieces(stretches, _phases(sum(stretches, Fraction(0)), works, reviews))
        now, over = Fraction(0), Fraction(0)
        last: Advice | None = None
        for number, stretch in enumerate(pieces):
            if number:
                yield Turn("rest", now, Fraction(REST))
                now += REST
            for phase, length in stretch:
                left, begun = length - over, False
                while left >= _ROUND or (left > 0 and not begun):
                    last, begun = self._next(phase, last), True
                    turn = self._turn(phase, last, now, self._share(phase, last, left))
                    self.warmed += phase == "warm-up"
                    left -= turn.seconds
                    now = turn.end
                    yield turn
                over = -left

    def _next(self, phase: str, last: Advice | None) -> Advice:
        """The next exercise of a phase, in turn; another phase's rather than the same again."""
        for name in dict.fromkeys((phase, "work", "review", "warm-up")):
            pool = self.pools[name]
            for _ in range(min(2, len(pool))):
                found = pool[self.taken[name] % len(pool)]
                self.taken[name] += 1
                if not _same(found, last):
                    return found
        others = (each for each in self.allowed if not _same(each, last))
        found = next(others, self.allowed[0])
        if found.action is Action.LATER:
            return replace(found, action=Action.BEGIN, said="begin, to have two in turn")
        return found

    def _share(self, phase: str, advice: Advice, left: Fraction) -> Fraction:
        """How much of what is left of a phase an exercise gets, in seconds."""
        usual = Fraction(USUAL_TURN)
        tempo = self._tempo(phase, advice)
        if tempo is not None and not self.alone:
            _, once = self._lengths(advice.group, tempo)
            usual = max(min(usual, USUAL_ROUNDS * once), Fraction(_SHORTEST_TURN))
        return left / max(1, round(left / usual))

    def _turn(self, phase: str, advice: Advice, now: Fraction, seconds: Fraction) -> Turn:
        """An exercise for about `seconds`."""
        group = advice.group
        tempo = self._tempo(phase, advice)
        if tempo is None:
            repeats, written = 0, group.exercise.seconds
        else:
            repeats, written = self._repeats(group, tempo, seconds)
        times = min(max(round(seconds / written), 1), _MOST_TIMES)
        written *= times
        fits = abs(written - seconds) <= _ROUND
        length = written if fits else Fraction(max(round(seconds), 1))
        return Turn(phase, now, length, advice, tempo, repeats, times, written)

    def _tempo(self, phase: str, advice: Advice) -> Fraction | None:
        """As advised; to warm up, slower than it was good at, clearly so at first."""
        if advice.group.ramps:
            return None
        tempo = advice.tempo or self.steps.first
        if phase != "warm-up":
            return tempo
        good = self.good.get(advice.group)
        share = WARM_UP_TEMPOS[min(self.warmed, len(WARM_UP_TEMPOS) - 1)]
        slow = Fraction(floor(good * share)) if good else self.steps.first
        return max(min(slow, tempo), self.steps.lowest)

    def _repeats(self, group: Group, tempo: Fraction, seconds: Fraction) -> tuple[int, Fraction]:
        """How often an exercise goes round to last about `seconds`, and how long it then does."""
        exercise, now = group.exercise, self._written(group)
        once = exercise.loop_length / now
        most = min(
            floor((MOST_BARS * exercise.meter.bar - exercise.loop_start) / once),
            MOST_STROKES * now // max(len(exercise.hits) + len(exercise.answers), 1),
        )
        head, turn = self._lengths(group, tempo)
        repeats = max(1, min(round((seconds - head) / turn), most))
        return repeats, head + repeats * turn

    def _lengths(self, group: Group, tempo: Fraction) -> tuple[Fraction, Fraction]:
        """How long it is until an exercise first begins, and how long it goes round, in seconds."""
        exercise = group.exercise
        pace = TempoMap(exercise.meter.pulse, ((Fraction(0), tempo),))
        quarter = pace.quarter(Fraction(1))
        once = exercise.loop_length / self._written(group)
        return (exercise.count_in + exercise.loop_start) * quarter, once * quarter

    def _written(self, group: Group) -> int:
        """How often the drill has it go round."""
        return group.exercise.repeats


def _last_played(advice: Advice) -> tuple[Any, ...]:
    assert advice.last is not None  # it was played, or it would be new
    return (advice.last.when, advice.group.numbers)


def _same(one: Advice, other: Advice | None) -> bool:
    return other is not None and one.group is other.group
