"""The course of each exercise over the days: a table, and a small chart of letters.

Nothing is told by colour alone: a good take is a filled mark, any other a hollow one.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from string import ascii_lowercase
from textwrap import wrap
from typing import Any

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.hear.figures import of_step
from midiforge.practice.entry import Entry, is_by, player_said
from midiforge.practice.good import is_good
from midiforge.practice.log import plain_entry

Spans = Sequence[tuple[str, str]]

STYLES = {"title": "bold", "faint": "dim", "label": "cyan", "good": "bold green", "": ""}
MOST_CHARTS = 8
USUAL = Practice()

_WIDEST = 100
_LABELS = 9  # columns left of a chart
_MOST_ROWS = 6
_COLUMNS_A_DAY = 3
_BARS = "▁▂▃▄▅▆▇█"
_GOOD, _OTHER = "●", "○"
# For terminals that have no such letters.
_PLAIN = str.maketrans(f"{_BARS}{_GOOD}{_OTHER}│└─", "12345678*o|+-")

_COLUMN, _ROOM = 26, 30  # of a player, and for the exercise, where they stand side by side
_HEADS = f"{'takes':>5}  {'last':10}  {'tempo':>6}  {'clean':>5}  {'steady':>7}  {'good at':>7}  "


@frozen
class Course:
    """One player's takes of one exercise, the oldest first; at least one."""

    key: str
    entries: tuple[Entry, ...]

    @property
    def last(self) -> Entry:
        return self.entries[-1]

    @property
    def player(self) -> str:
        return self.entries[0].player

    @property
    def title(self) -> str:
        return self.last.exercise

    @property
    def numbered(self) -> str:
        """The title behind the number that its piece had at the last take, if that is known."""
        piece = self.last.number.rstrip(ascii_lowercase)
        return f"{piece}. {self.title}" if piece.isdigit() else self.title

    def fastest_good(self, settings: Practice = USUAL) -> float | None:
        """The fastest tempo of a good take; None if there was none."""
        good = [each.tempo for each in self.entries if is_good(each, settings)]
        return max(good, default=None)


def courses(entries: Iterable[Entry]) -> list[Course]:
    """Entries by player and exercise, those played last first."""
    found: dict[tuple[str, str], list[Entry]] = {}
    for entry in sorted(entries, key=lambda entry: entry.when):
        found.setdefault((entry.player.casefold(), entry.key), []).append(entry)
    made = [Course(key, tuple(some)) for (_, key), some in found.items()]
    return sorted(made, key=lambda course: course.last.when, reverse=True)


def by_player(found: Iterable[Course]) -> dict[str, list[Course]]:
    """Courses by who played, the usual player first, the others by name."""
    known: dict[str, list[Course]] = {}
    for course in found:
        known.setdefault(course.player.casefold(), []).append(course)
    return {player_said(some[0].player): some for _, some in sorted(known.items())}


def chosen(
    entries: Iterable[Entry],
    drill: str = "",
    exercise: str = "",
    since: date | None = None,
    players: Sequence[str] | None = None,
) -> list[Entry]:
    """Entries whose drill and exercise have these words in their titles, from a day on.

    exercise: or its number in the drill, "3" for all its tempos, "03b" as good as "3b".
    players: who played, "" for the usual one; None for all.
    """
    return [
        each
        for each in entries
        if drill.casefold() in each.drill.casefold()
        and (exercise.casefold() in each.exercise.casefold() or _is_number(exercise, each.number))
        and (since is None or each.day >= since)
        and (not players or any(is_by(each, player) for player in players))
    ]


def _is_number(text: str, number: str) -> bool:
    wanted = text.strip().lower().lstrip("0")
    return bool(wanted) and wanted in (number, number.rstrip(ascii_lowercase))


def plain_course(course: Course) -> dict[str, Any]:
    """A course of JSON's own kinds only."""
    return {
        "key": course.key,
        "drill": course.last.drill,
        "player": course.player,
        "exercise": course.title,
        "good_at": course.fastest_good(),
        "takes": [plain_entry(each) for each in course.entries],
    }


# As lines


def course_lines(found: Sequence[Course], width: int, plain: bool = False) -> Iterator[Spans]:
    """The table of all courses and a chart of each that has more than one take.

    Several players come apart, one after the other, and then, where they have an exercise in
    common, side by side.

    plain: with letters of ASCII only.
    """
    width = min(width, _WIDEST)
    for spans in _apart(by_player(found), width):
        yield [(text.translate(_PLAIN), style) for text, style in spans] if plain else spans


def _apart(players: Mapping[str, Sequence[Course]], width: int) -> Iterator[Spans]:
    for number, (name, some) in enumerate(players.items()):
        if number:
            yield []
        if len(players) > 1 or some[0].player:
            yield [(f"{name[:1].upper()}{name[1:]}", "title")]
        yield from _lines(some, width)
    yield from _side_by_side(players, width)


def _side_by_side(players: Mapping[str, Sequence[Course]], width: int) -> Iterator[Spans]:
    """What several have played, each player a column: the fastest good tempo, and the last take."""
    known = {name: {each.key: each for each in some} for name, some in players.items()}
    shared = [
        next(some[key] for some in known.values() if key in some)
        for key in dict.fromkeys(key for some in known.values() for key in some)
        if sum(key in some for some in known.values()) > 1
    ]
    if not shared:
        return
    names = [*known][: max((width - _ROOM) // _COLUMN, 2)]
    yield []
    yield [("Side by side: good at, and the last take's tempo, clean and steady", "title")]
    head = "".join(f"{name[: _COLUMN - 2]:{_COLUMN}}" for name in names)
    yield [(f"{head}exercise", "label")]
    for course in shared:
        figures = "".join(f"{_in_short(known[name].get(course.key)):{_COLUMN}}" for name in names)
        room = max(width - len(figures), _ROOM)
        for number, text in enumerate(wrap(course.numbered, room) or [""]):
            yield [(" " * len(figures) if number else figures, ""), (text, "")]
    if len(names) < len(known):
        yield [(f"{len(known) - len(names)} more: name those to compare with --player", "faint")]


def _in_short(course: Course | None) -> str:
    if course is None:
        return "-"
    last, good = course.last, course.fastest_good()
    tempo = "-" if good is None else f"{good:g}"
    return f"{tempo:>5}  {last.tempo:g} {last.clean:.0%} {of_step(last.deviation_percent)}"


def _lines(found: Sequence[Course], width: int) -> Iterator[Spans]:
    yield from _table(found, width)
    charted = [each for each in found if len(each.entries) > 1]
    for course in charted[:MOST_CHARTS]:
        yield []
        yield from _chart(course, width)
    if charted:
        yield []
        said = (
            f"{_GOOD} a good take (each limb {USUAL.clean:.0%} clean, steady to "
            f"{USUAL.steady:g}% of a grid step, in its place; tempo kept, accents clear), "
            f"{_OTHER} any other. "
        )
        if len(charted) > MOST_CHARTS:
            said += f"{len(charted) - MOST_CHARTS} more charts: name one exercise to see it."
        for text in wrap(said, width):
            yield [(text, "faint")]


def _table(found: Sequence[Course], width: int) -> Iterator[Spans]:
    yield [(f"{_HEADS}exercise", "label")]
    room = max(width - len(_HEADS), 20)
    drill = ""
    for course in sorted(found, key=lambda each: each.last.drill != found[0].last.drill):
        if course.last.drill != drill:
            drill = course.last.drill
            for text in wrap(drill, width):
                yield [(text, "title")]
        last, good = course.last, course.fastest_good()
        figures = (
            f"{len(course.entries):>5}  {last.day.isoformat():10}  {last.tempo:>6g}  "
            f"{last.clean:>5.0%}  {of_step(last.deviation_percent):>7}  "
            f"{'-' if good is None else format(good, 'g'):>7}  "
        )
        for number, text in enumerate(wrap(course.numbered, room) or [""]):
            yield [(" " * len(figures) if number else figures, ""), (text, "")]


def _chart(course: Course, width: int) -> Iterator[Spans]:
    for text in wrap(course.numbered, width):
        yield [(text, "title")]
    for text in wrap(_summary(course), width):
        yield [(text, "faint")]
    columns, ends = placed(course.entries, width - _LABELS - 2)
    across = max(columns) + 1
    rows = _rows({_row_of(each) for each in columns.values()})
    for number, (low, high) in enumerate(reversed(rows)):
        cells: list[tuple[str, str]] = []
        for column in range(across):
            entry = columns.get(column)
            if entry is None or not low <= _row_of(entry) <= high:
                cells.append((" ", ""))
            elif is_good(entry, USUAL):
                cells.append((_GOOD, "good"))
            else:
                cells.append((_OTHER, ""))
        label = "tempo" if number == len(rows) - 1 and len(rows) > 1 else ""
        head = f"{label:5}{high:>{_LABELS - 5}g}"
        yield [(head if label else f"{head:>{_LABELS}}", "label"), ("│ ", "faint"), *_joined(cells)]
    yield [(" " * _LABELS + "└" + "─" * (across + 1), "faint")]
    steady = [columns[at].deviation_percent if at in columns else None for at in range(across)]
    known = [value for value in steady if value is not None]
    if known:
        bars = "".join(" " if value is None else _bar(value, max(known)) for value in steady)
        yield [(f"{'steady to':{_LABELS}}", "label"), ("  ", ""), (bars.rstrip(), "")]
    first, last = ends
    gap = across - len(first) - len(last)
    line = (
        f"{first}{' ' * gap}{last}" if gap > 0 else first if first == last else f"{first} to {last}"
    )
    yield [(" " * (_LABELS + 2) + line, "faint")]


def _row_of(entry: Entry) -> int:
    """What was played to the same click is on one row, to a pulse."""
    return int(entry.tempo + 0.5)


def _summary(course: Course) -> str:
    """How many takes, and how the first and the last were."""
    first, last = course.entries[0], course.entries[-1]
    return f"{len(course.entries)} takes: first {_as_played(first)}; last {_as_played(last)}"


def _as_played(entry: Entry) -> str:
    """ "at 60, steady to 7.5% of a step"."""
    percent = entry.deviation_percent
    steady = "" if percent is None else f", steady to {of_step(percent)} of a step"
    return f"at {entry.tempo:g}{steady}"


def _joined(cells: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Neighbours of one style as one piece."""
    text, style = "", ""
    for letter, each in cells:
        if each != style and text:
            yield text, style
            text = ""
        text, style = text + letter, each
    if text.strip():
        yield text.rstrip(), style


def placed(entries: Sequence[Entry], most: int) -> tuple[dict[int, Entry], tuple[str, str]]:
    """The take shown in each column of a chart, and what stands below its ends.

    By days; takes of a single day one after the other. Where several fall together, the last
    good one is shown, else the last.

    most: columns there are.
    """
    first, last = entries[0].day, entries[-1].day
    days = (last - first).days
    if days:
        across = min(most, _COLUMNS_A_DAY * days + 1)
        places = [round((each.day - first).days * (across - 1) / days) for each in entries]
        ends = (first.isoformat(), last.isoformat())
    else:
        across = min(most, _COLUMNS_A_DAY * len(entries) - 2)
        size = max(len(entries) - 1, 1)
        places = [round(i * (across - 1) / size) for i in range(len(entries))]
        ends = (first.isoformat(), first.isoformat())
    columns: dict[int, Entry] = {}
    for place, entry in zip(places, entries, strict=True):
        before = columns.get(place)
        if before is None or is_good(entry, USUAL) or not is_good(before, USUAL):
            columns[place] = entry
    return columns, ends


def _rows(tempos: set[int]) -> list[tuple[int, int]]:
    """A row for each tempo, or for even ranges of many; the slowest first.

    The chart names a row by its fastest.
    """
    if len(tempos) <= _MOST_ROWS:
        return [(each, each) for each in sorted(tempos)]
    low, high = min(tempos), max(tempos)
    edges = [low + i * (high - low) / _MOST_ROWS for i in range(_MOST_ROWS)] + [high]
    ordered = sorted(tempos)
    rows = []
    for i in range(_MOST_ROWS):
        last = i == _MOST_ROWS - 1
        some = [each for each in ordered if edges[i] <= each and (last or each < edges[i + 1])]
        if some:
            rows.append((some[0], some[-1]))
    return rows


def _bar(value: float, most: float) -> str:
    share = value / most if most else 0.0
    return _BARS[min(len(_BARS) - 1, int(share * (len(_BARS) - 1) + 0.5))]
