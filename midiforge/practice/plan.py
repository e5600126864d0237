"""Minutes of practice filled from what is to be done next.

    phase     how long                                what
    warm-up   15 per cent, 1 to 10 minutes            the easiest that are known, others each day,
                                                      at first clearly slower than they were good
                                                      at, then faster; of nothing known the easiest
    review    as long as it takes, a quarter at most  what is due, then what is done or safe and
                                                      was not played for days; each once
    work      what is left                            what `advice` says to raise, keep, lower,
                                                      change or begin, in turn: first what is not
                                                      safe yet, then what was played longest ago
    rest      3 minutes after at most 25 of playing   the hands, the ears and the mind

What the log has of the day is practised already: its time is taken off, its warm-up too, and
whatever was played last does not come first. So a plan can be made anew after each take.

No exercise comes twice in a row if there is another. A turn is up to three minutes while an
exercise is new, and shorter once it is safe, when there are more exercises in a plan; short from
the beginning, or five minutes always, if the drill's [practice] says mix = "always", or "never".
Whether mixing helps is not settled: clarinettists did better at what they had practised mixed
(Carter & Grahn, Frontiers in Psychology 7:1251, 2016), violinists at what they had practised in
blocks (Mathias & Goldman, J. of Research in Music Education 72(4), 2025). A short exercise is
begun anew after about forty times round; what takes longer to come round lasts longer. All other
figures are common practice.
An exercise goes round as often as brings it nearest to its time; what is over or under is taken up
by the next, so that the whole comes out within half a minute. The same log, drill and day give the
same plan.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import accumulate, groupby, islice, pairwise, zip_longest
from math import ceil, floor
from typing import Any

from midiforge.drill.drill import Drill, Practice
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.frozen import frozen
from midiforge.insight.difficulty import difficulty
from midiforge.lesson.compose import MOST_STROKES
from midiforge.lesson.lesson import Lesson, Progress
from midiforge.model.number import Number
from midiforge.phrase.cycle import MOST_BARS
from midiforge.practice.advice import advise
from midiforge.practice.entry import Entry
from midiforge.practice.standing import WORK, Action, Advice, Group

LEAST, MOST = 5, 180  # minutes
WARM_UP_SHARE = Fraction(15, 100)
REVIEW_SHARE = Fraction(1, 4)
REST, LONGEST_STRETCH = 180, 25 * 60  # seconds
# Of what it was good at: the first, the second, and all others of a warm-up.
WARM_UP_TEMPOS = (Fraction(70, 100), Fraction(75, 100), Fraction(80, 100))
# Seconds of one turn at most: of what is new and what is safe, and where it is to be so always.
NEW_TURN, SAFE_TURN, REVIEW_TURN, WARM_UP_TURN, LONG_TURN = 180, 150, 120, 150, 300
MOST_ROUNDS = 48  # at a time
FRESH_DAYS = 3  # what was played more lately is not reviewed
PAUSE = timedelta(minutes=10)  # longer between two takes is no practice
MOST_EXERCISES = 6  # that are worked on in one plan; a person has no use for more

_LEAST_WARM_UP, _MOST_WARM_UP = 60, 600
_WARM_UPS = 4  # exercises among which a day's are chosen
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
    """Minutes of practice; `turns` in order, one after the other.

    played: seconds of them that were practised already; of all of them, there are no turns.
    """

    drill: Drill
    day: date
    minutes: int
    turns: tuple[Turn, ...]
    played: Fraction = Fraction(0)

    @property
    def seconds(self) -> Fraction:
        return self.turns[-1].end if self.turns else Fraction(0)

    @property
    def numbered(self) -> Iterator[tuple[Turn, tuple[Number, ...]]]:
        """Each turn with the numbers that it has where the plan is played; none for a rest."""
        numbers = iter(self._numbers())
        for turn in self.turns:
            yield turn, tuple(islice(numbers, turn.times if turn.advice else 0))

    def _numbers(self) -> Iterator[Number]:
        """What follows itself without a rest shares a number, as `Drill.chosen_pieces` has it."""
        pieces = groupby(self.turns, key=lambda turn: (turn.number.piece, turn.repeats))
        played = ([*turns] for (piece, _), turns in pieces if piece)
        for piece, turns in enumerate(played, start=1):
            times = sum(turn.times for turn in turns)
            yield from (Number(piece, place, times) for place in range(times))


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
    """A plan for `minutes` minutes of a day, within one; for what is left of them, after its takes.

    entries: of the log, any. progress: told how many exercises were looked at.
    Raises MidiforgeError for fewer than 5 minutes or more than 180, and where nothing is left to
    play because of pain.
    """
    turns, played = make_turns([lesson], entries, day, minutes, progress)
    return Plan(lesson.drill, day, minutes, turns, played)


def make_turns(
    lessons: Iterable[Lesson],
    entries: Sequence[Entry],
    day: date,
    minutes: int,
    progress: Progress | None = None,
    left: float | None = None,
    without: Collection[tuple[int, int]] = (),
) -> tuple[tuple[Turn, ...], Fraction]:
    """The turns of a plan over several lessons, and how many seconds were practised already.

    left: how many seconds are left, where somebody looks at the clock. without: `Group.pieces` that
    are left out. All else as for `make_plan`.
    """
    if not LEAST <= minutes <= MOST:
        raise WrongArgument(
            f"{minutes} minutes cannot be planned", "minutes", hint=f"{LEAST} to {MOST}"
        )
    advised = [advice for one in lessons for advice in advise(one, entries, day, progress)]
    # What is in two drills has its takes in both.
    of_day = {id(entry): entry for a in advised for entry in a.group.entries if entry.day == day}
    today = sorted(of_day.values(), key=lambda entry: entry.when)
    played = practised(today)
    rest = 60 * minutes - played if left is None else Fraction(round(left))
    if rest < _SHORTEST:
        return (), played
    wanted = [advice for advice in advised if advice.group.pieces.isdisjoint(without)]
    return tuple(_Filler(wanted, day, today).turns(rest, played)), played


def practised(entries: Sequence[Entry]) -> Fraction:
    """How long was practised, in seconds, going by takes, the oldest first: from each to the next,
    or for as long as it is, if the next came much later, or they were reviewed all at once."""
    total, before = 0.0, None
    for entry in entries:
        gap = entry.when - before.when if before else PAUSE
        since = gap.total_seconds() if gap < PAUSE else 0.0
        total += max(since, entry.seconds)
        before = entry
    return Fraction(round(total))


# How long what lasts


def _stretches(total: Fraction) -> list[Fraction]:
    """The times of playing between rests, in seconds: as few as may be, and equal."""
    rests = max(0, ceil(Fraction(total + REST, LONGEST_STRETCH + REST)) - 1)
    return [Fraction(total - rests * REST, rests + 1)] * (rests + 1)


def _phases(
    playing: Fraction, played: Fraction, works: bool, reviews: int
) -> list[tuple[str, Fraction]]:
    """How much of the playing each phase gets, in seconds.

    played: what was practised already. reviews: how many exercises are to be reviewed.
    """
    warm = (playing + played) * WARM_UP_SHARE
    warm = min(max(warm, Fraction(_LEAST_WARM_UP)), Fraction(_MOST_WARM_UP)) - played
    warm = min(warm if warm >= _SHORTEST else Fraction(0), playing)
    review = min(playing * REVIEW_SHARE, Fraction(reviews * REVIEW_TURN))
    if not works and reviews:
        review = playing - warm
    phases = (("warm-up", warm), ("review", review), ("work", playing - warm - review))
    return [(phase, length) for phase, length in phases if length > 0]


def _pieces(
    stretches: Sequence[Fraction], phases: Sequence[tuple[str, Fraction]]
) -> list[list[tuple[str, Fraction]]]:
    """The phases laid over the stretches; pieces too short to play go to their neighbour."""
    ends = [*accumulate(length for _, length in phases)]
    laid = []
    for start, end in pairwise(accumulate(stretches, initial=Fraction(0))):
        pieces = [
            (phase, min(end, last) - max(start, last - length))
            for (phase, length), last in zip(phases, ends, strict=True)
        ]
        laid.append(_no_slivers([(phase, length) for phase, length in pieces if length > 0]))
    return laid


def _no_slivers(pieces: list[tuple[str, Fraction]]) -> list[tuple[str, Fraction]]:
    kept: list[tuple[str, Fraction]] = []
    spare = Fraction(0)
    for phase, length in pieces:
        if length >= _SHORTEST:
            kept.append((phase, length + spare))
            spare = Fraction(0)
        elif kept:
            kept[-1] = (kept[-1][0], kept[-1][1] + length)
        else:
            spare += length
    return kept or pieces


# What is played


class _Filler:
    """Chooses exercises for the pieces, one after the other.

    today: the takes of that day, the last at the end.
    """

    def __init__(self, advised: Sequence[Advice], day: date, today: Sequence[Entry]) -> None:
        self.day = day
        self.allowed = [advice for advice in advised if advice.action is not Action.LEAVE]
        if not self.allowed:
            raise MidiforgeError(
                "there is nothing to play: pain was noted with every exercise of the drill",
                hint="rest; if it stays or comes back, ask a doctor or physiotherapist",
            )
        self.last = next((a for a in advised if today and today[-1] in a.group.entries), None)
        self.pools = {"work": self._work(), "review": self._review(), "kept": self._kept()}
        self.pools["warm-up"] = self._easy()
        self.alone = len({advice.group for advice in self.allowed}) < 2
        self.warmed = 0

    def _advised(self, *actions: Action) -> list[Advice]:
        return [advice for advice in self.allowed if advice.action in actions]

    def _work(self) -> list[Advice]:
        """What is being worked on, what is not safe first, and what was played longest ago; of what
        is new the first comes second, so that no placement waits until another is safe. Of several
        drills, what is new of each comes in turn, of that played longest ago first."""
        begun = self._advised(*WORK)
        begun.sort(key=lambda advice: (_is_safe(advice), _last_played(advice)))
        of_drills = groupby(self._advised(Action.BEGIN), key=lambda advice: advice.group.lesson)
        in_turn = sorted(((lesson, [*some]) for lesson, some in of_drills), key=self._last_of)
        new = [it for some in zip_longest(*(some for _, some in in_turn)) for it in some if it]
        if new and _settings(new[0]).first == "tempo":
            return [*begun, *new]
        return [*begun[:1], *new[:1], *begun[1:], *new[1:]]

    def _last_of(self, drill: tuple[Lesson, object]) -> float:
        """When anything of a drill was played last; 0 for never."""
        own = (advice for advice in self.allowed if advice.group.lesson is drill[0])
        return max((advice.last.when.timestamp() for advice in own if advice.last), default=0.0)

    def _review(self) -> list[Advice]:
        """What is due, then what was left for days; what was played longest ago first."""
        due = sorted(self._advised(Action.REVIEW), key=_last_played)
        left = self._kept()
        return due + [a for a in left if a.last and (self.day - a.last.day).days >= FRESH_DAYS]

    def _kept(self) -> list[Advice]:
        """What is safe or done, what was played longest ago first."""
        return sorted(self._advised(Action.HOLD, Action.DONE, Action.GO_ON), key=_last_played)

    def _easy(self) -> list[Advice]:
        """Some to warm up with, another one first each day: the easiest known, else the easiest."""
        known = [advice for advice in self.allowed if advice.known]
        due = self.pools["review"]  # which comes right after
        rested = [advice for advice in known if advice not in due]
        judged = (rested or known or self.pools["work"] or self.allowed)[:_JUDGED]
        easy = sorted(judged, key=lambda advice: difficulty(advice.group.exercise).score)
        first = self.day.toordinal() % len(easy[:_WARM_UPS])
        return [*easy[first:_WARM_UPS], *easy[:first]]

    def turns(self, total: Fraction, played: Fraction) -> Iterator[Turn]:
        """For so many seconds. played: seconds that were practised before."""
        stretches = _stretches(total)
        works, reviews = bool(self.pools["work"]), len(self.pools["review"])
        phases = _phases(sum(stretches, Fraction(0)), played, works, reviews)
        self._choose(dict(phases).get("work", Fraction(0)))
        now, over = Fraction(0), Fraction(0)
        for number, stretch in enumerate(_pieces(stretches, phases)):
            if number:
                yield Turn("rest", now, Fraction(REST))
                now += REST
            for phase, length in stretch:
                left, begun = length - over, False
                while left >= _ROUND or (left > 0 and not begun):
                    self.last, begun = self._next(phase), True
                    turn = self._turn(phase, self.last, now, self._share(phase, self.last, left))
                    self.warmed += phase == "warm-up"
                    left -= turn.seconds
                    now = turn.end
                    yield turn
                over = -left

    def _choose(self, seconds: Fraction) -> None:
        """Keeps as much work as there is time for: two turns of each exercise, one of what is
        safe, and two exercises at least, so that one rests from the other."""
        chosen: list[Advice] = []
        for advice in self.pools["work"]:
            turns = 1 if self._is_mixed(advice) else 2
            if len(chosen) >= 2 and (seconds < _SHORTEST or len(chosen) == MOST_EXERCISES):
                break
            chosen.append(advice)
            seconds -= turns * self._longest("work", advice)
        self.pools["work"] = chosen

    def _next(self, phase: str) -> Advice:
        """The next exercise of a phase, in turn; another phase's rather than the same again."""
        for name in dict.fromkeys((phase, "work", "kept", "review", "warm-up")):
            pool = self.pools[name]
            chosen = self._another(pool)
            if name == phase == "warm-up" and pool:  # the same again, faster, is one too
                chosen = chosen or pool[0]
            if chosen:
                pool.remove(chosen)
                if name != "review":  # which comes once
                    pool.append(chosen)
                return chosen
        chosen = self._another(self.allowed) or self.allowed[0]
        if chosen.action is Action.LATER:
            return replace(chosen, action=Action.BEGIN, said="begin, to have two in turn")
        return chosen

    def _another(self, pool: Sequence[Advice]) -> Advice | None:
        """The first that is not of the exercise played last; None where there is no such."""
        last = self.last.group if self.last else None
        return next((advice for advice in pool if advice.group is not last), None)

    def _is_mixed(self, advice: Advice) -> bool:
        """Whether an exercise comes in short turns among many."""
        mix = _settings(advice).mix
        return mix == "always" or (mix == "later" and _is_safe(advice))

    def _longest(self, phase: str, advice: Advice) -> int:
        """How long a turn is at most, in seconds."""
        if phase != "work":
            return WARM_UP_TURN if phase == "warm-up" else REVIEW_TURN
        if _settings(advice).mix == "never":
            return LONG_TURN
        return SAFE_TURN if self._is_mixed(advice) else NEW_TURN

    def _share(self, phase: str, advice: Advice, left: Fraction) -> Fraction:
        """How much of what is left of a phase an exercise gets, in seconds."""
        return left / max(1, ceil(left / self._longest(phase, advice)))

    def _turn(self, phase: str, advice: Advice, now: Fraction, seconds: Fraction) -> Turn:
        """An exercise for about `seconds`."""
        group = advice.group
        tempo = self._tempo(phase, advice)
        if tempo is None:
            repeats, written = 0, group.exercise.seconds
        else:
            head, once = self._lengths(group, tempo)
            # Alone, it is not begun anew for the sake of change.
            most = seconds if self.alone else head + MOST_ROUNDS * once
            repeats, written = self._repeats(group, tempo, seconds / ceil(seconds / most))
        times = min(max(round(seconds / written), 1), _MOST_TIMES)
        written *= times
        fits = abs(written - seconds) <= _ROUND
        length = written if fits else Fraction(max(round(seconds), 1))
        return Turn(phase, now, length, advice, tempo, repeats, times, written)

    def _tempo(self, phase: str, advice: Advice) -> Fraction | None:
        """As advised; in a review no faster than it was good at, and to warm up slower, clearly so
        at first."""
        if advice.group.ramps:
            return None
        steps = advice.group.steps
        tempo = advice.tempo or steps.first
        if phase != "warm-up":
            return min(tempo, advice.known or tempo) if phase == "review" else tempo
        share = WARM_UP_TEMPOS[min(self.warmed, len(WARM_UP_TEMPOS) - 1)]
        slow = Fraction(floor(advice.known * share)) if advice.known else steps.first
        return max(min(slow, tempo), steps.lowest)

    def _repeats(self, group: Group, tempo: Fraction, seconds: Fraction) -> tuple[int, Fraction]:
        """How often an exercise goes round to last about `seconds`, and how long it then does."""
        exercise = group.exercise
        once = exercise.loop_length / exercise.repeats
        strokes = max(len(exercise.hits) + len(exercise.answers), 1)
        most = min(
            floor((MOST_BARS * exercise.meter.bar - exercise.loop_start) / once),
            MOST_STROKES * exercise.repeats // strokes,
        )
        head, turn = self._lengths(group, tempo)
        repeats = max(1, min(round((seconds - head) / turn), most))
        return repeats, head + repeats * turn

    def _lengths(self, group: Group, tempo: Fraction) -> tuple[Fraction, Fraction]:
        """How long it is until an exercise first begins, and how long it goes round, in seconds."""
        exercise = group.exercise
        quarter = 60 / (tempo * exercise.meter.pulse)
        once = exercise.loop_length / exercise.repeats
        return (exercise.count_in + exercise.loop_start) * quarter, once * quarter


def _settings(advice: Advice) -> Practice:
    return advice.group.lesson.drill.practice


def _is_safe(advice: Advice) -> bool:
    return advice.proven is not None and advice.proven >= advice.group.steps.first


def _last_played(advice: Advice) -> tuple[Any, ...]:
    assert advice.last is not None  # it was played, or it would be new
    return (advice.last.when, advice.group.numbers)
