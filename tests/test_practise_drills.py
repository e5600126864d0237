"""Several drills in one session at the kit, and what is found out before its first bar."""

from datetime import date
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from robot import Evening, Robot, play
from students import KEYS, KIT, Learner, Student

import midiforge
from midiforge.at_the_kit.scene import Mode
from midiforge.errors import MidiforgeError
from midiforge.live.playing.controls import Command
from midiforge.practice.course import courses
from midiforge.practice.log import Log
from midiforge.session import Session

FAST = Student("fast", range(1), least=60.0, gain=40.0)
OTHER: dict[str, Any] = {
    "title": "Three bells",
    "sticking": "RLR LRL",
    "meter": "6/8",
    "placements": "1",
    "feet": "1 2",
    "stages": "full",
    "tempos": "50, 60",
}


def two(minutes: int = 12, **keys: Any) -> Evening:
    log = keys.pop("log", None)
    others = [midiforge.check_drill({**OTHER, **keys.pop("other", {})})]
    first = Session(midiforge.check_drill(KEYS), log)
    return play(first, Robot(Learner(FAST), KIT), minutes, others=others, **keys)


@cache
def both() -> Evening:
    return two()


def test_of_two_drills_each_comes_in_one_session_and_says_which_it_is() -> None:
    drills = [outcome.task.drill for _, outcome in both().outcomes]
    assert {*drills} == {"Ferry landing", "Three bells"}
    assert len([1 for a, b in pairwise(drills) if a != b]) >= 3
    for _, outcome in both().outcomes:
        assert outcome.entry.drill == outcome.task.drill


def test_of_one_drill_nobody_has_to_say_which() -> None:
    one = play(Session(midiforge.check_drill(KEYS), None), Robot(Learner(FAST), KIT), 5)
    assert {outcome.task.drill for _, outcome in one.outcomes} == {""}


def test_each_take_is_logged_for_its_own_drill(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    one = two(8, log=log)
    entries = Log(log).entries()
    assert len(entries) == len(one.outcomes)
    assert {entry.drill for entry in entries} == {"Ferry landing", "Three bells"}


def test_each_drill_goes_by_its_own_settings() -> None:
    one = two(8, other={"practice": {"up": "20%", "takes": 1}, "tempos": "50, 90"})
    tempos = [o.task.exercise.tempo.first for _, o in one.outcomes if o.task.drill == "Three bells"]
    assert [*dict.fromkeys(tempos)][:3] == [50, 60, 72]


def test_the_page_and_the_summary_are_of_all_drills(tmp_path: Path) -> None:
    one = two(8, folder=tmp_path)
    ended = one.practice.ended()
    assert ended.page
    page = ended.page.read_text("utf-8")
    lines = [line for _, line in ended.lines]
    for title in ("Ferry landing", "Three bells"):
        assert title in page
        assert title in lines
    assert page.count("<section>") == len({o.entry.key for _, o in one.outcomes})


def test_what_hurts_is_left_in_its_own_drill_alone() -> None:
    one = two(8, wishes={40.0: Command.HURTS})
    number = one.outcomes[0][1].task.exercise.number.piece
    title = one.outcomes[0][1].task.drill
    later = [(o.task.drill, o.task.exercise.number.piece) for at, o in one.outcomes if at > 110]
    assert (title, number) not in later
    assert any(drill != title for drill, _ in later)


def test_drills_for_different_kits_are_refused_in_one_line(tmp_path: Path) -> None:
    kit = tmp_path / "other.toml"
    kit.write_text('title = "other"\nstarts_from = "general-midi-1"\n[notes]\nsnare = 40\n')
    with pytest.raises(MidiforgeError, match="Three bells for") as error:
        two(5, other={"kit": str(kit)})
    assert "--kit" in str(error.value)


# Before the first bar


def test_a_log_that_cannot_be_written_is_told_before_the_first_bar(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(MidiforgeError, match="file"):
        play(Session(midiforge.check_drill(KEYS), tmp_path / "file" / "log"), None, 5)


def test_a_disk_without_room_for_the_log_is_told_before_the_first_bar(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(**_: object) -> object:
        raise OSError(28, "No space left on device")

    log = Log(tmp_path / "log.sqlite")
    monkeypatch.setattr("tempfile.TemporaryFile", full)
    with pytest.raises(MidiforgeError, match="no space left"):
        log.check()
    assert not log.exists()


@pytest.mark.parametrize("hears", [True, False])
def test_pain_before_anything_was_heard_is_in_the_log(tmp_path: Path, hears: bool) -> None:
    log = tmp_path / "log.sqlite"
    session = Session(midiforge.check_drill(KEYS), log)
    robot = Robot(Learner(FAST), KIT) if hears else None
    one = play(session, robot, 5, hears=hears, until=0.0, wishes={14.0: Command.HURTS})
    assert Mode.REST in {mode for _, mode in one.modes}
    [entry] = [entry for entry in Log(log).entries() if entry.hurts]
    assert entry.bars == 0
    assert entry.day == date(2026, 3, 2)
    assert one.practice.ended().lines[0][1].endswith("that it hurts is in the log.")
    first = Session(midiforge.check_drill(KEYS), log).advise(date(2026, 3, 3))
    [left] = [advice for advice in first if advice.said == "leave it"]
    assert left.group.key == entry.key
    assert (left.group.takes, courses([entry])) == ((), [])  # what is said of it is no take
