"""Advice and plans in words, and as JSON's own kinds."""

from collections.abc import Iterator, Sequence
from typing import Any

from midiforge.model.number import Number, numbers_said
from midiforge.model.tempo import plain
from midiforge.practice.advice import AT_ONCE
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.standing import Action, Advice

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
        "learnt": advice.learnt,
        "last_played": advice.last.day.isoformat() if advice.last else None,
    }


def advice_words(advice: Advice) -> str:
    """What to do and why: "stay at 80: good once, 2 in a row are wanted"."""
    return f"{advice.said}: {advice.why}"


def advice_lines(found: Sequence[Advice]) -> Iterator[tuple[str, str, str]]:
    """Number, title and what is said of each exercise; those for later in one line at the end."""
    for each in found:
        if each.action is not Action.LATER:
            numbers = numbers_said(each.group.numbers)
            yield numbers, each.group.title, advice_words(each)
    later = [n for each in found if each.action is Action.LATER for n in each.group.numbers]
    if later:
        yield numbers_said(later), "", f"later: up to {AT_ONCE} exercises are worked on at a time"


def plan_lines(plan: Plan) -> Iterator[tuple[str, str, str, str]]:
    """When, what kind, what and why, of each turn; then the end."""
    for turn, numbers in plan.numbered:
        yield clock(turn.start), turn.phase, turn_words(turn, numbers), reason_words(turn)
    yield clock(plan.seconds), "end", "", ""


def turn_words(turn: Turn, numbers: Sequence[Number]) -> str:
    """What is played, for how long: "3. RLRR from 1e (exercise 5), at 70, 4 times round, 2:12".

    numbers: those of the plan as it is played.
    """
    if turn.advice is None:
        return f"{clock(turn.seconds)}; put the sticks down, stand up, rest your ears"
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
    return f"{turn.advice.said}: {turn.advice.why}"


def plain_plan(plan: Plan) -> dict[str, Any]:
    """A plan of JSON's own kinds only; times in seconds."""
    return {
        "title": plan.drill.title,
        "day": plan.day.isoformat(),
        "minutes": plan.minutes,
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
