"""The way through a lesson, bar by bar: what is played next, and what a wish changes."""

import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future
from fractions import Fraction
from queue import SimpleQueue
from typing import Any, ParamSpec, Protocol, TypeVar

from midiforge.frozen import frozen
from midiforge.live.playing.bars import FASTEST, SLOWEST, Bar, PlayableExercise, at_tempo
from midiforge.live.playing.controls import Chosen, Command, Wish
from midiforge.model.exercise import Exercise

LEAST_BARS = 4  # that an exercise lasts where nobody says how often: one bar is over too soon

# How often an exercise goes round; 0 for ever.
Times = Callable[[Exercise], int]


def always(times: int) -> Times:
    """Each exercise so often."""
    return lambda _: times


def four_bars(exercise: Exercise) -> int:
    """As often as makes four bars at least."""
    return max(1, -(-(LEAST_BARS - exercise.loop_bar) // exercise.loop_bars))


TEMPO_STEP = Fraction(2)  # pulses a minute that slower and faster change the tempo by
_AS_WRITTEN = Fraction(0)
_WAIT = 0.01  # seconds

MOVES = {Command.NEXT: 1, Command.PREVIOUS: -1, Command.AGAIN: 0}
TEMPOS = {Command.FASTER: TEMPO_STEP, Command.SLOWER: -TEMPO_STEP}

Make = Callable[[Exercise, Fraction], PlayableExercise]


def leads_away(wishes: Iterable[Wish]) -> bool:
    """Whether wishes lead to an exercise and its beginning."""
    return any(
        wish.index is not None if isinstance(wish, Chosen) else wish in MOVES for wish in wishes
    )


@frozen
class Place:
    """A bar of the lesson.

    index: of the exercise in the list that is played, from 0.
    time: which time round, from 1; times: of how many, 0 for ever.
    begins: whether its exercise begins with it; ends: whether it ends with it.
    faster: pulses a minute that its tempo is above what is written.
    """

    index: int
    playable: PlayableExercise
    bar: Bar
    time: int
    times: int
    begins: bool
    ends: bool
    faster: Fraction = _AS_WRITTEN


class Way(Protocol):
    """What a player follows, bar by bar; see `Route`."""

    waiting: Callable[[], None]

    def next_bar(self, *wishes: Wish) -> Place | None: ...

    def same_bar(self, *wishes: Wish) -> Place | None: ...

    def from_the_top(self) -> Place | None: ...

    def upcoming(self) -> Exercise | None: ...

    def ready(self, *wishes: Wish) -> bool: ...


class Route:
    """Goes through exercises; wishes are taken at bar lines.

    A change of tempo is its exercise's own: it stays while that goes round, when it is begun again
    and when somebody comes back to it. Others are at the tempo that is written.

    make: turns an exercise into its bars, at tempos raised by so many pulses a minute. What will
        be needed is made ahead, by `executor` if there is one.
    times: how often each goes round. forever: whether the lesson begins again.
    waiting: called again and again while what is needed now is still being made.
    """

    def __init__(
        self,
        exercises: Sequence[Exercise],
        make: Make,
        times: Times = four_bars,
        forever: bool = False,
        executor: Executor | None = None,
    ) -> None:
        self.exercises = exercises
        self.forever = forever
        self._make = make
        self._times = times
        self._changes: dict[int, Fraction] = {}
        self._executor = executor
        self.waiting: Callable[[], None] = lambda: None
        self._made: dict[tuple[int, Fraction], PlayableExercise | Future[PlayableExercise]] = {}
        self._index = 0
        self._time = 1
        self._number: int | None = None

    def begin_with(self, chosen: Chosen) -> None:
        """Begins with that instead of the first exercise; asked before anything is played."""
        index, self._changes, _ = self._wished((chosen,))
        self._index = min(max(index, 0), len(self.exercises) - 1)

    def next_bar(self, *wishes: Wish) -> Place | None:
        """The bar to play now, or None at the end.

        wishes: of next, previous, again, slower, faster and `Chosen`, met one after the other.
        """
        index, self._changes, moves = self._wished(wishes)
        if moves:
            return self._place() if self._go_to(index) else None
        playable = self._playable()
        if self._number is None:
            self._number = playable.first
        elif self._number < playable.last:
            self._number += 1
        elif not self._is_last_time():
            self._time += 1
            self._number = playable.exercise.loop_bar
        elif not self._go_to(self._index + 1):
            return None
        return self._place()

    def same_bar(self, *wishes: Wish) -> Place:
        """The bar that was played last, once more; wishes: that change the tempo."""
        _, self._changes, _ = self._wished(wishes)
        return self._place()

    def from_the_top(self) -> Place:
        """The first bar of the exercise that is played now."""
        self._go_to(self._index)
        return self._place()

    @property
    def index(self) -> int:
        """Of the exercise that is played, or that it begins with."""
        return self._index

    def loop_bar(self) -> Place:
        """The first bar of the loop of this exercise, without what comes before it."""
        self._number = self._playable().exercise.loop_bar
        return self._place()

    def upcoming(self) -> Exercise | None:
        """The exercise after this one, at the tempo that it will have."""
        index = self._after(self._index + 1)
        return None if index is None else at_tempo(self.exercises[index], self._faster(index))

    def ready(self, *wishes: Wish) -> bool:
        """Whether what wishes need is made; if not, it is being made from now on."""
        index, changes, _ = self._wished(wishes)
        wanted = self._after(index)
        if wanted is None:
            return True
        made = self._prepare(wanted, changes.get(wanted, _AS_WRITTEN))
        return not isinstance(made, Future) or made.done()

    def _wished(self, wishes: Sequence[Wish]) -> tuple[int, dict[int, Fraction], bool]:
        """The exercise and the changes of tempo that wishes lead to, and whether any moves."""
        index, changes = self._index, dict(self._changes)
        for wish in wishes:
            if isinstance(wish, Chosen):
                index = index if wish.index is None else wish.index
                if wish.tempo is not None and (meant := self._after(index)) is not None:
                    faster = wish.tempo - self.exercises[meant].tempo.first
                    self._change(changes, meant, faster)
            elif wish in MOVES:
                index = max(index + MOVES[wish], 0)
            elif wish in TEMPOS and (meant := self._after(index)) is not None:
                self._change(changes, meant, changes.get(meant, _AS_WRITTEN) + TEMPOS[wish])
        return index, changes, leads_away(wishes)

    def _change(self, changes: dict[int, Fraction], index: int, faster: Fraction) -> None:
        """Changes the tempo of an exercise, if it can be played at that."""
        tempos = self.exercises[index].tempo.changes
        if all(SLOWEST <= tempo + faster <= FASTEST for _, tempo in tempos):
            changes[index] = faster

    def _faster(self, index: int) -> Fraction:
        return self._changes.get(index, _AS_WRITTEN)

    def _is_last_time(self) -> bool:
        return 0 < self._times(self.exercises[self._index]) <= self._time

    def _after(self, index: int) -> int | None:
        """The index, held to the list; None past the end of a lesson that has one."""
        if index >= len(self.exercises):
            return 0 if self.forever else None
        return max(index, 0)

    def _go_to(self, index: int) -> bool:
        wanted = self._after(index)
        if wanted is None:
            return False
        self._index, self._time = wanted, 1
        self._number = self._playable().first
        return True

    def _playable(self) -> PlayableExercise:
        faster = self._faster(self._index)
        made = self._prepare(self._index, faster)
        if isinstance(made, Future):
            made = self._made[self._index, faster] = self._awaited(made)
        return made

    def _awaited(self, made: Future[PlayableExercise]) -> PlayableExercise:
        while True:
            try:
                return made.result(_WAIT)
            except TimeoutError:
                self.waiting()

    def _prepare(self, index: int, faster: Fraction) -> PlayableExercise | Future[PlayableExercise]:
        key = (index, faster)
        if key not in self._made:
            self._made = {
                (i, raised): made
                for (i, raised), made in self._made.items()
                if abs(i - self._index) <= 1 and raised == self._faster(i)
            }
            exercise = self.exercises[index]
            if self._executor is None:
                self._made[key] = self._make(exercise, faster)
            else:
                self._made[key] = self._executor.submit(self._make, exercise, faster)
        return self._made[key]

    def _place(self) -> Place:
        playable = self._playable()
        number = self._number = playable.first if self._number is None else self._number
        following = self._after(self._index + 1)
        if following is not None:
            self._prepare(following, self._faster(following))
        return Place(
            index=self._index,
            playable=playable,
            bar=playable.bar(number),
            time=self._time,
            times=self._times(self.exercises[self._index]),
            faster=self._faster(self._index),
            begins=number == playable.first and self._time == 1,
            ends=number == playable.last and self._is_last_time(),
        )


_P = ParamSpec("_P")
_T = TypeVar("_T")


class Worker(Executor):
    """A thread that makes ahead what is played next, one after the other, in the order asked;
    nobody who quits waits for it.

    Its thread ends with the program, whatever it is at; those of Python's own are waited for.
    """

    def __init__(self) -> None:
        self._asked: SimpleQueue[Callable[[], None] | None] = SimpleQueue()
        self._waiting: set[Future[Any]] = set()
        threading.Thread(target=self._work, daemon=True).start()

    def submit(self, fn: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> Future[_T]:
        future: Future[_T] = Future()

        def make() -> None:
            if future.set_running_or_notify_cancel():
                try:
                    future.set_result(fn(*args, **kwargs))
                except BaseException as error:
                    future.set_exception(error)

        self._waiting = {it for it in self._waiting if not it.done()} | {future}
        self._asked.put(make)
        return future

    def shutdown(self, wait: bool = False, *, cancel_futures: bool = True) -> None:
        """What is not begun is left, if `cancel_futures`; what is being made is not waited for,
        unless `wait`."""
        self._asked.put(None)
        for future in self._waiting:
            if cancel_futures:
                future.cancel()
            if wait and not future.cancelled():
                future.exception()

    def _work(self) -> None:
        while make := self._asked.get():
            make()
