"""What to do next with each exercise of a drill: each by its rules, then all beside each other."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from midiforge.drill.drill import Drill
from midiforge.model.exercise import Exercise
from midiforge.model.piece import pieces
from midiforge.practice.entry import Entry, key_of
from midiforge.practice.rules import judged
from midiforge.practice.standing import WORK, Action, Advice, Group, Standing, hurts
from midiforge.practice.steps import Steps

AT_ONCE = 3  # exercises worked on at a time; common practice
CAREFUL_DAYS = 2  # after pain anywhere nothing gets faster


def groups(exercises: Iterable[Exercise]) -> list[Group]:
    """Pieces in the order of the lesson; one that comes again in it, with where it came first."""
    found: dict[str, list[Exercise]] = {}
    for piece in pieces(exercises):
        found.setdefault(key_of(piece.exercise), []).extend(piece.exercises)
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
        found.append(judged(Standing(group, own, drill.practice, steps, today, careful)))
    return _gone_on(_not_too_much(found))


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
        accents_said="",
        feet_placement=0,
        feet_placement_name="",
    )
    return each.stage, replace(still, lead=""), each.feet, each.step
