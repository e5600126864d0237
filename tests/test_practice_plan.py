"""Plans of practice, and the drills that choose from themselves which plans are written as.

Checked against the outside: tomllib of the standard library (TOML 1.0) and jsonschema read the
plan's file; the lengths of what it writes are those that `Exercise.seconds` and mido's reader have.
A few minutes of rest in every half hour, warming up first and spaced review are common practice;
the rest are the project's own rules.
"""

import json
import random
import re
import time
import tomllib
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import jsonschema
import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.command.run import run
from midiforge.drill.drill import Drill
from midiforge.drill.schema import drill_schema
from midiforge.errors import MidiforgeError
from midiforge.lesson.size import most_pieces
from midiforge.practice.advice import groups
from midiforge.practice.drill_file import drill_file
from midiforge.practice.entry import Entry, key_of
from midiforge.practice.log import ENVIRONMENT, Log
from midiforge.practice.plan import Plan, make_plan
from midiforge.practice.standing import Group
from midiforge.practice.words import plan_note

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
TODAY = date(2026, 5, 20)
KEYS: dict[str, Any] = {
    "title": "Harbour steps",
    "sticking": "RLRR LRLL",
    "placements": "beat",
    "feet": "samba",
    "tempos": "60, 80, 100",
}


@pytest.fixture(autouse=True)
def in_one_zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def drill_of(**keys: Any) -> Drill:
    return midiforge.check_drill({**KEYS, **keys})


def take(group: Group, tempo: float, days_ago: float, good: bool = True, note: str = "") -> Entry:
    each = group.exercise
    return Entry(
        when=datetime(2026, 5, 20, 12, tzinfo=UTC) - timedelta(days=days_ago),
        drill="Harbour steps",
        exercise=each.title,
        key=group.key,
        stage=each.stage,
        sticking=each.variant.sticking,
        placement_name=each.variant.moved("placement").count or "1",
        number=str(each.number),
        tempo=tempo,
        expected=100,
        hit=100 if good else 90,
        missed=0 if good else 10,
        extra=0,
        mean_ms=0.0,
        deviation_ms=8.0,
        deviation_percent=5.0,
        drift_ms_per_bar=0.0,
        bars=100.0,
        seconds=60.0,
        source="take.mid",
        note=note,
    )


def plan_of(drill: Drill, entries: list[Entry], minutes: int = 30) -> Plan:
    return make_plan(midiforge.Lesson(drill), entries, TODAY, minutes)


def played(seed: int, found: list[Group], most: int = 60) -> list[Entry]:
    """A record of some weeks, different for each seed, without pain."""
    rolled = random.Random(seed)
    some = found[: rolled.randint(1, len(found))]
    return [
        take(
            rolled.choice(some),
            rolled.choice([50.0, 60.0, 80.0, 84.0, 100.0]),
            rolled.uniform(0, 30),
            rolled.random() < 0.7,
        )
        for _ in range(rolled.randint(0, most))
    ]


# What holds for every plan

DRILLS: dict[str, dict[str, Any]] = {
    "as it is": {},
    "slow and long": {"sticking": "RLLRL RLLRLRL", "steps": 2, "meter": "7/8", "tempos": "30"},
    "fast and short": {"meter": "1/4", "sticking": "RL", "tempos": "400, 500", "count_in": 0},
    "ramp": {"ramp": "60 to 100 by 4 every 4 bars"},
    "gaps": {"gap": "4 on 4 off", "dynamics": "crescendo over 6 bars"},
    "late": {"entry": "late", "placements": [0, 3, 5]},
    "two only": {"placements": 0, "stages": "hands, full"},
    "very long": {"sticking": "R" * 30 + "L", "steps": 1, "tempos": "40", "stages": "hands, full"},
    "chosen": {"running": "2a at 62 repeats 3, 3-4, 1 at 90"},
}


@cache
def lesson_of(name: str) -> tuple[Drill, list[Group]]:
    drill = drill_of(**DRILLS[name])
    return drill, groups(midiforge.Lesson(drill))


@pytest.mark.parametrize("name", [*DRILLS])
@given(minutes=st.integers(5, 180), seed=st.integers(0, 2000))
@settings(max_examples=9, derandomize=True, deadline=None)
def test_whatever_is_planned_fits_its_time(name: str, minutes: int, seed: int) -> None:
    drill, found = lesson_of(name)
    entries = played(seed, found)
    plan = make_plan(midiforge.Lesson(drill), entries, TODAY, minutes)
    turns = plan.turns
    # The whole
    left = 60 * minutes - plan.played
    if not turns:
        assert left < 60
        return
    assert abs(plan.seconds - left) <= 60
    assert sum(each.seconds for each in turns) == plan.seconds
    assert turns[0].start == 0
    assert all(one.end == two.start for one, two in pairwise(turns))
    assert all(each.seconds > 0 for each in turns)
    # Rests
    assert turns[0].phase == "warm-up" or plan.played
    assert turns[-1].phase != "rest"
    stretch = 0
    for each in turns:
        stretch = 0 if each.phase == "rest" else stretch + each.seconds
        assert stretch <= 26 * 60
        assert each.phase != "rest" or each.seconds == 180
    # What is played
    # What is the same twice in a row is a warm-up that gets faster.
    order = [(each.phase, each.advice.group.key) for each in turns if each.advice]
    again = [one for one, two in pairwise(order) if one[1] == two[1] and two[0] != "warm-up"]
    assert len(found) < 2 or not again
    for each in turns:
        if each.advice:
            assert each.number.piece in {n.piece for n in each.advice.group.numbers}
            assert each.tempo is None or 10 <= each.tempo <= 500
            assert not each.remark or abs(each.written - each.seconds) > 29.5
    # The same again
    again = make_plan(midiforge.Lesson(drill), entries[::-1], TODAY, minutes)
    assert again == plan


def minutes_in(text: str) -> int:
    """The first number of minutes that is named."""
    found = re.search(r"(\d+) minute|under a minute", text)
    assert found, text
    return int(found[1] or 0)


@pytest.mark.parametrize("name", ["as it is", "slow and long", "ramp"])
@given(minutes=st.integers(5, 180), seed=st.integers(0, 2000))
@settings(max_examples=9, derandomize=True, deadline=None)
def test_the_minutes_that_a_plan_says_add_up(name: str, minutes: int, seed: int) -> None:
    drill, found = lesson_of(name)
    plan = make_plan(midiforge.Lesson(drill), played(seed, found), TODAY, minutes)
    if not plan.turns:
        return
    whole = 0
    for _, said, exercises in plan_note(plan):
        whole += minutes_in(said) if said != "Stop." else 0
        lasting = (re.search(r", (\d+ minutes?|under a minute)\.", each) for each in exercises)
        parts = [minutes_in(each[0]) for each in lasting if each]
        assert len(parts) == len(exercises)
        assert not parts or sum(parts) == minutes_in(said)
    assert whole == minutes


@pytest.mark.parametrize("name", [*DRILLS])
@given(minutes=st.integers(5, 60), seed=st.integers(0, 2000))
@settings(max_examples=3, derandomize=True, deadline=None)
def test_a_plan_s_file_is_a_drill_of_what_was_planned(name: str, minutes: int, seed: int) -> None:
    drill, found = lesson_of(name)
    plan = make_plan(midiforge.Lesson(drill), played(seed, found), TODAY, minutes)
    if not plan.turns:
        with pytest.raises(MidiforgeError, match="nothing left"):
            drill_file(plan, Path())
        return
    content = tomllib.loads(drill_file(plan, Path()))
    jsonschema.Draft202012Validator(drill_schema()).validate(content)
    made = [*midiforge.exercises(midiforge.check_drill(content))]
    wanted = [
        (each.advice.group.key, each.tempo, each.written / each.times)
        for each in plan.turns
        if each.advice
        for _ in range(each.times)
    ]
    assert made[0].number.piece == 1
    assert [number for _, some in plan.numbered for number in some] == [e.number for e in made]
    for exercise, (key, tempo, seconds) in zip(made, wanted, strict=True):
        assert key_of(exercise) == key
        assert tempo is None or exercise.tempo.first == tempo
        assert exercise.seconds == seconds


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_s_plan_reads_back_from_another_folder(path: Path, tmp_path: Path) -> None:
    """Kits that lie beside the drill are found from there too."""
    drill = midiforge.read_drill(path)
    plan = plan_of(drill, [], 10)
    out = tmp_path / "sub" / "plan.toml"
    out.parent.mkdir()
    out.write_text(drill_file(plan, out.parent), encoding="utf-8")
    again = midiforge.read_drill(out)
    assert again.kit == drill.kit
    assert again.voicing == drill.voicing
    assert again.stages == drill.stages
    assert (again.touch, again.shape, again.practice) == (drill.touch, drill.shape, drill.practice)
    report = midiforge.build_lesson(again, tmp_path / "lesson")
    times = [each.times for each in plan.turns if each.advice]
    assert report.built.files == sum(times)
    seconds = mido.MidiFile(tmp_path / "lesson" / "lesson.mid").length
    written = sum(each.written for each in plan.turns)
    assert seconds == pytest.approx(float(written), abs=1)


def test_a_plan_of_when_each_tempo_had_a_number_is_refused_in_one_line(tmp_path: Path) -> None:
    """Its "13 at 60" was the first tempo of exercise 5 of three tempos; 13 is another one now."""
    out = tmp_path / "plan.toml"
    now = drill_file(plan_of(drill_of(tempos=[60, 70, 80]), [], 5), tmp_path)
    head, numbers, *rest = now.splitlines()
    old = "\n".join([head, "# Numbers are those of play and build.", *rest])
    out.write_text(old, encoding="utf-8")
    with pytest.raises(MidiforgeError) as caught:
        midiforge.read_drill(out)
    assert caught.value.where == (str(out), "running")
    assert "older" in caught.value.what and "midiforge plan" in caught.value.hint
    assert numbers != "# Numbers are those of play and build."
    out.write_text(now, encoding="utf-8")
    assert midiforge.read_drill(out).running
    # At one tempo both ways of numbering are the same.
    one = drill_file(plan_of(drill_of(tempos=60), [], 5), tmp_path).replace(
        numbers, "# Numbers are those of play and build."
    )
    out.write_text(one, encoding="utf-8")
    assert midiforge.read_drill(out).running


@pytest.mark.parametrize(
    "keys",
    [
        {"title": 'He said "one" \\ two\ttwo\x7f\u2028é'},
        {"title": 'He said """one"""\n\\ two\r'},
        {"title": 'He said """one"""\n\\ two"'},
        {"sticking": ">     >   >\nR L L R   L R"},
        {"sticking": ["RLRR LRLL", "single-paradiddle"], "tempos": [60.5, 80]},
        {"voicing": {"RH": "ride", "LH accent": ["tom-high", "tom-mid"]}},
        {"voicing": ["RH=ride", "LH accent=tom-high/tom-mid"]},
        {"stage": {"duo": {"limbs": ["RH", "LF"], "voicing": {"RH": "ride"}}, "b-2": {}}},
        {"every": {"strokes": 4, "looped": False}, "sticking": "RL"},
        {"practice": {"goal": 92.5, "up": "next"}, "humanise": {"timing": 2.5}},
    ],
)
def test_every_kind_of_key_goes_into_the_plan_s_file(keys: dict[str, Any]) -> None:
    drill = drill_of(**{"placements": 0, **keys})
    content = tomllib.loads(drill_file(plan_of(drill, [], 5), Path()))
    again = midiforge.check_drill({k: v for k, v in content.items() if k != "running"})
    assert again.title == drill.title
    assert [each.hits for each in midiforge.exercises(again)] == [
        each.hits for each in midiforge.exercises(drill)
    ]
    assert again.practice == drill.practice


# What is planned


def test_a_beginner_s_plan_has_all_that_can_be_begun() -> None:
    plan = plan_of(drill_of(), [])
    phases = [each.phase for each in plan.turns]
    assert "review" not in phases
    assert phases.count("rest") == 1
    assert {each.tempo for each in plan.turns if each.advice} == {60}
    assert len({each.advice.group.key for each in plan.turns if each.advice}) == 3


@pytest.mark.parametrize(
    ("minutes", "rests"), [(5, 0), (25, 0), (26, 1), (30, 1), (60, 2), (180, 6)]
)
def test_there_is_a_rest_after_at_most_25_minutes(minutes: int, rests: int) -> None:
    phases = [each.phase for each in plan_of(drill_of(), [], minutes).turns]
    assert phases.count("rest") == rests


def test_short_rounds_fill_the_time_to_the_second() -> None:
    """At 60 a round of one bar of 4/4 lasts four seconds: at most half of one is left."""
    for minutes in (5, 17, 30, 90):
        assert abs(plan_of(drill_of(), [], minutes).seconds - 60 * minutes) <= 2


def test_warm_up_is_known_and_slower_than_it_was_good_at() -> None:
    drill = drill_of()
    found = groups(midiforge.Lesson(drill))
    known = [take(found[4], 100, 1.0), take(found[4], 100, 1.1)]
    first = plan_of(drill, known).turns[0]
    assert first.advice is not None
    assert first.advice.group.key == found[4].key
    assert first.tempo == 70


def test_a_warm_up_gets_faster_and_begins_with_another_exercise_each_day() -> None:
    drill = drill_of()
    found = groups(midiforge.Lesson(drill))
    known = [take(group, 100, 20.0) for group in found[3:9]]
    firsts = set()
    for day in range(4):
        plan = make_plan(midiforge.Lesson(drill), known, TODAY + timedelta(day), 60)
        warm = [each for each in plan.turns if each.phase == "warm-up"]
        assert [each.tempo for each in warm] == [70, 75, *[80] * (len(warm) - 2)]
        keys = [each.advice.group.key for each in warm if each.advice]
        assert len(set(keys)) == min(len(keys), 4)
        firsts.add(keys[0])
    assert len(firsts) == 4


@pytest.mark.parametrize("tempo", [60, 120, 240])
@pytest.mark.parametrize("minutes", [10, 30, 60])
def test_nothing_short_goes_on_for_minutes(tempo: int, minutes: int) -> None:
    """Common practice: two to three minutes on one thing, then another."""
    drill = drill_of(tempos=str(tempo), stages="hands")
    for each in plan_of(drill, [], minutes).turns:
        assert each.phase == "rest" or each.seconds <= 180
        assert each.repeats <= 48 or each.seconds <= 90


def test_an_exercise_that_is_the_only_one_is_not_cut_into_slivers() -> None:
    drill = drill_of(placements=0, stages="hands", tempos="240")
    turns = [each for each in plan_of(drill, [], 25).turns if each.phase != "rest"]
    assert all(100 <= each.seconds <= 180 for each in turns)


def test_work_is_at_the_tempo_that_next_says() -> None:
    drill = drill_of(practice={"first": "tempo"})
    found = groups(midiforge.Lesson(drill))
    entries = [take(found[1], 80, 1.0 + i / 24) for i in range(2)]
    plan = plan_of(drill, entries)
    tempos = {
        each.tempo
        for each in plan.turns
        if each.phase == "work" and each.advice and each.advice.group.key == found[1].key
    }
    assert tempos == {84}


def test_review_takes_what_was_played_longest_ago_first() -> None:
    drill = drill_of(stages="hands")
    found = groups(midiforge.Lesson(drill))
    entries = [
        take(found[number], 100, days + i / 24)
        for number, days in ((0, 3.0), (1, 5.0), (2, 1.0))
        for i in range(2)
    ]
    review = [each.advice for each in plan_of(drill, entries, 60).turns if each.phase == "review"]
    names = [each.group.variant.moved("placement").count for each in review if each]
    assert names[:2] == ["1e", "1"]  # what was played yesterday can wait
    assert "1&" not in names


def test_what_is_due_for_review_comes_before_what_is_merely_done() -> None:
    drill = drill_of(stages="hands")
    found = groups(midiforge.Lesson(drill))
    entries = [
        take(found[0], 70, 20.0),
        *(take(found[1], 100, 6.0 + i / 24) for i in range(2)),
    ]
    review = [each for each in plan_of(drill, entries, 30).turns if each.phase == "review"]
    assert review[0].advice is not None
    assert review[0].advice.why == "last played 20 days ago"


def test_what_hurt_is_not_planned() -> None:
    drill = drill_of(stages="hands")
    found = groups(midiforge.Lesson(drill))
    hurt = take(found[0], 60, 1.0, note="wrist hurts")
    for each in plan_of(drill, [hurt]).turns:
        assert each.advice is None or each.advice.group.key != found[0].key
    with pytest.raises(MidiforgeError, match="pain"):
        plan_of(drill, [take(each, 60, 1.0, note="pain") for each in found])


@pytest.mark.parametrize("minutes", [-1, 0, 4, 181])
def test_a_time_that_is_too_short_or_too_long_is_refused(minutes: int) -> None:
    with pytest.raises(MidiforgeError, match="5 to 180"):
        plan_of(drill_of(), [], minutes)


def test_what_is_played_after_the_day_planned_for_does_not_count() -> None:
    drill = drill_of()
    found = groups(midiforge.Lesson(drill))
    later = [take(found[0], 100, -2.0)]
    assert plan_of(drill, later) == plan_of(drill, [])


# Drills that choose from themselves


def lesson(**keys: Any) -> list[midiforge.Exercise]:
    return [*midiforge.exercises(drill_of(**keys))]


def test_a_drill_has_the_exercises_it_chooses_in_its_order_numbered_anew() -> None:
    whole = {str(each.number): each for each in lesson()}
    chosen = lesson(running=["8b", "2-3", "8"])
    before = ["8b", "2a", "2b", "2c", "3a", "3b", "3c", "8a", "8b", "8c"]
    now = ["1", "2a", "2b", "2c", "3a", "3b", "3c", "4a", "4b", "4c"]
    assert [str(each.number) for each in chosen] == now
    for each, number in zip(chosen, before, strict=True):
        assert each.hits == whole[number].hits
        assert (each.title, each.tempo) == (whole[number].title, whole[number].tempo)


def test_what_is_chosen_has_its_own_tempo_and_repeats() -> None:
    [once, often] = lesson(running="5 at 92.5, 5 at 70 repeats 6")
    assert (str(once.tempo), str(often.tempo)) == ("92.5 bpm", "70 bpm")
    assert often.bars == 6 * once.bars
    assert once.bars == lesson(running="5a")[0].bars
    assert (str(once.number), str(often.number)) == ("1", "2")


def test_neighbours_that_differ_only_in_tempo_share_their_hits() -> None:
    one, two, three = lesson(running="4 at 60, 4 at 70, 7 at 70")
    assert one.hits is two.hits
    assert [str(each.number) for each in (one, two, three)] == ["1a", "1b", "2"]
    assert two.hits is not three.hits


def test_numbers_are_those_of_the_drill_s_own_order() -> None:
    whole = lesson(order="easiest", stages="full")
    [last] = lesson(order="easiest", stages="full", running=str(whole[-1].number))
    assert last.hits == whole[-1].hits


def test_how_many_are_chosen_is_known_beforehand() -> None:
    assert most_pieces(drill_of(running="1-3, 2 at 70, 9")) == 5


@pytest.mark.parametrize(
    ("running", "said"),
    [
        ("0", "'0' does not choose an exercise"),
        ("9-7", "'9-7'"),
        ("first", "such as '3b', '7-9' or '3 at 70 repeats 4'"),
        ("3b-4a", "'3b-4a'"),
        ("3 at", "'3 at'"),
        ("3 at fast", "'fast' is not a tempo"),
        ("3 at 5", "10 to 500"),
        ("3 repeats 0", "1 to 1000"),
        ("3 repeats x", "'x'"),
        ("1-999999", "up to 1,000"),
    ],
)
def test_a_choice_that_means_nothing_is_refused(running: str, said: str) -> None:
    with pytest.raises(MidiforgeError) as caught:
        drill_of(running=running)
    assert str(caught.value).startswith("running: ")
    assert said in str(caught.value)


def test_an_exercise_that_is_not_there_is_said_with_the_numbers_there_are() -> None:
    with pytest.raises(MidiforgeError, match=r"no exercise 10 \(there is 1 to 9, each at 3 tempos"):
        lesson(running="10")
    with pytest.raises(MidiforgeError, match=r"no exercise 4d \(4a-c\)"):
        lesson(running="4d")


def test_an_exercise_that_gets_faster_has_no_other_tempo() -> None:
    with pytest.raises(MidiforgeError, match="ramp"):
        drill_of(ramp="60 to 80 by 10 every 2 bars", running="1 at 70")


def test_every_command_honours_the_choice(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    flags = ["--sticking", "RLRR LRLL", "--placements", "beat", "--running", "5 at 77, 1"]
    assert run(["build", *flags, "--out", "lesson"]) == 0
    assert len([*Path("lesson").glob("0*.mid")]) == 2
    capsys.readouterr()
    assert run(["show", *flags, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert [each["tempo"] for each in shown] == [[77], [80]]


# The command


@pytest.fixture
def drill_toml(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(ENVIRONMENT, "log.sqlite")
    Path("steps.toml").write_text(
        'title = "Harbour steps"\nsticking = "RLRR LRLL"\nplacements = "beat"\nfeet = "samba"\n'
        "tempos = [60, 80, 100]\n",
        encoding="utf-8",
    )
    return "steps.toml"


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    code = run([*arguments])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return out


def test_a_plan_is_printed_and_written_and_can_be_built(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    flags = ("--minutes", "30", "--date", "2026-05-20")
    for _ in range(2):  # its own file may be replaced
        out = said(capsys, "plan", drill_toml, *flags, "--out", "today")
    assert " 0:00  Warm up" in out
    assert "Rest" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert said(capsys, "plan", drill_toml, *flags) in out
    said(capsys, "build", "today.toml", "--out", "lesson", "--quiet")
    built = [path.name.partition("_")[0] for path in sorted(Path("lesson").glob("[0-9]*.mid"))]
    remarks = re.findall(
        r"# [0-9]+:[0-9]{2} [a-z-]+: ([0-9]+[a-z]*)\. ", Path("today.toml").read_text()
    )
    assert [f"{number:0>{2 + number[-1].isalpha()}}" for number in remarks] == built
    found = json.loads(said(capsys, "plan", drill_toml, *flags, "--json"))
    turns = [each for each in found["turns"] if each["phase"] != "rest"]
    assert len([*Path("lesson").glob("[0-9]*.mid")]) == len(turns)


def test_a_written_plan_has_its_rests_and_its_numbers_are_those_it_tells(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    out = said(capsys, "plan", drill_toml, "--minutes", "60", "--out", "today.toml")
    text = Path("today.toml").read_text()
    rests = text.count('    "rest 3:00",')
    assert rests == out.count("  Rest for ") == 2
    assert "To play, rests and all: midiforge play today.toml --port NAME" in out
    told = re.findall(r"^ *# \S+ [a-z-]+: ([0-9]+[a-z]*)\. ", text, re.M)
    drill = midiforge.read_drill("today.toml")
    numbers = [str(each.number) for each in midiforge.exercises(drill)]
    assert [numbers.index(number) for number in told] == sorted(map(numbers.index, told))
    parts = text.split("rest 3:00")
    last = [re.findall(r"^ *# \S+ [a-z-]+: ([0-9]+)[a-z]*\. ", part, re.M)[-1] for part in parts]
    assert [chosen[-1].rest for chosen in drill.chosen_pieces].count(180) == rests
    for piece, chosen in enumerate(drill.chosen_pieces, start=1):
        assert (chosen[-1].rest > 0) == (str(piece) in last[:-1])


@pytest.mark.parametrize(
    ("running", "wrong"),
    [
        (["rest 3:00", "1"], "a rest comes after an exercise"),
        (["1", "rest soon"], "is no rest"),
        (["1", "rest 11:00"], "is no rest"),
        (["1", "rest 0"], "is no rest"),
        (["1", "rest 1:75"], "is no rest"),
    ],
)
def test_a_rest_that_is_none_says_what_one_is(running: list[str], wrong: str) -> None:
    with pytest.raises(MidiforgeError, match=wrong):
        midiforge.check_drill({"sticking": "RLRL", "running": running})


def test_rests_part_what_would_be_one_piece_and_add_up() -> None:
    keys = {"sticking": "RLRL", "stages": "full", "tempos": "60, 80"}
    drill = midiforge.check_drill({**keys, "running": ["1 at 60", "1 at 70", "rest 90", "rest 1:00",
                                                       "1 at 80"]})  # fmt: skip
    assert [[chosen.rest for chosen in some] for some in drill.chosen_pieces] == [[0, 150], [0]]
    assert [str(each.number) for each in midiforge.exercises(drill)] == ["1a", "1b", "2"]


def test_the_record_of_a_plan_counts_for_the_drill_it_came_from(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    said(capsys, "plan", drill_toml, "--out", "today.toml", "--date", "2026-05-19")
    plan = groups(midiforge.Lesson(midiforge.read_drill("today.toml")))
    for i in range(2):
        Log("log.sqlite").add(take(plan[0], 80, 1 + i / 24))
    found = json.loads(said(capsys, "next", drill_toml, "--json", "--date", "2026-05-20"))
    assert [each["said"] for each in found if each["action"] == "up"] == ["up by 4 to 84"]


def test_a_plan_of_a_plan_keeps_to_the_plan_s_exercises(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    said(capsys, "plan", drill_toml, "--out", "one.toml", "--minutes", "10")
    said(capsys, "plan", "one.toml", "--out", "two.toml", "--minutes", "10")
    one, two = (
        {key_of(each) for each in midiforge.exercises(midiforge.read_drill(f"{name}.toml"))}
        for name in ("one", "two")
    )
    assert two <= one


def test_a_drill_called_by_its_file_s_name_keeps_it_in_its_plan(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    Path(drill_toml).unlink()
    Path("dawn.toml").write_text('sticking = "RL"', encoding="utf-8")
    said(capsys, "plan", "dawn.toml", "--out", "today.toml", "--minutes", "5")
    assert midiforge.read_drill("today.toml").title == "dawn"


def test_a_file_that_is_no_plan_or_was_changed_since_is_not_written_over(
    capsys: pytest.CaptureFixture[str], drill_toml: str
) -> None:
    said(capsys, "plan", drill_toml, "--out", "today.toml")
    with Path("today.toml").open("a", encoding="utf-8") as stream:
        stream.write("# mine\n")
    assert run(["plan", drill_toml, "--out", "today.toml"]) == 2
    assert "changed since" in capsys.readouterr().err
    before = Path(drill_toml).read_bytes()
    assert run(["plan", drill_toml, "--out", drill_toml]) == 2
    assert "steps.toml" in capsys.readouterr().err
    assert Path(drill_toml).read_bytes() == before
