"""What to do next: each rule of the table in `midiforge.practice.advice`, and what never happens.

No published source for the figures: they are common practice of teachers, and the project's own
rules; the tests say what follows from them.
"""

import json
import re
import shlex
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.command.run import run
from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.insight.loop import loop_of
from midiforge.model.hit import Limb
from midiforge.practice import rules
from midiforge.practice.advice import AT_ONCE, advise, groups
from midiforge.practice.changes import changes
from midiforge.practice.entry import Entry, key_of, movement_of
from midiforge.practice.good import Lack
from midiforge.practice.log import ENVIRONMENT, Log
from midiforge.practice.rules import RULES
from midiforge.practice.standing import WORK, Action, Advice, Standing
from midiforge.practice.steps import Steps
from midiforge.practice.words import why_words

TODAY = date(2026, 5, 20)
KEYS: dict[str, Any] = {
    "title": "Harbour steps",
    "sticking": "RLRR LRLL",
    "placements": "beat",
    "feet": "samba",
    "tempos": "60, 80, 100",
    "repeats": 4,
}
Take = tuple[float, float, float]  # tempo, clean, steady


@pytest.fixture(autouse=True)
def in_one_zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def drill_of(**keys: Any) -> Drill:
    return midiforge.check_drill({**KEYS, **keys})


def take(
    exercise: midiforge.Exercise,
    tempo: float,
    clean: float = 1.0,
    steady: float | None = 5.0,
    days_ago: float = 1,
    **changed: Any,
) -> Entry:
    hit = round(1000 * clean)
    values: dict[str, Any] = {
        "when": datetime(2026, 5, 20, 12, tzinfo=UTC) - timedelta(days=days_ago),
        "drill": "Harbour steps",
        "exercise": exercise.title,
        "key": key_of(exercise),
        "stage": exercise.stage,
        "sticking": exercise.variant.sticking,
        "placement_name": exercise.variant.moved("placement").count or "1",
        "number": str(exercise.number),
        "tempo": tempo,
        "expected": 1000,
        "hit": hit,
        "missed": 1000 - hit,
        "extra": 0,
        "mean_ms": 0.0,
        "deviation_ms": None if steady is None else 2.5 * steady,
        "deviation_percent": steady,
        "drift_ms_per_bar": 0.0,
        "bars": 16.0,
        "seconds": 60.0,
        "source": "take.mid",
        **changed,
    }
    return Entry(**values)


def first_after(*takes: Take, days_ago: float = 1, **keys: Any) -> Advice:
    """What is said of the first exercise after takes (tempo, clean, steady), an hour apart."""
    drill = drill_of(**keys)
    lesson = [*midiforge.exercises(drill)]
    entries = [take(lesson[0], *each, days_ago=days_ago - i / 24) for i, each in enumerate(takes)]
    return advise(midiforge.Lesson(drill), entries, TODAY)[0]


GOOD, UNSTEADY, UNCLEAN = (1.0, 5.0), (1.0, 9.5), (0.93, 5.0)


# The rules, one by one


def test_the_table_in_the_documentation_has_the_rules_in_their_order() -> None:
    assert rules.__doc__
    table = rules.__doc__.split("says\n")[1].split("\n\n")[0]
    assert re.findall(r"^    ([a-z]+) ", table, re.MULTILINE) == [*RULES]


def test_what_was_never_tried_begins_at_the_drill_s_slowest_tempo() -> None:
    found = first_after()
    assert (found.action, found.tempo, found.said) == (Action.BEGIN, 60, "begin at 60")
    assert found.why == "not yet tried"


def test_two_good_takes_in_a_row_go_up_by_five_per_cent() -> None:
    found = first_after((80, *GOOD), (80, *GOOD))
    assert (found.action, found.tempo, found.said) == (Action.UP, 84, "up by 4 to 84")


def test_what_was_played_to_the_click_counts_as_its_tempo() -> None:
    """Reviews say the tempo that was played, which is never quite the click's."""
    found = first_after((79.7, *GOOD), (80.1, *GOOD))
    assert (found.tempo, found.said) == (84, "up by 4 to 84")
    assert first_after((100.2, *GOOD), (99.8, *GOOD)).learnt
    assert first_after((72.9, *GOOD), (73.2, *GOOD)).said == "up by 4 to 77"
    assert first_after((79, *GOOD), (80, *GOOD)).action is Action.STAY


def test_one_good_take_stays() -> None:
    found = first_after((80, *GOOD))
    assert (found.action, found.tempo) == (Action.STAY, 80)
    assert found.why == "good once, 2 in a row are wanted"


@pytest.mark.parametrize("bad", [UNSTEADY, UNCLEAN, (1.0, None)])
def test_a_take_that_is_not_good_breaks_the_row(bad: tuple[float, float]) -> None:
    assert first_after((80, *GOOD), (80, *bad), (80, *GOOD)).action is Action.STAY
    assert first_after((80, *GOOD), (80, *GOOD), (80, *bad)).action is Action.STAY


def test_what_is_wanted_is_said_with_its_figures() -> None:
    assert why_words(first_after((80, 0.93, 9.5))) == (
        "93% clean, 95% is wanted; steady to 9.5% of a step, 8% is wanted"
    )


@pytest.mark.parametrize(
    ("keys", "tempo"),
    [
        ({}, 84),
        ({"practice": {"up": "10%"}}, 88),
        ({"practice": {"up": "1%"}}, 81),
        ({"practice": {"up": "next"}}, 100),
        ({"practice": {"goal": 82}}, 82),
        ({"tempos": "60, 81"}, 81),
    ],
)
def test_how_far_up_is_a_setting_and_never_past_the_goal(keys: Any, tempo: int) -> None:
    assert first_after((80, *GOOD), (80, *GOOD), **keys).tempo == tempo


@pytest.mark.parametrize(
    ("keys", "good"),
    [
        ({"clean": 0.9}, True),
        ({"clean": 0.93}, True),
        ({"clean": 0.931}, False),
    ],
)
def test_the_clean_share_is_a_setting(keys: Any, good: bool) -> None:
    found = first_after((80, *UNCLEAN), (80, *UNCLEAN), practice={**keys, "takes": 2})
    assert (found.action is Action.UP) is good


def test_steadiness_and_the_number_of_takes_are_settings() -> None:
    row = [(80, *UNSTEADY)] * 3
    assert first_after(*row, practice={"steady": 10}).action is Action.UP
    assert first_after(*row, practice={"steady": 9.4}).action is not Action.UP
    assert first_after(*row, practice={"steady": 10, "takes": 4}).action is Action.STAY
    assert first_after(row[0], practice={"steady": 10, "takes": 1}).action is Action.UP


def test_a_take_that_is_far_off_goes_down() -> None:
    for bad in ((0.84, 5.0), (1.0, 16.5)):
        found = first_after((84, *GOOD), (84, *bad))
        assert (found.action, found.tempo, found.said) == (Action.DOWN, 80, "down to 80")


@pytest.mark.parametrize(
    ("clean", "steady", "tempo"),
    # 84 a step at a time: 80, 76, 72, 69. Far off is below 85% clean, or above 16% of a step.
    [(0.84, 5.0, 80), (0.76, 5.0, 76), (0.6, 5.0, 72), (0.1, 5.0, 72), (1.0, 17.7, 76)],
)
def test_how_far_down_the_figures_of_a_take_say(clean: float, steady: float, tempo: int) -> None:
    """As many clean strokes a second, or strokes as uneven in ms, would not be far off there."""
    found = first_after((84, clean, steady))
    assert (found.action, found.tempo) == (Action.DOWN, tempo)


def test_no_take_leads_below_what_was_good_at_once() -> None:
    assert first_after((76, *GOOD), (84, 0.6, 5.0)).tempo == 76


def test_who_lost_the_place_goes_down_by_a_step_however_much_was_missed() -> None:
    lesson = midiforge.Lesson(drill_of())
    lost = take(next(iter(lesson)), 84, 0.5, lost=2)
    assert advise(lesson, [lost], TODAY)[0].tempo == 80


def test_what_was_taken_far_down_is_half_way_back_up_after_each_good_take() -> None:
    bad = (84, 0.6, 5.0)
    tempos = [
        first_after(bad, *rows).tempo for rows in ([], [(72, *GOOD)], [(72, *GOOD), (80, *GOOD)])
    ]
    assert tempos == [72, 80, 84]
    # From there on it is safe as often as usual, and no sooner.
    back = [bad, (72, *GOOD), (80, *GOOD), (84, *GOOD)]
    assert first_after(*back).said == "stay at 84"
    assert first_after(*back, (84, *GOOD)).said == "up by 4 to 88"


def test_takes_that_get_no_better_go_down_and_those_that_do_stay() -> None:
    assert first_after((84, 0.94, 9), (84, 0.93, 9.5)).action is Action.DOWN
    assert first_after((84, 0.93, 9), (84, 0.94, 9)).action is Action.STAY
    assert first_after((84, 0.93, 9.5), (84, 0.93, 9)).action is Action.STAY
    assert first_after((80, 0.94, 9), (84, 0.93, 9.5)).action is Action.STAY


def test_it_never_goes_down_below_half_the_drill_s_slowest_tempo() -> None:
    assert first_after((31, 0.5, 30)).tempo == 30
    found = first_after((30, 0.5, 30))
    assert (found.action, found.tempo) == (Action.STAY, 30)


def test_good_takes_that_got_clearly_worse_are_not_pushed() -> None:
    found = first_after((80, 1.0, 5.0), (80, 1.0, 7.5))
    assert (found.action, found.tempo) == (Action.STAY, 80)
    assert "steady to 5.0%, then to 7.5%" in found.why
    assert first_after((80, 1.0, 5.0), (80, 0.97, 5.0)).action is Action.STAY
    assert first_after((80, 1.0, 5.0), (80, 0.99, 5.5)).action is Action.UP
    # A faster take is naturally less steady.
    assert first_after((80, 1.0, 5.0), (84, 1.0, 7.5), (84, 1.0, 7.5)).action is Action.UP


def test_a_slow_good_take_after_a_fast_good_one_is_warming_up() -> None:
    for slower in (56, 71.9, 72.1, 76):
        found = first_after((80, *GOOD), (80, *GOOD), (slower, *GOOD))
        assert found.said == "up by 4 to 84"
    assert first_after((80, *GOOD), (80, *GOOD), (56, *UNSTEADY)).action is Action.STAY
    # After a bad one it is going back to learn.
    assert first_after((80, 0.8, 9), (60, *GOOD), (60, *GOOD)).said == "up by 3 to 63"


def test_a_take_shorter_than_once_round_is_not_judged() -> None:
    drill = drill_of()
    lesson = [*midiforge.exercises(drill)]
    short = take(lesson[0], 80, bars=0.5)
    [found, *_] = advise(midiforge.Lesson(drill), [short], TODAY)
    assert (found.action, found.tempo) == (Action.BEGIN, 60)
    assert "too short" in found.why


def test_what_was_not_played_for_a_week_comes_back_at_its_tempo_if_it_was_good() -> None:
    found = first_after((84, *GOOD), days_ago=9)
    assert (found.action, found.said) == (Action.REVIEW, "review at 84")
    assert found.why == "last played 9 days ago"
    assert first_after((84, *UNSTEADY), days_ago=9).said == "review at 80"
    assert first_after((84, *GOOD), (84, *GOOD), days_ago=9).action is Action.UP
    assert first_after((84, *GOOD), (84, *GOOD), days_ago=15).said == "review at 84"
    assert first_after((84, *GOOD), (84, *GOOD), days_ago=6).action is Action.UP
    assert first_after((84, *GOOD), days_ago=6, practice={"days": 5}).action is Action.REVIEW


@pytest.mark.parametrize("gaps", [(1,), (3,), (7,), (8,), (10, 4), (13, 7, 2), (30, 7), (25, 20)])
@pytest.mark.parametrize("takes_a_day", [1, 2, 3])
def test_whoever_plays_without_a_fault_never_gets_slower_and_gets_there(
    gaps: tuple[int, ...], takes_a_day: int
) -> None:
    """A student who plays what is asked, flawlessly, on days with such gaps between them."""
    drill = drill_of()
    lesson = [*midiforge.exercises(drill)]
    entries: list[Entry] = []
    when, fastest, asked = datetime(2026, 1, 5, 18, tzinfo=UTC), Fraction(0), Fraction(0)
    for visit in range(120):
        for _ in range(takes_a_day):
            found = advise(midiforge.Lesson(drill), entries, when.date())[0]
            if found.learnt:
                return
            asked = found.tempo or asked
            assert asked >= fastest, (visit, found.said)
            fastest = max(fastest, asked)
            when += timedelta(minutes=5)
            entries.append(take(lesson[0], float(asked), *GOOD, when=when))
        when += timedelta(days=gaps[visit % len(gaps)])
    raise AssertionError(f"after {visit} visits at {asked}")


def test_what_is_good_at_the_goal_is_done_and_comes_back_at_its_tempo() -> None:
    found = first_after((100, *GOOD), (100, *GOOD))
    assert found.learnt
    assert found.action is Action.GO_ON
    back = first_after((100, *GOOD), (100, *GOOD), days_ago=12)
    assert (back.action, back.tempo, back.learnt) == (Action.REVIEW, 100, True)
    assert first_after((100, *GOOD), (100, *GOOD), (96, *GOOD)).learnt
    assert not first_after((100, *GOOD), (100, *GOOD), (100, *UNSTEADY)).learnt


def test_what_is_done_leads_to_the_next_placement() -> None:
    drill = drill_of(stages="hands, full")
    lesson = [*midiforge.exercises(drill)]
    hands = [take(lesson[0], 100, days_ago=1 + i / 24) for i in range(2)]
    found = advise(midiforge.Lesson(drill), hands, TODAY)
    by_title = {each.group.exercise.title: each for each in found}
    after = by_title["RLRR LRLL from 1e, hands on one surface"]
    assert (
        found[0].said
        == f"go on to the next placement: exercise {after.group.exercise.number.piece}"
    )
    assert after.action is Action.BEGIN


def test_accents_begun_elsewhere_are_a_next_placement_too() -> None:
    keys = {"placements": "1", "sticking": ">RLRR LRLL", "accent_placements": "1, 1e"}
    drill = drill_of(stages="full", **keys)
    lesson = [*midiforge.exercises(drill)]
    done = [take(lesson[0], 100, days_ago=1 + i / 24) for i in range(2)]
    assert advise(midiforge.Lesson(drill), done, TODAY)[0].said == (
        "go on to the next placement: exercise 2"
    )


def test_what_follows_something_done_does_not_wait_behind_the_rest() -> None:
    drill = drill_of(stages="hands, full")
    found = groups(midiforge.Lesson(drill))
    done = [take(found[5].exercise, 100, days_ago=1 + i / 24) for i in range(2)]
    advice = advise(midiforge.Lesson(drill), done, TODAY)
    assert advice[5].said == f"go on to the next placement: {found[7].numbered}"
    assert advice[7].action is Action.BEGIN


def test_when_all_is_done_it_is_said() -> None:
    drill = drill_of(placements="0")
    lesson = [*midiforge.exercises(drill)]
    entries = [take(each, 100, days_ago=1 + i / 24) for each in lesson for i in range(2)]
    found = advise(midiforge.Lesson(drill), entries, TODAY)
    assert {(each.action, each.said) for each in found} == {(Action.DONE, "done")}


def test_no_more_than_three_exercises_are_begun_or_worked_on_at_a_time() -> None:
    drill = drill_of()
    for tried in range(5):
        keys = [each.exercise for each in groups(midiforge.Lesson(drill))][:tried]
        entries = [take(each, 60) for each in keys]
        found = [each.action for each in advise(midiforge.Lesson(drill), entries, TODAY)]
        begun = found.count(Action.BEGIN)
        assert sum(each in WORK for each in found) == tried
        assert begun == max(0, AT_ONCE - tried)
        assert found.count(Action.LATER) == len(found) - tried - begun


# Breadth before speed


def takes_of(drill: Drill, *found: tuple[int, float, int]) -> list[Advice]:
    """Advice after good takes: (which exercise, tempo, how many)."""
    some = [each.exercise for each in groups(midiforge.Lesson(drill))]
    entries = [
        take(some[which], tempo, days_ago=1 + i / 24)
        for which, tempo, many in found
        for i in range(many)
    ]
    return advise(midiforge.Lesson(drill), entries, TODAY)


def test_what_is_safe_waits_for_the_other_placements() -> None:
    drill = drill_of(stages="hands")
    first, *others = takes_of(drill, (0, 60, 2))
    assert (first.action, first.tempo, first.said) == (Action.HOLD, 60, "safe at 60")
    assert "exercises 2-4 first" in first.why
    assert [each.action for each in others] == [Action.BEGIN] * 3
    every = takes_of(drill, *((which, 60, 2) for which in range(4)))
    assert {(each.action, each.tempo) for each in every} == {(Action.UP, 63)}


def test_none_is_more_than_a_step_ahead_of_the_slowest() -> None:
    drill = drill_of(stages="hands")
    found = takes_of(drill, (0, 63, 2), (1, 60, 2), (2, 60, 2), (3, 60, 2))
    assert [each.action for each in found] == [Action.HOLD, *[Action.UP] * 3]
    assert found[0].tempo == 63


def test_the_other_way_round_is_a_setting() -> None:
    drill = drill_of(stages="hands", practice={"first": "tempo"})
    assert takes_of(drill, (0, 60, 2))[0].said == "up by 3 to 63"


def test_who_begins_at_a_new_placement_leaves_room_for_it() -> None:
    """Three at a time are those that are not safe yet."""
    found = takes_of(drill_of(stages="hands, full"), *((which, 60, 2) for which in range(5)))
    assert sum(each.action is Action.BEGIN for each in found) == AT_ONCE


# What was proven stays


def test_one_bad_take_costs_a_step_and_no_more() -> None:
    found = first_after((80, *GOOD), (80, *GOOD), (84, 0.6, 30), days_ago=2)
    assert (found.action, found.tempo) == (Action.DOWN, 80)
    assert first_after((80, *GOOD), (80, *GOOD), (60, 0.6, 30)).tempo == 60
    slow_again = first_after((80, *GOOD), (80, *GOOD), (60, 0.6, 30), (60, *GOOD))
    assert (slow_again.action, slow_again.tempo) == (Action.UP, 84)


def test_days_off_cost_nothing_that_was_proven() -> None:
    found = first_after((80, *GOOD), (80, *GOOD), (84, *UNSTEADY), days_ago=40)
    assert (found.action, found.tempo) == (Action.REVIEW, 80)


def test_what_was_due_comes_once_and_then_goes_on() -> None:
    drill = drill_of()
    exercise = next(midiforge.exercises(drill))
    long_ago = [
        *(take(exercise, 80, days_ago=40 - i / 24) for i in range(2)),
        take(exercise, 84, *UNSTEADY, days_ago=39),
    ]
    [found, *_] = advise(
        midiforge.Lesson(drill), [*long_ago, take(exercise, 80, days_ago=0)], TODAY
    )
    assert (found.action, found.tempo) == (Action.UP, 84)


def test_after_pain_it_begins_slowly_and_comes_back_step_by_step() -> None:
    drill = drill_of()
    exercise = next(midiforge.exercises(drill))
    entries = [
        *(take(exercise, 80, days_ago=20 - i / 24) for i in range(2)),
        take(exercise, 84, days_ago=19, note="pain"),
        take(exercise, 60, days_ago=1),
    ]
    assert advise(midiforge.Lesson(drill), entries, TODAY)[0].tempo == 63


# A plateau


STUCK = ((80, 1.0, 5.0), (80, 1.0, 5.0), *[(84, 0.94, 7.0), (84, 0.93, 7.0)] * 4)


def test_after_pain_the_row_is_counted_from_the_pain_on() -> None:
    notes = ["", "", "wrist hurts", ""]
    drill = drill_of()
    lesson = [*midiforge.exercises(drill)]
    entries = [
        take(lesson[0], 60, *GOOD, days_ago=10 - i, note=note) for i, note in enumerate(notes)
    ]
    [found, *_] = advise(midiforge.Lesson(drill), entries, TODAY - timedelta(days=5))
    assert (found.action, found.why) == (Action.STAY, "good once, 2 in a row are wanted")


def test_at_a_plateau_something_changes_and_then_something_else() -> None:
    said = []
    for more in range(8):
        found = first_after(*STUCK, *[(84, 0.93, 7.0)] * more, feet="samba", placements=0)
        assert found.action is Action.CHANGE
        assert "takes and no faster" in found.why
        said.append((found.said, found.flags))
    assert len({*said}) >= 2
    assert first_after(*STUCK[:6]).action is not Action.CHANGE


def test_every_flag_of_a_change_makes_exercises_the_one_alone_where_numbers_stay(
    capsys: pytest.CaptureFixture[str],
) -> None:
    of = ["--sticking", ">RLRR LRLL", "--feet", "samba", "--stages", "hands,full"]
    of += ["--placements", "1, 1e"]
    drill = drill_of(sticking=">RLRR LRLL", stages="hands, full", placements="1, 1e")
    exercise = next(each for each in midiforge.exercises(drill) if each.number.piece == 2)
    found = changes(exercise, (), Fraction(50))
    flags = [each.flags for each in found if each.flags]
    assert len(flags) == 5
    assert sum("--only" in each for each in flags) == 2
    for each in flags:
        capsys.readouterr()
        assert run(["show", *of, *shlex.split(each)]) == 0, each
        if "--only" in each:
            head = capsys.readouterr().out.splitlines()[0]
            assert head.startswith("2") and head.endswith(f". {exercise.title}")


def test_a_change_that_numbers_anew_is_played_of_the_one_exercise(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = {"sticking": ">RLRR >LRLL", "feet": "samba", "stages": "feet, full", "tempos": "80"}
    keys["placements"] = "1, 1e"
    drill = drill_of(**keys)
    stuck = next(each for each in midiforge.exercises(drill) if "from 1e" in each.title)
    file = tmp_path / "drill.toml"
    file.write_text("".join(f'{name} = "{value}"\n' for name, value in keys.items()))
    said: set[str] = set()
    for more in range(12):
        takes = [*STUCK, *[(84.0, 0.93, 7.0)] * more]
        entries = [take(stuck, *each, days_ago=2 - i / 24) for i, each in enumerate(takes)]
        advised = advise(midiforge.Lesson(drill), entries, TODAY)
        [advice] = (each for each in advised if each.group.title == stuck.title)
        assert advice.action is Action.CHANGE
        said.add(advice.said)
        if advice.flags:
            capsys.readouterr()
            assert run(["show", str(file), "--titles", *shlex.split(advice.flags)]) == 0
            [_, row] = capsys.readouterr().out.splitlines()
            assert "from 1e" in row
    assert len(said) > 4


def test_two_limbs_alone_are_the_one_that_lacks_something_and_a_partner() -> None:
    exercise = next(midiforge.exercises(drill_of(stages="full", placements=0)))
    lack = Lack("steady", Limb.RIGHT_FOOT, "")
    [alone, *_] = changes(exercise, (lack,), Fraction(50))
    assert alone.said == "play the right hand and the right foot alone"


# A history goes on


def test_the_history_survives_a_changed_voice_and_spelling() -> None:
    before = drill_of(stages="full", placements="1, 1e")
    exercise = next(iter(midiforge.Lesson(before).select("2")))
    old = take(exercise, 80, movement=movement_of(exercise))
    for keys in (
        {"voicing": {"RH": "ride"}},
        {"voicing": {"LH": "tom-high/tom-mid"}},
        {"sticking": "RLRRLRLL"},
        {"sticking": "R L R R  L R L L"},
    ):
        after = drill_of(**{"stages": "full", "placements": "1, 1e", **keys})
        found = advise(midiforge.Lesson(after), [old], TODAY)
        assert [each.last for each in found] == [None, old], keys
    for keys in ({"feet": "bossa-nova"}, {"sticking": "RLLR LRRL"}, {"sticking": ">RLRR LRLL"}):
        after = drill_of(**{"stages": "full", "placements": "1, 1e", **keys})
        assert not any(each.last for each in advise(midiforge.Lesson(after), [old], TODAY)), keys


# Pain


@pytest.mark.parametrize(
    "note",
    ["left wrist hurts", "Pain after bar 8", "SORE thumb", "aching", "fingers numb", "tingling"],
)
def test_pain_is_understood(note: str) -> None:
    assert take(next(midiforge.exercises(drill_of())), 60, note=note).hurts


@pytest.mark.parametrize(
    "note",
    ["", "no pain", "no more pain or numbness", "pain-free at last", "without pain", "each number",
     "painted the shed", "thoroughly reached", "never hurt"],
)  # fmt: skip
def test_what_is_no_pain_is_not_taken_for_it(note: str) -> None:
    assert not take(next(midiforge.exercises(drill_of())), 60, note=note).hurts


def test_an_exercise_that_hurt_is_left_and_nothing_else_gets_faster() -> None:
    drill = drill_of(practice={"first": "tempo"})
    one, two = (each.exercise for each in groups(midiforge.Lesson(drill))[:2])
    entries = [
        take(one, 80, days_ago=1, note="forearm hurts"),
        *(take(two, 80, days_ago=1 + i / 24) for i in range(2)),
    ]
    first, second, *_ = advise(midiforge.Lesson(drill), entries, TODAY)
    assert (first.action, first.tempo) == (Action.LEAVE, None)
    assert "2026-05-19" in first.why
    assert (second.action, second.tempo) == (Action.STAY, 80)
    assert "nothing gets faster" in second.why
    assert (
        advise(midiforge.Lesson(drill), entries, TODAY + timedelta(days=2))[1].action is Action.UP
    )


def test_an_exercise_that_hurt_comes_back_slowly_after_a_week() -> None:
    drill = drill_of()
    lesson = [*midiforge.exercises(drill)]
    entries = [take(lesson[0], 100, days_ago=8, note="pain")]
    [found, *_] = advise(midiforge.Lesson(drill), entries, TODAY)
    assert (found.action, found.tempo) == (Action.REVIEW, 60)
    assert "only if it is gone" in found.why


# Exercises that get faster by themselves


def test_a_ramp_has_no_tempo_to_change_and_is_done_after_good_takes() -> None:
    ramp = {"ramp": "60 to 80 by 10 every 2 bars", "tempos": "60"}
    assert first_after(**ramp).tempo is None
    assert first_after((80, 0.5, 30), **ramp).action is Action.STAY
    assert first_after((80, *GOOD), **ramp).action is Action.STAY
    assert first_after((80, *GOOD), (80, *GOOD), **ramp).learnt


# What never happens


TAKES = st.tuples(
    st.integers(0, 11),
    st.sampled_from([30.0, 45.0, 60.0, 72.5, 80.0, 84.0, 96.0, 100.0, 120.0]),
    st.sampled_from([0.5, 0.86, 0.94, 0.95, 0.98, 1.0]),
    st.sampled_from([None, 2.0, 5.0, 7.0, 8.0, 9.0, 15.0, 40.0]),
    st.integers(0, 20),
    st.sampled_from([0.5, 4.0, 16.0]),
    st.sampled_from(["", "", "", "hurts", "no pain"]),
)


@given(st.lists(TAKES, max_size=25), st.sampled_from(["5%", "next", "20%"]))
@settings(max_examples=100, derandomize=True, deadline=None)
def test_whatever_was_played_advice_is_safe(takes: list[tuple[Any, ...]], up: str) -> None:
    drill = drill_of(practice={"up": up})
    lesson = [*midiforge.exercises(drill)]
    found_groups = groups(midiforge.Lesson(drill))
    entries = [
        take(
            found_groups[number % len(found_groups)].exercise,
            tempo, clean, steady, days + i / 100, bars=bars, note=note,
        )
        for i, (number, tempo, clean, steady, days, bars, note) in enumerate(takes)
    ]  # fmt: skip
    found = advise(midiforge.Lesson(drill), entries, TODAY)
    assert found == advise(midiforge.Lesson(drill), entries[::-1], TODAY)
    assert [number for each in found for number in each.group.numbers] == [
        each.number for each in lesson
    ]
    pain = any(each.note == "hurts" and (TODAY - each.day).days <= 2 for each in entries)
    for each in found:
        assert each.said
        assert why_words(each)
        own = sorted((e for e in entries if e.key == each.group.key), key=lambda e: e.when)
        own = [e for e in own if e.day <= TODAY]
        if each.tempo is not None:
            assert 30 <= each.tempo <= 120
        if each.action is Action.UP:
            assert not pain
            assert each.tempo is not None
            assert each.tempo <= 100
            counted = [e for e in own if e.bars >= 1]
            assert counted[-1].clean >= 0.95
            assert counted[-1].deviation_percent is not None
            assert counted[-1].deviation_percent <= 8
            assert float(each.tempo) > min(e.tempo for e in counted)
        if each.action is Action.DOWN:
            assert each.tempo is not None
            assert float(each.tempo) < own[-1].tempo or own[-1].bars < 1
        if own and own[-1].note == "hurts":
            assert each.action in (Action.LEAVE, Action.REVIEW)


# The settings in a drill


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("clean", 1.2, "0.5 to 1"),
        ("clean", "95%", "'95%'"),
        ("steady", 0, "1 to 50"),
        ("up", "5", "'next', or 1% to 100%"),
        ("up", "0%", "'next', or 1% to 100%"),
        ("up", "nxt", "'nxt'"),
        ("takes", 0, "1 to 20"),
        ("days", 0, "1 to 365"),
        ("goal", 5, "10 to 500"),
        ("goal", "fast", "'fast'"),
    ],
)
def test_a_wrong_setting_is_named(key: str, value: object, said: str) -> None:
    with pytest.raises(MidiforgeError) as caught:
        drill_of(practice={key: value})
    assert str(caught.value).startswith(f"practice.{key}: ")
    assert said in str(caught.value)


def test_settings_are_read_from_the_table_and_from_flags() -> None:
    found = drill_of(practice={"clean": 0.9, "up": "2.5%", "goal": 92.5, "days": "3"}).practice
    assert (found.clean, found.up, found.goal, found.days) == (
        *(0.9, Fraction(1, 40)),
        *(Fraction(185, 2), 3),
    )
    assert (found.steady, found.takes) == (8, 2)
    assert drill_of(practice={"up": "next"}).practice.up is None


# The command


@pytest.fixture
def drill_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(ENVIRONMENT, "log.sqlite")
    Path("steps.toml").write_text(
        'title = "Harbour steps"\nsticking = "RLRR LRLL"\nplacements = "beat"\nfeet = "samba"\n'
        "tempos = [60, 80, 100]\nrepeats = 4\n",
        encoding="utf-8",
    )
    return "steps.toml"


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    code = run([*arguments])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return out


def test_next_says_what_to_do_and_the_cautions_once(
    capsys: pytest.CaptureFixture[str], drill_file: str
) -> None:
    lesson = [*midiforge.exercises(drill_of())]
    for i in range(2):
        Log("log.sqlite").add(take(lesson[0], 80, days_ago=1 + i / 24))
    out = said(capsys, "next", drill_file, "--date", "2026-05-20")
    assert "up by 4 to 84" in out
    assert out.count("stop when it") + out.count("stop\nwhen it") == 1
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "\x1b" not in out
    out = said(capsys, "next", drill_file, "--date", "2026-05-20", "--practice-goal", "82")
    assert "up by 2 to 82" in out


def test_next_as_json_has_every_exercise(
    capsys: pytest.CaptureFixture[str], drill_file: str
) -> None:
    found = json.loads(said(capsys, "next", drill_file, "--json"))
    lesson = [*midiforge.exercises(drill_of())]
    assert sorted(n for each in found for n in each["exercises"]) == [
        str(each.number) for each in lesson
    ]
    assert {each["key"] for each in found} == {key_of(each) for each in lesson}


def test_a_day_that_is_none_is_refused(capsys: pytest.CaptureFixture[str], drill_file: str) -> None:
    assert run(["next", drill_file, "--date", "tomorrow"]) == 2
    assert "'tomorrow'" in capsys.readouterr().err


@pytest.mark.parametrize(("round_of", "bars", "counts"), [
    (16, 8, True), (16, 7, False), (8, 8, True), (8, 7, False), (3, 4, True), (3, 3, False),
])  # fmt: skip
def test_a_take_counts_when_it_goes_round_once_and_has_four_bars_or_has_eight(
    round_of: int, bars: float, counts: bool
) -> None:
    drill = drill_of(tempos="60", stages="full", placements="0")
    [group] = groups(midiforge.Lesson(drill))
    exercise = group.exercise
    longer = SimpleNamespace(exercise=SimpleNamespace(returns_after_bars=round_of), ramps=False)
    steps = Steps.of(drill)
    played = (take(exercise, 60, bars=bars),)
    here = Standing(longer, played, drill.practice, steps, TODAY, None)
    assert bool(here.takes) == counts


# A last take just on this side of a figure, and just on the other; what is said then.
EDGES: dict[str, tuple[tuple[Take, ...], str, tuple[Take, ...], str]] = {
    "ten of a hundred less clean than is wanted is not far off": (
        ((80, 0.851, 5.0),), "stay at 80", ((80, 0.849, 5.0),), "down to 76",
    ),
    "twice as unsteady as is wanted is not far off": (
        ((80, 1.0, 16.0),), "stay at 80", ((80, 1.0, 16.1),), "down to 76",
    ),
    "two of a hundred less clean is no worse": (
        ((80, 1.0, 5.0), (80, 0.981, 5.0)), "up by 4 to 84",
        ((80, 1.0, 5.0), (80, 0.979, 5.0)), "stay at 80",
    ),
    "a quarter more unsteady is no worse": (
        ((80, 1.0, 4.0), (80, 1.0, 5.0)), "up by 4 to 84",
        ((80, 1.0, 4.0), (80, 1.0, 5.01)), "stay at 80",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", EDGES)
def test_a_figure_decides_from_itself_on(name: str) -> None:
    one, said, other, otherwise = EDGES[name]
    assert [first_after(*each).said for each in (one, other)] == [said, otherwise]


def test_how_often_a_movement_comes_in_its_loop_is_not_tried_with_every_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drill = drill_of(sticking="RLRRLRL" * 4 + "R", feet="samba", stages="full")
    exercise = midiforge.Lesson(drill)["1"]
    strokes = sum(len(moment.hits) for moment in loop_of(exercise).moments)
    compared: list[Fraction] = []
    remainder = Fraction.__mod__

    def counted(time: Fraction, part: Fraction) -> Fraction:
        compared.append(time)
        return remainder(time, part)

    monkeypatch.setattr(Fraction, "__mod__", counted)
    movement_of(exercise)
    assert strokes > 500
    assert len(compared) < 20 * strokes
