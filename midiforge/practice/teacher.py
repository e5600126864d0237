"""What a teacher would say beside the drums: what comes first, and after each stretch of playing
what comes then.

    what was heard of a stretch            what comes then
    it hurts                               the exercise is left, and nothing gets faster
    warm-up                                the same until its time is over; slower if it is far off
    review: good                           on to the next; not good: it is worked on from there
    work, as `advice` says after it:
      up, down, another tempo              at that tempo, after a bar that is counted in
      a change (two limbs, gaps ...)       that, until it was good twice or three times played;
                                           then all of it again
      safe, done, or held for others       on to the next
      anything else                        on as it is
    its turn is over                       on to the next, behind a rest where the plan has one

The rules are those of `advice` and `plan`, which `next` and `plan` print, asked anew with every
stretch in the log: a stretch is a take, however short the break before it. So nothing gets faster
that falls apart, or on a day with pain, and whoever wants it otherwise says so in [practice].
"""

from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from enum import StrEnum
from fractions import Fraction
from math import ceil
from typing import Any

from midiforge.drill.drill import Drill, Practice
from midiforge.drill.read import changed_drill
from midiforge.drill.values import FASTEST
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.lesson.lesson import Lesson
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS, Hit, Strength
from midiforge.model.tempo import TempoMap, plain
from midiforge.practice.advice import advise, changed, of_exercise
from midiforge.practice.changes import Change
from midiforge.practice.climb import CHANGED_FOR, is_far_off, lower
from midiforge.practice.entry import Entry
from midiforge.practice.good import bars_wanted, is_good
from midiforge.practice.log import with_take
from midiforge.practice.plan import LEAST, MOST, Turn, make_turns, practised
from midiforge.practice.standing import Action, Advice
from midiforge.practice.words import why_words

LEAST_STRETCH = 20.0  # seconds of a stretch of playing that is judged; common practice
HELPED_AT_MOST = 3  # stretches that a change is played at a time; ours
_SHORTEST = 30.0  # seconds; less is no turn
_LEAST_LEFT = 60.0  # seconds; less behind the last turn goes to it


class Coming(StrEnum):
    """What comes, as against what was played before."""

    NEXT = "next"
    AGAIN = "again"
    SLOWER = "slower"
    FASTER = "faster"
    CHANGED = "changed"
    WHOLE = "all of it"


@frozen
class Task:
    """One thing to play.

    exercise: at its tempo. advice: what it is played for. phase: as in a plan's `Turn`.
    coming: what it is beside what was played before. said: what to do, in a few words; why: what
        the log has to say for it; "" for nothing.
    counts: whether it is the exercise itself, so that the log has it; not a part or a change of it.
    ends: when its turn is over, in seconds of the session.
    drill: the title of its drill where a session has several; "" where it has one.
    id: a number of its own, from 1, where somebody asks for it by that; 0 for none.
    """

    exercise: Exercise
    advice: Advice | None
    phase: str
    coming: Coming
    said: str
    why: str
    counts: bool
    ends: float
    drill: str = ""
    id: int = 0

    @property
    def rounds(self) -> int:
        """How many times round make a stretch that can be judged."""
        exercise = self.exercise
        if not exercise.tempo.is_steady:
            return 1
        bars = bars_wanted(exercise.returns_after_bars)
        seconds = float(exercise.loop_seconds)
        return max(ceil(bars / exercise.loop_bars), ceil(LEAST_STRETCH / seconds), 1)


@frozen
class Rest:
    """A rest of the plan. seconds: how long."""

    seconds: float


def to_a_click(drill: Drill) -> Drill:
    """The drill as it is practised: with a click, and a bar at least counted in."""
    changes: dict[str, Any] = {} if drill.count_in else {"count_in": 1}
    if drill.click == "off":
        changes["click"] = "throughout"
    return replace(changed_drill(drill, changes), source=drill.source) if changes else drill


class Teacher:
    """Says what to play in a session of so many minutes, as time goes by.

    lessons: of one drill or several. entries: of the player's log. day: of the session.
    minutes: 5 to 180. hears: whether takes are heard; if not, the plan is played as it was made.
    Raises MidiforgeError where there is nothing to play, or the minutes are none.
    """

    def __init__(
        self,
        lessons: Sequence[Lesson],
        entries: list[Entry],
        day: date,
        minutes: int,
        hears: bool = True,
    ) -> None:
        self.lessons, self.entries, self.day = lessons, entries, day
        self.seconds = 60.0 * minutes
        self._helped = 0
        self._was_good = 0
        first, _ = make_turns(lessons, entries, day, minutes, left=self.seconds)
        self._rests = deque(turn for turn in first if turn.advice is None)
        turns = [turn for turn in first if turn.advice]
        self._planned = deque(turns[:1] if hears else turns)
        self._hears, self._began = hears, False
        self._hurt: set[tuple[int, int]] = set()

    def hurts(self, task: Task) -> None:
        """It hurts: the exercise is left for this session, and nothing gets faster."""
        self._hurt |= _pieces(task.advice)

    def next_turn(self, now: float, left: Task | None = None) -> Task | Rest | None:
        """What comes at a time of the session, in seconds: a rest that is due, or another exercise;
        None at the end. left: that the player went on from, and does not want again at once."""
        if self._began and self._rests and now >= float(self._rests[0].start) - _SHORTEST:
            return Rest(float(self._rests.popleft().seconds))
        self._began = True
        while self._planned and self._hurt & _pieces(self._planned[0].advice):
            self._planned.popleft()
        turn = self._planned.popleft() if self._planned else self._plan(now, left)
        if turn is None or turn.advice is None:
            return None
        advice, group = turn.advice, turn.advice.group
        exercise = group.exercise if turn.tempo is None else _at(group.exercises, turn.tempo)
        self._helped = 0
        ends = now + float(turn.seconds)
        if self.seconds - ends < _LEAST_LEFT:
            ends = self.seconds
        why = (
            "" if turn.phase == "warm-up" else "; ".join(filter(None, (advice.why, advice.lacking)))
        )
        drill = group.lesson.drill.title if len(self.lessons) > 1 else ""
        said = _played(exercise, advice)
        return Task(exercise, advice, turn.phase, Coming.NEXT, said, why, True, ends, drill)

    def _plan(self, now: float, skipped: Task | None) -> Turn | None:
        left = self.seconds - now
        if left < _SHORTEST or not self._hears:
            return None
        today = [entry for entry in self.entries if entry.day == self.day]
        minutes = min(max(ceil((float(practised(today)) + left) / 60), LEAST), MOST)
        pieces = _pieces(skipped.advice if skipped else None)
        for others in (pieces, set[tuple[int, int]]()):  # of one exercise there is no other
            with suppress(MidiforgeError):
                without = self._hurt | others
                turns, _ = make_turns(
                    self.lessons, self.entries, self.day, minutes, left=left, without=without
                )
                return next((turn for turn in turns if turn.advice), None)
        return None

    def heard(self, task: Task, entry: Entry) -> None:
        """A stretch was played: the log has it, or it was one of a change."""
        if task.counts:
            self.entries = with_take(self.entries, entry)
        else:
            self._helped += 1
            self._was_good += is_good(entry, settings_of(task))

    def after(self, task: Task, entry: Entry) -> Task | None:
        """What comes after a stretch that was `heard`; the same task to go on as it is, and None
        for another turn."""
        if not task.counts:
            return self._after_change(task)
        advice = self._advice(task, task.exercise)
        if advice.action is Action.LEAVE:
            return None
        if task.phase == "warm-up":
            if is_far_off(entry, settings_of(task)) and task.advice is not None:
                tempo, steps = task.exercise.tempo.first, task.advice.group.steps
                slower = lower(tempo, entry, steps, settings_of(task))
                return self._at_tempo(task, task.advice, slower)
            return task
        if task.phase == "review" and is_good(entry, settings_of(task)):
            return None
        if advice.action in (Action.HOLD, Action.DONE, Action.GO_ON, Action.LATER):
            # Where that was known before, it is played all the same, for its time.
            known = task.advice is not None and task.advice.action is advice.action
            return task if known else None
        if advice.action is Action.CHANGE:
            return self._change(task, advice)
        return self._at_tempo(task, advice, advice.tempo)

    def at_wish(self, task: Task, coming: Coming) -> Task:
        """What the player wants instead: slower or faster by a step, or the same again."""
        tempo = task.exercise.tempo.first
        assert task.advice is not None
        steps = task.advice.group.steps
        if coming is Coming.SLOWER:
            return self._at_tempo(task, task.advice, steps.slower(tempo))
        if coming is Coming.FASTER:
            share = steps.share or Fraction(1, 20)
            raised = max(steps.faster(tempo), tempo + max(round(tempo * share), 1))
            return self._at_tempo(task, task.advice, min(raised, Fraction(FASTEST)))
        return replace(task, coming=Coming.AGAIN, said=_played(task.exercise, task.advice), why="")

    def _at_tempo(self, task: Task, advice: Advice, tempo: Fraction | None) -> Task:
        now = task.exercise.tempo.first
        if tempo is None or tempo == now or not task.exercise.tempo.is_steady:
            return task
        if tempo > now and self._hurt:
            return task
        exercise = _at((task.exercise, *advice.group.exercises), tempo)
        coming = Coming.FASTER if tempo > now else Coming.SLOWER
        said = f"{coming.value}: {plain(tempo)}"
        why = "" if advice is task.advice else why_words(advice)
        return replace(
            task, exercise=exercise, advice=advice, coming=coming, said=said, why=why, counts=True
        )

    # Changes at a plateau

    def _change(self, task: Task, advice: Advice) -> Task:
        """The change that is advised, made of the drill or of the exercise; where only the player
        can make it, it is said once."""
        change = advice.change
        before = task.advice.change if task.advice else None
        if change is None or (before == change and task.coming is Coming.CHANGED):
            return task
        self._helped = self._was_good = 0
        exercise = self._made(task.exercise, advice, change)
        return replace(
            task,
            exercise=exercise or task.exercise,
            advice=advice,
            coming=Coming.CHANGED,
            said=change.said,
            why=advice.why,
            counts=exercise is None,
        )

    def _made(self, exercise: Exercise, advice: Advice, change: Change) -> Exercise | None:
        if change.accents_alone:
            own = (hit for hit in exercise.hits if hit.limb not in HANDS or _is_accent(hit))
            return exercise.changed(hits=tuple(own))
        if not change.keys:
            return None
        outline = changed(advice.group, change.keys, advice.group.lesson.drill)
        if outline is None:
            return None
        first = next(iter(outline.exercises()))
        tempo = first.tempo.first if "tempos" in change.keys else exercise.tempo.first
        return _at((first,), tempo)

    def _after_change(self, task: Task) -> Task:
        if self._helped < HELPED_AT_MOST and self._was_good < CHANGED_FOR:
            return task
        advice = self._advice(task, _whole(task))
        tempo = advice.tempo or advice.group.exercise.tempo.first
        exercise = _at(advice.group.exercises, tempo)
        said = f"all of it, at {plain(tempo)}"
        return replace(
            task,
            exercise=exercise,
            advice=advice,
            coming=Coming.WHOLE,
            said=said,
            why="",
            counts=True,
        )

    def _advice(self, task: Task, exercise: Exercise) -> Advice:
        """What is advised now of an exercise, of the task's own lesson."""
        assert task.advice is not None
        lesson = task.advice.group.lesson
        return of_exercise(advise(lesson, self.entries, self.day), exercise)


def settings_of(task: Task) -> Practice:
    """[practice] of the drill that a task is of."""
    assert task.advice is not None
    return task.advice.group.lesson.drill.practice


def _pieces(advice: Advice | None) -> set[tuple[int, int]]:
    return advice.group.pieces if advice else set()


def _is_accent(hit: Hit) -> bool:
    return hit.strength is Strength.ACCENT


def _whole(task: Task) -> Exercise:
    assert task.advice is not None
    return task.advice.group.exercise


def _played(exercise: Exercise, advice: Advice) -> str:
    """ "RLRR LRLL from 1e, at 63"."""
    tempo = f", at {plain(exercise.tempo.first)}" if exercise.tempo.is_steady else ""
    return f"{advice.group.title}{tempo}"


def _at(exercises: tuple[Exercise, ...], tempo: Fraction) -> Exercise:
    """One of the exercises of a piece at a tempo, made if there is none."""
    there = next((each for each in exercises if each.tempo.first == tempo), None)
    first = exercises[0]
    if there is not None or not first.tempo.is_steady:
        return there or first
    steady = TempoMap(first.tempo.pulse, ((Fraction(0), tempo),))
    return first.changed(number=first.number.whole, tempo=steady)
