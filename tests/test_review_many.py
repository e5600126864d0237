"""`midiforge review` of many takes, of several players, and the day that a take is of.

No published source: the rules are the project's own.
"""

import gc
import json
import os
import random
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import mido
import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.command.run import run
from midiforge.hear.review import Review
from midiforge.hear.take import PLAYED_MARK, Take
from midiforge.live.recording.recorder import Recorder
from midiforge.live.recording.take_file import take_bytes
from midiforge.practice.entry import Entry
from midiforge.practice.log import Log
from midiforge.practice.reviewed import takes_in, when_played
from midiforge.session import Heard

DRILL = """
title = "Harbour steps"
sticking = ["RLRR LRLL", "RRLL"]
feet = "samba"
stages = "full"
tempos = "60, 80"
"""


BASS = KIT.note("bass-drum")


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MIDIFORGE_LOG", "log.sqlite")
    Path("drill.toml").write_text(DRILL, encoding="utf-8")


def write(take: Take, name: str, mark: str = "") -> str:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    if mark:
        track.append(mido.MetaMessage("marker", text=mark))
    last = 0
    for stroke in take.strokes:
        at = round(960 * stroke.time)
        track.append(
            mido.Message(
                "note_on", channel=9, note=stroke.number, velocity=stroke.velocity, time=at - last
            )
        )
        last = at
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    file.save(name)
    return name


def played(number: str = "1a", **how: Any) -> Take:
    exercise = midiforge.Lesson(midiforge.read_drill("drill.toml"))[number]
    return synthetic(exercise, **{"seconds": 24, **how})[0]


def logged() -> list[Entry]:
    return Log("log.sqlite").entries()


def a_sitting(folder: str = "takes") -> None:
    """Two good takes of exercise 1, one of 2, one with a loose foot, and a file that is none."""
    write(played("1a", seed=1), f"{folder}/take-2.mid")
    write(played("1a", seed=2), f"{folder}/take-10.mid")
    write(played("2a", seed=3), f"{folder}/take-11.mid")
    write(played("2a", seed=4, miss=0.2), f"{folder}/take-12.mid")
    Path(folder, "take-13.mid").write_bytes(b"no MIDI")
    Path(folder, "notes.txt").write_text("what I played", encoding="utf-8")


# Many takes


def test_a_folder_is_reviewed_on_one_page_and_logged(capsys: pytest.CaptureFixture[str]) -> None:
    a_sitting()
    assert run(["review", "takes", "drill.toml"]) == 0
    out = capsys.readouterr().out
    assert "4 takes of 2 exercises, 3 good; 1 take could not be told." in out
    assert "In the log: 4 takes." in out
    assert [each.source for each in logged()] == [f"take-{n}.mid" for n in (2, 10, 11, 12)]
    assert out.index("1. ") < out.index("take-2.mid") < out.index("take-10.mid")
    assert out.index("take-10.mid") < out.index("\n2. ") < out.index("take-12.mid: not yet")
    assert out.count("Next: ") == 2
    assert "notes.txt" not in out


def test_what_cannot_be_told_is_listed_with_the_reason_and_is_not_logged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    a_sitting()
    assert run(["review", "takes", "drill.toml"]) == 0
    out = capsys.readouterr().out
    untold = out.split("Could not be told")[1]
    assert re.search(r"take-13\.mid: .+\n", untold)
    assert not [each for each in logged() if each.source == "take-13.mid"]


def test_several_files_are_reviewed_like_a_folder_of_them() -> None:
    a_sitting()
    assert run(["review", "takes/take-2.mid", "takes/take-11.mid", "drill.toml"]) == 0
    assert [each.source for each in logged()] == ["take-2.mid", "take-11.mid"]
    flags = ["--sticking", "RRLL", "--feet", "samba", "--stages", "full", "--no-log"]
    assert run(["review", "takes/take-11.mid", "takes/take-12.mid", *flags]) == 0


def test_reviewed_one_by_one_or_all_at_once_the_log_holds_the_same() -> None:
    a_sitting()
    assert run(["review", "takes", "drill.toml", "--log", "all.sqlite"]) == 0
    for n in (2, 10, 11, 12):
        assert run(["review", f"takes/take-{n}.mid", "drill.toml", "--log", "each.sqlite"]) == 0

    def figures(name: str) -> list[tuple[object, ...]]:
        some = Log(name).entries()
        return [(e.source, e.key, e.hit, e.limbs, e.meetings, e.first_third) for e in some]

    assert figures("all.sqlite") == figures("each.sqlite")


def test_the_page_of_a_day_is_html_that_replaces_only_itself(
    capsys: pytest.CaptureFixture[str],
) -> None:
    a_sitting()
    for _ in range(2):
        assert run(["review", "takes", "drill.toml", "--out", "day.html"]) == 0
    page = Path("day.html").read_text("utf-8")
    assert page.startswith("<!DOCTYPE html>") and "take-10.mid" in page and "take-13.mid" in page
    assert capsys.readouterr().err == ""
    Path("day.html").write_text("mine", encoding="utf-8")
    assert run(["review", "takes", "drill.toml", "--out", "day.html"]) == 2
    assert Path("day.html").read_text("utf-8") == "mine"


def test_the_day_as_json_has_each_take_and_what_is_next(capsys: pytest.CaptureFixture[str]) -> None:
    a_sitting()
    assert run(["review", "takes", "drill.toml", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["takes"]) == 4 and all(each["logged"] for each in found["takes"])
    assert [each["source"] for each in found["untold"]] == ["take-13.mid"]
    assert len(found["next"]) == 2


def test_a_folder_of_nothing_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    Path("empty").mkdir()
    assert run(["review", "empty", "drill.toml"]) == 2
    assert "there is no MIDI file in it" in capsys.readouterr().err
    Path("bad").mkdir()
    Path("bad/a.mid").write_bytes(b"no MIDI")
    assert run(["review", "bad", "drill.toml"]) == 2
    assert "none of 1 take could be told" in capsys.readouterr().err
    assert not Path("log.sqlite").exists()


def test_an_exercise_that_is_not_there_is_refused_before_anything_is_logged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    a_sitting()
    assert run(["review", "takes", "drill.toml", "--exercise", "99"]) == 2
    assert "--exercise" in capsys.readouterr().err
    assert not Path("log.sqlite").exists()


def test_takes_come_in_the_order_that_a_person_counts_in() -> None:
    for name in ("take-10.mid", "take-2.MID", "take-1.midi", "b.txt"):
        Path("folder").mkdir(exist_ok=True)
        Path("folder", name).touch()
    names = [each.name for each in takes_in([Path("other.mid"), Path("folder")])]
    assert names == ["other.mid", "take-1.midi", "take-2.MID", "take-10.mid"]


def test_a_take_among_many_that_is_of_either_of_two_is_not_said_to_be_followed_by_anything(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("drill.toml").write_text(DRILL + 'accents = "1; 2"\n', encoding="utf-8")
    Path("takes").mkdir()
    for seed in (1, 2):
        same = replace(played(seed=seed), strokes=tuple(
            replace(each, velocity=80) for each in played(seed=seed).strokes
        ))  # fmt: skip
        write(same, f"takes/{seed}.mid")
    run(["review", "takes", "drill.toml"])
    out = " ".join(capsys.readouterr().out.split())
    assert "This may be exercise" in out and "what follows" not in out
    assert "review each by itself" in out


# Players


def test_players_have_logs_of_their_own_in_one_file(capsys: pytest.CaptureFixture[str]) -> None:
    for seed in (1, 2):
        assert run(["review", write(played(seed=seed), f"{seed}.mid"), "drill.toml"]) == 0
    bo = write(played(seed=3, miss=0.2), "3.mid")
    assert run(["review", bo, "drill.toml", "--player", "Bo"]) == 0
    assert [each.player for each in logged()] == ["", "", "Bo"]
    capsys.readouterr()
    assert run(["next", "drill.toml"]) == 0
    usual = capsys.readouterr().out
    assert "2 takes of the usual player in the log" in usual
    assert "The log has takes of Bo, too: --player NAME for theirs." in usual
    assert run(["plan", "drill.toml"]) == 0
    assert "for the usual player" in capsys.readouterr().out
    assert run(["next", "drill.toml", "--player", "bo"]) == 0
    theirs = capsys.readouterr().out
    assert "1 take of bo in the log" in theirs
    assert usual != theirs
    assert run(["plan", "drill.toml", "--player", "Bo"]) == 0


def test_the_log_shows_two_players_apart_and_side_by_side(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for seed, name in ((1, ""), (2, "Bo"), (3, "bo"), (4, "Ada")):
        take = write(played(seed=seed), f"{seed}.mid")
        assert run(["review", take, "drill.toml", "--player", name]) == 0
    capsys.readouterr()
    assert run(["log"]) == 0
    out = capsys.readouterr().out
    apart, beside = out.split("Side by side")
    order = [apart.index(f"{name}\n") for name in ("The usual player", "Ada", "Bo")]
    assert order == sorted(order)
    assert apart.count("RLRR LRLL") == 3 + 1  # each one's table, and a chart of who has two takes
    assert re.search(r"the usual player +Ada +exercise", beside)
    assert "1 more" in beside
    assert beside.count("RLRR LRLL") == 1
    assert run(["log", "--player", "Ada", "--player", "Bo"]) == 0
    assert re.search(r"\nAda +Bo +exercise", capsys.readouterr().out)
    assert run(["log", "--player", "ada"]) == 0
    out = capsys.readouterr().out
    assert "Ada" in out and "Bo" not in out and "Side by side" not in out
    assert run(["log", "--player", "Ad"]) == 2
    assert "did you mean 'Ada'?" in capsys.readouterr().err


def test_a_take_reviewed_again_without_a_name_stays_whose_it_was() -> None:
    take = write(played(), "take.mid")
    assert run(["review", take, "drill.toml", "--player", "Bo"]) == 0
    assert run(["review", take, "drill.toml"]) == 0
    assert [each.player for each in logged()] == ["Bo"]


# The day


def test_the_day_that_a_file_was_written_says_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    take = write(played(), "take.mid")
    os.utime(take, (1e9, 1e9))
    assert run(["review", take, "drill.toml"]) == 0
    assert logged()[0].day == date.today()
    assert "as played today" in capsys.readouterr().out


@pytest.mark.parametrize(("name", "day"), [
    ("2026-03-31.mid", date(2026, 3, 31)), ("samba 20260331.mid", date(2026, 3, 31)),
    ("2026_03_31_1805.mid", date(2026, 3, 31)), ("take-2026.03.31-2.mid", date(2026, 3, 31)),
    ("take-20260399.mid", None), ("12026-03-31.mid", None), ("2999-01-01.mid", None),
    ("120 bpm.mid", None),
])  # fmt: skip
def test_a_day_in_a_take_s_own_name_is_its_day(name: str, day: date | None) -> None:
    found = when_played(name, None)
    assert found.when.astimezone().date() == (day or date.today())
    assert found.by == ("its name" if day else "")


def test_a_time_behind_the_day_is_kept() -> None:
    found = when_played("2026-03-31 18-05-09.mid", None).when.astimezone()
    assert (found.hour, found.minute, found.second) == (18, 5, 9)


def test_a_recording_says_when_it_was_played() -> None:
    """What `play --record` writes; a take rescued days later is of the day of its recording."""
    started = datetime(2026, 3, 31, 18, 5, tzinfo=UTC)
    recorder = Recorder(begin=5_000_000_000, started=started.timestamp())
    recorder.heard(b"\x99\x26\x64", 65_000_000_000)
    [take] = recorder.takes(66_000_000_000)
    Path("take.mid").write_bytes(take_bytes(take))
    found = midiforge.read_take("take.mid").played
    assert found is not None and abs(found - started) <= timedelta(seconds=60)
    assert when_played("take.mid", found).by == "the take"


def test_what_the_player_says_is_the_day_also_of_a_take_that_the_log_has(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played(), "2026-02-01.mid", f"{PLAYED_MARK}2026-03-01T12:00:00+00:00")
    assert run(["review", take, "drill.toml"]) == 0
    assert logged()[0].day == date(2026, 3, 1)
    assert run(["review", take, "drill.toml", "--date", "2026-03-05"]) == 0
    assert [each.day for each in logged()] == [date(2026, 3, 5)]
    assert run(["review", take, "drill.toml"]) == 0
    assert [each.day for each in logged()] == [date(2026, 3, 5)]
    assert run(["review", take, "drill.toml", "--date", "yesterday"]) == 2
    assert "is not a day" in capsys.readouterr().err


def test_a_log_written_before_players_is_read_as_the_usual_player_s() -> None:
    import sqlite3

    assert run(["review", write(played(), "take.mid"), "drill.toml"]) == 0
    with closing(sqlite3.connect("log.sqlite")) as database:
        columns = [row[1] for row in database.execute("PRAGMA table_info(review)")]
        for column in columns[columns.index("note") + 1 :]:  # what came with later versions
            database.execute(f"ALTER TABLE review DROP COLUMN {column}")
        database.execute("PRAGMA user_version = 3")
        database.commit()
    [old] = logged()
    assert (old.player, old.limbs, old.first_third) == ("", (), None)
    assert run(["log"]) == 0
    assert run(["review", write(played(seed=2), "two.mid"), "drill.toml"]) == 0
    assert [each.player for each in logged()] == ["", ""]


# What once made a tempo rise, and must not


def without_accents(take: Take) -> Take:
    chance = random.Random(3)
    strokes = [replace(s, velocity=75 + chance.randint(-5, 5)) for s in take.strokes]
    return replace(take, strokes=tuple(strokes))


def rushing(take: Take) -> Take:
    """From 61 to 66, of an exercise at 60."""

    def at(time: float) -> float:
        share = (time - 3) / 24
        return 3 + 24 * 60 / 61 * (share - (1 - 61 / 66) * share * share / 2)

    return replace(take, strokes=tuple(replace(s, time=at(s.time)) for s in take.strokes))


def missing_foot(take: Take) -> Take:
    """A bass drum of which every sixth stroke is missing."""
    feet = [i for i, stroke in enumerate(take.strokes) if stroke.number == BASS][::6]
    return replace(take, strokes=tuple(s for i, s in enumerate(take.strokes) if i not in feet))


def loose_foot(take: Take) -> Take:
    """A bass drum that is 18 per cent of a step to either side."""
    chance = random.Random(4)
    strokes = [
        replace(s, time=s.time + chance.gauss(0, 0.045)) if s.number == BASS else s
        for s in take.strokes
    ]
    return replace(take, strokes=tuple(sorted(strokes, key=lambda s: s.time)))


def late_foot(take: Take) -> Take:
    strokes = [replace(s, time=s.time + 0.035) if s.number == BASS else s for s in take.strokes]
    return replace(take, strokes=tuple(sorted(strokes, key=lambda s: s.time)))


def one_bar(take: Take) -> Take:
    return replace(take, strokes=tuple(s for s in take.strokes if s.time < 6.9))


@pytest.mark.parametrize(
    ("fault", "word"),
    [
        (without_accents, "accents do not stand out"),
        (rushing, "rushing by 5"),
        (missing_foot, "right foot: "),
        (loose_foot, "right foot "),
        (late_foot, "right foot 3"),
        (one_bar, "1 bar played, 4 are wanted"),
    ],
    ids=lambda each: getattr(each, "__name__", ""),
)
def test_two_takes_with_one_fault_are_not_good_and_nothing_gets_faster(
    fault: Callable[[Take], Take], word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("drill.toml").write_text(DRILL + 'accents = "1"\n', encoding="utf-8")
    for seed in (1, 2):
        take = write(fault(played(seed=seed)), f"{seed}.mid")
        assert run(["review", take, "drill.toml", "--exercise", "1"]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert "Not yet good for this exercise: " in out
        assert word in out.split("Not yet good for this exercise: ")[1].split("Next: ")[0]
        assert "Next: up" not in out
    assert run(["next", "drill.toml"]) == 0
    assert "up by" not in capsys.readouterr().out


def test_two_takes_without_a_fault_are_good_and_it_gets_faster(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("drill.toml").write_text(DRILL + 'accents = "1"\n', encoding="utf-8")
    for seed in (1, 2):
        take = write(played(seed=seed), f"{seed}.mid")
        assert run(["review", take, "drill.toml", "--exercise", "1"]) == 0
    assert "Good for this exercise: " in capsys.readouterr().out


def test_copies_of_a_take_are_one_take(capsys: pytest.CaptureFixture[str]) -> None:
    content = Path(write(played("1a"), "takes/a.mid")).read_bytes()
    for name in ("takes/copy.mid", "takes/another.mid"):
        Path(name).write_bytes(content)
    Path("takes/link.mid").symlink_to("a.mid")
    assert run(["review", "takes", "drill.toml"]) == 0
    said = capsys.readouterr().out
    assert "1 take of 1 exercise" in said
    assert "In the log: 1 take." in said
    assert len(logged()) == 1


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "9999-12-31"])
@pytest.mark.parametrize("command", ["review take.mid", "next", "plan"])
def test_a_day_that_no_log_has_is_refused(
    command: str, day: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(played("1a"), "take.mid")
    assert run([*command.split(), "drill.toml", "--date", day]) == 2
    said = capsys.readouterr().err
    assert "--date" in said
    assert "fault" not in said


def test_a_take_was_not_played_on_a_day_that_is_still_to_come(
    capsys: pytest.CaptureFixture[str],
) -> None:
    write(played("1a"), "take.mid")
    day = (date.today() + timedelta(days=2)).isoformat()
    assert run(["review", "take.mid", "drill.toml", "--date", day]) == 2
    assert "still to come" in capsys.readouterr().err
    assert logged() == []


def test_a_player_is_named_in_one_line_everywhere(capsys: pytest.CaptureFixture[str]) -> None:
    write(played("1a"), "take.mid")
    assert run(["review", "take.mid", "drill.toml", "--player", " Ada\n  B "]) == 0
    assert "In the log of Ada B," in capsys.readouterr().out


# Stopped in the middle


KILLED = """
import os, signal, sys
from midiforge.command.run import run
from midiforge.report import day
from midiforge.session import Session

def killed(*_): os.kill(os.getpid(), signal.SIGKILL)

if sys.argv[1] == "at the third take":
    review, heard = Session.review, []
    def third(self, *given):
        heard.append(1)
        return killed() if len(heard) == 3 else review(self, *given)
    Session.review = third
else:
    day.write_day = killed
run(["review", "takes", "drill.toml", "--html", "day.html"])
"""


@pytest.mark.parametrize(("when", "many"), [("at the third take", 2), ("before the page", 4)])
def test_what_was_heard_before_a_kill_is_logged_and_the_page_is_whole_or_not_there(
    when: str, many: int, capsys: pytest.CaptureFixture[str]
) -> None:
    a_sitting()
    done = subprocess.run([sys.executable, "-c", KILLED, when], capture_output=True, text=True)
    assert done.returncode == -signal.SIGKILL, done.stderr
    order = [f"take-{n}.mid" for n in (2, 10, 11, 12)]
    assert [each.source for each in logged()] == order[:many]
    assert not [*Path().glob("*day*")]
    assert run(["review", "takes", "drill.toml", "--html", "day.html"]) == 0
    assert "In the log: 4 takes." in capsys.readouterr().out
    assert sorted(each.source for each in logged()) == sorted(order)
    assert "4 takes of 2 exercises" in Path("day.html").read_text(encoding="utf-8")


def test_the_page_is_the_same_whether_the_log_holds_the_takes_or_not() -> None:
    a_sitting()
    pages = [
        (session := midiforge.Session("drill.toml", log)).page_of(
            take for take in session.review_all(takes_in([Path("takes")])) if keep(session, take)
        )
        for log, keep in (
            ("log.sqlite", lambda session, take: session.keep_heard(take) or True),
            ("other.sqlite", lambda *_: True),
        )
    ]
    assert pages[0] == pages[1]
    assert len(Log("log.sqlite").entries()) == 4 and not Path("other.sqlite").exists()


def test_of_many_takes_no_more_is_kept_than_stands_on_the_page() -> None:
    a_sitting()
    session = midiforge.Session("drill.toml", None)
    kept: list[int] = []

    def watched() -> Iterator[Heard]:
        for take in session.review_all(takes_in([Path("takes")])):
            kept.append(sum(isinstance(each, Review) for each in gc.get_objects()))
            yield take

    before = sum(isinstance(each, Review) for each in gc.get_objects())
    day = session.page_of(watched())
    assert len(day.takes) == 4 and max(kept) <= before + 2  # one at hand, and the next one
