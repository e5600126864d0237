"""The course of each exercise over the days: a table, and a small chart of letters.

Nothing is told by colour alone: a good take is a filled mark, any other a hollow one.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import chain, groupby
from operator import attrgetter
from string import ascii_lowercase
from textwrap import wrap
from typing import Any

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.hear.figures import of_step, steady_to
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
        return max((e.tempo for e in self.entries if is_good(e, settings)), default=None)


def courses(entries: Iterable[Entry]) -> list[Course]:
    """Entries by player and exercise, those played last first."""
    takes: dict[tuple[str, str], list[Entry]] = {}
    for entry in sorted(filter(attrgetter("was_heard"), entries), key=attrgetter("when")):
        takes.setdefault((entry.player.casefold(), entry.key), []).append(entry)
    made = [Course(key, tuple(of_exercise)) for (_, key), of_exercise in takes.items()]
    return sorted(made, key=lambda course: course.last.when, reverse=True)


def by_player(courses: Iterable[Course]) -> dict[str, list[Course]]:
    """Courses by who played, the usual player first, the others by name."""
    own: dict[str, list[Course]] = {}
    for course in courses:
        own.setdefault(course.player.casefold(), []).append(course)
    return {player_said(some[0].player): some for _, some in sorted(own.items())}


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
        entry
        for entry in entries
        if drill.casefold() in entry.drill.casefold()
        and (exercise.casefold() in entry.exercise.casefold() or _is_number(exercise, entry.number))
        and (since is None or entry.day >= since)
        and (not players or any(is_by(entry, player) for player in players))
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
        "takes": [*map(plain_entry, course.entries)],
    }


# As lines


def course_lines(courses: Sequence[Course], width: int, plain: bool = False) -> Iterator[Spans]:
    """The table of all courses and a chart of each that has more than one take.

    Several players come apart, one after the other, and then, where they have an exercise in
    common, side by side.

    plain: with letters of ASCII only.
    """
    width = min(width, _WIDEST)
    for spans in _apart(by_player(courses), width):
        yield [(text.translate(_PLAIN), style) for text, style in spans] if plain else spans


def _apart(players: Mapping[str, Sequence[Course]], width: int) -> Iterator[Spans]:
    for number, (name, courses) in enumerate(players.items()):
        if number:
            yield []
        if len(players) > 1 or courses[0].player:
            yield [(f"{name[:1].upper()}{name[1:]}", "title")]
        yield from _lines(courses, width)
    yield from _side_by_side(players, width)


def _side_by_side(players: Mapping[str, Sequence[Course]], width: int) -> Iterator[Spans]:
    """What several have played, each player a column: the fastest good tempo, and the last take."""
    known = {name: {course.key: course for course in own} for name, own in players.items()}
    exercises: dict[str, list[Course]] = {}
    for course in chain.from_iterable(players.values()):
        exercises.setdefault(course.key, []).append(course)
    shared = [first for first, *others in exercises.values() if others]
    if not shared:
        return
    names = [*known][: max((width - _ROOM) // _COLUMN, 2)]
    yield []
    yield [("Side by side: good at, and the last take's tempo, clean and steady", "title")]
    head = "".join(f"{name[: _COLUMN - 2]:{_COLUMN}}" for name in names)
    yield [(f"{head}exercise", "label")]
    for course in shared:
        figures = "".join(f"{_in_short(known[name].get(course.key)):{_COLUMN}}" for name in names)
        yield from _beside(figures, course, max(width - len(figures), _ROOM))
    if len(names) < len(known):
        yield [(f"{len(known) - len(names)} more: name those to compare with --player", "faint")]


def _beside(figures: str, course: Course, room: int) -> Iterator[Spans]:
    """What a course is of beside its figures, in so many columns."""
    for number, text in enumerate(wrap(course.numbered, room) or [""]):
        yield [(" " * len(figures) if number else figures, ""), (text, "")]


def _in_short(course: Course | None) -> str:
    if course is None:
        return "-"
    last, good = course.last, course.fastest_good()
    tempo = "-" if good is None else f"{good:g}"
    return f"{tempo:>5}  {last.tempo:g} {last.clean:.0%} {of_step(last.deviation_percent)}"


def _lines(courses: Sequence[Course], width: int) -> Iterator[Spans]:
    yield from _table(courses, width)
    charted = [course for course in courses if len(course.entries) > 1]
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


def _table(courses: Sequence[Course], width: int) -> Iterator[Spans]:
    yield [(f"{_HEADS}exercise", "label")]
    room = max(width - len(_HEADS), 20)
    drill = ""
    for course in sorted(courses, key=lambda course: course.last.drill != courses[0].last.drill):
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
        yield from _beside(figures, course, room)


def _chart(course: Course, width: int) -> Iterator[Spans]:
    for text in wrap(course.numbered, width):
        yield [(text, "title")]
    for text in wrap(_summary(course), width):
        yield [(text, "faint")]
    columns, ends = placed(course.entries, width - _LABELS - 2)
    across = max(columns) + 1
    rows = _rows({_row_of(entry) for entry in columns.values()})
    for number, (low, high) in enumerate(reversed(rows)):
        marks = [" "] * across
        for column, entry in columns.items():
            if low <= _row_of(entry) <= high:
                marks[column] = _GOOD if is_good(entry, USUAL) else _OTHER
        runs = groupby("".join(marks).rstrip(), key=lambda mark: "good" if mark == _GOOD else "")
        label = "tempo" if number == len(rows) - 1 and len(rows) > 1 else ""
        head = (f"{label:5}{high:>{_LABELS - 5}g}", "label")
        yield [head, ("│ ", "faint"), *(("".join(run), style) for style, run in runs)]
    yield [(" " * _LABELS + "└" + "─" * (across + 1), "faint")]
    percents = [columns[at].deviation_percent if at in columns else None for at in range(across)]
    most = max((percent for percent in percents if percent is not None), default=None)
    if most is not None:
        bars = "".join(" " if percent is None else _bar(percent, most) for percent in percents)
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
    return ", ".join((f"at {entry.tempo:g}", *steady_to(entry.deviation_percent)))


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
        places = [round((entry.day - first).days * (across - 1) / days) for entry in entries]
    else:
        across = min(most, _COLUMNS_A_DAY * len(entries) - 2)
        size = max(len(entries) - 1, 1)
        places = [round(i * (across - 1) / size) for i in range(len(entries))]
    columns: dict[int, Entry] = {}
    for place, entry in zip(places, entries, strict=True):
        before = columns.get(place)
        if before is None or is_good(entry, USUAL) or not is_good(before, USUAL):
            columns[place] = entry
    return columns, (first.isoformat(), last.isoformat())


def _rows(tempos: set[int]) -> list[tuple[int, int]]:
    """A row for each tempo, or for even ranges of many; the slowest first.

    The chart names a row by its fastest.
    """
    if len(tempos) <= _MOST_ROWS:
        return [(tempo, tempo) for tempo in sorted(tempos)]
    low, high = min(tempos), max(tempos)

    def row(tempo: int) -> int:
        return min((tempo - low) * _MOST_ROWS // (high - low), _MOST_ROWS - 1)

    ranges = [[*together] for _, together in groupby(sorted(tempos), key=row)]
    return [(together[0], together[-1]) for together in ranges]


def _bar(value: float, most: float) -> str:
    share = value / most if most else 0.0
    return _BARS[min(len(_BARS) - 1, int(share * (len(_BARS) - 1) + 0.5))]
