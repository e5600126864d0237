"""What the player sees at arm's length: where we are, what is played, what comes next.

Frames are put together in time that is to spare.
"""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache

from midiforge.insight.words import ranges
from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.controls import Command, key_of, pressed, single_keys, told
from midiforge.live.playing.layers import BAND, LAYERS, Levels
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place, Way
from midiforge.live.screen.chords import Chords
from midiforge.live.screen.columns import Columns, Setting
from midiforge.live.screen.frames import Screen
from midiforge.live.screen.letters import HIGH, large
from midiforge.live.screen.terminal import (
    FAINT,
    HERE,
    LOUD,
    PLAIN,
    cut,
    flowed,
)
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.model.tempo import plain
from midiforge.printable import printable
from midiforge.stave import Stave

_FOOT = 4  # lines: what comes next, what was said, silent layers, levels
_ROOMY = 22  # lines; in a smaller terminal chords are written small
_MOST_KEPT, _MOST_BARS = 16, 64  # exercises, and bars of each


class _Kept:
    """What is needed to show an exercise: its chords, and the columns of its bars."""

    def __init__(self, exercise: Exercise) -> None:
        stave = Stave(exercise, beside=False)
        self.chords = Chords(exercise)
        self.columns = lru_cache(_MOST_BARS)(lambda number: Columns(stave, number))


@dataclass
class Display(Screen):
    """A calm picture of the place in the lesson; use it as a context.

    muted: the player's layers that are silent, levels: how loud they are, as they are at the
        moment.
    """

    route: Way
    muted: set[str]
    levels: Levels = field(default_factory=Levels)
    _exercises: dict[Number, _Kept] = field(default_factory=dict)

    def prepare(self, playable: PlayableExercise) -> None:
        """Makes what is needed to show an exercise, ahead of its time; from any thread."""
        kept = self._kept(playable.exercise)
        for number in range(min(playable.exercise.bars, _MOST_BARS)):
            kept.columns(number)

    def state(self) -> object:
        return frozenset(self.muted), self.levels.changes

    def lines(self, room: int, height: int) -> list[str]:
        place = self.place
        if place is None:
            return ["", "getting ready"]
        columns = self._kept(place.playable.exercise).columns(max(place.bar.number, 0))
        stave, here = Setting(columns, room), columns.here(self.at)
        small = self._chord_lines(place, room, False)
        roomy = self._chord_lines(place, room, True) if height >= _ROOMY else small
        keys, short_keys = _key_lines(place.playable, room)
        head, foot = self._head(place, room), self._foot(room)
        # Silent layers and levels have their room from the beginning: nothing jumps then.
        left = height - _tight(head) - max(_tight(foot), _FOOT)

        def fitting(chords: list[str], told: list[str]) -> int:
            return min((left - _tight(chords) - len(told)) // stave.height, len(stave.lines))

        ways = ((roomy, keys), (small, keys), (small, short_keys))
        chords, keys_told = max(ways, key=lambda way: fitting(*way))  # the first of the best
        shown = stave.shown(here, fitting(chords, keys_told))
        if len(shown) < len(stave.lines):
            lines = f"line{'s' * (len(shown) > 1)} {ranges(i + 1 for i in shown)}"
            head = self._head(place, room, f"{lines} of {len(stave.lines)}")
        counts_in = place.bar.number < 0
        rows = (row for line in shown for row in ("", *stave.rows(line, here, counts_in)))
        return [
            "",
            *head,
            *rows,
            "",
            *chords,
            *foot,
            "",
            *(f"{FAINT}{line}{PLAIN}" for line in keys_told),
        ]

    def _head(self, place: Place, room: int, *more: str) -> list[str]:
        """Where we are, and whatever more there is to be said of that."""
        exercise, bar = place.playable.exercise, place.bar
        tempo = f"{LOUD}{plain(bar.tempo)}{PLAIN} {exercise.meter.pulse_name} notes a minute"
        written = [f"({plain(bar.tempo - place.faster)} written)"] if place.faster else []
        where = "count-in" if bar.number < 0 else f"bar {bar.number + 1} of {exercise.bars}"
        times = f"time {place.time} of {place.times}" if place.times else f"time {place.time}"
        title = f"{LOUD}{exercise.number}{PLAIN}  {cut(exercise.title, room - 4)}"
        return [title, "", *flowed([tempo, *written, f"{LOUD}{where}{PLAIN}", times, *more], room)]

    def _foot(self, room: int) -> list[str]:
        """What comes next, what was said, and what does not sound as it is written."""
        said = [cut(word, room) for word in self.message.split(" ")]
        if self.paused:
            said = [f"{LOUD}PAUSED{PLAIN}  space goes on"]
        silent = ", ".join(layer for layer in LAYERS if layer in self.muted)
        levels = [
            f"{LOUD if layer == self.levels.chosen else ''}{layer} {self.levels[layer]} %{PLAIN}"
            for layer in self.levels.told()
        ]
        return [
            f"next: {cut(_called(self.route.upcoming()), room - 6)}",
            "",
            *flowed(said, room, " "),
            *flowed(f"silent: {silent}".split() if silent else [""], room, " "),
            *flowed([f"level: {levels[0]}", *levels[1:]] if levels else [""], room),
        ]

    def _chord_lines(self, place: Place, room: int, roomy: bool) -> list[str]:
        exercise = place.playable.exercise
        if not exercise.chords:
            return []
        time = float(place.bar.number * exercise.meter.bar) + max(self.at, 0.0)
        again = place.times == 0 or place.time < place.times
        now, following = map(printable, self._kept(exercise).chords.at(time, again))
        then = f"then {LOUD}{following}{PLAIN}" if following else ""
        rows = large(now, room - 8 - len(following)) if roomy else []
        if not rows:
            return [*flowed(filter(None, (f"{HERE} {now} {PLAIN}", then)), room), ""]
        drawn = [re.sub("#+", lambda run: f"{HERE}{' ' * len(run[0])}{PLAIN}", row) for row in rows]
        drawn[HIGH // 2] += f"   {then}" if then else ""
        return [*drawn, ""]

    def _kept(self, exercise: Exercise) -> _Kept:
        kept = self._exercises.get(exercise.number)  # another thread may empty it meanwhile
        if kept is None:
            if len(self._exercises) >= _MOST_KEPT:
                self._exercises.clear()
            kept = self._exercises[exercise.number] = _Kept(exercise)
        return kept


def _tight(lines: Iterable[str]) -> int:
    """How many lines there are but for air."""
    return sum(map(bool, lines))


def _called(exercise: Exercise | None) -> str:
    return f"{exercise.number}  {exercise.title}, {exercise.tempo}" if exercise else "the end"


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
            bar=display.bar, moment=display.moment, idle=idle, say=display.say, made=display.prepare
        )


_MOVES = (
    Command.PAUSE,
    Command.NEXT,
    Command.PREVIOUS,
    Command.AGAIN,
    Command.SLOWER,
    Command.FASTER,
    Command.QUIT,
)
_LOUDNESS = (Command.LAYER, Command.SOFTER, Command.LOUDER)


def _key_lines(playable: PlayableExercise, room: int) -> tuple[list[str], list[str]]:
    """Which key does what, in as few lines as there is room for; and the keys alone.

    The band's are told where the exercise has it.
    """
    layers = [Command(layer) for layer in LAYERS if layer not in BAND or layer in playable.layers]
    groups = (_MOVES, layers, _LOUDNESS)
    moves, switches, levels = ([*map(told, group)] for group in groups)
    below = flowed([*switches, *levels], room)
    if len(below) > 1:
        below = [*flowed(switches, room), *flowed(levels, room)]
    alone = [key_of(command) for group in groups for command in group]
    return [*flowed(moves, room), *below], flowed(alone, room, " ")
