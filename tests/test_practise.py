"""Whole sessions at the kit, played by robots on a clock that is not real.

What a good teacher would do is common practice: what is new is shown, nothing gets faster that is
not safe or that hurts, and what does not get better is changed.
"""

import html
from collections.abc import Sequence
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import cache, partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import robot
from robot import SECOND, Evening, Robot, play
from students import ACCENTED, KEYS, KIT, STUDENTS, Learner, Student

import midiforge
from midiforge.at_the_kit.catching_up import caught_up
from midiforge.at_the_kit.listening import Listening, Stretch
from midiforge.at_the_kit.scene import Mode, Outcome
from midiforge.errors import MidiforgeError
from midiforge.hear.review import review
from midiforge.hear.take import read_take
from midiforge.live.playing.controls import Command
from midiforge.live.recording import waiting
from midiforge.practice.log import Log
from midiforge.practice.teacher import Coming, Rest, Task, Teacher, to_a_click
from midiforge.session import Session

FAST = Student("fast", range(1), least=60.0, gain=40.0)
WEAK = Student("weak", range(1), least=200.0, gain=400.0)
HANDS_AND_FEET = {KIT.note(voice) for voice in ("hihat-closed", "snare", "bass-drum")}


def session(log: Path | None = None, **keys: Any) -> Session:
    return Session(midiforge.check_drill({**KEYS, **keys}), log)


def evening(student: Student, minutes: int = 8, **keys: Any) -> Evening:
    own = ("wishes", "folder", "shows", "apart", "journal", "until", "away")
    given = {name: keys.pop(name) for name in own if name in keys}
    log = keys.pop("log", None)
    robot = Robot(Learner(student), KIT)
    return play(session(log, **keys), robot, minutes, **given)


@cache
def talented() -> Evening:
    return evening(FAST)


@cache
def failing() -> Evening:
    return evening(WEAK)


def tempos(outcomes: Sequence[tuple[float, Outcome]], exercise: str = "") -> list[Fraction]:
    return [
        outcome.task.exercise.tempo.first
        for _, outcome in outcomes
        if exercise in outcome.task.exercise.title
    ]


# How it goes


def test_it_ends_within_half_a_minute_of_its_time() -> None:
    assert abs(talented().practice.scene.elapsed - 480) < 35
    assert talented().modes[-1][1] is Mode.END


def test_what_is_played_well_comes_in_other_placements_then_faster() -> None:
    outcomes = talented().outcomes
    places = {outcome.entry.placement_name for _, outcome in outcomes}
    assert len(places) >= 3
    good = [outcome.is_good for _, outcome in outcomes]
    assert sum(good) > 0.7 * len(good)
    assert tempos(outcomes)[0] == 60


def test_nothing_gets_faster_that_falls_apart() -> None:
    outcomes = failing().outcomes
    assert len(outcomes) >= 8
    assert not any(outcome.is_good for _, outcome in outcomes[:4])
    for title in {outcome.task.exercise.title for _, outcome in outcomes}:
        played = [outcome for _, outcome in outcomes if outcome.task.exercise.title == title]
        for before, after in pairwise(played):
            faster = after.task.exercise.tempo.first > before.task.exercise.tempo.first
            assert before.is_good or not faster
        assert played[0].task.exercise.tempo.first <= 60
    assert min(tempos(outcomes)) < 57


def test_what_is_far_from_good_is_taken_down_by_more_than_a_step_at_once() -> None:
    first, second = [*dict.fromkeys(tempos(failing().outcomes))][:2]
    assert (first, second) == (60, 51)


def test_every_stretch_is_long_enough_to_be_judged() -> None:
    for _, outcome in (*talented().outcomes, *failing().outcomes):
        assert outcome.entry.bars >= 4 or not outcome.is_good


def test_what_is_new_is_sounded_once_and_then_left_to_the_player() -> None:
    one = talented()
    listens = [at for at, mode in one.modes if mode is Mode.LISTEN]
    titles = {outcome.task.exercise.title for _, outcome in one.outcomes}
    assert len(titles) <= len(listens) <= len(titles) + 1
    sounding = [at for at, message in one.wire.came if _is_on(message, HANDS_AND_FEET)]
    assert sounding
    spans = [
        (at, after[0])
        for (at, mode), after in zip(one.modes, [*one.modes[1:], (1e9, None)], strict=True)
        if mode is Mode.LISTEN
    ]
    begun = one.wire.came[0][0] - 2 * SECOND  # the clock of the scene begins about then
    for at in sounding:
        seconds = (at - begun) / SECOND
        assert any(begin - 3 <= seconds <= end + 3 for begin, end in spans)


def test_what_is_new_is_played_within_ten_seconds() -> None:
    modes = talented().modes
    new = [i for i in range(1, len(modes) - 2) if modes[i][1] is Mode.LISTEN]
    assert len(new) >= 3
    for i in new:
        assert [mode for _, mode in modes[i - 1 : i + 3]] == [
            Mode.READY,
            Mode.LISTEN,
            Mode.COUNT,
            Mode.PLAY,
        ]
        assert modes[i + 2][0] - modes[i - 1][0] < 10


def test_what_takes_long_to_come_round_is_not_sounded_to_its_end() -> None:
    one = evening(FAST, 5, sticking="RLRRLRLLRLRLR", placements="1", tempos="40")
    (begin, mode), (end, _) = one.modes[1:3]
    assert mode is Mode.LISTEN
    assert one.outcomes[0][1].task.exercise.loop_seconds > 20
    assert 4 <= end - begin < 20


def test_what_is_left_of_an_exercise_is_sounded_too_before_it_is_played_alone() -> None:
    student = Student("flat", range(1), least=60.0, gain=40.0, flat=True, heeds=False)
    one = play(Session(midiforge.check_drill(ACCENTED), None), Robot(Learner(student), KIT), 12)
    exercises = [outcome.task.exercise for _, outcome in one.outcomes]
    titles = {exercise.title for exercise in exercises}
    different = {(exercise.title, len(exercise.hits)) for exercise in exercises}
    assert len(different) > len(titles)
    assert [mode for _, mode in one.modes].count(Mode.LISTEN) >= len(different)


def _is_on(message: bytes, notes: set[int]) -> bool:
    return message[0] & 0xF0 == 0x90 and message[1] in notes and message[2] > 0


def test_what_the_player_hears_anyway_need_not_be_shown() -> None:
    one = evening(FAST, 5, shows=False)
    assert Mode.LISTEN not in {mode for _, mode in one.modes}


def test_each_change_is_counted_in() -> None:
    for one in (talented(), failing()):
        for (_, before), (_, mode) in zip(one.modes, one.modes[1:], strict=False):
            if mode is Mode.PLAY:
                assert before is Mode.COUNT


def test_a_rest_is_kept_after_twenty_five_minutes_at_most() -> None:
    teacher = Teacher([midiforge.Lesson(midiforge.check_drill(KEYS))], [], date(2026, 3, 2), 60)
    now, since, rests = 0.0, 0.0, []
    while (turn := teacher.next_turn(now)) is not None:
        if isinstance(turn, Rest):
            rests.append(now - since)
            now, since = now + turn.seconds, now + turn.seconds
            assert turn.seconds == 180
        else:
            now = turn.ends
    assert len(rests) == 2
    assert max(rests) <= 25 * 60


def test_accents_that_are_not_played_are_practised_alone_before_anything_gets_faster() -> None:
    student = Student("flat", range(1), least=60.0, gain=40.0, flat=True, heeds=False)
    one = play(Session(midiforge.check_drill(ACCENTED), None), Robot(Learner(student), KIT), 12)
    assert max(tempos(one.outcomes)) <= 60
    said = {outcome.task.said for _, outcome in one.outcomes}
    assert "play the accents alone, and let the other strokes rest" in said
    alone = next(outcome for _, outcome in one.outcomes if "alone" in outcome.task.said)
    assert not alone.task.counts
    assert alone.entry.key not in {entry.key for entry in one.practice.brain.teacher.entries}


# With the band, through the form


@cache
def with_a_band() -> Evening:
    keys: dict[str, Any] = {"meter": "4/4", "feet": "tumbao", "groove": "x.x. on RH as ride"}
    keys |= {"form": "3 time 1 exercise", "chords": "Am7 | D9 | Gmaj7 | Cmaj7", "placements": "1"}
    return evening(FAST, 6, tempos="80, 100", **keys)


def test_the_band_plays_while_one_plays_and_none_of_what_the_player_does() -> None:
    one = with_a_band()
    begun = one.practice._begun
    assert begun is not None
    modes = [*one.modes, (1e9, Mode.END)]
    played = [(begin, end) for (begin, mode), (end, _) in pairwise(modes) if mode is Mode.PLAY]
    for begin, end in played[:3]:
        notes = [
            message
            for at, message in one.wire.came
            if begin + 0.5 < (at - begun) / SECOND < end - 0.5 and message[0] & 0xF0 == 0x90
        ]
        drums = [message for message in notes if message[0] & 0x0F == 9]
        assert len(notes) - len(drums) > 10
        assert not [message for message in drums if _is_on(message, HANDS_AND_FEET)]


def test_the_form_is_played_through_and_each_take_is_of_whole_times_round() -> None:
    outcomes = [outcome for _, outcome in with_a_band().outcomes]
    assert {outcome.task.exercise.loop_bars for outcome in outcomes} == {8}
    assert {outcome.entry.bars % 8 for outcome in outcomes[:-1]} == {0}
    assert max(tempos(with_a_band().outcomes)) > 80


def test_of_a_drill_that_chooses_its_exercises_only_these_are_played() -> None:
    one = evening(FAST, 6, running=["2 at 60", "rest 0:30", "3 at 60"])
    titles = {outcome.task.exercise.title for _, outcome in one.outcomes}
    assert {title.split(",")[0] for title in titles} == {"RLRR LRLL from 1e", "RLRR LRLL from 1&"}


# What the player wants


def test_next_goes_on_to_another_exercise() -> None:
    one = evening(FAST, 5, wishes={40.0: Command.NEXT})
    first = one.outcomes[0][1].task.exercise.title
    later = next(o.task.exercise.title for at, o in one.outcomes if at > 70)
    assert later != first


@pytest.mark.parametrize(("wish", "sign"), [(Command.SLOWER, -1), (Command.FASTER, 1)])
def test_slower_and_faster_are_done_at_once_by_a_step(wish: Command, sign: int) -> None:
    one = evening(FAST, 5, wishes={60.0: wish})
    _, changed = next(
        (at, o) for at, o in one.outcomes if o.task.coming in (Coming.SLOWER, Coming.FASTER)
    )
    assert (changed.task.exercise.tempo.first - 60) * sign > 0


def test_who_says_that_it_hurts_rests_and_plays_something_else_no_faster(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    one = evening(FAST, 8, log=log, wishes={150.0: Command.HURTS})
    hurt = [entry for entry in Log(log).entries() if entry.hurts]
    assert len(hurt) == 1
    rest = next(at for at, mode in one.modes if mode is Mode.REST)
    assert 150 <= rest < 155
    after = [o for at, o in one.outcomes if at > rest + 30]
    assert after
    assert hurt[0].key not in {outcome.entry.key for outcome in after}
    assert max(tempos([(0.0, outcome) for outcome in after])) <= 60


def test_next_goes_on_to_another_exercise_although_nothing_was_heard_yet() -> None:
    one = evening(FAST, 5, wishes={6.0: Command.NEXT})
    begun = [at for at, mode in one.modes if mode is Mode.READY]
    assert 6 < begun[1] < 11
    first = evening(FAST, 5).outcomes[0][1].task.exercise.title
    titles = {outcome.task.exercise.title for at, outcome in one.outcomes if at < 60}
    assert titles and first not in titles


@pytest.mark.parametrize("hears", [True, False])
def test_what_hurts_before_it_was_heard_is_left_and_nothing_gets_faster(hears: bool) -> None:
    wishes = {6.0: Command.HURTS, 7.0: Command.HURTS, 26.0: Command.HURTS, 106.0: Command.FASTER}
    robot = Robot(Learner(FAST), KIT) if hears else None
    one = play(session(), robot, 8, wishes=wishes, hears=hears)
    first = evening(FAST, 5).outcomes[0][1].task.exercise.title
    rest, after = next(
        (at, after)
        for (at, mode), (after, _) in zip(one.modes, one.modes[1:], strict=False)
        if mode is Mode.REST
    )
    assert 6 < rest < 10
    assert 81 < after < 91
    assert [mode for _, mode in one.modes].count(Mode.REST) == 1
    played = {outcome.task.exercise.title for _, outcome in one.outcomes}
    assert bool(played) == hears
    assert first not in played
    assert not any(outcome.task.coming is Coming.FASTER for _, outcome in one.outcomes)


def test_who_wants_it_faster_after_pain_is_told_why_it_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said: list[str] = []
    monkeypatch.setattr(robot, "Watcher", partial(robot.Watcher, say=said.append))
    evening(FAST, 5, wishes={6.0: Command.HURTS, 106.0: Command.FASTER})
    assert "Nothing gets faster today: it hurt." in said


def test_where_all_exercises_hurt_the_session_is_over() -> None:
    one = evening(FAST, 8, placements="1", wishes={100.0: Command.HURTS})
    assert one.modes[-1][1] is Mode.END
    assert one.practice.elapsed() < 180


def test_what_is_safe_is_played_for_its_turn_and_not_begun_again_and_again() -> None:
    one = evening(FAST, 10, placements="1", tempos=60)
    assert [mode for _, mode in one.modes].count(Mode.READY) <= 6


def test_it_goes_on_to_the_next_only_after_bars_with_a_click_of_their_own() -> None:
    one = talented()
    begun = one.wire.came[0][0] - 2 * SECOND
    clicks = [
        ((at - begun) / SECOND, message[1])
        for at, message in one.wire.came
        if message[0] & 0xF0 == 0x90 and message[1] in (76, 77)
    ]
    ready = [at for at, mode in one.modes if mode is Mode.READY][1:]
    assert len(ready) > 3
    for at in ready:
        assert [note for when, note in clicks if when < at][-4:] == [76] * 4


def test_a_pause_begins_what_was_played_again() -> None:
    one = evening(FAST, 5, wishes={80.0: Command.PAUSE, 90.0: Command.PAUSE})
    modes = [mode for at, mode in one.modes if 80 < at < 100]
    assert Mode.COUNT in modes


def test_quitting_in_the_midst_keeps_what_was_played(tmp_path: Path) -> None:
    folder, log = tmp_path / "takes", tmp_path / "log.sqlite"
    folder.mkdir()
    wishes = {100.0: Command.QUIT}
    one = evening(FAST, 8, log=log, folder=folder, wishes=wishes)
    assert one.practice.scene.elapsed < 105
    assert len(Log(log).entries()) == len([*folder.glob("*.mid")]) > 1


@pytest.mark.parametrize("wish", [Command.QUIT, Command.NEXT, Command.AGAIN])
def test_who_takes_a_hand_away_for_a_key_has_missed_nothing(wish: Command) -> None:
    one = evening(FAST, 5, wishes={43.5: wish}, until=41.2)
    broken_off = one.outcomes[-1][1].entry
    assert len(one.outcomes) == 2
    assert broken_off.bars == 7
    assert broken_off.missed == 0


# What is left of it


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Evening, Path, Path]:
    home = tmp_path_factory.mktemp("session")
    folder, log = home / "takes", home / "log.sqlite"
    folder.mkdir()
    return evening(FAST, 5, log=log, folder=folder), folder, log


def test_every_take_is_written_and_logged_on_the_day_it_was_played(
    kept: tuple[Evening, Path, Path],
) -> None:
    one, folder, log = kept
    entries = Log(log).entries()
    assert len(entries) == len(one.outcomes) == len([*folder.glob("*.mid")])
    assert {entry.day for entry in entries} == {date(2026, 3, 2)}
    assert [entry.when for entry in entries] == sorted(entry.when for entry in entries)


def test_a_take_reviewed_later_has_the_same_figures(kept: tuple[Evening, Path, Path]) -> None:
    one, _, _ = kept
    for _, outcome in one.outcomes:
        take = read_take(outcome.file)
        later = review(take, outcome.task.exercise, KIT, one.practice.scene.delay_ms)
        tally = later.tally
        entry = outcome.entry
        assert (tally.expected, tally.hit, tally.extra) == (entry.expected, entry.hit, entry.extra)
        assert later.timing.deviation_ms == entry.deviation_ms


def test_a_take_names_its_exercise_so_that_a_review_finds_it(
    kept: tuple[Evening, Path, Path],
) -> None:
    one, folder, log = kept
    again = Session(one.practice.session.drill, log)
    found = again.review(sorted(folder.glob("*.mid"))[0])
    assert found.is_it
    assert found.review.exercise.title == one.outcomes[0][1].task.exercise.title


def test_the_page_of_the_day_and_the_summary_tell_each_exercise(
    kept: tuple[Evening, Path, Path],
) -> None:
    one, folder, _ = kept
    ended = one.practice.ended()
    page = ended.page
    assert page == folder / "day.html"
    lines = [text for _, text in ended.lines]
    assert "takes of" in lines[0]
    for title in {outcome.task.exercise.title for _, outcome in one.outcomes}:
        assert any(title in line for line in lines)
        assert title in html.unescape(page.read_text("utf-8"))
    assert any(line.startswith("next,") for line in lines)


@pytest.fixture
def takes(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder for takes, another one for journals; a session that ends is as one that is killed:
    of its last stretch there is the journal alone."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setattr(Listening, "keep", lambda self: self._journal.leave())
    (tmp_path / "takes").mkdir()
    return tmp_path / "takes"


def test_a_killed_session_leaves_what_was_not_written_yet(takes: Path) -> None:
    from midiforge.live.recording.recording import rescued

    one = evening(FAST, 5, folder=takes, journal=True, wishes={100.0: Command.QUIT})
    assert len([*takes.glob("*.mid")]) == len(one.outcomes) == 4
    [kept] = rescued()
    assert sum(take.strokes for take in kept.takes) > 20
    assert len([*takes.glob("*.mid")]) == 5
    assert not [*waiting.folder().glob("*.journal")]


def test_what_a_killed_session_left_is_logged_once_by_the_next_that_has_its_drill(
    takes: Path, tmp_path: Path
) -> None:
    from midiforge.live.recording.recording import rescued

    evening(FAST, 5, folder=takes, journal=True, wishes={100.0: Command.QUIT})
    [left] = [take.path for kept in rescued() for take in kept.takes]
    log = tmp_path / "log.sqlite"
    other = session(log, title="Another", sticking="RLL", placements="1")
    ours = session(log)
    assert not [*caught_up([other], [takes], None)]
    assert [*caught_up([other, ours], [takes], None)] == [left]
    assert not [*caught_up([other, ours], [takes], None)]
    [entry] = Log(log).entries()
    assert (entry.drill, entry.day) == (ours.drill.title, date(2026, 3, 2))
    assert entry.clean > 0.9


def test_where_takes_go_instead_is_said_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    one = evening(FAST, 5, folder=tmp_path / "none" / "takes")
    first, *others = [outcome.trouble for _, outcome in one.outcomes]
    assert f"takes go to {tmp_path}" in first
    assert not any(others)
    assert len([*tmp_path.glob("*.mid")]) == len(one.outcomes)


def test_takes_that_cannot_be_written_stay_in_the_journal(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    from midiforge.live.recording.recording import rescued

    with monkeypatch.context() as full:
        full.setattr("tempfile.tempdir", str(tmp_path / "none"))
        one = evening(FAST, 5, folder=tmp_path / "none" / "takes", journal=True)
    assert "none" in one.outcomes[0][1].trouble
    strokes = sum(take.strokes for kept in rescued() for take in kept.takes)
    assert strokes >= sum(outcome.entry.hit for _, outcome in one.outcomes) > 100


# Without a kit, and with a late one


def test_without_a_kit_the_plan_goes_by_the_clock_and_nothing_is_logged(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    one = play(session(log), None, 8, hears=False)
    assert not log.exists()
    assert not one.outcomes
    assert one.practice.scene.nothing == 0  # nobody asks after a kit that is not there
    assert abs(one.practice.scene.elapsed - 480) < 60
    assert len([1 for _, mode in one.modes if mode is Mode.LISTEN]) >= 2


def test_who_plays_nothing_is_told_so_and_is_not_judged(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    one = play(session(log), None, 5)
    assert one.practice.scene.nothing >= 2
    assert not log.exists()


def test_the_delay_is_measured_with_eight_strokes_and_taken_off() -> None:
    robot = Robot(Learner(FAST), KIT)
    robot.delay = 0.042
    one = play(session(), robot, 5, measures=True)
    delay = one.practice.scene.delay_ms
    assert delay == pytest.approx(42, abs=8)
    for _, outcome in one.outcomes:
        assert abs(outcome.entry.own_ms or 0.0) < 15


def test_a_delay_that_is_not_heard_is_not_made_up() -> None:
    one = play(session(), None, 5, measures=True)
    assert one.practice.scene.delay_ms is None


def test_while_the_input_is_gone_nothing_is_missed_and_then_it_begins_again() -> None:
    one = evening(FAST, 5, away=(42.0, 58.0))
    assert all(outcome.is_good and outcome.entry.missed < 3 for _, outcome in one.outcomes)
    broken_off = [outcome.entry.bars for at, outcome in one.outcomes if 42 <= at < 58]
    assert broken_off == [7]  # and a bar that was not heard to its end
    assert any(58 < at < 62 and mode is Mode.COUNT for at, mode in one.modes)
    assert one.practice.scene.nothing == 0


# The teacher by itself


def test_a_drill_without_click_or_count_in_is_practised_with_them() -> None:
    drill = to_a_click(midiforge.check_drill({**KEYS, "click": "off", "count_in": 0}))
    assert drill.click != "off"
    assert drill.count_in == 1
    with_both = midiforge.check_drill(KEYS)
    assert to_a_click(with_both) is with_both


def test_a_session_of_no_minutes_is_refused() -> None:
    drill = midiforge.check_drill(KEYS)
    with pytest.raises(MidiforgeError, match="minutes"):
        Teacher([midiforge.Lesson(drill)], [], date(2026, 3, 2), 3)


def test_a_whole_session_lives_on_what_the_log_has(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    learner = Learner(STUDENTS["talented"])
    first = play(session(log), Robot(learner, KIT), 8, datetime(2026, 3, 2, 18, tzinfo=UTC))
    learner.come(2)
    second = play(session(log), Robot(learner, KIT), 8, datetime(2026, 3, 4, 18, tzinfo=UTC))
    began = second.outcomes[0][1].task
    assert isinstance(began, Task)
    assert began.phase == "warm-up"
    assert began.exercise.tempo.first < max(tempos(first.outcomes))


# What takes long


def test_a_click_that_is_heard_late_changes_nothing() -> None:
    told = []
    for later in (0.0, 0.25):
        robot = Robot(Learner(FAST), KIT)
        robot.delay = later
        one = play(session(), robot, 5, later_ms=1000 * later, delay_ms=0.0)
        outcomes = [o for _, o in one.outcomes]
        told.append([(o.task.said, o.is_good, o.entry.hit, o.entry.mean_ms) for o in outcomes])
    assert len(told[0]) > 5
    assert told[1] == told[0]


def test_a_brain_of_its_own_process_says_the_same() -> None:
    together, apart = evening(FAST, 5), evening(FAST, 5, apart=True)
    told = [(o.task.said, o.is_good, o.said, o.entry.hit) for _, o in together.outcomes]
    assert told == [(o.task.said, o.is_good, o.said, o.entry.hit) for _, o in apart.outcomes]
    assert apart.practice.ended().lines == together.practice.ended().lines
    apart.practice.close()


def test_what_is_wrong_is_raised_across_processes() -> None:
    with pytest.raises(MidiforgeError, match="minutes"):
        play(session(), None, 3, apart=True)


def test_a_brain_that_is_gone_is_said_once_however_long_one_plays_on(tmp_path: Path) -> None:
    folder, said = tmp_path / "takes", list[str]()
    folder.mkdir()
    one = evening(FAST, 5, folder=folder, wishes={60.0: Command.QUIT})
    listening, task = one.practice.listening, one.outcomes[0][1].task
    listening.say = said.append

    def gone(*_: object) -> None:
        raise MidiforgeError("what decides is gone")

    listening._judges = gone  # type: ignore[assignment]
    recorder = listening.recorder
    for _ in range(3):
        listening._judge(Stretch(task, recorder.begin, recorder.end, ()))
    assert said == ["what decides is gone"]
    assert listening.trouble == said[0]


def test_a_brain_that_is_gone_is_said_in_one_line() -> None:
    one = evening(FAST, 5, apart=True, wishes={30.0: Command.QUIT})
    brain = one.practice.brain
    brain._process.kill()
    brain._process.wait()
    with pytest.raises(MidiforgeError, match="what you play is recorded"):
        brain.next_turn(1.0)
    one.practice.close()
