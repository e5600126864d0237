"""What to do next with each exercise of a drill, and why.

The first rule that applies decides:

    rule      applies                                             says
    pain      the player noted pain with the exercise's last      leave it; after `days`, slowly
              take                                                 and only if the pain is gone
    new       no take long enough to judge                        begin at the drill's slowest
                                                                  tempo; later, where enough is
                                                                  being worked on
    review    last played `days` ago or longer                    review: what is done at its
                                                                  tempo, else one step slower
    done      `takes` good takes in a row at the goal             go on to the next placement, or
                                                                  to what is next in the drill
    down      the last take is far off; or the last two, or       one step slower
              `takes` if more, are no good and get no better
    worse     the last take is good, but clearly less so than     stay
              the one before
    careful   good enough to go up, but the player noted pain     stay
              with some exercise in the last days
    up        `takes` good takes in a row                         one step faster, at most to the
                                                                  goal
    stay      else                                                stay

A take is good with at least `clean` of its strokes right (what was struck besides counts against
it) and a standard deviation of at most `steady` per cent of a grid step. A step is `up` per cent
of the tempo, a whole number of pulses; or the drill's own next tempo. A take is long enough when
it goes once round, or has eight bars. A good take that is clearly slower than a good one before
it, or slower than one at the goal, is taken for warming up and left out.

The settings are the keys of a drill's table [practice]; what they are unless set, and the figures
below, is common practice of teachers rather than measurement: 95 per cent clean, 8 per cent
steady, two takes, steps of 5 per cent, a week.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from fractions import Fraction
from math import ceil
from typing import Any

from midiforge.drill.drill import Drill, Practice
from midiforge.drill.read import slowest_tempo
from midiforge.drill.values import FASTEST, SLOWEST
from midiforge.insight.words import ranges
from midiforge.model.exercise import Exercise
from midiforge.model.rounds import by_tempo
from midiforge.model.tempo import plain
from midiforge.practice.course import is_good
from midiforge.practice.entry import Entry, key_of

CAUTION = (
    "A tempo here is an offer, not an order. Warm up, rest a few minutes in every half hour, stop "
    "when it hurts, tingles or goes numb, and mind your ears."
)
AT_ONCE = 3  # exercises worked on at a time; common practice
FAR_OFF_CLEAN = 0.10  # as much below `clean` is far off
FAR_OFF_STEADY = 2.0  # ... or as many times `steady`
LESS_CLEAN, LESS_STEADY = 0.02, 1.25  # clearly worse than the take before
WARM_UP = Fraction(9, 10)  # of the tempo before; slower and good is warming up
CAREFUL_DAYS = 2  # after pain anywhere nothing gets faster
LONG_ENOUGH = 8  # bars, of exercises that take longer to come round
_SAME = 0.006  # as a share; tempos nearer than this are the same, as in reviews

_PAIN = (
    r"(pain(s|ful)?|hurt(s|ing)?|sore(ness)?|ach(e|es|ed|ing|y)|numb(ness)?|tingl(e|es|ed|ing)"
    r"|cramp(s|ed|ing)?|burn(s|ed|ing)?|sting(s|ing)?)"
)
_HURTS = re.compile(rf"\b{_PAIN}\b", re.IGNORECASE)
_NOT = re.compile(
    r"\b(no|not|without|never|free of|nothing)(\s+(any|more|longer|a|the|real|is|was|that))*"
    rf"\s+{_PAIN}\b(\s+or\s+{_PAIN}\b)*|\bpain[- ]?(free|less)\b",
    re.IGNORECASE,
)


class Action(StrEnum):
    """What to do with an exercise."""

    BEGIN = "begin"
    UP = "up"
    STAY = "stay"
    DOWN = "down"
    REVIEW = "review"
    GO_ON = "go on"
    DONE = "done"
    LEAVE = "leave"
    LATER = "later"


WORK = (Action.UP, Action.STAY, Action.DOWN)


@dataclass(frozen=True, slots=True)
class Group:
    """An exercise at all the tempos that the drill has it at; `orders` are their numbers."""

    key: str
    exercises: tuple[Exercise, ...]

    @property
    def exercise(self) -> Exercise:
        return self.exercises[0]

    @property
    def orders(self) -> tuple[int, ...]:
        return tuple(each.order for each in self.exercises)

    @property
    def numbered(self) -> str:
        """ "exercise 4", "exercises 10-12"."""
        return f"exercise{'s' * (len(self.orders) > 1)} {ranges(self.orders)}"

    @property
    def ramps(self) -> bool:
        """Whether it has tempos of its own inside."""
        return len(self.exercise.tempo.changes) > 1


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with an exercise, in one sentence.

    tempo: to play at, in pulses a minute; None for one that gets faster by itself, and where
        there is nothing to play.
    said: such as "up by 4 to 80". why: what the log has to say for it.
    last: the last take; None if there is none.
    learnt: whether it is done, even if it is time to review it.
    """

    group: Group
    action: Action
    tempo: Fraction | None
    said: str
    why: str
    last: Entry | None = None
    learnt: bool = False


def groups(exercises: Iterable[Exercise]) -> list[Group]:
    """Exercises that differ only in tempo, together; in the order of the lesson."""
    found: dict[str, list[Exercise]] = {}
    for group in by_tempo(exercises):
        found.setdefault(key_of(group[0]), []).extend(group)
    return [Group(key, tuple(some)) for key, some in found.items()]


def advise(
    drill: Drill, exercises: Iterable[Exercise], entries: Iterable[Entry], today: date
) -> list[Advice]:
    """Advice for each exercise of a drill, in the order of its lesson.

    exercises: the drill's. entries: of the log, any; what was played after `today` is left out.
    """
    known = sorted((each for each in entries if each.day <= today), key=lambda each: each.when)
    by_key: dict[str, list[Entry]] = {}
    for entry in known:
        by_key.setdefault(entry.key, []).append(entry)
    careful = max((each.day for each in known if hurts(each)), default=None)
    if careful and (today - careful).days > CAREFUL_DAYS:
        careful = None
    steps = Steps.of(drill)
    found = []
    for group in groups(exercises):
        own = tuple(by_key.get(group.key, ()))
        found.append(_judged(Standing(group, own, drill.practice, steps, today, careful)))
    return _gone_on(_not_too_much(found))


def hurts(entry: Entry) -> bool:
    """Whether the player noted pain with a take."""
    return bool(_HURTS.search(_NOT.sub("", entry.note)))


# Tempos


@dataclass(frozen=True, slots=True)
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

    def meant(self, tempo: float) -> Fraction:
        """The tempo that somebody meant who played at `tempo`: the drill's, or a whole one."""
        known = (each for each in (*self.tempos, self.goal) if abs(tempo - each) <= _SAME * each)
        return next(known, _whole(Fraction(tempo)))

    def faster(self, tempo: Fraction) -> Fraction:
        """One step up, not past the goal."""
        if self.share is None:
            wish = min((each for each in self.tempos if each > tempo), default=self.goal)
        else:
            wish = max(_whole(tempo * (1 + self.share)), tempo + 1)
        return max(tempo, min(wish, self.goal, Fraction(FASTEST)))

    def slower(self, tempo: Fraction) -> Fraction:
        """One step down, not below the lowest."""
        share = self.share or Practice().up or Fraction(0)
        if self.share is None and tempo > self.tempos[0]:
            wish = max(each for each in self.tempos if each < tempo)
        else:
            wish = min(_whole(tempo / (1 + share)), tempo - 1)
        return min(tempo, max(wish, self.lowest))


def _whole(tempo: Fraction) -> Fraction:
    return Fraction(int(tempo + Fraction(1, 2)))


# One exercise


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the player is with an exercise.

    entries: its takes up to today, the oldest first.
    careful: when pain was last noted with any exercise, if that was in the last days.
    """

    group: Group
    entries: tuple[Entry, ...]
    settings: Practice
    steps: Steps
    today: date
    careful: date | None

    @property
    def takes(self) -> list[Entry]:
        """The takes that count: long enough, and no warming up."""
        enough = min(self.group.exercise.returns_after_bars, LONG_ENOUGH)
        kept: list[Entry] = []
        for each in self.entries:
            if each.bars < enough:
                continue
            if not (kept and self._warms_up(each, kept[-1])):
                kept.append(each)
        return kept

    def _warms_up(self, entry: Entry, before: Entry) -> bool:
        """Whether a good take is so much slower than a good one before that it says nothing new.

        Once the goal is reached, any slower one is.
        """
        if self.group.ramps or not (self.good(entry) and self.good(before)):
            return False
        reached = self.steps.meant(before.tempo) >= self.steps.goal
        return entry.tempo < before.tempo * (1 - _SAME if reached else float(WARM_UP))

    def good(self, entry: Entry) -> bool:
        return is_good(entry, self.settings)

    @property
    def days(self) -> int:
        """Since it was last played."""
        return (self.today - self.entries[-1].day).days

    @property
    def tempo(self) -> Fraction:
        """The tempo of the last take that counts."""
        return self.steps.meant(self.takes[-1].tempo)

    @property
    def row(self) -> int:
        """How many of the last takes were good, at the last one's tempo or faster."""
        takes = self.takes
        level = takes[-1].tempo * (1 - _SAME)
        count = 0
        for each in reversed(takes):
            if not self.good(each) or (each.tempo < level and not self.group.ramps):
                break
            count += 1
        return count

    @property
    def learnt(self) -> bool:
        """Whether it was good often enough at the goal."""
        if not self.takes or self.row < self.settings.takes:
            return False
        return self.group.ramps or self.tempo >= self.steps.goal

    def advice(self, action: Action, said: str, why: str, tempo: Fraction | None = None) -> Advice:
        last = self.entries[-1] if self.entries else None
        return Advice(self.group, action, tempo, said, why, last, self.learnt)

    def at(self, tempo: Fraction) -> tuple[str, Fraction | None]:
        """A tempo in words and as a number; neither for an exercise that has its own."""
        return ("", None) if self.group.ramps else (f" at {plain(tempo)}", tempo)


def _pain(here: Standing) -> Advice | None:
    if not here.entries or not hurts(here.entries[-1]):
        return None
    day = here.entries[-1].day.isoformat()
    if here.days < here.settings.days:
        return here.advice(
            Action.LEAVE,
            "leave it",
            f"pain was noted on {day}; if it stays or comes back, ask a doctor or physiotherapist",
        )
    words, tempo = here.at(here.steps.first)
    why = f"pain was noted on {day}: only if it is gone"
    return here.advice(Action.REVIEW, f"review slowly{words}", why, tempo)


def _new(here: Standing) -> Advice | None:
    if here.takes:
        return None
    words, tempo = here.at(here.steps.first)
    why = "the takes so far are too short to judge" if here.entries else "not yet tried"
    return here.advice(Action.BEGIN, f"begin{words}", why, tempo)


def _review(here: Standing) -> Advice | None:
    if here.days < here.settings.days:
        return None
    words, tempo = here.at(here.tempo if here.learnt else here.steps.slower(here.tempo))
    return here.advice(Action.REVIEW, f"review{words}", f"last played {here.days} days ago", tempo)


def _done(here: Standing) -> Advice | None:
    if not here.learnt:
        return None
    words, tempo = here.at(here.tempo)
    why = f"good {_times(here.row)} in a row{words}"
    return here.advice(Action.DONE, "done", why, tempo)


def _down(here: Standing) -> Advice | None:
    takes, settings = here.takes, here.settings
    last = takes[-1]
    if here.group.ramps or here.good(last):
        return None
    percent = last.deviation_percent
    far = last.clean < settings.clean - FAR_OFF_CLEAN or (
        percent is not None and percent > FAR_OFF_STEADY * settings.steady
    )
    some = takes[-max(2, settings.takes) :]
    stuck = (
        len(some) >= max(2, settings.takes)
        and not any(here.good(each) or each.tempo < last.tempo * (1 - _SAME) for each in some)
        and last.clean <= some[0].clean
        and (percent is None or percent >= (some[0].deviation_percent or 0.0))
    )
    lower = here.steps.slower(here.tempo)
    if not (far or stuck) or lower == here.tempo:
        return None
    many = "" if far else f"{len(some)} takes without getting better: "
    return here.advice(Action.DOWN, f"down to {plain(lower)}", many + _lack(last, settings), lower)


def _worse(here: Standing) -> Advice | None:
    takes = here.takes
    if (
        len(takes) < 2
        or not here.good(takes[-1])
        or takes[-1].tempo > takes[-2].tempo * (1 + _SAME)
    ):
        return None
    last, before = takes[-1], takes[-2]
    now, then = last.deviation_percent, before.deviation_percent
    less_clean = last.clean < before.clean - LESS_CLEAN
    less_steady = now is not None and then is not None and now > then * LESS_STEADY
    if not (less_clean or less_steady):
        return None
    words, tempo = here.at(here.tempo)
    said = f"{before.clean:.0%}, then {last.clean:.0%} clean"
    if less_steady:
        said = f"{then:.1f}%, then {now:.1f}% of a step unsteady"
    return here.advice(Action.STAY, f"stay{words}", f"good, but less than before: {said}", tempo)


def _careful(here: Standing) -> Advice | None:
    if here.careful is None or here.row < here.settings.takes:
        return None
    words, tempo = here.at(here.tempo)
    why = f"pain was noted on {here.careful.isoformat()}: nothing gets faster for now"
    return here.advice(Action.STAY, f"stay{words}", why, tempo)


def _up(here: Standing) -> Advice | None:
    higher = here.steps.faster(here.tempo)
    if here.group.ramps or here.row < here.settings.takes or higher == here.tempo:
        return None
    last = here.takes[-1]
    why = f"good {_times(here.row)} in a row at {plain(here.tempo)} ({_figures(last)})"
    by = plain(higher - here.tempo)
    return here.advice(Action.UP, f"up by {by} to {plain(higher)}", why, higher)


def _stay(here: Standing) -> Advice | None:
    words, tempo = here.at(here.tempo)
    last = here.takes[-1]
    if here.good(last):
        why = f"good {_times(here.row)}, {here.settings.takes} in a row are wanted"
    else:
        why = _lack(last, here.settings)
    return here.advice(Action.STAY, f"stay{words}", why, tempo)


# The table above, in its order.
RULES: dict[str, Callable[[Standing], Advice | None]] = {
    "pain": _pain,
    "new": _new,
    "review": _review,
    "done": _done,
    "down": _down,
    "worse": _worse,
    "careful": _careful,
    "up": _up,
    "stay": _stay,
}


def _judged(here: Standing) -> Advice:
    found = (rule(here) for rule in RULES.values())
    return next(advice for advice in found if advice)


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _figures(entry: Entry) -> str:
    percent = entry.deviation_percent
    steady = "" if percent is None else f", {percent:.1f}% of a step unsteady"
    return f"{entry.clean:.0%} clean{steady}"


def _lack(entry: Entry, settings: Practice) -> str:
    """What a take lacks to be good."""
    percent = entry.deviation_percent
    said = []
    if entry.clean < settings.clean:
        said.append(f"{_share(entry.clean)} clean, {_share(settings.clean)} is wanted")
    if percent is None:
        said.append("too few strokes to tell how steady")
    elif percent > settings.steady:
        said.append(f"{percent:.1f}% of a step unsteady, {settings.steady:g}% is wanted")
    return "; ".join(said)


def _share(value: float) -> str:
    return f"{100 * value:.1f}%".replace(".0%", "%")


# All exercises beside each other


def _not_too_much(found: Sequence[Advice]) -> list[Advice]:
    """New exercises wait while enough is being worked on; what follows something done is first."""
    open_now = sum(each.action in WORK for each in found)
    new = [each for each in found if each.action is Action.BEGIN and each.last is None]
    follow = {
        after.group.key
        for each in found
        if each.learnt and (after := _next_placement(each, found)) is not None
    }
    new.sort(key=lambda each: each.group.key not in follow)
    begun = {each.group.key for each in new[: max(0, AT_ONCE - open_now)]}
    waiting = {each.group.key for each in new} - begun
    return [
        replace(each, action=Action.LATER, tempo=None, said="later", why="not yet tried")
        if each.group.key in waiting
        else each
        for each in found
    ]


def _gone_on(found: Sequence[Advice]) -> list[Advice]:
    """What is done says what comes next."""
    return [_onward(each, found) if each.action is Action.DONE else each for each in found]


def _onward(done: Advice, found: Sequence[Advice]) -> Advice:
    playable = (Action.BEGIN, *WORK)
    after = _next_placement(done, found)
    if after is not None and after.action in playable:
        said = f"go on to the next placement: {after.group.numbered}"
        return replace(done, action=Action.GO_ON, said=said)
    here = next(i for i, each in enumerate(found) if each is done)
    for each in (*found[here + 1 :], *found[:here]):
        if each.action in playable:
            return replace(done, action=Action.GO_ON, said=f"go on to {each.group.numbered}")
    return done


def _next_placement(done: Advice, found: Sequence[Advice]) -> Advice | None:
    """The exercise that is the same but for where things begin, after this one in the drill."""
    ours = _but_for_placement(done.group)
    after = False
    for each in found:
        if after and not each.learnt and _but_for_placement(each.group) == ours:
            return each
        after = after or each.group is done.group
    return None


def _but_for_placement(group: Group) -> tuple[object, ...]:
    each = group.exercise
    still = replace(
        each.variant,
        placement=0,
        placement_name="",
        accent_placement=None,
        accent_placement_name="",
        feet_placement=0,
        feet_placement_name="",
    )
    return each.stage, replace(still, lead=""), each.feet, each.step


# In words


def plain_advice(advice: Advice) -> dict[str, Any]:
    """Advice of JSON's own kinds only."""
    return {
        "exercises": list(advice.group.orders),
        "title": advice.group.exercise.title,
        "stage": advice.group.exercise.stage,
        "key": advice.group.key,
        "action": advice.action.value,
        "tempo": None if advice.tempo is None else float(advice.tempo),
        "said": advice.said,
        "why": advice.why,
        "learnt": advice.learnt,
        "last_played": advice.last.day.isoformat() if advice.last else None,
    }


def advice_lines(found: Sequence[Advice]) -> Iterator[tuple[str, str, str]]:
    """Number, title and what is said of each exercise; those for later in one line at the end."""
    for each in found:
        if each.action is not Action.LATER:
            numbers = ranges(each.group.orders)
            yield numbers, each.group.exercise.title, f"{each.said}: {each.why}"
    later = [order for each in found if each.action is Action.LATER for order in each.group.orders]
    if later:
        yield ranges(later), "", f"later: up to {AT_ONCE} exercises are worked on at a time"
