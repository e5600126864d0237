"""What the player sees at arm's length: where we are, what is played, what comes next.

Frames are put together in time that is to spare and written by a thread of their own, so that a
terminal that does not take them cannot hold up the music.
"""

import re
import shutil
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import TypeVar

from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.keyboard import pressed, single_keys
from midiforge.live.playing.layers import LAYERS
from midiforge.live.playing.levels import Levels
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place, Route
from midiforge.live.screen.chords import HIGH, Chords, chords_of, large
from midiforge.live.screen.columns import Columns, Setting
from midiforge.live.screen.key_lines import key_lines, short_key_lines
from midiforge.live.screen.terminal import (
    CLEAR_BELOW,
    CLEAR_LINE,
    CLOSE,
    FAINT,
    HERE,
    HOME,
    LOUD,
    OPEN,
    PLAIN,
    STYLE,
    cut,
    flowed,
    without_air,
    write,
)
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.model.tempo import plain
from midiforge.printable import printable
from midiforge.stave.stave import Stave

_FOOT = 4  # lines: what comes next, what was said, silent layers, levels

_ROOMY = 22  # lines; in a smaller terminal chords are written small


@dataclass(slots=True)
class Display:
    """A calm picture of the place in the lesson; use it as a context.

    muted: the player's layers that are silent, levels: how loud they are, as they are at the
        moment.
    """

    route: Route
    muted: set[str]
    levels: Levels = field(default_factory=Levels)
    place: Place | None = None
    message: str = ""
    paused: bool = False
    _at: float = -1.0
    _changed: bool = True
    _state: tuple[bool, frozenset[str], int] = (False, frozenset(), 0)
    _staves: dict[Number, Stave] = field(default_factory=dict)
    _bars: dict[tuple[Number, int], Columns] = field(default_factory=dict)
    _chords: dict[Number, Chords] = field(default_factory=dict)
    _frame: str = ""
    _wake: threading.Event = field(default_factory=threading.Event)
    _done: bool = False
    _writer: threading.Thread | None = None

    def __enter__(self) -> "Display":
        write(OPEN)
        self._writer = threading.Thread(target=self._write, daemon=True)
        self._writer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done = True
        self._wake.set()
        if self._writer:
            self._writer.join(0.5)
        with suppress(OSError):  # the terminal may be closed
            write(PLAIN + CLOSE)

    def prepare(self, playable: PlayableExercise) -> None:
        """Makes what is needed to show an exercise, ahead of its time; from any thread."""
        for bar in playable.bars[:64]:
            self._bar(playable.exercise, bar.number)
        self._chords_of(playable.exercise)

    def bar(self, place: Place) -> None:
        self.place, self._at, self._changed = place, -1.0, True

    def moment(self, at: float) -> None:
        self._at, self._changed = at, True

    def say(self, text: str) -> None:
        self.message, self._changed = printable(text), True

    def idle(self, spare: int, paused: bool) -> None:
        """Draws if something changed and there is time."""
        state = (paused, frozenset(self.muted), self.levels.changes)
        if state != self._state:
            self._state, self.paused, self._changed = state, paused, True
        if self._changed and spare > 4_000_000:
            self._changed = False
            self._frame = self.frame(*shutil.get_terminal_size())
            self._wake.set()

    def frame(self, width: int, height: int) -> str:
        """The whole picture for a terminal of that size."""
        lines = without_air((_clip(line, width) for line in self._lines(width, height)), height)
        return (
            HOME
            + "".join(f"{line}{CLEAR_LINE}\r\n" for line in lines[:-1])
            + (f"{lines[-1]}{CLEAR_LINE}{CLEAR_BELOW}")
        )

    def _lines(self, width: int, height: int) -> list[str]:
        place = self.place
        if place is None:
            return ["", "  getting ready"]
        room = width - 4
        columns = self._columns(place)
        stave, here = Setting(columns, room), columns.here(self._at)
        small = self._chord_lines(place, room, False)
        roomy = self._chord_lines(place, room, True) if height >= _ROOMY else small
        keys = [key_lines(place.playable, room), short_key_lines(place.playable, room)]
        head, foot = self._head(place, room), self._foot(room)
        # Silent layers and levels have their room from the beginning: nothing jumps then.
        left = height - _tight(head) - max(_tight(foot), _FOOT)

        def fitting(chords: list[str], told: list[str]) -> int:
            return min((left - _tight(chords) - len(told)) // stave.height, len(stave.lines))

        ways = ((roomy, keys[0]), (small, keys[0]), (small, keys[1]))
        chords, keys_told = max(ways, key=lambda way: fitting(*way))  # the first of the best
        shown = stave.shown(here, fitting(chords, keys_told))
        if len(shown) < len(stave.lines):
            head = self._head(place, room, _lines_told(shown, len(stave.lines)))
        rows = [["", *stave.rows(line, here, place.bar.number < 0)] for line in shown]
        return [
            "",
            *head,
            *(row for line in rows for row in line),
            "",
            *chords,
            *foot,
            "",
            *(f"  {FAINT}{each}{PLAIN}" for each in keys_told),
        ]

    def _head(self, place: Place, room: int, *more: str) -> list[str]:
        """Where we are, and whatever more there is to be said of that."""
        exercise, bar = place.playable.exercise, place.bar
        tempo = f"{LOUD}{plain(bar.tempo)}{PLAIN} {exercise.meter.pulse_name} notes a minute"
        written = [f"({plain(bar.tempo - place.faster)} written)"] if place.faster else []
        where = "count-in" if bar.number < 0 else f"bar {bar.number + 1} of {exercise.bars}"
        times = f"time {place.time} of {place.times}" if place.times else f"time {place.time}"
        title = f"{LOUD}{exercise.number}{PLAIN}  {cut(exercise.title, room - 4)}"
        said = flowed([tempo, *written, f"{LOUD}{where}{PLAIN}", times, *more], room)
        return [*_indented([title]), "", *_indented(said)]

    def _foot(self, room: int) -> list[str]:
        """What comes next, what was said, and what does not sound as it is written."""
        silent = [layer for layer in LAYERS if layer in self.muted]
        levels = self._levels_told()
        said = [cut(word, room) for word in self.message.split(" ")]
        if self.paused:
            said = [f"{LOUD}PAUSED{PLAIN}  space goes on"]
        return [
            f"  next: {cut(_called(self.route.upcoming()), room - 6)}",
            "",
            *_indented(flowed(said, room, " ")),
            *(_indented(flowed(_listed("silent", silent), room, " ")) if silent else [""]),
            *(_indented(flowed([f"level: {levels[0]}", *levels[1:]], room)) if levels else [""]),
        ]

    def _chord_lines(self, place: Place, room: int, roomy: bool) -> list[str]:
        exercise = place.playable.exercise
        if not exercise.chords:
            return []
        time = float(place.bar.number * exercise.meter.bar) + max(self._at, 0.0)
        again = place.times == 0 or place.time < place.times
        now, following = map(printable, self._chords_of(exercise).at(time, again))
        then = [f"then {LOUD}{following}{PLAIN}"] if following else []
        rows = large(now, room - 8 - len(following)) if roomy else []
        if not rows:
            return [*_indented(flowed([f"{HERE} {now} {PLAIN}", *then], room)), ""]
        middle = HIGH // 2
        drawn = ["  " + _PIXELS.sub(_drawn, row) for row in rows]
        drawn[middle] += "".join(f"   {each}" for each in then)
        return [*drawn, ""]

    def _levels_told(self) -> list[str]:
        """The levels there is something to be told of, the chosen one's in bold."""
        told = []
        for layer in self.levels.told():
            style = LOUD if layer == self.levels.chosen else ""
            told.append(f"{style}{layer} {self.levels[layer]} %{PLAIN}")
        return told

    def _columns(self, place: Place) -> Columns:
        return self._bar(place.playable.exercise, max(place.bar.number, 0))

    def _bar(self, exercise: Exercise, number: int) -> Columns:
        stave = _kept(self._staves, exercise.number, 64, lambda: Stave(exercise, beside=False))
        key = (exercise.number, number)
        return _kept(self._bars, key, 512, lambda: Columns(stave, number))

    def _chords_of(self, exercise: Exercise) -> Chords:
        return _kept(self._chords, exercise.number, 64, lambda: chords_of(exercise))

    def _write(self) -> None:
        while not self._done:
            self._wake.wait()
            self._wake.clear()
            try:
                write(self._frame)
            except OSError:
                return


_Key = TypeVar("_Key")
_Made = TypeVar("_Made")


def _kept(made: dict[_Key, _Made], key: _Key, most: int, make: Callable[[], _Made]) -> _Made:
    """What was made before, or is now, of so many at most; other threads may ask meanwhile."""
    known = made.get(key)
    if known is None:
        if len(made) >= most:
            made.clear()
        known = made[key] = make()
    return known


_PIXELS = re.compile("#+")


def _drawn(pixels: re.Match[str]) -> str:
    return f"{HERE}{' ' * len(pixels[0])}{PLAIN}"


def _indented(lines: Iterable[str]) -> list[str]:
    return [f"  {line}" for line in lines]


def _listed(what: str, items: Iterable[str]) -> list[str]:
    """The words of "silent: hands, feet"."""
    return f"{what}: {', '.join(items)}".split()


def _tight(lines: Iterable[str]) -> int:
    """How many lines there are but for air."""
    return sum(map(bool, lines))


def _lines_told(shown: range, of: int) -> str:
    """Which lines of a bar are shown, where there is no room for all."""
    if len(shown) == 1:
        return f"line {shown.start + 1} of {of}"
    return f"lines {shown.start + 1}-{shown.stop} of {of}"


def _called(exercise: Exercise | None) -> str:
    return f"{exercise.number}  {exercise.title}, {exercise.tempo}" if exercise else "the end"


def _clip(line: str, width: int) -> str:
    """The line, no wider than the terminal; what switches styles has no width."""
    clipped, room = "", width
    for i, piece in enumerate(re.split(f"({STYLE.pattern})", line)):
        if i % 2:
            clipped += piece
        else:
            clipped += piece[:room]
            room -= min(len(piece), room)
    return clipped.rstrip() if STYLE.search(line) is None else clipped


@contextmanager
def on_screen(player: Player) -> Iterator[Watcher]:
    """Shows what is played, and gives the player what is asked for by keys."""
    sender = player.sender
    with single_keys(), Display(player.route, sender.muted, sender.levels) as display:

        def idle(spare: int) -> None:
            for command in pressed():
                player.wish(command)
            display.idle(spare, player.paused)

        yield Watcher(
            bar=display.bar,
            moment=display.moment,
            idle=idle,
            say=display.say,
            made=display.prepare,
        )
