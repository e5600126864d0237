"""The way through a session, bar by bar: what is played to the end of its turn, or until what was
heard asks for something else."""

from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Executor, Future
from dataclasses import replace
from fractions import Fraction
from functools import partial
from itertools import cycle
from typing import TypeVar

from midiforge.at_the_kit.brain import Thinks
from midiforge.at_the_kit.listening import Listening
from midiforge.at_the_kit.scene import Mode, Scene
from midiforge.at_the_kit.signs import announced, clicked, high_click, last_round, silent
from midiforge.at_the_kit.words import NOT_FASTER
from midiforge.kits.kit import Kit
from midiforge.live.playing.bars import Bar, PlayableExercise
from midiforge.live.playing.controls import Command, Wish
from midiforge.live.playing.route import Make, Place
from midiforge.model.exercise import Exercise
from midiforge.practice.teacher import Coming, Rest, Task

BREATH = 3  # seconds between two exercises, to look and to breathe
DELAY_TEMPO, DELAY_BEATS = 80, 8  # of the click with which the delay is measured
_LEAST_OUT, _MOST_OUT = 2, 4  # bars that are played once it is to go on to the next
PAIN_REST = 60.0  # seconds after the player said that it hurts; ours
_LEAST_SHOWN, _MOST_SHOWN = 4.0, 10.0  # seconds that something new is sounded before it is played
_AS_WRITTEN = Fraction(0)
# What the player wants instead of what was decided.
_WISHES = {
    Command.SLOWER: Coming.SLOWER,
    Command.FASTER: Coming.FASTER,
    Command.AGAIN: Coming.AGAIN,
}

T = TypeVar("T")
_Bars = Iterator[Place]
_Gives = Generator[Place, None, T]
_MOMENT = Fraction(1, 4)  # seconds


class SessionWay:
    """What the player follows. Each bar is made when the one before has come to its end.

    brain: says what comes. listening: what was heard. make, worker: as for `Route`; the brain is
    asked there, too, so that neither holds up a note.
    elapsed: seconds since the session began. shows: whether what is new is played first.
    """

    def __init__(
        self,
        brain: Thinks,
        listening: Listening,
        scene: Scene,
        kit: Kit,
        make: Make,
        worker: Executor,
        elapsed: Callable[[], float],
        shows: bool = True,
        measures: bool = False,
    ) -> None:
        self.brain, self.listening, self.scene, self.kit = brain, listening, scene, kit
        self.waiting: Callable[[], None] = lambda: None
        self._make, self._worker, self._elapsed = make, worker, elapsed
        self._shows, self._measures = shows, measures
        self._shown: set[tuple[str, int]] = set()
        self._wishes: list[Command] = []
        self._last: PlayableExercise | None = None
        self._played_last, self._left = 0, 0  # numbers of tasks; of the one gone on from
        self._ahead: tuple[Task, PlayableExercise] | None = None
        self._bars = self._session()

    # As a player follows it

    def next_bar(self, *wishes: Wish) -> Place | None:
        """The bar to play now, or None at the end."""
        self._wishes += (wish for wish in wishes if isinstance(wish, Command))
        self.scene.elapsed = self._elapsed()
        self.scene.changes += 1
        return next(self._bars, None)

    def same_bar(self, *wishes: Wish) -> Place | None:
        """What was broken off, from its beginning."""
        if self.scene.mode in (Mode.PLAY, Mode.COUNT, Mode.LISTEN):
            self._wishes.append(Command.AGAIN)
        return self.next_bar(*wishes)

    def from_the_top(self) -> Place | None:
        return self.same_bar()

    def upcoming(self) -> Exercise | None:
        return None

    def ready(self, *_: Wish) -> bool:
        return True

    # The session

    def _session(self) -> _Bars:
        task = yield from self._asked(self._next_turn)
        if isinstance(task, Task):
            yield from self._delay(task)
        while task is not None:
            if isinstance(task, Rest):
                yield from self._rest(task)
            else:
                yield from self._turn(task)
            task = yield from self._asked(self._next_turn)
        self.scene.mode = Mode.END
        yield from self._silence(1)

    def _next_turn(self) -> Task | Rest | None:
        left, self._left = self._left, 0
        return self.brain.next_turn(self._elapsed(), left)

    def _turn(self, task: Task) -> _Bars:
        """A turn: tasks that follow each other without a break."""
        following: Task | Rest | None = task
        while isinstance(following, Task):
            joined, task = following is not task, following
            self.scene.task, self.scene.coming = task, task.coming
            playable = yield from self._made(task)
            yield from self._breath(task, playable, joined)
            following = yield from self._played(task, playable)
        self.scene.mode, self.scene.task = Mode.READY, None
        if isinstance(following, Rest):
            yield from self._rest(following)
        yield from self._silence(1)  # what was played last is being judged

    def _played(self, task: Task, playable: PlayableExercise) -> "_Gives[Task | Rest | None]":
        """A task until something else comes: gives what; None for another turn."""
        scene, listening, exercise = self.scene, self.listening, task.exercise
        listening.begin(task, playable)
        self._played_last, is_over, out = task.id, False, 0
        high = high_click(playable.bars)
        scene.mode, scene.round, scene.last = Mode.COUNT, 1, False
        for bar in playable.bars[: -playable.first]:
            first = bar.number == playable.first
            told = announced(bar, task.coming, self.kit, exercise) if first else bar
            yield self._place(playable, told, begins=first)
            if (wished := (yield from self._wished(task))) is not _NOTHING:
                return wished
        scene.mode = Mode.PLAY
        stretch = task.rounds * float(exercise.loop_seconds)
        number, is_final = 0, False
        while True:
            if number in (0, exercise.loop_bar) and scene.round % task.rounds == 1 % task.rounds:
                is_final = task.ends - self._elapsed() < 1.5 * stretch
            left = -scene.round % task.rounds  # rounds of the stretch, after this one
            scene.last = is_over or (is_final and left * exercise.loop_bars < _LEAST_OUT)
            ends = is_final and not left
            bar, closes = playable.bar(number), number == playable.last
            bar = last_round(bar, high) if scene.last else bar
            yield self._place(playable, bar, ends=ends and closes)
            if (wished := (yield from self._wished(task))) is not _NOTHING:
                return wished
            out += is_over
            if out == _MOST_OUT or (closes and (ends or out >= _LEAST_OUT)):
                return None
            if closes and not exercise.tempo.is_steady:
                return None
            outcome = listening.outcome()
            if outcome is not None and outcome.after is None:
                is_over = True
            elif outcome is not None and outcome.after and outcome.after.id != task.id:
                return outcome.after
            # Who was interrupted begins anew; and what has a late entry has it in every stretch.
            enters = closes and exercise.loop_bar and scene.round % task.rounds == 0
            if listening.broken or enters:
                return replace(task, coming=Coming.AGAIN)
            number = exercise.loop_bar if closes else number + 1
            scene.round += closes

    def _breath(self, task: Task, playable: PlayableExercise, joined: bool) -> _Bars:
        """The player looks at what comes, or hears it where it is new, and looks meanwhile; what
        follows without a break is only heard where other strokes are left of it."""
        scene, exercise = self.scene, playable.exercise
        content = exercise.title, len(exercise.hits)
        is_new = self._shows and content not in self._shown
        if joined and not is_new:
            return
        scene.mode = Mode.READY
        yield from self._silence(1 if is_new else BREATH, task.coming, playable)
        if not is_new:
            return
        self._shown.add(content)
        scene.mode, sounded = Mode.LISTEN, 0.0
        bars = [bar for bar in playable.bars if bar.number >= exercise.loop_bar]
        for bar in cycle(bars):
            begins = bar is bars[0]
            if sounded >= (_LEAST_SHOWN if begins else _MOST_SHOWN):
                break
            yield self._place(playable, bar, begins and not sounded)
            sounded += float(bar.length * bar.quarter) / 1e9
            if self._skips():
                break

    def _rest(self, rest: Rest) -> _Bars:
        scene = self.scene
        scene.mode, scene.left = Mode.REST, rest.seconds
        while scene.left > 0:
            yield self._place(self._last, silent())
            scene.left -= 1
            wishes, self._wishes = self._wishes, []
            if Command.HURTS in wishes:
                scene.left = max(scene.left, self._hurts())
            elif Command.NEXT in wishes:
                break

    def _delay(self, task: Task) -> _Bars:
        """Eight strokes with the click, by which the delay of the set-up is told."""
        if not self._measures:
            return
        playable = yield from self._made(task)
        click = high_click(playable.bars)
        if click is None:
            return
        self.scene.mode = Mode.DELAY
        yield from self._silence(BREATH)
        beats = 4 + DELAY_BEATS
        self.listening.measures(4, DELAY_BEATS, 60 / DELAY_TEMPO)
        yield self._place(playable, clicked(beats, DELAY_TEMPO, click), begins=True)
        yield from self._silence(1)
        self.listening.measured()

    # Bars

    def _place(
        self,
        playable: PlayableExercise | None,
        bar: Bar,
        begins: bool = False,
        ends: bool = False,
    ) -> Place:
        assert playable is not None
        return Place(0, playable, bar, max(self.scene.round, 1), 0, begins, ends)

    def _silence(
        self, seconds: int, coming: Coming | None = None, playable: PlayableExercise | None = None
    ) -> _Bars:
        playable = playable or self._last
        for second in range(seconds):
            bar = silent()
            if coming and playable and not second and self.scene.round:
                bar = announced(bar, coming, self.kit, playable.exercise)
            if playable is not None:
                yield self._place(playable, bar, begins=not second)
            if self._skips():
                break

    def _asked(self, work: Callable[[], T]) -> "_Gives[T]":
        """What is asked of the teacher or made, by the worker; it is silent meanwhile."""
        future: Future[T] = self._worker.submit(work)
        while self._last is not None and not future.done():
            yield self._place(self._last, silent(_MOMENT))
        return future.result()

    def _made(self, task: Task) -> "_Gives[PlayableExercise]":
        if self._ahead is None or self._ahead[0] is not task:
            yield from self._asked(lambda: self.prepare(task))
        assert self._ahead is not None
        self._last = self._ahead[1]
        return self._last

    def prepare(self, task: Task) -> None:
        """Makes what will be played, ahead; from any thread."""
        self.listening.prepare(task)
        self._ahead = task, self._make(task.exercise, _AS_WRITTEN)

    # Wishes

    def _skips(self) -> bool:
        """Whether the player wants to go on to what comes."""
        wished = {*self._wishes}
        self._wishes = [wish for wish in self._wishes if wish is not Command.NEXT]
        return not wished.isdisjoint((Command.NEXT, Command.HURTS))

    def _hurts(self) -> float:
        """What was played last hurts; gives for how many seconds there is a rest."""
        self.scene.hurts, task, self._played_last = True, self._played_last, 0
        if task:
            self._worker.submit(self.brain.hurts, task)
        return PAIN_REST

    def _wished(self, task: Task) -> "_Gives[Task | Rest | None]":
        """What the player wants instead of what is played; _NOTHING for nothing else."""
        wishes, self._wishes = self._wishes, []
        following: Task | Rest | None = _NOTHING
        for wish in wishes:
            now = following if isinstance(following, Task) else task
            if wish is Command.HURTS:
                self.listening.close(1)
                return Rest(self._hurts())
            if wish is Command.NEXT:
                following, self._left = None, task.id
            elif wish is Command.FASTER and self.scene.hurts:
                self.listening.say(NOT_FASTER)
            elif wish in _WISHES:
                following = yield from self._asked(
                    partial(self.brain.at_wish, now.id, _WISHES[wish])
                )
        return following


_NOTHING = Rest(0.0)
