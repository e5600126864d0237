"""What the kit sends in a session: told as it comes, kept on disk, and judged stretch by stretch.

Messages come from the driver's thread, bars from the player's; what takes long is done by the
worker. Nothing that came is lost: all of it is in a journal until its take is written.
"""

from bisect import bisect_left
from collections.abc import Callable
from concurrent.futures import Executor
from pathlib import Path
from statistics import median
from typing import Any

from midiforge.at_the_kit.catching_up import CUT_SHORT
from midiforge.at_the_kit.scene import Mode, Outcome, Scene
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.hear.arriving import Arriving
from midiforge.kits.kit import Kit
from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.route import Place
from midiforge.live.ports.watched_input import WatchedInput
from midiforge.live.recording import journal
from midiforge.live.recording.recorder import BarPlayed, Recorded, Recorder
from midiforge.midi.message import CONTROL_CHANGE, PEDAL, is_stroke
from midiforge.practice.good import LEAST_BARS
from midiforge.practice.teacher import Task

# Of the strokes with the click so many must be heard, and lie so near each other, in ms; ours.
FEWEST, MOST_APART = 6, 35.0
_NEAR = 0.3  # seconds; farther from a click is no stroke with it
_PATIENCE = 10.0  # seconds that the end waits for what is being judged
_FIRST = 2  # strokes that are not counted: the hand looks for the click

# Makes a take of a stretch and says what came of it; see `judging.Judge`.
Judges = Callable[[Recorded, Task], Outcome | None]


@frozen
class Stretch:
    """A stretch of playing that is over, or will be."""

    task: Task
    begin: int
    end: int
    bars: tuple[BarPlayed, ...]


class Listening:
    """Hears a session; what the player is told of it stands in the scene.

    judges: makes an `Outcome` of a stretch, in the worker. clock: the player's, in nanoseconds.
    later: how many after it is sent what is played along to is heard: its own time runs so late.
    broken: whether what is played was interrupted, so that it has to begin anew.
    offs: of the strokes with the click, in ms, once the delay was measured.
    trouble: why nothing came of the last stretches, as it was said; "" for nothing.
    """

    def __init__(
        self,
        scene: Scene,
        kit: Kit,
        judges: Judges,
        clock: Callable[[], int],
        started: float | None = None,
        later: int = 0,
    ) -> None:
        self.scene, self.kit = scene, kit
        self.broken = False
        self.offs: list[float] = []
        self.trouble = ""
        self._judges, self._later = judges, later
        self._clock = clock
        self.recorder = Recorder(self._now(), kit.controls, None, started)
        self.worker: Executor | None = None
        self._journal: journal.Journal | None = None
        self._source: WatchedInput | None = None
        self._pedal: int | None = None
        self._controller = kit.hihat.controller if kit.hihat else PEDAL
        self._task: Task | None = None
        self._playable: PlayableExercise | None = None
        self._arriving: Arriving | None = None
        self._ahead: tuple[Task, Arriving] | None = None
        self._begun = 0  # when the first downbeat of what is played was due
        self._bars: list[BarPlayed] = []  # of the stretch
        self._pending: list[Stretch] = []
        self._outcomes: list[Outcome] = []
        self._measuring: list[int] = []
        self._measure: tuple[int, int, float] | None = None
        self._seen = -1
        self._struck = 0  # when the last stroke came
        self._away = False  # whether the input was gone when it was looked for last
        self._lost = False  # whether a take could not be written
        self.say: Callable[[str], None] = lambda _: None

    def _now(self) -> int:
        return self._clock() - self._later

    # From the driver's thread

    def heard(self, message: bytes, when: int) -> None:
        """A message of the kit."""
        when -= self._later
        self.recorder.heard(message, when)
        if len(message) < 3:
            return
        if message[0] & 0xF0 == CONTROL_CHANGE and message[1] == self._controller:
            self._pedal = message[2]
        elif is_stroke(message):
            self._struck = when
            arriving, begun = self._arriving, self._begun
            if self._measuring:
                self._strike(when)
            elif arriving is not None and begun and self.scene.mode in (Mode.COUNT, Mode.PLAY):
                arriving.heard((when - begun) / 1e9, message[1], message[2], self._pedal)
                self.scene.changes += 1

    # From the player's thread

    def begin(self, task: Task, playable: PlayableExercise) -> None:
        """A task begins with its next bar."""
        self.close()
        self._task, self._playable = task, playable
        self.broken, self._begun, self._bars = False, 0, []
        self.scene.marks = self.scene.now = ()
        self._outcomes.clear()
        ahead, self._ahead = self._ahead, None
        self._arriving = ahead[1] if ahead and ahead[0] is task else self._made(task)
        self._arriving.delay = (self.scene.delay_ms or 0.0) / 1000  # it may be measured since

    def prepare(self, task: Task) -> None:
        """Lays out what is due in a task, ahead; from any thread."""
        self._ahead = task, self._made(task)

    def _made(self, task: Task) -> Arriving:
        return Arriving(task.exercise, self.kit, self.scene.delay_ms or 0.0)

    def began(self, place: Place, at: int, joined: bool) -> None:
        """A bar began, as a watcher is told."""
        bar, scene = place.bar, self.scene
        if self._measure is not None and scene.mode is Mode.DELAY:
            before, beats, apart = self._measure
            self._measure = None
            self._measuring = [at + round((before + i) * apart * 1e9) for i in range(beats)]
            return
        if scene.mode not in (Mode.COUNT, Mode.PLAY) or place.playable is not self._playable:
            return
        if scene.mode is Mode.COUNT:
            if bar.number < 0:
                self._begun = at - round(bar.number * bar.length * bar.quarter)
            return
        if self._away:  # what nobody could hear was not missed
            self._away = self._is_gone
            self.broken = not self._away
            return
        if not joined and self._bars:
            self.broken = True
            self._bars = []
            return
        if not self._begun:
            self._begun = at
        task = self._task
        assert task is not None
        played = BarPlayed(task.exercise, bar.number, at, bar.length, bar.quarter, joined)
        straight = bool(self._bars)
        self._bars.append(played)
        if self._journal:
            self._journal.bar(played, straight)
        if bar.number == place.playable.last:
            self._round_ends(task, place, played)

    def _round_ends(self, task: Task, place: Place, bar: BarPlayed) -> None:
        """The last bar of a round began."""
        if self.scene.round % task.rounds == 0 or not task.exercise.tempo.is_steady:
            half = round(task.exercise.step / 2 * bar.quarter)
            begin = self._bars[0].at - half
            end = bar.at + round(bar.length * bar.quarter) + (half if place.ends else -half)
            self._pending.append(Stretch(task, begin, end, tuple(self._bars)))
            self._bars = []

    @property
    def _is_gone(self) -> bool:
        return self._source is not None and self._source.gone

    def look(self) -> None:
        """Looks after what is due; in the time to spare."""
        now = self._now()
        arriving, begun = self._arriving, self._begun
        if arriving is not None and begun:
            at = (now - begun) / 1e9
            if self._is_gone and not self._away:
                self.close()
                self._away = True
            if arriving.missed(at) and not self._away:
                self.scene.changes += 1
            if self._seen != self.scene.changes:
                number = arriving.round_at(at)
                self.scene.now = tuple(arriving.round(number)) if number else ()
                if number > 1:
                    self.scene.marks = tuple(arriving.round(number - 1))
                self._seen = self.scene.changes
        while self._pending and now >= self._pending[0].end + self._step(self._pending[0]):
            stretch = self._pending.pop(0)
            self._submit(self._judge, stretch)

    @staticmethod
    def _step(stretch: Stretch) -> int:
        """A grid step, in nanoseconds; what comes later is of something else."""
        return round(stretch.task.exercise.step * stretch.bars[-1].quarter)

    def outcome(self) -> Outcome | None:
        """What came of the last stretch; told once."""
        return self._outcomes.pop() if self._outcomes else None

    def close(self, least_bars: int = LEAST_BARS) -> None:
        """What was played of a stretch is over; fewer bars than these are let go. A bar in which
        the player stopped, to reach for a key, is no more of it than one that was broken off."""
        begun, task = self._bars, self._task
        bars = [bar for bar in begun if self._struck > bar.at + (bar.length - 1) * bar.quarter]
        bars = bars or (begun[:1] if least_bars == 1 else [])
        self._bars = []
        if len(bars) >= least_bars and task is not None and task.exercise.tempo.is_steady:
            half = round(task.exercise.step / 2 * bars[0].quarter)
            last = bars[-1]
            over = last.at + round(last.length * last.quarter)
            end = min(self._now(), over + half) if last is begun[-1] else over - half
            self._submit(self._judge, Stretch(task, bars[0].at - half, end, tuple(bars)))

    # By the worker

    def _submit(self, judge: Callable[[Stretch], None], stretch: Stretch) -> None:
        if self.worker is not None:
            self.worker.submit(judge, stretch)

    def _judge(self, stretch: Stretch) -> None:
        recorded = Recorded(
            self.recorder, stretch.begin, stretch.end, stretch.task.exercise, stretch.bars
        )
        if not recorded.strokes:
            self.scene.nothing += self.scene.hears and not self._is_gone
            return
        self.scene.nothing = 0
        try:
            outcome = self._judges(recorded, stretch.task)
        except MidiforgeError as error:
            self._lost = True
            if error.what != self.trouble:
                self.say(error.what)
            self.trouble = error.what
            return
        if outcome is not None and outcome.trouble:
            self.say(outcome.trouble)
        if outcome is not None and not outcome.file:
            self._lost = True
        if self._journal and not self._lost:  # what is kept is all that came before
            self._journal.kept(stretch.end)
        if outcome is not None:
            self.scene.outcome = outcome
            self.scene.changes += 1
            if stretch.task is self._task:
                self._outcomes[:] = [outcome]

    # The delay of the set-up

    def measures(self, before: int, beats: int, apart: float) -> None:
        """With the next bar come clicks, `apart` seconds from each other; `before` of them are
        listened to, with the others one stroke each is due."""
        self.offs = []
        self._measure = before, beats, apart

    def _strike(self, when: int) -> None:
        clicks = self._measuring
        i = bisect_left(clicks, when)
        near = min(clicks[max(i - 1, 0) : i + 1], key=lambda click: abs(click - when))
        if abs(when - near) <= _NEAR * 1e9 and clicks.index(near) >= _FIRST:
            self.offs.append((when - near) / 1e6)

    def measured(self) -> None:
        """The clicks are over: the delay is the middle of what came."""
        self._measuring = []
        offs = sorted(self.offs)
        if len(offs) >= FEWEST - _FIRST + 1:
            middle = median(offs)
            if median(abs(off - middle) for off in offs) <= MOST_APART:
                self.scene.delay_ms = middle
        self.scene.changes += 1

    # As a recording

    def begin_journal(self, folder: Path) -> None:
        """From now on all that comes is on disk, too; what is left of it goes into the folder."""
        head: dict[str, Any] = {
            "path": str(folder.absolute() / f"{CUT_SHORT}.mid"),
            "several": True,
            "digits": 2,
            "begin": self.recorder.begin,
            "started": self.recorder.started,
            "alone": None,
        }
        self._journal = self.recorder.journal = journal.begin(head)

    def begin_with(self, source: WatchedInput) -> None:
        """The input is open."""
        self._source = source

    def keep(self) -> None:
        """All is over: what was begun is judged, and the journal goes if nothing is left in it."""
        self.close()
        for stretch in self._pending:
            self._submit(self._judge, stretch)
        self._pending = []
        if self.worker is not None:
            try:
                self.worker.submit(int).result(_PATIENCE)
            except TimeoutError:
                self._lost = True
        if self._journal and self._lost:
            self._journal.leave()
        elif self._journal:
            self._journal.remove()
