"""The log of practice: one SQLite file, its schema versioned, safe with several programs at once.

A rollback journal, not a write-ahead log: entries are few, the log stays one file that can be
copied and synchronised, and it works on a network's folder. Every change is one transaction that
takes the file for itself at its start; others wait for it. Reading never writes: a log of an older
version is migrated in memory, and in the file only when something is to be added. (What a program
left half written when it was killed, SQLite takes back by itself.) A file that is damaged, newer
than this program or something else altogether is never altered.
"""

import csv
import io
import json
import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict, fields, replace
from datetime import UTC, datetime
from itertools import pairwise
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, data_folder, no_file, reason
from midiforge.files.table import cell
from midiforge.hear.figures import Meeting
from midiforge.hear.telling import LIMBS
from midiforge.model.hit import Limb
from midiforge.practice.entry import Entry, LimbEntry
from midiforge.printable import many

Part = TypeVar("Part")

ENVIRONMENT = "MIDIFORGE_LOG"
APPLICATION = 0x4D464C47  # "MFLG", in the header of the file as SQLite's format has it
VERSION = 4
_ELSEWHERE = f"name another file, or set {ENVIRONMENT}"
PATIENCE = 10.0  # seconds to wait for another program
_LEAST_ROOM = 1 << 16  # bytes that a new log needs

_COLUMNS = tuple(field.name for field in fields(Entry))
_PARTS = ("limbs", "meetings")  # in the file as JSON
_NAMED = ", ".join(f'"{name}"' for name in _COLUMNS)


def _column(limb: Limb, name: str) -> str:
    """ "right_foot_deviation_ms"."""
    return f"{limb.title.replace(' ', '_')}_{name}"


# As CSV: what is known of each limb has columns of its own.
_OF_A_LIMB = [field.name for field in fields(LimbEntry)][1:]
HEADING = ",".join(
    [
        *(name for name in _COLUMNS if name not in _PARTS),
        "clean",
        *(_column(limb, name) for limb in LIMBS for name in _OF_A_LIMB),
    ]
)


_FIRST = """
CREATE TABLE review (
    id INTEGER PRIMARY KEY,
    "when" TEXT NOT NULL, -- UTC, ISO 8601
    drill TEXT NOT NULL,
    exercise TEXT NOT NULL,
    "key" TEXT NOT NULL,
    stage TEXT NOT NULL,
    sticking TEXT NOT NULL,
    placement_name TEXT NOT NULL,
    "order" INTEGER NOT NULL,
    tempo REAL NOT NULL, -- pulses a minute
    expected INTEGER NOT NULL,
    hit INTEGER NOT NULL,
    missed INTEGER NOT NULL,
    extra INTEGER NOT NULL,
    mean_ms REAL,
    deviation_ms REAL,
    deviation_percent REAL, -- of a grid step
    drift_ms_per_bar REAL,
    bars REAL NOT NULL,
    seconds REAL NOT NULL,
    source TEXT NOT NULL,
    take TEXT NOT NULL DEFAULT '' -- digest of the file's content
)
"""
# From each version to the next, as statements of one transaction; version 0 is an empty file.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (_FIRST, 'CREATE INDEX review_by_key ON review ("key", "when")'),
    (
        "ALTER TABLE review ADD COLUMN note TEXT NOT NULL DEFAULT ''",
        # Version 1 kept a take as often as it was reviewed; the last review stays.
        """
        DELETE FROM review WHERE take != '' AND EXISTS (
            SELECT 1 FROM review AS later
            WHERE later.take = review.take AND later."key" = review."key" AND later.id > review.id
        )
        """,
        """CREATE UNIQUE INDEX review_of_a_take ON review (take, "key") WHERE take != ''""",
    ),
    (
        # Up to version 2 each tempo of an exercise had a number of its own.
        'ALTER TABLE review RENAME COLUMN "order" TO number',
        "UPDATE review SET number = 'old ' || number",
    ),
    (
        # Up to version 3 nothing was kept of limbs, accents and who played.
        "ALTER TABLE review ADD COLUMN player TEXT NOT NULL DEFAULT ''",
        *(
            f"ALTER TABLE review ADD COLUMN {name} REAL"
            for name in (
                *("asked", "comes_round", "first_third", "last_third", "own_ms"),
                *("accent_ratio", "accent_overlap", "ghost_ratio"),
            )
        ),
        "ALTER TABLE review ADD COLUMN even_velocity INTEGER NOT NULL DEFAULT 0",
        "ALTER TABLE review ADD COLUMN lost INTEGER NOT NULL DEFAULT 0",
        "ALTER TABLE review ADD COLUMN limbs TEXT NOT NULL DEFAULT '[]'",  # JSON, as are
        "ALTER TABLE review ADD COLUMN meetings TEXT NOT NULL DEFAULT '[]'",
        "ALTER TABLE review ADD COLUMN movement TEXT NOT NULL DEFAULT ''",
    ),
)

# How SQLite's result codes begin -> what to say; see sqlite.org/rescode.html.
_SAID = {
    "SQLITE_BUSY": "is in use by another program",
    "SQLITE_LOCKED": "is in use by another program",
    "SQLITE_NOTADB": "is no log of practice",
    "SQLITE_CORRUPT": "is damaged",
    "SQLITE_FULL": "cannot be written: no space left",
    "SQLITE_READONLY": "cannot be written: it, or its folder, is read-only",
    "SQLITE_CANTOPEN": "cannot be opened, or its folder takes no new file",
    "SQLITE_PERM": "cannot be opened: permission denied",
    "SQLITE_IOERR_WRITE": "cannot be written: no space left, or a limit reached",
    "SQLITE_IOERR": "cannot be read or written",
}
_HINTS = {
    "is in use by another program": "try again",
    "is no log of practice": "name another file",
    "is damaged": "it is left as it is; put a copy in its place, or name another",
}


class _Damaged(MidiforgeError):
    """A log whose file is damaged."""


def _same(entry: Entry) -> list[tuple[object, ...]]:
    """What tells that two entries are one."""
    return [(entry.key, entry.when), *([(entry.key, entry.take)] if entry.take else [])]


# What reading a row of it raises that somebody else wrote, or that is damaged.
_NO_ENTRY = (TypeError, ValueError, LookupError, ArithmeticError, RecursionError)
COPIES = 3
_ROWS = 10_000
_MOST_ROWS = 1_000_000
_DAY = 24 * 60 * 60


def log_path(given: str = "") -> Path:
    """Where the log is: as given, else as MIDIFORGE_LOG says, else in the user's data folder."""
    named = given.strip() or os.environ.get(ENVIRONMENT, "").strip()
    if named:
        return Path(named)
    try:
        return data_folder() / "log.sqlite"
    except MidiforgeError as error:
        raise MidiforgeError(f"{error.what} for the log", hint=_ELSEWHERE) from None


def entries_in(named: Path | str = "", tell: Callable[[str], None] = lambda _: None) -> list[Entry]:
    """What a log holds; one that is named has to be there.

    named: its file; "" for the usual one. tell: told in a sentence of entries that can't be read.
    """
    log = Log(log_path(str(named)))
    if str(named).strip() and not log.exists():
        raise MidiforgeError("there is no such log", str(named), hint="a review begins one")
    entries = log.entries()
    if log.damaged:
        tell(
            f"{log.path} is damaged and takes no more: {len(entries)} entries could be read; "
            f"`midiforge log --log NEW --join {log.path}` saves them, and copies are beside it"
        )
    elif log.unread:
        rows = ", ".join(map(str, log.unread[:8])) + (" ..." if len(log.unread) > 8 else "")
        unread = many(len(log.unread), "entry", "entries")
        tell(
            f"{log.path}: {unread} can't be read (row {rows}) and left out; `midiforge log --csv "
            f"FILE` saves the others, and earlier copies of the log are beside it"
        )
    return entries


def with_take(entries: Iterable[Entry], entry: Entry) -> list[Entry]:
    """Entries as they are once one is added; see `Log.add`."""
    others = []
    for known in entries:
        if entry.take and (known.take, known.key) == (entry.take, entry.key):
            note, player = entry.note or known.note, entry.player or known.player
            entry = replace(entry, when=known.when, note=note, player=player)
        else:
            others.append(known)
    return [*others, entry]


class Log:
    """The log in a file; nothing is held open between calls.

    path: its folder is made when the first entry is added.
    patience: seconds to wait while another program writes.
    unread: rows that could not be understood when it was read last; damaged: whether the file
        itself is, so that it takes no entry more.
    Methods raise MidiforgeError for what is no log, damaged, newer than this program, held by
    another one, or cannot be read or written.
    """

    def __init__(self, path: Path | str, patience: float = PATIENCE) -> None:
        self.path = Path(path)
        check_name(self.path)
        self.patience = patience
        self.unread: list[int] = []
        self.damaged = False

    def add(self, *entries: Entry, keeps_day: bool = True) -> int:
        """Adds entries, all or none; gives how many took the place of one.

        A take that is reviewed again stays one entry: the new figures replace the old, while the
        player and the note stay if there is no new one, and the day of the first review.

        keeps_day: or not, as where the player says when it was.
        """
        with self._errors():
            self._make_folder()
            with closing(self._connect("rwc")) as database:
                with _transaction(database, "DEFERRED"):
                    version = self._check(database)
                if version:
                    self._keep_copy(database, anyway=version < VERSION)
                _migrate(database)
                with _transaction(database):
                    return sum(self._put(database, entry, keeps_day) for entry in entries)

    def _put(self, database: sqlite3.Connection, entry: Entry, keeps_day: bool) -> bool:
        """Whether it took the place of one."""
        row = _row(entry)
        same_take = """FROM review WHERE take = :take AND "key" = :key AND take != ''"""
        before = database.execute(f'SELECT "when", note, player {same_take}', row).fetchone()
        if before:
            when, note, player = before
            database.execute(f"DELETE {same_take}", row)
            row["when"] = when if keeps_day else row["when"]
            row["note"], row["player"] = row["note"] or note, row["player"] or player
        values = ", ".join(f":{name}" for name in _COLUMNS)
        database.execute(f"INSERT INTO review ({_NAMED}) VALUES ({values})", row)
        return before is not None

    def _keep_copy(self, database: sqlite3.Connection, anyway: bool) -> None:
        """A copy of a log that is whole, beside it, once a day and before it changes its form; the
        last `COPIES` of them stay. One that cannot be written is no reason not to log."""
        copies = [self.path.with_name(f"{self.path.name}.copy-{i + 1}") for i in range(COPIES)]
        with suppress(OSError, sqlite3.Error):
            there = copies[0].exists()
            if there and not anyway and time.time() - copies[0].stat().st_mtime < _DAY:
                return
            new = self.path.with_name(f"{self.path.name}.copy-new")
            try:
                new.unlink(missing_ok=True)
                with closing(sqlite3.connect(new, isolation_level=None)) as copy:
                    database.backup(copy)
                for newer, older in reversed([*pairwise(copies)]):
                    if newer.exists():
                        newer.replace(older)
                new.replace(copies[0])
            finally:
                new.unlink(missing_ok=True)

    def check(self) -> None:
        """Raises MidiforgeError if no entry could be added now; all stays as it is."""
        with self._errors():
            if self.exists():
                with closing(self._connect("rw")) as database, _transaction(database):
                    self._check(database)
            self._make_folder()
            try:  # SQLite's own journal has to be written there, too
                with tempfile.TemporaryFile(dir=self.path.parent) as beside:
                    beside.write(bytes(_LEAST_ROOM))
            except OSError as error:
                what = f"cannot be written: {reason(error)}"
                raise MidiforgeError(what, str(self.path), hint=_ELSEWHERE) from None

    def exists(self) -> bool:
        """Whether there is a file yet."""
        try:
            self.path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return False
        except (OSError, ValueError) as error:
            raise self._not_opened(error) from None
        return True

    def entries(self) -> list[Entry]:
        """Every entry, the oldest first; none where there is no file yet."""
        if not self.exists():
            return []
        with self._errors(), closing(self._connect("rw")) as database:
            try:
                with _transaction(database, "DEFERRED"):
                    if self._check(database) == VERSION:
                        return [*self._read(database)]
            except (_Damaged, sqlite3.DatabaseError, UnicodeDecodeError) as error:
                saved = self._saved(database)
                self.damaged = isinstance(error, _Damaged)
                if not saved:
                    raise
                return saved
            with closing(sqlite3.connect(":memory:", isolation_level=None)) as copy:
                database.backup(copy)
                _migrate(copy)
                return [*self._read(copy)]

    def _read(self, database: sqlite3.Connection) -> Iterator[Entry]:
        self.unread = []
        rows = database.execute(f'SELECT id, {_NAMED} FROM review ORDER BY "when", id')
        for number, *values in rows:
            try:
                yield _entry(values)
            except _NO_ENTRY:
                self.unread.append(number)

    def _saved(self, database: sqlite3.Connection) -> list[Entry]:
        """What can be read of a damaged log, entry by entry; it is not written to."""
        self.unread, entries = [], list[Entry]()
        try:
            [[last]] = database.execute("SELECT max(id) FROM review").fetchall()
        except (sqlite3.Error, ValueError):
            return []
        # A damaged number may say anything; but no file has more entries than room for them.
        most = min(int(last or 0), _MOST_ROWS, max(self.path.stat().st_size // 8, _ROWS))
        for number in range(1, most + 1):
            try:
                rows = database.execute(f"SELECT {_NAMED} FROM review WHERE id = ?", (number,))
                entries += map(_entry, rows.fetchall())
            except (sqlite3.Error, *_NO_ENTRY):
                self.unread.append(number)
        return sorted(entries, key=lambda entry: entry.when)

    def join(self, others: Iterable[Entry]) -> int:
        """Adds the entries of another log that this one lacks; gives how many. A review of the
        same take and exercise, or of the same moment, is the same entry."""
        known = {name for entry in self.entries() for name in _same(entry)}
        new = []
        for entry in others:
            if known.isdisjoint(_same(entry)):
                new.append(entry)
                known |= set(_same(entry))
        if new:
            self.add(*new)
        return len(new)

    # Opening

    def _make_folder(self) -> None:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise MidiforgeError(
                f"cannot be made: {reason(error)}", str(self.path.parent), hint=_ELSEWHERE
            ) from None

    def _connect(self, mode: str) -> sqlite3.Connection:
        """A connection that begins no transaction by itself."""
        try:
            what = no_file(self.path)
            if what:
                raise self._wrong("is no log of practice", what)
            address = self.path.absolute().as_uri()
        except (OSError, ValueError) as error:
            raise self._not_opened(error) from None
        return sqlite3.connect(
            f"{address}?mode={mode}", uri=True, timeout=self.patience, isolation_level=None
        )

    def _check(self, database: sqlite3.Connection) -> int:
        """The version of the log, 0 for an empty file; nothing is altered.

        To be called in a transaction: another program may be making the log just now.
        """
        [application] = database.execute("PRAGMA application_id").fetchone()
        [version] = database.execute("PRAGMA user_version").fetchone()
        [tables] = database.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if not application and not version and not tables:
            return 0
        if application != APPLICATION or version < 1:
            raise self._wrong("is no log of practice")
        if version > VERSION:
            raise MidiforgeError(
                f"was written by a newer midiforge (version {version} of the log; this one knows "
                f"{VERSION})",
                str(self.path),
                hint="it is left as it is; update midiforge, or name another",
            )
        [[said], *_] = database.execute("PRAGMA integrity_check(1)").fetchall()
        if said != "ok":
            raise _Damaged("is damaged", str(self.path), hint=_HINTS["is damaged"])
        return int(version)

    def _wrong(self, what: str, more: str = "") -> MidiforgeError:
        said = f"{what}: {more}" if more else what
        return MidiforgeError(said, str(self.path), hint=_HINTS.get(what, ""))

    def _not_opened(self, error: Exception) -> MidiforgeError:
        why = reason(error) if isinstance(error, OSError) else str(error)
        return MidiforgeError(f"cannot be opened: {why}", str(self.path))

    @contextmanager
    def _errors(self) -> Iterator[None]:
        """What SQLite finds wrong, in one line."""
        try:
            yield
        except UnicodeDecodeError:  # in the text of the schema
            raise self._wrong("is damaged") from None
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorname", None) or ""
            for start, what in _SAID.items():
                if code.startswith(start):
                    raise self._wrong(what) from None
            raise self._wrong("is damaged", " ".join(str(error).split())) from None


def _migrate(database: sqlite3.Connection) -> None:
    """Brings a log to this version, a step in a transaction; an empty file becomes a log."""
    while True:
        [version] = database.execute("PRAGMA user_version").fetchone()
        if version == VERSION:
            return
        with _transaction(database):
            # Another program may have been here first.
            [now] = database.execute("PRAGMA user_version").fetchone()
            if now == version:
                for statement in MIGRATIONS[version]:
                    database.execute(statement)
                database.execute(f"PRAGMA application_id = {APPLICATION}")
                database.execute(f"PRAGMA user_version = {version + 1}")


@contextmanager
def _transaction(database: sqlite3.Connection, kind: str = "IMMEDIATE") -> Iterator[None]:
    """All or nothing.

    kind: "IMMEDIATE" to write, nobody else writing meanwhile; "DEFERRED" to read one state.
    """
    database.execute(f"BEGIN {kind}")
    try:
        yield
        database.execute("COMMIT")
    except BaseException:
        if database.in_transaction:  # some errors have rolled back by themselves
            with suppress(sqlite3.Error):
                database.execute("ROLLBACK")
        raise


# Entries as rows


def _row(entry: Entry) -> dict[str, Any]:
    row: dict[str, Any] = _plain(asdict(entry))
    row |= {name: json.dumps(row[name]) for name in _PARTS}
    return row


def _plain(value: Any, decimals: int | None = None) -> Any:
    """A value of JSON's own kinds. decimals: of numbers, at most; None for as they are."""
    match value:
        case tuple() | list():
            return [_plain(part, decimals) for part in value]
        case dict():
            return {name: _plain(part, decimals) for name, part in value.items()}
        case str():  # file names may hold bytes that are no text
            return value.encode("utf-8", "replace").decode("utf-8")
        case datetime():
            return value.astimezone(UTC).isoformat(timespec="microseconds")
        case float():
            exact = value if decimals is None else round(value, decimals)
            return exact if isfinite(value) else None
    return value


def _entry(values: Iterable[Any]) -> Entry:
    columns = zip(_COLUMNS, values, strict=True)
    return Entry(**{name: _KINDS[name](value) for name, value in columns})


def _is(kind: type[Part]) -> Callable[[object], Part]:
    """Reads values that are of a kind as they are."""

    def read(value: object) -> Part:
        if not isinstance(value, kind):
            raise TypeError(value)
        return value

    return read


_text, _whole = _is(str), _is(int)


def _moment(value: object) -> datetime:
    when = datetime.fromisoformat(_text(value))
    if when.tzinfo is None:
        raise ValueError("no time zone")
    when.astimezone(UTC), when.astimezone()  # neither is beyond the calendar
    return when


def _number(value: object) -> float:
    if not isinstance(value, (int, float)) or not isfinite(value):
        raise TypeError(value)
    return float(value)


def _number_or_none(value: object) -> float | None:
    return None if value is None else _number(value)


def _tempo_or_none(value: object) -> float | None:
    tempo = _number_or_none(value)
    if tempo is not None and tempo <= 0:
        raise ValueError(value)
    return tempo


def _parts(kind: type[Part]) -> Callable[[object], tuple[Part, ...]]:
    """Reads values of a kind from JSON."""
    readers = {field.name: _READERS[field.type] for field in fields(kind)}  # type: ignore[arg-type]

    def read(value: object) -> tuple[Part, ...]:
        return tuple(
            kind(**{name: reader(part.get(name)) for name, reader in readers.items()})
            for part in map(dict, _is(list)(json.loads(_text(value))))
        )

    return read


_READERS: dict[object, Callable[[Any], Any]] = {
    datetime: _moment,
    str: _text,
    int: _whole,
    float: _number,
    float | None: _number_or_none,
    bool: lambda value: bool(_whole(value)),
    Limb: Limb,
    tuple[Limb, Limb]: lambda value: (Limb(value[0]), Limb(value[1])),
    tuple[str, ...]: lambda value: tuple(map(_text, value)),
}
_READERS[tuple[LimbEntry, ...]] = _parts(LimbEntry)
_READERS[tuple[Meeting, ...]] = _parts(Meeting)
_KINDS = {field.name: _READERS[field.type] for field in fields(Entry)}
_KINDS |= dict.fromkeys(("asked", "first_third", "last_third"), _tempo_or_none)
# SQLite keeps "3" as a whole number here, since the column began as one.
_KINDS["number"] = lambda value: str(value) if isinstance(value, int) else _text(value)


def plain_entry(entry: Entry) -> dict[str, Any]:
    """An entry of JSON's own kinds only, with its clean share.

    To hundredths of ms, of per cent, of bars and of seconds; the share to as much of a per cent.
    """
    return {**_plain(asdict(entry), decimals=2), "clean": round(entry.clean, 4)}


def as_csv(entries: Iterable[Entry], line_end: str = "\r\n") -> str:
    """Entries as CSV (RFC 4180), a heading first; what is not known is empty."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, HEADING.split(","), lineterminator=line_end)
    writer.writeheader()
    writer.writerows(
        {key: cell(value) for key, value in _flat(plain_entry(entry)).items()} for entry in entries
    )
    return stream.getvalue()


def _flat(entry: dict[str, Any]) -> dict[str, Any]:
    """An entry whose limbs have columns of their own."""
    columns = {name: value for name, value in entry.items() if name not in _PARTS}
    for limb in entry["limbs"]:
        columns |= {_column(Limb(limb["limb"]), name): limb[name] for name in _OF_A_LIMB}
    return columns
