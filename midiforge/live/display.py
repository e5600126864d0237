"""What the player sees at arm's length: where we are, what is played, what comes next.

Frames are put together in time that is to spare and written by a thread of their own, so that a
terminal that does not take them cannot hold up the music.
"""

import re
import shutil
import threading
from dataclasses import dataclass, field
from fractions import Fraction

from midiforge.live.bars import PlayableExercise
from midiforge.live.chords import HIGH, Chords, chords_of, large
from midiforge.live.columns import Column, columns
from midiforge.live.layers import LAYERS
from midiforge.live.levels import Levels
from midiforge.live.route import Place, Route
from midiforge.live.terminal import (
    CLEAR_BELOW,
    CLEAR_LINE,
    CLOSE,
    FAINT,
    HERE,
    HOME,
    LOUD,
    OPEN,
    PLAIN,
    cut,
    write,
)
from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain
from midiforge.printable import printable

KEYS_LINE = "space pause   n next   p previous   a again   - slower   + faster   q quit"
LAYERS_LINE = "h hands   f feet   c click   b percussion"
LAYER_KEYS = {"bass": "s bass", "chords": "m chords"}  # told where the exercise has them
LEVELS_LINE = "l layer   , softer   . louder"

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
    _bars: dict[tuple[int, int], tuple[Column, ...]] = field(default_factory=dict)
    _chords: dict[int, Chords] = field(default_factory=dict)
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
        lines = [_clip(line, width) for line in self._lines(width, height)]
        while len(lines) > height and "" in lines:
            lines.remove("")  # in a small terminal there is no room for air
        lines = lines[:height]
        return (
            HOME
            + "".join(f"{line}{CLEAR_LINE}\r\n" for line in lines[:-1])
            + (f"{lines[-1]}{CLEAR_LINE}{CLEAR_BELOW}")
        )

    def _lines(self, width: int, height: int) -> list[str]:
        place = self.place
        if place is None:
            return ["", "  getting ready"]
        exercise = place.playable.exercise
        following = self.route.upcoming()
        bar = place.bar
        where = "count-in" if bar.number < 0 else f"bar {bar.number + 1} of {exercise.bars}"
        times = f"time {place.time} of {place.times}" if place.times else f"time {place.time}"
        silent = [layer for layer in LAYERS if layer in self.muted]
        return [
            "",
            f"  {LOUD}{exercise.order}{PLAIN}  {cut(exercise.title, width - 8)}",
            "",
            f"  {LOUD}{plain(bar.tempo)}{PLAIN} {exercise.meter.pulse_name} notes a minute"
            f"      {LOUD}{where}{PLAIN}      {times}",
            "",
            *self._stave(exercise, bar.number, width),
            "",
            *self._chord_lines(place, width, height >= _ROOMY),
            f"  next: {cut(_called(following), width - 10)}",
            "",
            f"  {LOUD}PAUSED{PLAIN}  space goes on" if self.paused else f"  {self.message}",
            f"  silent: {', '.join(silent)}" if silent else "",
            self._levels_line(),
            "",
            *(f"  {FAINT}{cut(each, width - 4)}{PLAIN}" for each in _keys(place.playable, width)),
        ]

    def _chord_lines(self, place: Place, width: int, roomy: bool) -> list[str]:
        exercise = place.playable.exercise
        if not exercise.chords:
            return []
        time = float(place.bar.number * exercise.meter.bar) + max(self._at, 0.0)
        again = place.times == 0 or place.time < place.times
        now, following = map(printable, self._chords_of(exercise).at(time, again))
        then = f"   then {LOUD}{following}{PLAIN}" if following else ""
        rows = large(now, width - 12 - len(following)) if roomy else []
        if not rows:
            return [f"  {HERE} {now} {PLAIN}{then}", ""]
        middle = HIGH // 2
        drawn = ["  " + _PIXELS.sub(_drawn, row) for row in rows]
        drawn[middle] += then
        return [*drawn, ""]

    def _levels_line(self) -> str:
        told = []
        for layer in self.levels.told():
            style = LOUD if layer == self.levels.chosen else ""
            told.append(f"{style}{layer} {self.levels[layer]} %{PLAIN}")
        return f"  level: {'   '.join(told)}" if told else ""

    def _stave(self, exercise: Exercise, number: int, width: int) -> list[str]:
        steps = self._bar(exercise, max(number, 0))
        here = max((i for i, each in enumerate(steps) if each.at <= self._at + 1e-6), default=-1)
        wide = max(2, *(len(text) + 1 for each in steps for text in (each.count, *each.rows)))
        wide = min(max(wide, min(5, (width - 4) // max(len(steps), 1))), max(width - 4, wide))
        each_line = max(1, (width - 4) // wide)
        first = max(here, 0) // each_line * each_line
        shown = range(first, min(first + each_line, len(steps)))
        lines = []
        for row in range(4):
            text = "  "
            for i in shown:
                column = steps[i]
                cell = column.count if row == 0 else column.rows[row - 1]
                if number < 0 and row:
                    cell = ""
                style = HERE if i == here else LOUD if row else FAINT
                text += f"{style}{cell or ('.' if row and i == here else ' '):<{wide - 1}}{PLAIN} "
            lines.append(text)
        return lines

    def _bar(self, exercise: Exercise, number: int) -> tuple[Column, ...]:
        key = (exercise.order, number)
        found = self._bars.get(key)
        if found is None:
            if len(self._bars) > 512:
                self._bars.clear()
            found = self._bars[key] = columns(exercise, number)
        return found

    def _chords_of(self, exercise: Exercise) -> Chords:
        found = self._chords.get(exercise.order)
        if found is None:
            if len(self._chords) > 64:
                self._chords.clear()
            found = self._chords[exercise.order] = chords_of(exercise)
        return found

    def _write(self) -> None:
        while not self._done:
            self._wake.wait()
            self._wake.clear()
            try:
                write(self._frame)
            except OSError:
                return


_PIXELS = re.compile("#+")


def _drawn(pixels: re.Match[str]) -> str:
    return f"{HERE}{' ' * len(pixels[0])}{PLAIN}"


def _keys(playable: PlayableExercise, width: int) -> list[str]:
    """Which key does what, in as few lines as there is room for."""
    layers = "   ".join([LAYERS_LINE, *(LAYER_KEYS[x] for x in playable.layers if x in LAYER_KEYS)])
    both = f"{layers}   {LEVELS_LINE}"
    return [KEYS_LINE, both] if len(both) <= width - 4 else [KEYS_LINE, layers, LEVELS_LINE]


def plain_line(place: Place) -> str:
    """One line an exercise, for a screen that is none."""
    exercise = place.playable.exercise
    tempo = plain(place.playable.bars[0].tempo)
    seconds = float(sum((b.length * b.quarter for b in place.playable.bars), Fraction(0))) / 1e9
    return printable(f"{exercise.order}. {exercise.title}, {tempo} bpm, {seconds:.0f} s")


def _called(exercise: Exercise | None) -> str:
    return f"{exercise.order}  {exercise.title}, {exercise.tempo}" if exercise else "the end"


_ESCAPE = re.compile(r"(\x1b\[[0-9;]*m)")


def _clip(line: str, width: int) -> str:
    """The line, no wider than the terminal; what switches styles has no width."""
    clipped, room = "", width
    for i, piece in enumerate(_ESCAPE.split(line)):
        if i % 2:
            clipped += piece
        else:
            clipped += piece[:room]
            room -= min(len(piece), room)
    return clipped.rstrip() if _ESCAPE.search(line) is None else clipped
