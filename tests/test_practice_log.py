"""The log of practice: kept, found again, never harmed.

Checked against the outside: SQLite's own `PRAGMA integrity_check`, its file format
(sqlite.org/fileformat2.html: text "SQLite format 3" first, user version at byte 60, application id
at byte 68, both big-endian), a version-1 log written here in SQL, csv.reader of the standard
library (RFC 4180), ElementTree, the XDG Base Directory Specification 0.8, and real processes. The
rest are the project's own rules.
"""

import csv
import io
import json
import os
import random
import re
import resource
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError
from midiforge.hear.figures import Meeting
from midiforge.model.hit import Limb
from midiforge.practice import log as log_module
from midiforge.practice.course import course_lines, courses
from midiforge.practice.entry import Entry, LimbEntry, key_of, take_of
from midiforge.practice.log import ENVIRONMENT, HEADING, VERSION, Log, as_csv, log_path
from midiforge.practice.picture import svg

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
Captured = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def by_themselves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """An empty folder, a home of their own, and a known zone."""
    monkeypatch.chdir(tmp_path)
    for name in (ENVIRONMENT, "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def entry(number: int = 1, **changed: Any) -> Entry:
    """A take of day `number`, different from that of any other number."""
    found = Entry(
        when=NOON + timedelta(days=number),
        drill="Gull's landing",
        exercise="RLRR LRLL from 1e, hands on one surface",
        key="k",
        stage="hands",
        sticking="RLRR LRLL",
        placement_name="1e",
        number="7",
        tempo=60.0 + number,
        expected=100,
        hit=97,
        missed=3,
        extra=1,
        mean_ms=-2.25,
        deviation_ms=9.5,
        deviation_percent=6.125,
        drift_ms_per_bar=0.1,
        bars=8.0,
        seconds=31.5,
        source=f"take-{number}.mid",
        take=take_of(b"take %d" % number),
    )
    return replace(found, **changed)


FOOT = LimbEntry(Limb.RIGHT_FOOT, 64, 53, 0, 2, 3, 12.5, 22.5, 18.0, 1.5, 0.25)


def names() -> list[str]:
    """What is there, copies aside."""
    return sorted(each.name for each in Path().iterdir() if ".copy-" not in each.name)


def whole(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as database:
        return [*database.execute("PRAGMA integrity_check")] == [("ok",)]


def refused(call: Callable[[], object]) -> str:
    """What is said of a log that cannot be used, in one line."""
    with pytest.raises(MidiforgeError) as caught:
        call()
    assert "\n" not in str(caught.value)
    return str(caught.value)


# What an exercise is called


def lesson(**keys: object) -> list[midiforge.Exercise]:
    usual: dict[str, object] = {"sticking": "RLRR LRLL", "feet": "samba"}
    return [*midiforge.exercises(midiforge.check_drill({**usual, **keys}))]


def test_an_exercise_keeps_its_key_whatever_its_tempo_number_and_length() -> None:
    plain = {key_of(each) for each in lesson()}
    assert len(plain) == 3
    for change in (
        {"tempos": "60, 70, 81.5"},
        {"repeats": 7},
        {"count_in": 3},
        {"click": "off"},
        {"gap": "1 on 1 off"},
        {"ramp": "60 to 80 by 10 every 2 bars"},
        {"running": "3 at 71 repeats 5, 1, 2"},
        {"title": "Another"},
        {"humanise": {"timing": 3}},
    ):
        assert {key_of(each) for each in lesson(**change)} == plain, change


def test_what_a_grid_is_called_is_not_what_the_log_knows_it_by() -> None:
    """Logs of years hold these keys, from when titles said "in 4 to a beat"."""
    [fours, threes] = lesson(steps="4, 3", stages="hands")
    assert (key_of(fours), key_of(threes)) == (
        "2a45dc2271dd0d3868b5fe1f353e835d",
        "15cdc0046fd03eadfcd2a7631883795b",
    )
    steps = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)
    names = {3: "triplets", 5: "quintuplets", 6: "sextuplets", 7: "septuplets"}
    grids = lesson(sticking="R", feet="none", steps=steps, stages="hands")
    values = [each.variant.moved("grid").value for each in grids]
    assert values == [f"in {names.get(each, f'{each} to a beat')}" for each in steps]


def test_exercises_that_differ_have_keys_that_differ() -> None:
    plain = key_of(lesson(stages="full")[0])
    changes: list[dict[str, object]] = [
        {"stages": "hands"},
        {"placements": "+1"},
        {"feet": "tumbao"},
        {"feet_placements": "+1"},
        {"accents": "beats"},
        {"lead": "swapped"},
        {"steps": "3"},
        {"meter": "3/4"},
        {"pulse": "half"},
        {"swing": "2:1"},
        {"voicing": "RH=ride"},
        {"sticking": "RLRR LRLz"},
        {"sticking": "RLRR rLRLL"},
    ]
    found = [key_of(lesson(**{"stages": "full", **each})[0]) for each in changes]
    assert len({plain, *found}) == len(changes) + 1


def test_a_key_is_the_same_in_another_process() -> None:
    """Python salts its own hashes anew in each."""
    code = (
        "import midiforge; from midiforge.practice.entry import key_of; "
        "d = midiforge.check_drill({'sticking': 'RLRR LRLL', 'feet': 'samba'}); "
        "print(*map(key_of, midiforge.exercises(d)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": "77"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == [key_of(each) for each in lesson()]


# Kept and found again


def test_what_is_added_comes_back_and_the_oldest_comes_first() -> None:
    log = Log("log.sqlite")
    some = [
        entry(3, note="late, tired"),
        entry(1, mean_ms=None, deviation_ms=None, deviation_percent=None, drift_ms_per_bar=None),
        entry(2, exercise="Baião \u2013 \u201clição\u201d; DROP TABLE review", tempo=92.5),
    ]
    assert [log.add(each) for each in some] == [False] * 3
    assert log.entries() == sorted(some, key=lambda each: each.when)
    assert whole(log.path)


def test_a_moment_in_another_zone_is_kept_in_utc() -> None:
    from datetime import timezone

    log = Log("log.sqlite")
    log.add(entry(when=datetime(2026, 3, 2, 1, 30, tzinfo=timezone(timedelta(hours=2)))))
    assert log.entries()[0].when.isoformat() == "2026-03-01T23:30:00+00:00"


def test_the_clean_share_counts_what_was_struck_besides() -> None:
    assert entry(expected=90, hit=81, missed=9, extra=10).clean == 0.81
    assert entry(expected=0, hit=0, missed=0, extra=0).clean == 0


def test_a_take_reviewed_again_is_one_entry_with_the_new_figures() -> None:
    log = Log("log.sqlite")
    log.add(entry(1, note="wrist hurt"))
    assert log.add(replace(entry(1), when=NOON + timedelta(days=40), hit=99, missed=1)) == 1
    [kept] = log.entries()
    assert (kept.hit, kept.day.isoformat(), kept.note) == (99, "2026-03-02", "wrist hurt")
    log.add(replace(entry(1), note="it was the stool"))
    assert [each.note for each in log.entries()] == ["it was the stool"]


def test_a_take_of_two_exercises_or_of_unknown_content_is_two_entries() -> None:
    log = Log("log.sqlite")
    assert not log.add(entry(1))
    assert not log.add(entry(1, key="other"))
    assert not log.add(entry(1, take=""))
    assert not log.add(entry(1, take=""))
    assert len(log.entries()) == 4


def test_what_is_no_number_and_what_is_no_text_do_no_harm() -> None:
    log = Log("log.sqlite")
    log.add(entry(1, deviation_ms=float("nan"), mean_ms=float("inf"), source="\udcff\0.mid"))
    [kept] = log.entries()
    assert (kept.deviation_ms, kept.mean_ms) == (None, None)
    assert kept.source.endswith(".mid")


def test_the_file_says_in_its_header_whose_it_is() -> None:
    log = Log("log.sqlite")
    log.add(entry())
    head = log.path.read_bytes()[:100]
    assert head.startswith(b"SQLite format 3\0")
    assert struct.unpack(">I", head[60:64]) == (VERSION,)
    assert head[68:72] == b"MFLG"
    assert names() == ["log.sqlite"]  # and is one file, without a journal beside it


def test_reading_makes_no_file() -> None:
    assert Log("none/log.sqlite").entries() == []
    assert names() == []


def test_any_name_of_a_file_will_do() -> None:
    for name in ("a b?c#d%20.sqlite", "ö/é.sqlite", "no-ending"):
        Log(name).add(entry())
        assert Path(name).is_file()
        assert len(Log(name).entries()) == 1


# Versions

FIRST_VERSION = """
CREATE TABLE review (
    id INTEGER PRIMARY KEY, "when" TEXT NOT NULL, drill TEXT NOT NULL, exercise TEXT NOT NULL,
    "key" TEXT NOT NULL, stage TEXT NOT NULL, sticking TEXT NOT NULL,
    placement_name TEXT NOT NULL, "order" INTEGER NOT NULL, tempo REAL NOT NULL,
    expected INTEGER NOT NULL, hit INTEGER NOT NULL, missed INTEGER NOT NULL,
    extra INTEGER NOT NULL, mean_ms REAL, deviation_ms REAL, deviation_percent REAL,
    drift_ms_per_bar REAL, bars REAL NOT NULL, seconds REAL NOT NULL, source TEXT NOT NULL,
    take TEXT NOT NULL DEFAULT '');
CREATE INDEX review_by_key ON review ("key", "when");
PRAGMA application_id = 1296452679;
PRAGMA user_version = 1;
"""


def first_version(path: Path) -> None:
    """A log as version 1 wrote it: two reviews of one take, two takes of unknown content."""
    row = ["D", "E", "k", "hands", "RL", "1", 3, 70.0, 50, 48, 2, 0, 1.0, 9.0, 7.0, 0.0, 4.0, 15.0]
    rows = [
        ("2026-02-01T18:00:00.000000+00:00", *row, "a.mid", "one"),
        ("2026-02-01T19:00:00.000000+00:00", *row, "again.mid", "one"),
        ("2026-02-02T18:00:00.000000+00:00", *row, "b.mid", ""),
        ("2026-02-03T18:00:00.000000+00:00", *row, "c.mid", ""),
    ]
    with closing(sqlite3.connect(path)) as database:
        database.executescript(FIRST_VERSION)
        names = [column[1] for column in database.execute("PRAGMA table_info(review)")][1:]
        columns = ", ".join(f'"{name}"' for name in names)
        marks = ", ".join("?" * len(names))
        database.executemany(f"INSERT INTO review ({columns}) VALUES ({marks})", rows)
        database.commit()


def test_a_log_of_version_1_is_read_without_being_altered() -> None:
    path = Path("old.sqlite")
    first_version(path)
    before = path.read_bytes()
    found = Log(path).entries()
    assert [each.source for each in found] == ["again.mid", "b.mid", "c.mid"]
    assert {each.note for each in found} == {""}
    assert {each.number for each in found} == {"old 3"}  # of its tempo, not of its piece
    assert path.read_bytes() == before


def test_a_log_of_version_1_is_migrated_when_something_is_added() -> None:
    path = Path("old.sqlite")
    first_version(path)
    Log(path).add(entry(note="first since then"))
    assert whole(path)
    assert struct.unpack(">I", path.read_bytes()[60:64]) == (VERSION,)
    assert [each.source for each in Log(path).entries()] == [
        *("again.mid", "b.mid", "c.mid"),
        "take-1.mid",
    ]
    fresh = Log("new.sqlite")
    fresh.add(entry())
    schemas = []
    for each in (path, fresh.path):
        with closing(sqlite3.connect(each)) as database:
            schemas.append(
                sorted(database.execute("SELECT type, name, tbl_name FROM sqlite_master"))
            )
            schemas[-1] += [*database.execute("PRAGMA table_info(review)")]
    assert schemas[0] == schemas[1]


def test_what_is_kept_of_limbs_and_meetings_comes_back_as_it_was() -> None:
    met = Meeting((Limb.RIGHT_HAND, Limb.RIGHT_FOOT), ("1", "2+"), 12, -7.25, 9.0)
    said = {"player": "Bo", "asked": 60.0, "first_third": 61.0, "even_velocity": True}
    kept = entry(1, limbs=(FOOT, replace(FOOT, accent_ratio=None)), meetings=(met,), **said)
    Log("log.sqlite").add(kept)
    assert Log("log.sqlite").entries() == [kept]


def test_limbs_that_are_no_limbs_make_an_entry_that_cannot_be_read() -> None:
    log = Log("log.sqlite")
    log.add(entry(1))
    for wrong in ("", "{}", "[1]", '[{"limb": "tail"}]', '[{"limb": "RF", "hit": "many"}]'):
        with closing(sqlite3.connect(log.path)) as database:
            database.execute("UPDATE review SET limbs = ?", (wrong,))
            database.commit()
        assert (log.entries(), log.unread) == ([], [1]), wrong


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("limbs", "[" * 100_000),
        ("limbs", f'[{{"limb": "RF", "expected": 1, "mean_ms": 1{"0" * 400}}}]'),
        ("meetings", '[{"limbs": {}}]'),
        ("meetings", '[{"limbs": []}]'),
        ("when", "0001-01-01T00:00:00+14:00"),
        ("when", "9999-12-31T23:59:59-12:00"),
        ("first_third", 0.0),
    ],
)
def test_what_no_entry_can_hold_makes_one_that_cannot_be_read(column: str, value: object) -> None:
    log = Log("log.sqlite")
    log.add(entry(1, limbs=(FOOT,)))
    with closing(sqlite3.connect(log.path)) as database:
        database.execute(f'UPDATE review SET "{column}" = ?', (value,))
        database.commit()
    assert (log.entries(), log.unread) == ([], [1])


def test_a_migration_that_fails_half_way_leaves_the_log_as_it_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = Path("old.sqlite")
    first_version(path)
    broken = (log_module.MIGRATIONS[0], (*log_module.MIGRATIONS[1], "NO SUCH STATEMENT"))
    with monkeypatch.context() as patch:
        patch.setattr(log_module, "MIGRATIONS", broken)
        refused(lambda: Log(path).add(entry()))
    assert whole(path)
    assert struct.unpack(">I", path.read_bytes()[60:64]) == (1,)
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("SELECT count(*) FROM review").fetchone() == (4,)
    Log(path).add(entry())
    assert len(Log(path).entries()) == 4


# Several at once

ADDING = """
import sys
sys.path.insert(0, {tests!r})
from test_practice_log import entry
from midiforge.practice.log import Log
number, same = int(sys.argv[1]), sys.argv[2] == "same"
print("ready", flush=True)
sys.stdin.readline()
for i in range(20):
    Log("log.sqlite").add(entry(i if same else 100 * number + i))
"""


def at_the_same_time(how: str, processes: int = 4) -> None:
    code = ADDING.format(tests=str(Path(__file__).parent))
    started = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(number), how],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(processes)
    ]
    for each in started:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n"
    for each in started:
        assert each.stdin is not None
        each.stdin.write("\n")
        each.stdin.flush()
    for each in started:
        _, err = each.communicate(timeout=60)
        assert (each.returncode, err) == (0, "")


@pytest.mark.parametrize("version", [0, 1])
def test_programs_that_begin_or_migrate_a_log_at_once_lose_nothing(version: int) -> None:
    if version:
        first_version(Path("log.sqlite"))
    at_the_same_time("different")
    assert whole(Path("log.sqlite"))
    found = [each.source for each in Log("log.sqlite").entries()]
    wanted = {f"take-{100 * number + i}.mid" for number in range(4) for i in range(20)}
    assert wanted <= set(found)
    assert len(found) == len(wanted) + (3 if version else 0)


def test_a_take_reviewed_by_several_programs_at_once_is_one_entry() -> None:
    at_the_same_time("same")
    assert whole(Path("log.sqlite"))
    assert sorted(each.tempo for each in Log("log.sqlite").entries()) == [
        60.0 + i for i in range(20)
    ]


def test_a_log_held_by_another_program_is_waited_for_and_then_said() -> None:
    log = Log("log.sqlite", patience=0.2)
    log.add(entry(1))
    with closing(sqlite3.connect(log.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        assert "in use by another program" in refused(lambda: log.add(entry(2)))
        assert time.monotonic() - began >= 0.2
        assert len(log.entries()) == 1  # reading goes on meanwhile
    log.add(entry(2))
    assert len(log.entries()) == 2


def test_a_program_killed_while_it_writes_leaves_what_was_there_before() -> None:
    log = Log("log.sqlite")
    for number in range(50):
        log.add(entry(number))
    code = (
        "import os, signal, sqlite3; d = sqlite3.connect('log.sqlite', isolation_level=None); "
        "d.execute('PRAGMA cache_size = 1'); d.execute('BEGIN IMMEDIATE'); "
        "d.execute('UPDATE review SET note = hex(randomblob(2000))'); "
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    assert subprocess.run([sys.executable, "-c", code]).returncode == -signal.SIGKILL
    assert Path("log.sqlite-journal").stat().st_size  # it was in the middle of it
    assert [each.note for each in log.entries()] == [""] * 50
    assert whole(log.path)


# Rows that are damaged, and copies


def test_good_entries_are_read_whatever_another_holds(
    capsys: pytest.CaptureFixture[str],
) -> None:
    log = Log("log.sqlite")
    for number in range(6):
        log.add(entry(number))
    with closing(sqlite3.connect("log.sqlite")) as database:
        database.execute("UPDATE review SET tempo = 'allegro' WHERE id = 2")
        database.execute("UPDATE review SET \"when\" = x'ff00' WHERE id = 5")
        database.commit()
    assert len(log.entries()) == 4
    assert log.unread == [2, 5]
    assert run(["log", "--log", "log.sqlite", "--csv", "saved.csv"]) == 0
    said = capsys.readouterr()
    assert "2 entries can't be read (row 2, 5)" in " ".join(said.err.split())
    assert said.err.count("\n") == 1
    with Path("saved.csv").open(newline="", encoding="utf-8") as stream:
        assert len(list(csv.reader(stream))) == 5
    log.add(entry(9))  # and what is played goes on being kept
    assert len(log.entries()) == 5


def test_a_copy_is_kept_once_a_day_and_the_last_three_stay() -> None:
    log = Log("log.sqlite")
    for number in range(6):
        log.add(entry(number))
        log.add(entry(number + 100))
        for copy in Path().glob("log.sqlite.copy-*"):
            long_ago = time.time() - 25 * 60 * 60
            os.utime(copy, (long_ago, long_ago))
    copies = [Log(f"log.sqlite.copy-{i}") for i in (1, 2, 3)]
    assert [len(copy.entries()) for copy in copies] == [11, 10, 9] or [
        len(copy.entries()) for copy in copies
    ] == [10, 8, 6]
    assert len(list(Path().glob("log.sqlite.copy-*"))) == 3
    assert all(whole(copy.path) for copy in copies)


def test_where_no_copy_can_be_written_the_log_is_kept_all_the_same() -> None:
    Path("log.sqlite.copy-new").mkdir()
    log = Log("log.sqlite")
    log.add(entry(1))
    log.add(entry(2))
    assert len(log.entries()) == 2


def test_two_logs_are_joined_and_what_both_hold_is_there_once(
    capsys: pytest.CaptureFixture[str],
) -> None:
    ours, theirs = Log("log.sqlite"), Log("other.sqlite")
    for number in range(4):
        ours.add(entry(number))
    for number in range(2, 7):
        theirs.add(entry(number))
    assert run(["log", "--log", "log.sqlite", "--join", "other.sqlite"]) == 0
    assert "3 added to log.sqlite; 2 were there already" in capsys.readouterr().out
    assert len(ours.entries()) == 7
    assert ours.join(theirs.entries()) == 0


def test_whatever_bytes_are_damaged_what_sqlite_can_read_is_read_and_nothing_is_written() -> None:
    log = Log("log.sqlite")
    for number in range(60):
        log.add(entry(number))
    content, chance = log.path.read_bytes(), random.Random(7)
    seen = 0
    for _ in range(150):
        damaged = bytearray(content)
        for _ in range(chance.choice((1, 3, 40))):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        log.path.write_bytes(damaged)
        before = bytes(damaged)
        reader = Log("log.sqlite")
        try:
            found = reader.entries()
        except MidiforgeError:
            continue
        assert len(found) + len(reader.unread) >= 1
        if reader.damaged:
            seen += 1
            refused(lambda: Log("log.sqlite").add(entry(900)))
            assert log.path.read_bytes() == before
    assert seen > 20


def test_a_damaged_number_of_an_entry_makes_nobody_look_for_a_million_of_them() -> None:
    log = Log("log.sqlite")
    for number in range(20):
        log.add(entry(number))
    with closing(sqlite3.connect(log.path)) as database, database:
        database.execute("UPDATE review SET id = ? WHERE id = 7", (2**50,))
    asked: list[str] = []
    with closing(log._connect("rw")) as database:
        database.set_trace_callback(asked.append)
        assert len(log._saved(database)) == 19
    assert len(asked) < 20_000


# Files that are no log, or cannot be used


def text_file(path: Path) -> None:
    path.write_text("when;tempo\n2026-03-01;70\n" * 100, encoding="utf-8")


def other_database(path: Path) -> None:
    with closing(sqlite3.connect(path)) as database:
        database.executescript("CREATE TABLE review (id INTEGER); PRAGMA user_version = 1;")


def newer(path: Path) -> None:
    Log(path).add(entry())
    with closing(sqlite3.connect(path)) as database:
        database.execute(f"PRAGMA user_version = {VERSION + 1}")


def cut_short(path: Path) -> None:
    many(path)
    path.write_bytes(path.read_bytes()[:-5000])


def overwritten(path: Path) -> None:
    many(path)
    content = bytearray(path.read_bytes())
    content[5000:9000] = bytes(range(250)) * 16
    path.write_bytes(content)


def with_an_index_that_lies(path: Path) -> None:
    """What no reading of the table would notice."""
    Log(path).add(entry(1))
    digest = take_of(b"take 1").encode()
    content = path.read_bytes()
    assert content.count(digest) == 2  # in the table, and in the index
    last = content.rindex(digest)
    path.write_bytes(content[:last] + digest[::-1] + content[last + len(digest) :])


def without_its_table(path: Path) -> None:
    Log(path).add(entry())
    with closing(sqlite3.connect(path)) as database:
        database.execute("DROP TABLE review")


def with_text_for_a_tempo(path: Path) -> None:
    Log(path).add(entry())
    with closing(sqlite3.connect(path)) as database:
        database.execute("UPDATE review SET tempo = 'allegro'")
        database.commit()


def many(path: Path) -> None:
    for number in range(100):
        Log(path).add(entry(number))


BAD = [
    (text_file, "is no log of practice"),
    (other_database, "is no log of practice"),
    (newer, "newer midiforge"),
    (cut_short, "is damaged"),
    (overwritten, "is damaged"),
    (with_an_index_that_lies, "is damaged"),
    (without_its_table, "is damaged"),
]


@pytest.mark.parametrize(("make", "said"), BAD, ids=[make.__name__ for make, _ in BAD])
def test_a_file_that_is_no_sound_log_is_named_and_never_altered(
    make: Callable[[Path], None], said: str
) -> None:
    path = Path("log.sqlite")
    make(path)
    before = path.read_bytes()
    calls = [lambda: Log(path).add(entry(900))]
    if make not in (cut_short, overwritten, with_an_index_that_lies):  # of those some is read
        calls.append(Log(path).entries)
    for call in calls:
        line = refused(call)
        assert line.startswith("log.sqlite: ")
        assert said in line
        assert path.read_bytes() == before
        assert names() == ["log.sqlite"]


def test_an_entry_that_makes_no_sense_is_named() -> None:
    with_text_for_a_tempo(Path("log.sqlite"))
    log = Log("log.sqlite")
    assert (log.entries(), log.unread) == ([], [1])


def test_no_file_at_all_is_said_to_be_none() -> None:
    Path("folder").mkdir()
    os.mkfifo("pipe")  # opening it would wait for ever
    Path("file").touch()
    for name, said in (("folder", "a folder"), ("pipe", "a pipe"), ("file/log", "file")):
        assert said in refused(lambda name=name: Log(name).add(entry()))
    assert "a folder" in refused(Log("folder").entries)


def test_an_empty_file_becomes_a_log() -> None:
    """What a program leaves that was killed before its first entry."""
    Path("log.sqlite").touch()
    assert Log("log.sqlite").entries() == []
    Log("log.sqlite").add(entry())
    assert len(Log("log.sqlite").entries()) == 1


def in_a_child(work: Callable[[], object]) -> str:
    """What `work` raises or says in a process of its own, forked so that it can lose rights."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        try:
            said = str(work())
        except BaseException as error:
            said = f"{type(error).__name__}: {error}"
        os.write(writing, said.encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as stream:
        said = stream.read()
    os.waitpid(child, 0)
    return said


def test_a_read_only_folder_can_be_read_and_is_said_to_be_read_only() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder, path = Path(name), Path(name, "log.sqlite")
        Log(path).add(entry(1))
        old = folder / "old.sqlite"
        first_version(old)
        for each in (path, old):
            each.chmod(0o444)
        folder.chmod(0o555)
        closed = Path(tempfile.mkdtemp())
        closed.chmod(0)

        def work() -> str:
            if os.getuid() == 0:  # whom no right is denied
                os.setuid(65534)
            found = [len(Log(path).entries()), len(Log(old).entries())]
            lines = [refused(lambda each=each: Log(each).add(entry(2))) for each in (path, old)]
            lines.append(refused(lambda: Log(folder / "new.sqlite").add(entry(2))))
            lines.append(refused(lambda: Log(folder / "sub" / "new.sqlite").add(entry(2))))
            lines.append(refused(Log(closed / "log.sqlite").entries))
            return json.dumps([found, lines])

        found, lines = json.loads(in_a_child(work))
        folder.chmod(0o755)
        closed.rmdir()
        assert found == [1, 3]
        assert ["read-only" in line for line in lines[:2]] == [True, True]
        assert "takes no new file" in lines[2]
        assert "cannot be made: permission denied" in lines[3]
        assert "cannot be opened: permission denied" in lines[4]


def test_a_full_disk_is_said_and_the_log_is_as_it_was() -> None:
    log = Log("log.sqlite")
    many(log.path)
    before = log.path.read_bytes()

    def work() -> str:
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before), len(before)))
        return refused(lambda: [log.add(entry(1000 + i, note="x" * 5000)) for i in range(9)])

    assert "no space left" in in_a_child(work)
    assert [each.source for each in log.entries()][:100] == [f"take-{i}.mid" for i in range(100)]
    assert whole(log.path)
    log.add(entry(5000))


# Where it is


def test_the_log_is_where_the_system_keeps_a_user_s_data(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """XDG Base Directory Specification 0.8: $XDG_DATA_HOME, a relative one ignored, else
    $HOME/.local/share. Where macOS and Windows keep it: from memory of their guidelines."""
    monkeypatch.setattr(sys, "platform", "linux")
    home = tmp_path / "home"
    assert log_path() == home / ".local/share/midiforge/log.sqlite"
    monkeypatch.setenv("XDG_DATA_HOME", "relative")
    assert log_path() == home / ".local/share/midiforge/log.sqlite"
    monkeypatch.setenv("XDG_DATA_HOME", "/data")
    assert log_path() == Path("/data/midiforge/log.sqlite")
    monkeypatch.setattr(sys, "platform", "darwin")
    assert log_path() == home / "Library/Application Support/midiforge/log.sqlite"
    monkeypatch.setenv(ENVIRONMENT, "class.sqlite")
    assert log_path() == Path("class.sqlite")
    assert log_path("mine.sqlite") == Path("mine.sqlite")


def test_the_folder_is_made_with_the_first_entry() -> None:
    Log(log_path()).add(entry())
    assert log_path().is_file()


# CSV


def test_the_csv_says_what_the_log_holds() -> None:
    some = [
        entry(1, note='he said "again",\nthen left; =1+1', limbs=(FOOT,)),
        entry(2, drill="Baião, lição", mean_ms=None, tempo=66.6),
    ]
    text = as_csv(some)
    rows = [*csv.DictReader(io.StringIO(text, newline=""))]
    assert text.startswith(f"{HEADING}\r\n")
    plain = [field.name for field in fields(Entry) if field.name not in ("limbs", "meetings")]
    assert [*rows[0]][: len(plain) + 1] == [*plain, "clean"]
    assert rows[0]["note"] == some[0].note
    assert rows[1]["drill"] == "Baião, lição"
    assert rows[1]["mean_ms"] == ""
    assert [row["right_foot_deviation_ms"] for row in rows] == ["22.5", ""]
    for row, each in zip(rows, some, strict=True):
        assert datetime.fromisoformat(row["when"]) == each.when
        assert float(row["tempo"]) == each.tempo
        assert float(row["clean"]) == pytest.approx(each.clean, abs=1e-4)
        assert (int(row["hit"]), int(row["extra"])) == (each.hit, each.extra)


def test_figures_of_csv_and_json_have_two_decimals_at_most() -> None:
    figures = {"mean_ms": -1 / 3, "deviation_ms": 25 / 3, "deviation_percent": 19 / 3}
    [row] = csv.DictReader(io.StringIO(as_csv([entry(1, **figures, bars=31 / 3)]), newline=""))
    assert [row[name] for name in figures] == ["-0.33", "8.33", "6.33"]
    for value in row.values():
        assert not re.fullmatch(r"-?[0-9]+[.][0-9]{5,}", value)


# The course of an exercise


def rising(days: int = 12) -> list[Entry]:
    """Three tempos over some days, every other take too unsteady to be good."""
    return [
        entry(
            i,
            tempo=float((58, 76, 94)[3 * i // days]),
            deviation_percent=(4.0, 20.0)[i % 2],
            deviation_ms=(10.0, 50.0)[i % 2],
        )
        for i in range(days)
    ]


def lines_of(entries: list[Entry], width: int = 80, plain: bool = False) -> list[str]:
    found = course_lines(courses(entries), width, plain)
    return ["".join(text for text, _ in spans) for spans in found]


@pytest.mark.parametrize("width", [40, 80, 200])
def test_the_table_and_the_chart_fit_the_terminal(width: int) -> None:
    long = [entry(i, key="x", exercise="RLRR LRLL " * 30, drill="D" * 30) for i in range(400)]
    some = [*rising(), *long]
    assert max(map(len, lines_of(some, width))) <= max(width, 72)
    assert max(map(len, lines_of(some, 80))) <= 80


def test_the_chart_has_time_from_left_to_right_and_faster_above() -> None:
    rows = [line for line in lines_of(rising()) if "│" in line]
    marks = {
        line.split("│")[0].split()[-1]: [i for i, letter in enumerate(line) if letter in "●○"]
        for line in rows
    }
    assert [*marks] == ["94", "76", "58"]
    assert max(marks["58"]) < min(marks["76"])
    assert max(marks["76"]) < min(marks["94"])
    assert [len(each) for each in marks.values()] == [4, 4, 4]


def test_the_first_and_the_last_tempo_are_told_as_two_tempos_and_no_range() -> None:
    text = " ".join(" ".join(lines_of([entry(1, tempo=60), entry(2, tempo=63)])).split())
    assert "2 takes: first at 60, steady to" in text and "; last at 63, " in text
    assert "60 to 63" not in text


def test_takes_at_one_click_stand_on_one_row() -> None:
    some = [entry(i, tempo=80 + each) for i, each in enumerate((0.1, -0.2, 0.3))]
    [row] = [line for line in lines_of(some) if "│" in line]
    assert row.split("│")[0].split() == ["80"]


def test_a_good_take_differs_from_another_in_more_than_colour() -> None:
    text = "\n".join(lines_of(rising()))
    chart = [line for line in text.splitlines() if "│" in line]
    assert "".join(chart).count("●") == 6
    assert "".join(chart).count("○") == 6


def test_a_terminal_without_such_letters_gets_others() -> None:
    assert "\n".join(lines_of(rising(), plain=True)).isascii()


def test_takes_of_one_day_stand_side_by_side() -> None:
    some = [entry(1, when=NOON + timedelta(minutes=i), take=str(i)) for i in range(5)]
    [row] = [line for line in lines_of(some) if "│" in line]
    assert row.count("●") == 5


def test_of_takes_that_fall_together_a_good_one_is_shown() -> None:
    day = [entry(1, take=str(i), deviation_percent=each) for i, each in enumerate((4.0, 30.0))]
    [row] = [line for line in lines_of([*day, entry(2, tempo=61.0)]) if "│" in line]
    assert row.split("│")[1].split() == ["●", "●"]


def test_the_exercise_played_last_comes_first() -> None:
    some = [entry(1), entry(5, key="new"), entry(3, key="old")]
    assert [each.key for each in courses(some)] == ["new", "old", "k"]


def test_the_drawing_is_svg_with_a_mark_for_each_take() -> None:
    some = [*rising(), entry(1, key="other", exercise='<b> & "x" \x1b')]
    root = ElementTree.fromstring(svg(courses(some)))
    space = {"s": "http://www.w3.org/2000/svg"}
    marks = [
        each
        for each in root.iterfind(".//s:circle", space)
        if each.find("s:title", space) is not None
    ]
    assert len(marks) == 13
    assert [each.get("class") for each in marks].count("g") == 7
    assert any('<b> & "x" ?' in (each.text or "") for each in root.iterfind(".//s:text", space))


def test_nothing_in_the_legend_of_the_drawing_overlaps() -> None:
    """A letter of 12 px is 7.2 px wide at most, on average, in the fonts that are named."""
    root = ElementTree.fromstring(svg(courses(rising())))
    texts = [*root.iterfind(".//{http://www.w3.org/2000/svg}text")]
    low = max(float(each.get("y", 0)) for each in texts)
    legend = [each for each in texts if float(each.get("y", 0)) > low - 30]
    assert {"any other"} < {each.text for each in legend}
    assert any("bpm" in (each.text or "") for each in legend)
    spans = [
        (float(each.get("y", 0)), float(each.get("x", 0)), 7.2 * len(each.text or ""))
        for each in legend
    ]
    assert low < float(root.get("height", 0))
    for one, (y, x, wide) in enumerate(spans):
        assert x + wide < float(root.get("width", 0))
        for other_y, other_x, other_wide in spans[one + 1 :]:
            assert abs(y - other_y) > 12 or x + wide < other_x or other_x + other_wide < x


# The command


def said(capsys: Captured, *arguments: str) -> str:
    code = run([*arguments])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return out


def wrong(capsys: Captured, *arguments: str) -> str:
    code = run([*arguments])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    return err


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> list[Entry]:
    monkeypatch.setenv(ENVIRONMENT, "log.sqlite")
    some = [
        *rising(),
        entry(20, key="other", drill="Lantern waltz", exercise="Jazz waltz, feet alone"),
    ]
    for each in some:
        Log("log.sqlite").add(each)
    return some


def test_a_log_without_takes_is_no_error(capsys: Captured) -> None:
    assert "no takes yet" in said(capsys, "log")
    assert json.loads(said(capsys, "log", "--json")) == []
    assert said(capsys, "log", "--csv", "-") == f"{HEADING}\n"


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("number", ["12", "012", "12b", "012B"])
def test_an_exercise_is_found_by_its_number_in_the_log(number: str, capsys: Captured) -> None:
    twelfth = replace(entry(21, key="twelfth", exercise="RLL"), number="12b")
    Log("log.sqlite").add(twelfth)
    [found] = json.loads(said(capsys, "log", "--exercise", number, "--json"))
    assert found["exercise"] == "RLL"
    assert "--exercise" in wrong(capsys, "log", "--exercise", "8")


def test_the_log_is_shown_without_colours_where_it_is_piped(
    capsys: Captured, kept: list[Entry]
) -> None:
    out = said(capsys, "log")
    assert "\x1b" not in out
    assert all(len(line) <= 80 for line in out.splitlines())
    for each in {each.drill for each in kept}:
        assert each in out


def test_only_what_was_asked_for_is_shown(capsys: Captured, kept: list[Entry]) -> None:
    found = json.loads(said(capsys, "log", "--drill", "LANTERN", "--json"))
    assert [each["exercise"] for each in found] == ["Jazz waltz, feet alone"]
    found = json.loads(said(capsys, "log", "--exercise", "from 1e", "--json"))
    assert len(found[0]["takes"]) == len(kept) - 1
    assert "last days" in said(capsys, "log", "--days", "1")


def test_a_title_that_is_not_there_is_answered_with_the_nearest(
    capsys: Captured, kept: list[Entry]
) -> None:
    assert kept
    assert "'Lantern waltz'" in wrong(capsys, "log", "--drill", "Lanten waltz")


def test_csv_takes_the_place_of_nothing_that_the_log_does_not_hold(
    capsys: Captured, kept: list[Entry]
) -> None:
    for _ in range(2):
        said(capsys, "log", "--csv", "out.csv")
    with Path("out.csv").open(encoding="utf-8", newline="") as stream:
        assert len([*csv.DictReader(stream)]) == len(kept)
    Log("log.sqlite").add(entry(99))  # a log that has grown
    said(capsys, "log", "--csv", "out.csv")
    with Path("out.csv").open("a", encoding="utf-8") as stream:
        stream.write("a line of my own\n")
    assert "holds what the log does not" in wrong(capsys, "log", "--csv", "out.csv")
    Path("notes.csv").write_text("mine", encoding="utf-8")
    assert "notes.csv" in wrong(capsys, "log", "--csv", "notes.csv")
    assert Path("notes.csv").read_text(encoding="utf-8") == "mine"


def test_a_picture_takes_the_place_of_none_but_its_own(capsys: Captured, kept: list[Entry]) -> None:
    assert kept
    for _ in range(2):
        said(capsys, "log", "--picture", "course.svg")
    ElementTree.parse("course.svg")
    changed = Path("course.svg").read_text("utf-8").replace("#fffdf7", "#ffffff")
    Path("course.svg").write_text(changed, encoding="utf-8")
    assert "changed since" in wrong(capsys, "log", "--picture", "course.svg")
    Path("mine.svg").write_text("<svg/>", encoding="utf-8")
    assert "mine.svg" in wrong(capsys, "log", "--picture", "mine.svg")


def test_a_named_log_that_is_missing_or_wrong_is_said(capsys: Captured) -> None:
    assert "lgo.sqlite" in wrong(capsys, "log", "--log", "lgo.sqlite")
    assert "name too long" in wrong(capsys, "log", "--log", "x" * 5000)
    text_file(Path("notes.txt"))
    assert "is no log of practice" in wrong(capsys, "log", "--log", "notes.txt")


def test_two_outputs_at_once_are_refused(capsys: Captured) -> None:
    assert "--picture" in wrong(capsys, "log", "--json", "--picture", "a.svg")


def test_any_number_of_days_will_do(capsys: Captured, kept: list[Entry]) -> None:
    for days in ("99999", "1000000", "9" * 12):
        found = json.loads(said(capsys, "log", "--days", days, "--json"))
        assert sum(len(each["takes"]) for each in found) == len(kept)
