"""Six weeks of simulated students: what is true of each; `python tests/students.py` has the table.

The tests follow fewer takes than the command does. They say that who follows the advice gets
somewhere, or is told what is in the way; not that people learn so.
"""

from dataclasses import replace
from functools import cache
from itertools import groupby, pairwise

import pytest
from students import DAILY, STUDENTS, Outcome, Student, follow, is_good

from midiforge.practice.climb import is_far_off
from midiforge.practice.standing import Action

PLACEMENTS = {"1", "1e", "1&", "1a"}
# Fewer takes, so that all of them together are quick.
TAKES = {"weekly": 6, "plateau": 4}
DAYS = {"daily": DAILY}


@cache
def followed(name: str) -> Outcome:
    student = STUDENTS[name]
    days = student.days if name not in DAYS else DAYS[name][::2]
    return follow(replace(student, days=tuple(days), takes=TAKES.get(name, 3)))


def reasons(outcome: Outcome) -> str:
    return "\n".join(outcome.told)


@pytest.mark.parametrize("name", [name for name in STUDENTS if name != "without accents"])
def test_in_six_weeks_all_placements_are_safe(name: str) -> None:
    assert {*followed(name).safe()} == PLACEMENTS


@pytest.mark.parametrize("name", ["daily", "talented", "back after a month", "in pain"])
def test_who_has_no_fault_gets_faster_at_every_placement(name: str) -> None:
    outcome = followed(name)
    first = {place: outcome.first_good(place) for place in PLACEMENTS}
    for place, tempo in outcome.safe().items():
        assert tempo > (first[place] or 0)


@pytest.mark.parametrize("name", ["daily", "talented", "plateau", "back after a month", "in pain"])
def test_every_placement_is_begun_within_two_weeks(name: str) -> None:
    days = [followed(name).first(place) for place in PLACEMENTS]
    assert all(day is not None and day < 14 for day in days)


@pytest.mark.parametrize("name", [*STUDENTS])
def test_no_placement_runs_ahead_of_another_that_is_not_stuck(name: str) -> None:
    """Breadth before speed: what is asked is never more than two steps of five per cent apart
    from what the slowest is proven at, but where that one is at a plateau."""
    outcome = followed(name)
    for day, said in outcome.said.items():
        free = [each for each in said if not each.stuck and not each.learnt and each.proven]
        asked = [each for each in said if each.action is Action.UP]
        for each in asked:
            slowest = min((other.proven or 0 for other in free), default=None)
            assert each.tempo is not None
            most = 60 if slowest is None else 1.05**2 * float(slowest) + 1  # the drill's slowest
            assert float(each.tempo) <= most, (name, day)


@pytest.mark.parametrize("name", [*STUDENTS])
def test_the_advised_tempo_falls_by_a_step_a_take_or_three_if_it_was_far_off(name: str) -> None:
    outcome = followed(name)
    for _, takes in groupby(
        sorted(outcome.takes, key=lambda each: each.entry.placement_name),
        key=lambda each: each.entry.placement_name,
    ):
        some = [each for each in takes if each.phase == "work"]
        for before, after in pairwise(some):
            if not before.entry.note:
                steps = 3 if is_far_off(before.entry, outcome.settings) else 1
                slip = min(float(before.asked), before.entry.tempo)
                assert float(after.asked) >= slip / 1.05**steps - steps


@pytest.mark.parametrize("name", [*STUDENTS])
def test_nothing_gets_faster_after_a_take_that_is_not_good(name: str) -> None:
    outcome = followed(name)
    for day, said in outcome.said.items():
        for each in said:
            if each.action is Action.UP and each.last and each.last.day.toordinal():
                assert is_good(each.last, outcome.settings), (name, day, each.said)


# What is in the way is said


def test_who_plays_no_accents_is_told_so_and_goes_no_faster() -> None:
    outcome = followed("without accents")
    assert not outcome.safe()
    assert max(float(each.asked) for each in outcome.takes) == 60
    last = outcome.said[max(outcome.said)]
    assert all("accents do not stand out" in each.lacking for each in last if each.last)


def test_who_rushes_is_told_so_and_is_not_told_of_unsteadiness_alone() -> None:
    assert "rushing by" in reasons(followed("rushing"))
    assert "tempo" in followed("rushing").lacking[:2]


def test_a_weak_foot_is_named() -> None:
    outcome = followed("one weak foot")
    assert outcome.lacking[0].startswith("right foot")
    assert "right foot" in reasons(outcome)


def test_at_a_plateau_something_changes_each_time_for_something_else() -> None:
    changed = [
        each.advice.said.split(", then")[0]
        for each in followed("plateau").takes
        if each.advice.action is Action.CHANGE
    ]
    assert len(set(changed)) >= 3
    for change, times in groupby(changed):
        assert len([*times]) <= 6, change


def test_at_a_plateau_the_other_placements_go_on() -> None:
    played = [each.entry.placement_name for each in followed("plateau").takes if each.day > 27]
    assert len({*played}) == 4


def test_a_month_away_costs_no_tempo_that_was_proven_but_for_a_step() -> None:
    outcome = followed("back after a month")
    before = outcome.safe(6)
    back = {}
    for each in outcome.takes:
        if each.day > 6:
            back.setdefault(each.entry.placement_name, float(each.asked))
    for place, tempo in before.items():
        assert back[place] >= tempo / 1.05 - 1


def test_what_is_due_comes_once_and_then_goes_on() -> None:
    outcome = followed("back after a month")
    for day in (36, 37):
        due = [each for each in outcome.takes if each.day == day and each.phase == "review"]
        places = [each.entry.placement_name for each in due]
        assert len(places) == len({*places})


def test_after_pain_that_exercise_rests_and_nothing_gets_faster_for_two_days() -> None:
    outcome = followed("in pain")
    hurt = [each for each in outcome.takes if each.entry.note]
    assert hurt
    for each in hurt:
        place = each.entry.placement_name
        again = [
            later
            for later in outcome.takes
            if later.entry.placement_name == place and each.day < later.day < each.day + 7
        ]
        assert not again
        for other in outcome.takes:
            if each.day < other.day <= each.day + 2:
                assert other.advice.action is not Action.UP


@pytest.mark.parametrize("name", [*STUDENTS])
def test_a_plan_of_half_an_hour_has_no_more_than_a_person_can_use(name: str) -> None:
    outcome = followed(name)
    assert max(outcome.turns.values()) <= 14
    assert max(outcome.exercises.values()) <= 6


def test_the_other_way_round_one_placement_goes_to_the_goal_first() -> None:
    student = Student("talented", range(0, 12), takes=3, least=80.0, gain=110.0, power=0.5)
    outcome = follow(student, practice={"first": "tempo"})
    safe = outcome.safe()
    assert max(safe.values()) > 1.2 * min(safe.values()) or len(safe) < 4
