"""A robot at the drums: it plays a session of `midiforge practise` with given habits, errors and
learning, on a clock that is not real.

    python tests/robot.py           # six weeks of all simulated students, and what became of them
    python tests/robot.py weekly    # of one

How well it plays is `students.Learner`'s, whose sources stand there. A session of half an hour
takes some seconds; the player, the way, the ear and the log are the real ones.
"""

import bisect
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import inf
from pathlib import Path
from types import SimpleNamespace
from typing import Any, TypeVar
from unittest.mock import patch

from students import FIRST, HALF, KIT, LEVELS, STUDENTS, Learner, Student

import midiforge
from midiforge.at_the_kit.practise import Practice
from midiforge.at_the_kit.scene import Mode, Outcome
from midiforge.hear.expected import expected
from midiforge.kits.kit import Kit
from midiforge.live.clock.timing import LatenessFigures
from midiforge.live.playing import player as player_module
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Command
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place
from midiforge.live.ports.sender import Sender
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.practice.entry import key_of
from midiforge.practice.good import is_good, lacks
from midiforge.session import Session

T = TypeVar("T")
SECOND = 1_000_000_000
_SLICE = 40_000_000  # nanoseconds that the player sleeps at most, so that it is soon over


@dataclass
class FastClock:
    """Time passes by sleeping, and a little by looking; what is due then happens.

    events: (when, what happens), by time.
    """

    at: int = 10**12
    step: int = 200_000
    events: list[tuple[int, int, Callable[[], object]]] = field(default_factory=list)
    count: int = 0

    def now(self) -> int:
        self._pass(self.step)
        return self.at

    def sleep(self, nanoseconds: int) -> None:
        self._pass(nanoseconds)

    def add(self, when: int, does: Callable[[], object]) -> None:
        self.count += 1
        bisect.insort(self.events, (when, self.count, does))

    def _pass(self, nanoseconds: int) -> None:
        end = self.at + nanoseconds
        while self.events and self.events[0][0] <= end:
            when, _, does = self.events.pop(0)
            self.at = max(self.at, when)
            does()
        self.at = max(self.at, end)


class AtOnce(Executor):
    """What is asked of it is done before it gives an answer."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


class Nobody:
    """An output that nobody listens to."""

    name = ""

    def __init__(self, clock: FastClock) -> None:
        self.clock = clock
        self.came: list[tuple[int, bytes]] = []

    def send(self, message: bytes) -> None:
        self.came.append((self.clock.at, message))

    def alive(self) -> bool:
        return True

    def connect_anew(self) -> bool:
        return False

    def reopen(self) -> bool:
        return True


class Robot:
    """Plays what a session asks for, to its click.

    practises: whether it learns while it plays. habit: changes when, in seconds, and how hard a
    stroke comes, or leaves it out by giving None.
    """

    def __init__(self, learner: Learner, kit: Kit, seed: int = 1) -> None:
        self.learner, self.kit = learner, kit
        self.chance = random.Random(seed)
        self.delay = 0.0  # seconds until a stroke arrives
        self.fails_until = 0.0

    def bar(
        self, exercise: Exercise, number: int, at_bar: float
    ) -> Iterator[tuple[float, int, int]]:
        """The strokes of a bar: seconds from its beginning, note, velocity.

        at_bar: how many bars it has played in a row.
        """
        student, chance = self.learner.student, self.chance
        key = key_of(exercise)
        pulse = 60 / float(exercise.tempo.first)
        step = pulse * float(exercise.step / exercise.tempo.pulse)
        bar = float(exercise.meter.bar / exercise.tempo.pulse) * pulse
        ratio = self.learner.in_hand(key) / (1000 * step)
        practised = self.learner.practised
        practised[key] = practised.get(key, 0.0) + bar / 60
        uneven = 0.025 + 0.045 * ratio**2
        fails = min(0.5, 0.005 + 2.0 * max(0.0, ratio - 1.0) ** 1.5)
        clock: dict[float, float] = {}
        begin = number * bar
        for due in expected(exercise, self.kit, begin + bar - 1e-6):
            if not begin - 1e-6 <= due.time < begin + bar - 1e-6:
                continue
            limb = due.hit.limb
            assert limb is not None
            if chance.random() < fails:
                continue
            worse = 1 + (student.unsteady.get(limb, 1.0) - 1) * self.learner.fault
            shared = clock.setdefault(due.time, chance.gauss(0, 1))
            time = due.time - begin + HALF * uneven * step * (shared + worse * chance.gauss(0, 1))
            if student.rush:  # it gains on the click until it hears that it does
                gained = student.rush * self.learner.fault * min(at_bar, 4) * bar / 4
                time -= min(gained, 0.6 * step)
            level = "tap" if student.flat else due.hit.strength.value
            velocity = max(1, min(127, round(chance.gauss(LEVELS[level], 4))))
            yield time + self.delay, self.kit.note(due.hit.voice), velocity


@dataclass
class Evening:
    """A session that was played. outcomes: of each stretch. modes: what the player did, in order.
    told: what was asked for, by time."""

    practice: Practice
    figures: LatenessFigures
    outcomes: list[tuple[float, Outcome]]
    modes: list[tuple[float, Mode]]
    wire: Nobody


def play(
    session: Session,
    robot: Robot | None,
    minutes: int = 20,
    started: datetime | None = None,
    wishes: dict[float, Command] | None = None,
    hears: bool = True,
    journal: bool = False,
    until: float = inf,
    away: tuple[float, float] | None = None,
    **keys: Any,
) -> Evening:
    """A whole session in fast time. wishes: at which second what is wished. journal: whether one is
    written, too. until: the second at which the robot puts its sticks down. away: from which second
    to which the input is gone."""
    clock = FastClock()
    begun = (started or datetime(2026, 3, 2, 18, tzinfo=UTC)).timestamp()
    practice = Practice(session, minutes, hears, clock=clock, started=begun, **keys)
    if journal:
        practice.begin()
    source = SimpleNamespace(gone=False)
    if away:
        practice.listening.begin_with(source)  # type: ignore[arg-type]
        for second, gone in zip(away, (True, False), strict=True):
            when = clock.at + round(second * SECOND)
            clock.add(when, lambda gone=gone: setattr(source, "gone", gone))
    wire = Nobody(clock)
    kit = practice.session.drill.kit

    def make(exercise: Exercise, faster: Fraction) -> PlayableExercise:
        return playable(exercise, kit, faster)

    way = practice.way(make, AtOnce())
    player = Player(Sender(wire, muted={"hands", "feet"}), clock, way)  # type: ignore[arg-type]
    outcomes: list[tuple[float, Outcome]] = []
    modes: list[tuple[float, Mode]] = []
    scene = practice.scene
    row = [0]
    put_down = clock.at + until * SECOND

    def bar(_: Place | None) -> None:
        if not modes or modes[-1][1] is not scene.mode:
            modes.append((practice.elapsed(), scene.mode))
        if scene.outcome and (not outcomes or outcomes[-1][1] is not scene.outcome):
            outcomes.append((practice.elapsed(), scene.outcome))

    def began(place: Place, at: int, _: bool) -> None:
        row[0] = row[0] + 1 if scene.mode is Mode.PLAY else 0
        if robot is None or scene.mode is not Mode.PLAY:
            if robot is not None and scene.mode is Mode.DELAY and place.bar.length > 1:
                apart = float(place.bar.quarter) / 1e9
                for i in range(4, int(place.bar.length)):
                    strike(at, i * apart + robot.delay + robot.chance.gauss(0, 0.008), 38, 90)
            return
        exercise = place.playable.exercise
        for time, note, velocity in robot.bar(exercise, place.bar.number, row[0]):
            strike(at, time, note, velocity)

    def strike(at: int, seconds: float, note: int, velocity: int) -> None:
        when = at + round(seconds * SECOND)
        if when > put_down:
            return
        message = bytes((0x99, note, velocity))
        clock.add(when, lambda: source.gone or practice.heard(message, when))

    player.watcher = practice.watched(Watcher(bar=bar, began=began), player.sender.muted)
    for second, wish in (wishes or {}).items():
        clock.add(clock.at + round(second * SECOND), lambda wish=wish: player.wish(wish))
    with (
        patch.object(player_module, "SLICE", _SLICE),
        patch.object(player_module, "LOOK_EVERY", SECOND),
    ):
        figures = player.play()
    practice.keep()
    bar(None)
    return Evening(practice, figures, outcomes, modes, wire)


# The table


def evenings(student: Student, minutes: int = 20, days: int | None = None) -> list[Evening]:
    """The sessions of a student's six weeks, one each day that it practises, or of so many days."""
    log = Path(tempfile.mkdtemp()) / "log.sqlite"
    learner, played = Learner(student), []
    drill = midiforge.check_drill(dict(student.keys))
    for day in [*student.days][:days]:
        learner.come(day)
        began = datetime(FIRST.year, FIRST.month, FIRST.day, 18, tzinfo=UTC) + timedelta(day)
        wishes = {200.0: Command.HURTS} if day in student.notes else {}
        evening = play(Session(drill, log), Robot(learner, KIT, day), minutes, began, wishes)
        learner.told += sum(not outcome.is_good for _, outcome in evening.outcomes) // 5
        played.append(evening)
    return played


def row(student: Student, played: Sequence[Evening]) -> list[str]:
    """A student's line of the table."""
    outcomes = [outcome for evening in played for _, outcome in evening.outcomes]
    settings = played[-1].practice.session.drill.practice

    def safe(weeks: int) -> str:
        last = FIRST + timedelta(7 * weeks)
        good: dict[str, list[float]] = {}
        for entry in played[-1].practice.brain.teacher.entries:
            if entry.day < last and is_good(entry, settings):
                good.setdefault(entry.placement_name, []).append(entry.asked or 0.0)
        twice = [sorted(tempos)[-2] for tempos in good.values() if len(tempos) > 1]
        return f"{len(twice)} at {min(twice):.0f}-{max(twice):.0f}" if twice else "0"

    good = sum(outcome.is_good for outcome in outcomes)
    lacking = Counter(
        f"{lack.limb.title} {lack.what}" if lack.limb else lack.what
        for outcome in outcomes
        for lack in lacks(outcome.entry, settings)
    )
    helped = {outcome.task.said for outcome in outcomes if not outcome.task.counts}
    return [
        student.name,
        str(len(played)),
        str(len(outcomes)),
        f"{good / max(1, len(outcomes)):.0%}",
        *(safe(weeks) for weeks in (1, 2, 6)),
        str(len(helped)),
        ", ".join(word for word, _ in lacking.most_common(2)) or "nothing",
    ]


HEADS = ["student", "sessions", "takes", "good", "safe: week 1", "week 2", "week 6", "changes"]
HEADS += ["told to lack, most"]


def main(names: Sequence[str]) -> None:
    rows = [HEADS]
    for name in names or STUDENTS:
        rows.append(row(STUDENTS[name], evenings(STUDENTS[name])))
        print("  ".join(rows[-1]), flush=True)
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for cells in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)))


if __name__ == "__main__":
    main(sys.argv[1:])
