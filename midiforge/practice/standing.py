"""Where the player is with an exercise, and what may be said of it."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import chain, takewhile

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.outline import Outline
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number, exercises_said
from midiforge.model.piece import Variant
from midiforge.model.tempo import plain
from midiforge.practice.changes import Change
from midiforge.practice.climb import Climb, climb, is_far_off
from midiforge.practice.entry import Entry, key_of, movement_of
from midiforge.practice.good import Lack, is_long_enough, lacks
from midiforge.practice.steps import Steps

# What can be said of an entry's exercise before any is written out.
Kind = tuple[str, str, str]


def kind_of(stage: str, variant: Variant) -> Kind:
    """The kind of an exercise, as that of its entries: stage, sticking and where it starts."""
    return (stage, variant.sticking, variant.moved("placement").count or "1")


def _letters(sticking: str) -> str:
    return "".join(sticking.split()).casefold()


class Action(StrEnum):
    """What to do with an exercise."""

    BEGIN = "begin"
    UP = "up"
    STAY = "stay"
    DOWN = "down"
    CHANGE = "change"
    HOLD = "hold"
    REVIEW = "review"
    GO_ON = "go on"
    DONE = "done"
    LEAVE = "leave"
    LATER = "later"


WORK = (Action.UP, Action.STAY, Action.DOWN, Action.CHANGE)


class Group:
    """An exercise at all the tempos that the drill has it at, wherever they come in it.

    outlines: of its piece; those of a drill that has it several times, in running order.
    entries: what the log has of it, the oldest first.
    lesson: that it is of; pieces: what tells it from all others, those of other lessons too.
    """

    def __init__(
        self,
        lesson: Lesson,
        outlines: Iterable[Outline],
        known: Mapping[Kind, Sequence[Entry]],
    ) -> None:
        self.lesson, self.outlines = lesson, tuple(outlines)
        outline = self.outlines[0]
        self.title, self.stage, self.variant = outline.title, outline.stage.name, outline.variant
        of_kind = known.get(kind_of(self.stage, self.variant), ())
        # To know its key, the piece must be written out.
        self.entries = tuple(entry for entry in of_kind if entry.key == self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Group) and self._content == other._content

    def __hash__(self) -> int:
        return hash(self._content)

    @property
    def _content(self) -> tuple[tuple[bytes, int], ...]:
        return tuple((outline.content, outline.number) for outline in self.outlines)

    def take_over(self, entries: Iterable[Entry], drill: str) -> list[Entry]:
        """Adds entries of the same movements from when a voice or a spelling was another; gives
        those that were. drill: the title of this one."""
        stage, sticking, placement_name = kind_of(self.stage, self.variant)
        taken = [
            entry
            for entry in entries
            if (entry.stage, entry.placement_name) == (stage, placement_name)
            and (entry.drill == drill or _letters(entry.sticking) == _letters(sticking))
            and entry.movement == self.movement
        ]
        self.entries = tuple(sorted((*self.entries, *taken), key=lambda entry: entry.when))
        return taken

    @property
    def takes(self) -> tuple[Entry, ...]:
        """The entries of which something was heard."""
        return tuple(entry for entry in self.entries if entry.was_heard)

    @property
    def pieces(self) -> set[tuple[int, int]]:
        return {(id(self.lesson), number.piece) for number in self.numbers}

    @cached_property
    def steps(self) -> Steps:
        return Steps.of(self.lesson.drill)

    @cached_property
    def movement(self) -> str:
        return movement_of(self.exercise)

    @cached_property
    def exercises(self) -> tuple[Exercise, ...]:
        return tuple(chain.from_iterable(outline.exercises() for outline in self.outlines))

    @property
    def exercise(self) -> Exercise:
        return self.exercises[0]

    @cached_property
    def key(self) -> str:
        """What the log calls it."""
        return key_of(self.exercise)

    @property
    def numbers(self) -> tuple[Number, ...]:
        return tuple(chain.from_iterable(outline.numbers for outline in self.outlines))

    @property
    def numbered(self) -> str:
        """ "exercise 4", "exercises 4, 7b"."""
        return exercises_said(self.numbers)

    @property
    def ramps(self) -> bool:
        """Whether it has tempos of its own inside."""
        return len(self.outlines[0].tempos[0].changes) > 1


@frozen
class Advice:
    """What to do with an exercise, in one sentence.

    tempo: to play at, in pulses a minute; None for one that gets faster by itself, and where
        there is nothing to play.
    said: such as "up by 4 to 80". why: what the log has to say for it; "" for nothing but
        lacking: what the last take lacks to be good, in words; "" for nothing.
    last: the last take; None if there is none.
    learnt: whether it is done, even if it is time to review it.
    proven: the fastest tempo that was good often enough; None for none yet.
    known: the fastest tempo of a good take, as far as it still goes.
    stuck: whether it is at a plateau. flags: of `play`, that make what is advised of the drill.
    change: what is changed about it, where something is.
    """

    group: Group
    action: Action
    tempo: Fraction | None
    said: str
    why: str
    last: Entry | None = None
    learnt: bool = False
    proven: Fraction | None = None
    known: Fraction | None = None
    stuck: bool = False
    flags: str = ""
    lacking: str = ""
    change: Change | None = None


def is_to_be_played(advice: Advice) -> bool:
    """Whether the exercise is to be played now."""
    return advice.action not in (Action.LEAVE, Action.LATER, Action.DONE, Action.GO_ON)


class Standing:
    """Where the player is with an exercise.

    entries: its takes up to today, the oldest first.
    careful: when pain was last noted with any exercise, if that was in the last days.
    """

    def __init__(
        self,
        group: Group,
        entries: tuple[Entry, ...],
        settings: Practice,
        steps: Steps,
        today: date,
        careful: date | None,
    ) -> None:
        self.group, self.entries = group, entries
        self.settings, self.steps = settings, steps
        self.today, self.careful = today, careful

    @cached_property
    def takes(self) -> tuple[Entry, ...]:
        """The takes that are long enough to count."""
        if not self.entries:
            return ()  # without the piece being written out for it
        comes_round = self.group.exercise.returns_after_bars
        return tuple(entry for entry in self.entries if is_long_enough(entry, comes_round))

    @cached_property
    def climb(self) -> Climb:
        """Where the takes have led; there is at least one."""
        return climb(self.takes, self.lacking, self.steps, self.settings, self.group.ramps)

    @cached_property
    def lacking(self) -> tuple[tuple[Lack, ...], ...]:
        """What each of the takes that count lacks to be good."""
        return tuple(lacks(take, self.settings) for take in self.takes)

    @property
    def days(self) -> int:
        """Since it was last played."""
        return (self.today - self.entries[-1].day).days

    @property
    def tempo(self) -> Fraction:
        """Of the last take that counts."""
        return self.steps.meant(self.takes[-1])

    @property
    def streak(self) -> list[Fraction]:
        """The tempos of the last takes that were good, without one between that was not."""
        last = zip(reversed(self.takes), reversed(self.lacking), strict=True)
        return [self.steps.meant(take) for take, _ in takewhile(lambda pair: not pair[1], last)]

    def row(self, tempo: Fraction) -> int:
        """How many of the last takes were good at a tempo or faster; slower good ones aside."""
        return sum(self.group.ramps or good_at >= tempo for good_at in self.streak)

    @property
    def learnt(self) -> bool:
        """Whether it was good often enough at the goal, and the last time, too."""
        if not self.takes:
            return False
        proven = self.climb.proven
        return proven is not None and proven >= self.steps.goal and not self.climb.missed

    @property
    def change(self) -> int | None:
        """Which change at a plateau is due, from 0; None where there is no plateau."""
        if not self.takes or self.learnt or not self.lacking[-1]:
            return None
        return self.climb.changes

    @property
    def far_off(self) -> bool:
        """Whether the last take was."""
        return is_far_off(self.takes[-1], self.settings)

    def advice(
        self,
        action: Action,
        said: str,
        why: str,
        tempo: Fraction | None = None,
        lacking: str = "",
        change: Change | None = None,
    ) -> Advice:
        """tempo: of an exercise that has not its own."""
        climb = self.climb if self.takes else None
        return Advice(
            self.group,
            action,
            None if self.group.ramps else tempo,
            said,
            why,
            self.entries[-1] if self.entries else None,
            self.learnt,
            proven=climb.proven if climb else None,
            known=climb.known if climb else None,
            stuck=self.change is not None,
            flags=change.flags if change else "",
            lacking=lacking,
            change=change,
        )

    def at(self, tempo: Fraction) -> str:
        """ " at 80"; nothing for an exercise that has its own tempo."""
        return "" if self.group.ramps else f" at {plain(tempo)}"
