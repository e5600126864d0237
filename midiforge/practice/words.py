"""Advice and plans in words, and as JSON's own kinds."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from typing import Any

from midiforge.model.number import Number, numbers_said
from midiforge.model.tempo import plain
from midiforge.practice.advice import AT_ONCE
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.standing import Action, Advice, Group
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
        "why": why_words(advice),
        "flags": advice.flags,
        "learnt": advice.learnt,
        "last_played": advice.last.day.isoformat() if advice.last else None,
    }


def advice_words(advice: Advice) -> str:
    """What to do and why: "stay at 80: good once, 2 in a row are wanted"; and the flags that
    make it, if it takes any."""
    return _done_so(advice, why_words(advice))


def step_words(advice: Advice, work_on: str = "") -> str:
    """What to do next, below a review that says what the take lacks: "stay at 80: play the right
    foot alone, slowly (play with --only 5b)".

    work_on: what the review has to say on how; what hurt is left, and a change takes its place.
    """
    on_its_own = (Action.LEAVE, Action.CHANGE)
    return _done_so(advice, _joined(advice.why, "" if advice.action in on_its_own else work_on))


def without_flags(advice: Advice) -> Advice:
    """For whoever types no flags: the words say what to do."""
    return replace(advice, flags="")


def why_words(advice: Advice) -> str:
    """What the log has to say for an advice, and what the last take lacks to be good."""
    return _joined(advice.why, advice.lacking)


def _done_so(advice: Advice, more: str) -> str:
    made = f" (play with {advice.flags})" if advice.flags else ""
    return f"{advice.said}{f': {more}' if more else ''}{made}"


def _joined(*parts: str) -> str:
    return "; ".join(filter(None, parts))


def advice_lines(advised: Sequence[Advice]) -> Iterator[tuple[str, str, str]]:
    """Number, title and what is said of each exercise; those for later in one line at the end."""
    later: list[Number] = []
    for advice in advised:
        if advice.action is Action.LATER:
            later += advice.group.numbers
        else:
            yield numbers_said(advice.group.numbers), advice.group.title, advice_words(advice)
    if later:
        yield numbers_said(later), "", f"later: up to {AT_ONCE} exercises are worked on at a time"


def plan_note(plan: Plan) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """A plan as a teacher would write it down: when, what, and of each exercise what and why."""
    practised = round(plan.played / 60)
    if plan.played:
        yield "", f"Practised already: {_said(practised)} of {plan.minutes}.", ()
    if not plan.turns:
        yield "", "That is all for today.", ()
        return
    told: set[str] = set()
    for phase, in_a_row in groupby(plan.turns, key=lambda turn: turn.phase):
        turns = [*in_a_row]
        start, whole = clock(turns[0].start), plan.minutes - practised
        # From one rounded moment to the next, so that the parts add up to the whole.
        begin = min(round(turns[0].start / 60), whole)
        end = whole if turns[-1] is plan.turns[-1] else min(round(turns[-1].end / 60), whole)
        if phase == "rest":
            yield start, f"Rest for {_said(end - begin)}: {_REST}.", ()
        else:
            said = _PHASES[phase].format(_said(end - begin), _in_turn(turns))
            yield start, said, tuple(_exercises(turns, end - begin, told))
    yield clock(plan.seconds), "Stop.", ()


_REST = "put the sticks down, stand up, rest your ears"
_PHASES = {
    "warm-up": "Warm up for {}, loose and soft.",
    "work": "Work for {}{}.",
    "review": "Play once what you have not played for days, {} in all.",
}


def _in_turn(turns: Sequence[Turn]) -> str:
    """How exercises follow each other: "; take 3 exercises in turn, about 2 minutes each time"."""
    exercises = len({turn.advice.group.key for turn in turns if turn.advice})
    if exercises == 1:
        return ""
    each = _said(max(1, round(_lasting(turns) / 60 / len(turns))))
    often = " time, and begin again with the first" if len(turns) > exercises else ""
    return f" on {exercises} exercises in turn, about {each} each{often}"


def _exercises(turns: Sequence[Turn], minutes: int, told: set[str]) -> Iterator[str]:
    """What is said of each exercise of some turns, which last so many minutes together.

    told: reasons that were given before.
    """
    of_exercise: dict[str, tuple[Group, list[Turn]]] = {}
    for turn in turns:
        if turn.advice:
            group = turn.advice.group
            of_exercise.setdefault(group.key, (group, []))[1].append(turn)
    whole, past, before = _lasting(turns), Fraction(0), 0
    for group, own in of_exercise.values():
        said = f"{group.title} (exercise {own[0].number.whole})"
        tempos = dict.fromkeys(plain(turn.tempo) for turn in own if turn.tempo is not None)
        if tempos:
            said += f" at {', then '.join(tempos)}"
        past += _lasting(own)
        now = round(minutes * past / whole)
        said += f", {_said(now - before)}."
        before = now
        reason = reason_words(own[0])
        if reason and reason not in told:
            told.add(reason)
            said += f" {reason[0].upper()}{reason[1:]}."
        yield said


def _lasting(turns: Sequence[Turn]) -> Fraction:
    """How long turns last together, in seconds."""
    return sum((turn.seconds for turn in turns), Fraction(0))


def _said(minutes: int) -> str:
    return many(minutes, "minute") if minutes else "under a minute"


def turn_words(turn: Turn, numbers: Sequence[Number]) -> str:
    """What is played, for how long: "3. RLRR from 1e (exercise 5), at 70, 4 times round, 2:12".

    numbers: those of the plan as it is played.
    """
    if turn.advice is None:
        return f"{clock(turn.seconds)}; {_REST}"
    parts = (
        f"{numbers_said(numbers)}. {turn.advice.group.title} (exercise {turn.number})",
        "" if turn.tempo is None else f"at {plain(turn.tempo)}",
        f"{turn.repeats} times round" if turn.repeats > 1 else "",
        f"played {turn.times} times" if turn.times > 1 else "",
        clock(turn.seconds),
        turn.remark,
    )
    return ", ".join(filter(None, parts))


def reason_words(turn: Turn) -> str:
    """Why it is played; "" for warm-up and rest."""
    if turn.advice is None or turn.phase == "warm-up":
        return ""
    if turn.phase == "review" or turn.advice.action in (Action.DONE, Action.GO_ON):
        return why_words(turn.advice)
    changes = turn.advice.action is Action.CHANGE
    return advice_words(turn.advice if changes else replace(turn.advice, flags=""))


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
