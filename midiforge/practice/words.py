"""Advice and plans in words, and as JSON's own kinds."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Any

from midiforge.model.number import Number, numbers_said
from midiforge.model.tempo import plain
from midiforge.practice.advice import AT_ONCE
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.standing import Action, Advice
from midiforge.printable import many

CAUTION = (
    "A tempo here is an offer, not an order. Warm up, rest a few minutes in every half hour, stop "
    "when it hurts, tingles or goes numb, and mind your ears."
)


def plain_advice(advice: Advice) -> dict[str, Any]:
    """Advice of JSON's own kinds only."""
    return {
        "exercises": [str(number) for number in advice.group.numbers],
        "title": advice.group.title,
        "stage": advice.group.stage,
        "key": advice.group.key,
        "action": advice.action.value,
        "tempo": None if advice.tempo is None else float(advice.tempo),
        "said": advice.said,
        "why": advice.why,
        "flags": advice.flags,
        "learnt": advice.learnt,
        "last_played": advice.last.day.isoformat() if advice.last else None,
    }


def advice_words(advice: Advice) -> str:
    """What to do and why: "stay at 80: good once, 2 in a row are wanted"; and the flags that
    make it, if it takes any."""
    made = f" (play with {advice.flags})" if advice.flags else ""
    return f"{advice.said}: {advice.why}{made}"


def advice_lines(found: Sequence[Advice]) -> Iterator[tuple[str, str, str]]:
    """Number, title and what is said of each exercise; those for later in one line at the end."""
    for each in found:
        if each.action is not Action.LATER:
            numbers = numbers_said(each.group.numbers)
            yield numbers, each.group.title, advice_words(each)
    later = [n for each in found if each.action is Action.LATER for n in each.group.numbers]
    if later:
        yield numbers_said(later), "", f"later: up to {AT_ONCE} exercises are worked on at a time"


def plan_note(plan: Plan) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """A plan as a teacher would write it down: when, what, and of each exercise what and why."""
    if plan.played:
        yield "", f"Practised already: {_length(plan.played)} of {plan.minutes}.", ()
    if not plan.turns:
        yield "", "That is all for today.", ()
        return
    told: set[str] = set()
    for (_, phase), some in groupby(_by_stretch(plan), key=lambda each: (each[0], each[1].phase)):
        turns = [turn for _, turn in some]
        start, seconds = clock(turns[0].start), sum((each.seconds for each in turns), Fraction(0))
        if phase == "rest":
            yield start, f"Rest for {_length(seconds)}: {_REST}.", ()
        else:
            said = _PHASES[phase].format(_length(seconds), _in_turn(turns))
            yield start, said, tuple(_exercises(turns, told))
    yield clock(plan.seconds), "Stop.", ()


_REST = "put the sticks down, stand up, rest your ears"
_PHASES = {
    "warm-up": "Warm up for {}, loose and soft.",
    "work": "Work for {}{}.",
    "review": "Play once what you have not played for days, {} in all.",
}


def _by_stretch(plan: Plan) -> Iterator[tuple[int, Turn]]:
    """Each turn with the number of rests before it."""
    rests = 0
    for turn in plan.turns:
        rests += turn.advice is None
        yield rests, turn


def _in_turn(turns: Sequence[Turn]) -> str:
    """How exercises follow each other: "; take 3 exercises in turn, about 2 minutes each time"."""
    exercises = len({turn.advice.group.key for turn in turns if turn.advice})
    if exercises == 1:
        return ""
    each = _length(sum((turn.seconds for turn in turns), Fraction(0)) / len(turns))
    often = " time, and begin again with the first" if len(turns) > exercises else ""
    return f" on {exercises} exercises in turn, about {each} each{often}"


def _exercises(turns: Sequence[Turn], told: set[str]) -> Iterator[str]:
    """What is said of each exercise of some turns. told: reasons that were given before."""
    for key in dict.fromkeys(turn.advice.group.key for turn in turns if turn.advice):
        some = [turn for turn in turns if turn.advice and turn.advice.group.key == key]
        advice = some[0].advice
        assert advice is not None
        said = f"{advice.group.title} (exercise {some[0].number.whole})"
        tempos = dict.fromkeys(plain(turn.tempo) for turn in some if turn.tempo is not None)
        if tempos:
            said += f" at {', then '.join(tempos)}"
        said += f", {_length(sum((turn.seconds for turn in some), Fraction(0)))}."
        reason = reason_words(some[0])
        if reason and reason not in told:
            told.add(reason)
            said += f" {reason[0].upper()}{reason[1:]}."
        yield said


def _length(seconds: Fraction) -> str:
    return many(max(1, round(seconds / 60)), "minute")


def turn_words(turn: Turn, numbers: Sequence[Number]) -> str:
    """What is played, for how long: "3. RLRR from 1e (exercise 5), at 70, 4 times round, 2:12".

    numbers: those of the plan as it is played.
    """
    if turn.advice is None:
        return f"{clock(turn.seconds)}; {_REST}"
    title = turn.advice.group.title
    parts = [f"{numbers_said(numbers)}. {title} (exercise {turn.number})"]
    if turn.tempo is not None:
        parts.append(f"at {plain(turn.tempo)}")
    if turn.repeats > 1:
        parts.append(f"{turn.repeats} times round")
    if turn.times > 1:
        parts.append(f"played {turn.times} times")
    parts.append(clock(turn.seconds))
    if turn.remark:
        parts.append(turn.remark)
    return ", ".join(parts)


def reason_words(turn: Turn) -> str:
    """Why it is played; "" for warm-up and rest."""
    if turn.advice is None or turn.phase == "warm-up":
        return ""
    if turn.phase == "review" or turn.advice.action in (Action.DONE, Action.GO_ON):
        return turn.advice.why
    return advice_words(turn.advice)


def plain_plan(plan: Plan) -> dict[str, Any]:
    """A plan of JSON's own kinds only; times in seconds."""
    return {
        "title": plan.drill.title,
        "day": plan.day.isoformat(),
        "minutes": plan.minutes,
        "played": round(float(plan.played), 3),
        "seconds": round(float(plan.seconds), 3),
        "turns": [
            {
                "phase": turn.phase,
                "start": round(float(turn.start), 3),
                "seconds": round(float(turn.seconds), 3),
                "numbers": [str(number) for number in numbers],
                "exercise": str(turn.number) if turn.number else None,
                "title": turn.advice.group.title if turn.advice else None,
                "key": turn.advice.group.key if turn.advice else None,
                "tempo": None if turn.tempo is None else float(turn.tempo),
                "repeats": turn.repeats or None,
                "times": turn.times if turn.advice else None,
                "why": reason_words(turn),
                "remark": turn.remark,
            }
            for turn, numbers in plan.numbered
        ],
    }
