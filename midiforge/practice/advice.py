"""What to do next with each exercise of a drill: each by its rules, then all beside each other.

Breadth before speed, unless the drill's [practice] says first = "tempo": what a sticking makes of
all its placements and stages is begun, and safe at the slowest tempo, before any of it gets faster;
then all go up together, none more than a step ahead of the slowest placement of its kind. What is
at a plateau, or left because of pain, holds nobody up. Common practice.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import chain
from typing import Any

from midiforge.drill.drill import Drill
from midiforge.drill.read import changed_drill
from midiforge.errors import MidiforgeError
from midiforge.lesson.lesson import Lesson, Progress
from midiforge.lesson.outline import Outline
from midiforge.model.exercise import Exercise
from midiforge.model.number import exercises_said
from midiforge.model.tempo import plain
from midiforge.practice.entry import Entry
from midiforge.practice.rules import judged
from midiforge.practice.standing import (
    WORK,
    Action,
    Advice,
    Group,
    Kind,
    Standing,
    is_to_be_played,
)
from midiforge.practice.steps import Steps

AT_ONCE = 3  # exercises that are not safe yet, at a time; common practice
CAREFUL_DAYS = 2  # after pain anywhere nothing gets faster
_MOST_NAMED = 4


def groups(
    lesson: Lesson, entries: Iterable[Entry] = (), progress: Progress | None = None
) -> list[Group]:
    """Pieces in the order of the lesson, each with what the log has of it; one that comes again in
    the lesson, with where it came first.

    entries: of the log, any. progress: told how many exercises were looked at.
    """
    known: dict[Kind, list[Entry]] = {}
    for entry in sorted(entries, key=lambda entry: entry.when):
        kind = (entry.stage, entry.sticking, entry.placement_name)
        known.setdefault(kind, []).append(entry)
    same: dict[bytes, list[Outline]] = {}
    count = 0
    for outline in lesson.outlines():
        same.setdefault(outline.content, []).append(outline)
        count += len(outline.numbers)
        if progress:
            progress(count)
    made = [Group(lesson, outlines, known) for outlines in same.values()]
    own = {entry.key for group in made for entry in group.entries}
    others = [entry for entry in chain.from_iterable(known.values()) if entry.key not in own]
    spare = [entry for entry in others if entry.movement]
    for group in made if spare else ():
        taken = {id(entry) for entry in group.take_over(spare, lesson.drill.title)}
        spare = [entry for entry in spare if id(entry) not in taken]
    return made


def advise(
    lesson: Lesson,
    entries: Sequence[Entry],
    today: date,
    progress: Progress | None = None,
) -> list[Advice]:
    """Advice for each exercise of a lesson, in its order.

    entries: of the log, any; what was played after `today` is left out.
    progress: told how many exercises were looked at.
    """
    drill = lesson.drill
    pain = (entry.day for entry in entries if entry.hurts)
    lately = (day for day in pain if 0 <= (today - day).days <= CAREFUL_DAYS)
    careful, steps = max(lately, default=None), Steps.of(drill)

    def judge(group: Group) -> Advice:
        played = tuple(entry for entry in group.entries if entry.day <= today)
        return judged(Standing(group, played, drill.practice, steps, today, careful))

    alone = [judge(group) for group in groups(lesson, entries, progress)]
    beside_each_other = _gone_on(_not_too_much(_held(alone, drill, steps)))
    return [replace(advice, flags=_flags(advice, drill)) for advice in beside_each_other]


def of_exercise(advised: Iterable[Advice], exercise: Exercise) -> Advice:
    """The advice that is of an exercise of the lesson."""
    return next(
        advice
        for advice in advised
        if any(number.piece == exercise.number.piece for number in advice.group.numbers)
    )


def _flags(advice: Advice, drill: Drill) -> str:
    """The flags of `play` with which an exercise is played as advised; "" where it is not to be."""
    if advice.change and advice.change.keys and "--only" not in advice.flags:
        anew = _numbered_anew(advice.group, advice.change.keys, drill)
        return f"--only {anew} {advice.flags}" if anew else advice.flags
    if advice.flags or not is_to_be_played(advice):
        return advice.flags
    piece = advice.group.numbers[0].whole
    if advice.tempo is None:
        return f"--only {piece}"
    for outline in advice.group.outlines:
        for number, tempo in zip(outline.numbers, outline.tempos, strict=True):
            if tempo.first == advice.tempo:
                return f"--only {number}"
    # Numbers of a drill that chooses its exercises are not those that it chooses by.
    return "" if drill.running else f"--running '{piece} at {plain(advice.tempo)}'"


def _numbered_anew(group: Group, changes: Mapping[str, Any], drill: Drill) -> str:
    """The number that an exercise has in the drill as it is changed; "" where it is not in it, or
    the drill chooses its exercises by number."""
    outline = None if drill.running else changed(group, changes, drill)
    return str(outline.numbers[0].whole) if outline else ""


def changed(group: Group, changes: Mapping[str, Any], drill: Drill) -> Outline | None:
    """An exercise in the drill as it is changed; None where it is not in it."""
    own = group.outlines[0]
    stage = changes.get("stages", own.stage.name)

    def what(outline: Outline) -> Hashable:
        moved = [(it.move, it.value) for it in outline.material.moved if it.move not in changes]
        return outline.material.name, *moved

    try:
        lesson = Lesson(changed_drill(drill, {"running": [], **changes}))
    except MidiforgeError:
        return None  # nor with the flags can it be made
    same = (
        outline
        for outline in lesson.outlines()
        if outline.stage.name == stage and what(outline) == what(own)
    )
    return next(same, None)


# All exercises beside each other


def _held(advised: Sequence[Advice], drill: Drill, steps: Steps) -> list[Advice]:
    """What is to get faster waits for the exercises that come before speed."""
    if drill.practice.first == "tempo":
        return [*advised]
    same_material: dict[Hashable, list[Advice]] = defaultdict(list)
    placements: dict[Hashable, list[Advice]] = defaultdict(list)
    for advice in filter(_counts, advised):
        same_material[_material(advice.group)].append(advice)
        placements[_but_for_placement(advice.group)].append(advice)

    def held(advice: Advice) -> Advice:
        tempo, proven = advice.tempo, advice.proven
        if advice.action is not Action.UP or not proven or not tempo or tempo <= steps.first:
            return advice
        unsafe = [
            other
            for other in same_material[_material(advice.group)]
            if not other.proven or other.proven < steps.first
        ]
        slower = [
            other
            for other in placements[_but_for_placement(advice.group)]
            if other is not advice and other.proven and steps.faster(other.proven) < tempo
        ]
        numbers = [other.group.numbers[0].whole for other in unsafe or slower]
        if not numbers:
            return advice
        named = exercises_said(numbers[:_MOST_NAMED])
        if len(numbers) > _MOST_NAMED:
            named += f" and {len(numbers) - _MOST_NAMED} more"
        return replace(
            advice,
            action=Action.HOLD,
            tempo=proven,
            said=f"safe at {plain(proven)}",
            why=f"{named} first, then all get faster together",
        )

    return [held(advice) for advice in advised]


def _counts(advice: Advice) -> bool:
    """Whether others wait for it."""
    return not (advice.stuck or advice.learnt or advice.action is Action.LEAVE)


def _not_too_much(advised: Sequence[Advice]) -> list[Advice]:
    """New exercises wait while enough is being worked on; what follows something done is first."""
    new = [advice for advice in advised if advice.action is Action.BEGIN and advice.last is None]
    begun = {_material(advice.group) for advice in new}
    # What is safe and waits for others of its kind to be begun leaves them room.
    worked_on = sum(
        advice.action in WORK
        or (advice.action is Action.HOLD and _material(advice.group) not in begun)
        for advice in advised
    )
    follow = {
        after.group
        for advice in advised
        if advice.learnt and (after := _next_placement(advice, advised)) is not None
    }
    new.sort(key=lambda advice: advice.group not in follow)
    waiting = {advice.group for advice in new[max(0, AT_ONCE - worked_on) :]}
    return [
        replace(advice, action=Action.LATER, tempo=None, said="later", why="not yet tried")
        if advice.group in waiting
        else advice
        for advice in advised
    ]


def _gone_on(advised: Sequence[Advice]) -> list[Advice]:
    """What is done says what comes next."""
    return [
        _onward(advice, advised) if advice.action is Action.DONE else advice for advice in advised
    ]


def _onward(done: Advice, advised: Sequence[Advice]) -> Advice:
    playable = (Action.BEGIN, *WORK)
    after = _next_placement(done, advised)
    if after and after.action in playable:
        where = f"the next placement: {after.group.numbered}"
    else:
        following, before = _around(done, advised)
        others = [other for other in (*following, *before) if other.action in playable]
        if not others:
            return done
        where = others[0].group.numbered
    return replace(done, action=Action.GO_ON, said=f"go on to {where}")


def _next_placement(done: Advice, advised: Sequence[Advice]) -> Advice | None:
    """The exercise that is the same but for where things begin, after this one in the drill."""
    ours = _but_for_placement(done.group)
    following, _ = _around(done, advised)
    same = (other for other in following if _but_for_placement(other.group) == ours)
    return next((other for other in same if not other.learnt), None)


def _around(advice: Advice, advised: Sequence[Advice]) -> tuple[Sequence[Advice], Sequence[Advice]]:
    """What comes after an exercise in the drill, and what comes before it."""
    here = next(i for i, other in enumerate(advised) if other.group is advice.group)
    return advised[here + 1 :], advised[:here]


def _material(group: Group) -> Hashable:
    """What is the same in all stages and placements of one idea."""
    still = tuple((moved.move, moved.value) for moved in group.variant.moves if not moved.begins)
    return group.variant.sticking, still, group.outlines[0].material.step


def _but_for_placement(group: Group) -> Hashable:
    return group.stage, group.outlines[0].feet, _material(group)
