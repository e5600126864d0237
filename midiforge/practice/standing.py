"""Where the player is with an exercise, and what may be said of it."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import chain

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.lesson.outline import Outline
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number, exercises_said
from midiforge.model.piece import Variant
from midiforge.model.tempo import plain
from midiforge.practice.entry import Entry, key_of
from midiforge.practice.good import is_good, is_long_enough
from midiforge.practice.steps import SAME_TEMPO, Steps

WARM_UP = Fraction(9, 10)  # of the tempo before; slower and good is warming up

_PAIN = (
    r"(pain(s|ful)?|hurt(s|ing)?|sore(ness)?|ach(e|es|ed|ing|y)|numb(ness)?|tingl(e|es|ed|ing)"
    r"|cramp(s|ed|ing)?|burn(s|ed|ing)?|sting(s|ing)?)"
)
_HURTS = re.compile(rf"\b{_PAIN}\b", re.IGNORECASE)
_NOT = re.compile(
    r"\b(no|not|without|never|free of|nothing)(\s+(any|more|longer|a|the|real|is|was|that))*"
    rf"\s+{_PAIN}\b(\s+or\s+{_PAIN}\b)*|\bpain[- ]?(free|less)\b",
    re.IGNORECASE,
)


# What can be said of an entry's exercise before any is written out.
Kind = tuple[str, str, str]


def kind_of(stage: str, variant: Variant) -> Kind:
    """The kind of an exercise, as that of its entries: stage, sticking and where it starts."""
    return (stage, variant.sticking, variant.moved("placement").count or "1")


class Action(StrEnum):
    """What to do with an exercise."""

    BEGIN = "begin"
    UP = "up"
    STAY = "stay"
    DOWN = "down"
    REVIEW = "review"
    GO_ON = "go on"
    DONE = "done"
    LEAVE = "leave"
    LATER = "later"


WORK = (Action.UP, Action.STAY, Action.DOWN)


class Group:
    """An exercise at all the tempos that the drill has it at, wherever they come in it.

    outlines: of its piece; those of a drill that has it several times, in running order.
    entries: what the log has of it, the oldest first.
    """

    def __init__(self, outlines: Iterable[Outline], known: Mapping[Kind, Sequence[Entry]]) -> None:
        self.outlines = tuple(outlines)
        outline = self.outlines[0]
        self.title, self.stage, self.variant = outline.title, outline.stage.name, outline.variant
        some = known.get(kind_of(self.stage, self.variant), ())
        # To know its key, the piece must be written out.
        self.entries = tuple(each for each in some if each.key == self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Group) and self._content == other._content

    def __hash__(self) -> int:
        return hash(self._content)

    @property
    def _content(self) -> tuple[tuple[bytes, int], ...]:
        return tuple((outline.content, outline.number) for outline in self.outlines)

    @cached_property
    def exercises(self) -> tuple[Exercise, ...]:
        return tuple(chain.from_iterable(each.exercises() for each in self.outlines))

    @property
    def exercise(self) -> Exercise:
        return self.exercises[0]

    @cached_property
    def key(self) -> str:
        """What the log calls it."""
        return key_of(self.exercise)

    @property
    def numbers(self) -> tuple[Number, ...]:
        return tuple(chain.from_iterable(each.numbers for each in self.outlines))

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
    said: such as "up by 4 to 80". why: what the log has to say for it.
    last: the last take; None if there is none.
    learnt: whether it is done, even if it is time to review it.
    """

    group: Group
    action: Action
    tempo: Fraction | None
    said: str
    why: str
    last: Entry | None = None
    learnt: bool = False


def hurts(entry: Entry) -> bool:
    """Whether the player noted pain with a take."""
    return bool(_HURTS.search(_NOT.sub("", entry.note)))


@frozen
class Standing:
    """Where the player is with an exercise.

    entries: its takes up to today, the oldest first.
    careful: when pain was last noted with any exercise, if that was in the last days.
    """

    group: Group
    entries: tuple[Entry, ...]
    settings: Practice
    steps: Steps
    today: date
    careful: date | None

    @property
    def takes(self) -> list[Entry]:
        """The takes that count: long enough, and no warming up."""
        if not self.entries:
            return []  # without the piece being written out for it
        round_of = self.group.exercise.returns_after_bars
        kept: list[Entry] = []
        for each in self.entries:
            if not is_long_enough(each, round_of):
                continue
            if not (kept and self._warms_up(each, kept[-1])):
                kept.append(each)
        return kept

    def _warms_up(self, entry: Entry, before: Entry) -> bool:
        """Whether a good take is so much slower than a good one before that it says nothing new.

        Once the goal is reached, any slower one is.
        """
        if self.group.ramps or not (self.good(entry) and self.good(before)):
            return False
        reached = self.steps.meant(before.tempo) >= self.steps.goal
        return entry.tempo < before.tempo * (1 - SAME_TEMPO if reached else float(WARM_UP))

    def good(self, entry: Entry) -> bool:
        return is_good(entry, self.settings)

    @property
    def days(self) -> int:
        """Since it was last played."""
        return (self.today - self.entries[-1].day).days

    @property
    def tempo(self) -> Fraction:
        """The tempo of the last take that counts."""
        return self.steps.meant(self.takes[-1].tempo)

    @property
    def row(self) -> int:
        """How many of the last takes were good, at the last one's tempo or faster."""
        takes = self.takes
        level = takes[-1].tempo * (1 - SAME_TEMPO)
        count = 0
        for each in reversed(takes):
            if not self.good(each) or (each.tempo < level and not self.group.ramps):
                break
            count += 1
        return count

    @property
    def learnt(self) -> bool:
        """Whether it was good often enough at the goal."""
        if not self.takes or self.row < self.settings.takes:
            return False
        return self.group.ramps or self.tempo >= self.steps.goal

    def advice(self, action: Action, said: str, why: str, tempo: Fraction | None = None) -> Advice:
        last = self.entries[-1] if self.entries else None
        return Advice(self.group, action, tempo, said, why, last, self.learnt)

    def at(self, tempo: Fraction) -> tuple[str, Fraction | None]:
        """A tempo in words and as a number; neither for an exercise that has its own."""
        return ("", None) if self.group.ramps else (f" at {plain(tempo)}", tempo)
