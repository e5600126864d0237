"""A session at the kit, put together: who teaches, who listens, what is played, and what is left of
it in the end."""

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, contextmanager
from datetime import date, datetime
from pathlib import Path

from midiforge.at_the_kit.brain import Brain, BrainApart, Ended, Thinks, Wanted
from midiforge.at_the_kit.listening import Listening
from midiforge.at_the_kit.scene import Mode, Outcome, Scene
from midiforge.at_the_kit.way import SessionWay
from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.lesson.lesson import Lesson
from midiforge.live.clock.timing import Clock, LatenessFigures, SystemClock
from midiforge.live.playing.layers import FEET, HANDS
from midiforge.live.playing.play import PlayOptions, play
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Make, Place
from midiforge.live.ports.watched_input import WatchedInput
from midiforge.live.recording.recorder import Recorded
from midiforge.live.recording.take_file import take_bytes
from midiforge.live.screen.watcher import Watcher
from midiforge.practice.teacher import Task, to_a_click
from midiforge.session import Session

# Begins to show a session; what it gives lasts as long as that.
Shows = Callable[[Scene, Player], AbstractContextManager[Watcher]]
OWN = (HANDS, FEET)  # what the player plays, and so is silent but where it is shown


class Practice:
    """A session at the kit: everything but ports, a clock and a screen.

    session: of the drill, with its log. others: further drills, of the same kit.
    minutes: 5 to 180. hears: whether there is a kit's input.
    folder: where takes go; None for nowhere. delay_ms: from a stroke to its arrival; None to have
    it measured with the first clicks, if `measures`. shows: whether what is new is sounded first.
    speak: says a sentence aloud and does not wait. apart: whether what takes long is done by
    another process. day, clock, started: when it is, if not now. later_ms: how long after it is
    sent what is played along to is heard; `delay_ms` has nothing of it.
    Raises MidiforgeError where nothing can be played.
    """

    def __init__(
        self,
        session: Session,
        minutes: int,
        hears: bool = True,
        folder: Path | None = None,
        delay_ms: float | None = None,
        measures: bool = False,
        shows: bool = True,
        day: date | None = None,
        clock: Clock | None = None,
        started: float | None = None,
        speak: Callable[[str], None] | None = None,
        apart: bool = False,
        others: Sequence[Drill] = (),
        later_ms: float = 0.0,
    ) -> None:
        drills = [to_a_click(drill) for drill in (session.drill, *others)]
        drill, log = drills[0], session.log
        for other in drills:
            if other.kit != drill.kit:
                what = f"{drill.title} is for {drill.kit.name}, {other.title} for {other.kit.name}"
                raise MidiforgeError(what, hint="a session is at one kit; --kit says which")
        self.session = Session(drill, log, session.player, session.flags)
        self._others = drills[1:]
        self.clock = clock or SystemClock()
        self.scene = Scene(60.0 * minutes, hears=hears, delay_ms=delay_ms)
        self.folder, self.known_delay = folder, delay_ms
        self._shows, self._measures = shows, measures and hears and delay_ms is None
        started = time.time() if started is None else started
        day = day or datetime.fromtimestamp(started).date()
        log_file = None if log is None else str(log)
        wanted = Wanted(
            drills, log_file, session.player, minutes, day, hears, folder, session.flags
        )
        self.brain: Thinks = BrainApart(wanted) if apart else Brain(wanted)
        later = round(later_ms * 1e6)
        self.listening = Listening(
            self.scene, drill.kit, self._judged, self.clock.now, started, later
        )
        self._begun: int | None = None  # nanoseconds of the clock
        self._silenced: set[str] = set()
        self._speak, self._spoken = speak, ""
        self._worker: Executor | None = None
        self._way: SessionWay | None = None

    def _judged(self, recorded: Recorded, task: Task) -> Outcome | None:
        """What came of a stretch, and what follows made ready; by the worker."""
        outcome = self.brain.judged(task.id, take_bytes(recorded), self.scene.delay_ms)
        after = outcome.after if outcome else None
        if self._way and after is not None and after.id != task.id:
            self._way.prepare(after)
        return outcome

    def way(self, make: Make, worker: Executor) -> SessionWay:
        """What a player follows."""
        self.listening.worker = self._worker = worker
        self._way = SessionWay(
            self.brain,
            self.listening,
            self.scene,
            self.session.drill.kit,
            make,
            worker,
            self.elapsed,
            self._shows,
            self._measures,
        )
        return self._way

    @property
    def has_begun(self) -> bool:
        """Whether anything was played."""
        return self._begun is not None

    def elapsed(self) -> float:
        """Seconds since the session began: with its first bar."""
        now = self.clock.now()
        self._begun = now if self._begun is None else self._begun
        return (now - self._begun) / 1e9

    # As a recording, which the player's rooms know

    def begin(self, source: WatchedInput | None = None) -> None:
        if source is not None:
            self.listening.begin_with(source)
        if self.folder is not None:
            self.listening.begin_journal(self.folder)

    def heard(self, message: bytes, when: int) -> None:
        self.listening.heard(message, when)

    def began(self, place: Place, at: int, joined: bool) -> None:
        self.listening.began(place, at, joined)

    def keep(self) -> None:
        self.listening.keep()

    # As a watcher

    def watched(self, watcher: Watcher, muted: set[str]) -> Watcher:
        """The watcher, which looks after the session as well. muted: the player's silent layers."""
        show_bar, show_idle, began = watcher.bar, watcher.idle, watcher.began
        self.listening.say = watcher.say

        def bar(place: Place) -> None:
            self._mute(muted)
            self._say()
            show_bar(place)

        def idle(spare: int) -> None:
            self.listening.look()
            show_idle(spare)

        def bar_began(place: Place, at: int, joined: bool) -> None:
            self.listening.began(place, at, joined)
            began(place, at, joined)

        watcher.bar, watcher.idle, watcher.began = bar, idle, bar_began
        return watcher

    def _mute(self, muted: set[str]) -> None:
        """What the player plays sounds while it is shown, and not after."""
        if self.scene.mode is Mode.LISTEN:
            self._silenced |= muted & {*OWN}
            muted.difference_update(OWN)
        elif self._silenced:
            muted |= self._silenced
            self._silenced = set()

    def _say(self) -> None:
        """Says aloud what comes, once; a program is started by the worker, it takes long."""
        scene = self.scene
        said = scene.task.said if scene.task else "rest" if scene.mode is Mode.REST else ""
        if said == self._spoken:
            return
        self._spoken = said
        if said and self._speak and self._worker:
            self._worker.submit(self._speak, said)

    def ended(self) -> Ended:
        """What there is to say when it is over; the page of the day is written."""
        return self.brain.ended(self.scene.elapsed)

    def close(self) -> None:
        """Lets go of what it has."""
        self.brain.close()

    def play(self, options: PlayOptions, shows: Shows) -> LatenessFigures:
        """Plays the session through real ports, to its end or until somebody quits."""

        @contextmanager
        def watch(player: Player) -> Iterator[Watcher]:
            with shows(self.scene, player) as watcher:
                yield self.watched(watcher, player.sender.muted)

        lessons = [self.session.lesson, *map(Lesson, self._others)]
        of_each = [next(iter(next(lesson.outlines()).exercises())) for lesson in lessons]
        recording = self if self.scene.hears else None
        return play(of_each, self.session.drill.kit, options, watch, recording, self.way)
