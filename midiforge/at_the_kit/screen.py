"""A session on a terminal, for whoever sits at the drums: what is played in large letters, what the
last round was beside what is written, and one sentence.

What became of a stroke stands below it: = in time, < early, > late, - missed, x on another drum or
at another place; + says how many came besides.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from fractions import Fraction
from functools import lru_cache

from midiforge.at_the_kit.scene import Mode, Scene
from midiforge.at_the_kit.words import (
    NOTHING,
    REST,
    WISHES,
    Became,
    became,
    coming_words,
    outcome_words,
    sentences,
)
from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.controls import pressed, single_keys, told
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place
from midiforge.live.screen.columns import Columns, Setting
from midiforge.live.screen.frames import Screen
from midiforge.live.screen.letters import HIGH, large
from midiforge.live.screen.terminal import FAINT, HERE, LOUD, PLAIN, cut, flowed
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.tempo import plain
from midiforge.practice.plan import clock
from midiforge.practice.teacher import Task
from midiforge.printable import printable
from midiforge.stave import PlayedOn, Stave

# What a row shows: the right hand, the left, and the feet together.
_LIMBS: tuple[tuple[Limb, ...], ...] = ((HANDS[0],), (HANDS[1],), FEET)
_SIGNS = {
    Became.IN_TIME: "=",
    Became.EARLY: "<",
    Became.LATE: ">",
    Became.MISSED: "-",
    Became.ELSEWHERE: "x",
}
_LEGEND = "= in time   < early   > late   - missed   x elsewhere"


class KitScreen(Screen):
    """Draws a scene; use it as a context."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._columns = lru_cache(64)(_columns)

    def made(self, playable: PlayableExercise) -> None:
        for number in range(min(playable.exercise.bars, 16)):
            self._columns(playable.exercise, number)

    def state(self) -> object:
        return self.scene.changes

    def lines(self, room: int, height: int) -> list[str]:
        scene, head = self.scene, self._head(room)
        task, now = scene.task, self._large(room)
        keys = [f"{FAINT}{line}{PLAIN}" for line in flowed(map(told, WISHES), room)]
        foot = ["", *self._said(room), "", *keys]
        if scene.mode is Mode.REST or task is None:
            return [*head, "", *map(_dots, now), *foot]
        hands = self._hands(task.exercise)
        large_hands = large(
            "  ".join(f"{hand.letter} {_in_short(on)}" for hand, on in hands), room, 1
        )
        if beside := _beside(now, large_hands, room):
            now, surfaces = beside, []
        else:
            told_hands = flowed((f"{hand.title}: {on}" for hand, on in hands), room)
            surfaces = [f"{LOUD}{line}{PLAIN}" for line in told_hands]
        left = height - len(head) - 1 - HIGH - len(foot)
        bar = self._pattern(task.exercise, room, left - len(surfaces))
        if surfaces and large_hands and left - len(bar) > HIGH:
            surfaces = ["", *map(_dots, large_hands)]
        return [*head, "", *map(_dots, now), *surfaces, *bar, *foot]

    def _hands(self, exercise: Exercise) -> list[tuple[Limb, PlayedOn]]:
        """What each hand is on."""
        played_on = self._columns(exercise, 0).played_on
        return [(hand, played_on[hand.title]) for hand in HANDS if hand.title in played_on]

    def _head(self, room: int) -> list[str]:
        scene = self.scene
        gone = f"{clock(Fraction(round(scene.elapsed)))} of {clock(Fraction(round(scene.seconds)))}"
        task = scene.task
        if task is None:
            return [gone]
        exercise = task.exercise
        tempo = f", {plain(exercise.tempo.first)}" if exercise.tempo.is_steady else ""
        name = f"{LOUD}{exercise.number}{PLAIN}  {cut(exercise.title + tempo, room - 30)}"
        drill = cut(task.drill, room - 30)
        return flowed([f"{gone}   {task.phase}", *([drill] if drill else []), name], room)

    def _large(self, room: int) -> list[str]:
        """What to do now, in large letters."""
        said = self._now()
        for words in (said, said.split(" ")[0]):
            if rows := large(words, room):
                return rows
        return [said, *[""] * (HIGH - 1)]

    def _now(self) -> str:
        scene, mode = self.scene, self.scene.mode
        if self.paused:
            return "PAUSED"
        if mode is Mode.REST:
            return f"REST {clock(Fraction(round(scene.left)))}"
        if mode in (Mode.READY, Mode.END):
            return "READY" if mode is Mode.READY else "END"
        count = self._count()
        if mode is Mode.COUNT:
            return f"{count}  {coming_words(scene).upper()}"
        words = {Mode.LISTEN: "LISTEN", Mode.DELAY: "STRIKE"}
        last = "LAST" if scene.last else ""
        return f"{count}  {words.get(mode, last)}".rstrip()

    def _count(self) -> str:
        """The beat of the bar, from 1."""
        place = self.place
        if place is None or self.at < 0:
            return "."
        meter = place.playable.exercise.meter
        if self.scene.mode is Mode.DELAY:
            return str(int(self.at) + 1)
        return str(sum(beat <= self.at + 1e-6 for beat in meter.beats))

    def _pattern(self, exercise: Exercise, room: int, most: int) -> list[str]:
        """The bar that is played, as it is counted and struck, and what became of it last."""
        place = self.place
        number = max(place.bar.number, 0) if place is not None else 0
        shown = self.scene.mode in (Mode.PLAY, Mode.LISTEN)
        same = place is not None and place.playable.exercise.piece is exercise.piece
        columns = self._columns(exercise, number if shown and same else 0)
        here = columns.here(self.at) if shown and same else -1
        marks = self._marks(exercise, number, columns) if shown else columns.figures
        if big := _in_large(columns, marks, here, shown, room, most):
            return ["", *big]
        setting = Setting(columns, room)
        lines: list[str] = []
        for line in setting.shown(here, max(most // (setting.height + 4), 1)):
            rows = setting.rows(line, here, False)
            counts, struck = rows[: -len(_LIMBS)], rows[-len(_LIMBS) :]
            lines += ["", *counts]
            for row, signs in zip(struck, marks, strict=True):
                lines.append(row if shown else f"{FAINT}{row}{PLAIN}")
                cells = [signs[i] for i in setting.lines[line]]
                if shown or any(cells):
                    lines.append(setting.under(cells))
        return lines

    def _marks(self, exercise: Exercise, number: int, columns: Columns) -> list[list[str]]:
        """What became of each column's strokes, row by row: of this round where it is known, else
        of the one before."""
        bar, swing = float(exercise.meter.bar), exercise.swing
        start = number * exercise.meter.bar
        signs = [[*figures] for figures in columns.figures]
        for came in (*self.scene.marks, *self.scene.now):
            due = came.due
            if due is None or (due.bar - 1 - number) % exercise.returns_after_bars:
                continue
            for hit in due.hits:
                row = next((i for i, limbs in enumerate(_LIMBS) if hit.limb in limbs), None)
                played = float(swing.played(start + due.place, hit.grid) - start) % bar
                at = columns.here(played)
                if row is not None and at >= 0:
                    signs[row][at] = columns.figures[row][at] + _SIGNS[became(came)]
        return signs

    def _said(self, room: int) -> list[str]:
        scene = self.scene
        lines = [
            f"{LOUD}{head}:{PLAIN} {printable(said)}" if head else printable(said)
            for head, said in sentences(scene, self.message)
        ]
        if scene.mode is Mode.PLAY and scene.marks:
            extra = sum(came.kind == "extra" for came in scene.marks)
            more = f"   + {extra} too many" if extra else ""
            lines.append(f"{FAINT}{_LEGEND}{more}{PLAIN}")
        return [part for line in lines for part in flowed(line.split(" "), room, " ")]


def _columns(exercise: Exercise, number: int) -> Columns:
    return Columns(Stave(exercise, beside=False), number)


def _in_short(on: PlayedOn) -> str:
    """In capitals, the hi-hat without how it is held where nothing else is played on it."""
    said = str(on).upper().replace(" =", "")
    return re.sub(r"HIHAT-\w+", "HIHAT", said) if said.count("HIHAT") == 1 else said


def _dots(row: str) -> str:
    """A row of large letters: its dots as blocks."""
    return re.sub("#+", lambda run: f"{HERE}{' ' * len(run[0])}{PLAIN}", row)


def _beside(now: Sequence[str], hands: Sequence[str], room: int) -> list[str]:
    """Large letters with others at the right; [] where there are none, or no room."""
    widths = [max(map(len, rows), default=0) for rows in (now, hands)]
    if not hands or sum(widths) + 4 > room:
        return []
    return [left.ljust(room - widths[1]) + right for left, right in zip(now, hands, strict=True)]


def _in_large(
    columns: Columns,
    marks: Sequence[Sequence[str]],
    here: int,
    shown: bool,
    room: int,
    most: int,
) -> list[str]:
    """The bar in large letters; [] where there is no room."""
    rows = [*columns.counts[:1], *columns.strokes]
    rows = [row for row in rows if any(row)]
    signs = [None, *(sign for row, sign in zip(columns.strokes, marks, strict=True) if any(row))]
    if (HIGH + 1) * len(rows) > most:
        return []
    for wide in (2, 1):
        letters = [[large(cell.strip() or " ", 40, wide) for cell in row] for row in rows]
        if not all(all(row) for row in letters):
            return []
        widest = max(len(cell[0]) for row in letters for cell in row)
        if (widest + 2) * len(columns.at) <= room:
            break
    else:
        return []
    lines: list[str] = []
    for row, sign in zip(letters, signs, strict=True):
        for high in range(HIGH):
            dots = [cell[high].ljust(widest) for cell in row]
            if not shown and sign is not None:  # what is to come, dimmed
                lines.append(FAINT + "  ".join(dots) + PLAIN)
            else:
                lines.append(_dots("  ".join(dots)))
        # As wide as its letter, or nobody at the drums could read it.
        under = [_wide(sign[i], widest) if sign else "^" * (i == here) for i in range(len(row))]
        lines.append("  ".join(f"{LOUD}{text:^{widest}}{PLAIN}" for text in under))
    return lines


def _wide(signs: str, wide: int) -> str:
    """Signs as wide as their letter: what became of the stroke drawn out behind its figure."""
    if not signs or signs.isdecimal():
        return signs
    return signs[:-1] + signs[-1] * (wide - len(signs) + 1)


@contextmanager
def on_kit_screen(scene: Scene, player: Player) -> Iterator[Watcher]:
    """Shows a session, and gives the player what is asked for by keys."""
    with single_keys(), KitScreen(scene) as screen:

        def idle(spare: int) -> None:
            for command in pressed():
                player.wish(command)
            screen.idle(spare, player.paused or player.waits)

        yield Watcher(
            bar=screen.bar, moment=screen.moment, idle=idle, say=screen.say, made=screen.made
        )


def in_lines(
    say: Callable[[str], None],
) -> Callable[[Scene, Player], AbstractContextManager[Watcher]]:
    """The same for what is no terminal: a line for what begins, and for what came of it."""

    @contextmanager
    def watch(scene: Scene, player: Player) -> Iterator[Watcher]:
        seen: list[object] = [None, None, None, 0]

        def bar(_: Place) -> None:
            task: Task | None = scene.task
            if scene.mode is Mode.COUNT and task is not seen[0]:
                seen[0] = task
                drill = f" ({task.drill})" if task and task.drill else ""
                say(f"{clock(Fraction(round(scene.elapsed)))} {task.said if task else ''}{drill}")
            if scene.mode is Mode.REST and seen[2] is not Mode.REST:
                say(f"{clock(Fraction(round(scene.elapsed)))} rest: {REST}")
            seen[2] = scene.mode
            outcome = scene.outcome
            if outcome is not None and outcome is not seen[1]:
                seen[1] = outcome
                good, said = outcome_words(outcome)
                say(f"    {good.lower()}: {said}")
            if scene.nothing and not seen[3]:
                say(f"    {NOTHING}")
            seen[3] = scene.nothing

        def idle(_: int) -> None:
            for command in pressed():
                say(command.value)
                player.wish(command)

        with single_keys():
            yield Watcher(bar=bar, idle=idle, say=say)

    return watch
