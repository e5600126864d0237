"""Simulated students: each is followed for six weeks through review, log, next and plan.

    python tests/students.py            # the table of outcomes
    python tests/students.py weekly     # what one of them was told, take by take

A student plays what the plan says, at its tempo, and the plan is asked for anew after each take.
What is played are the strokes of the exercise with errors. They follow from one figure, the
shortest time in which the student has one grid step in hand, and from how much shorter or longer
the step is that was asked for:

- It shrinks by the power law of practice, T = A + B (N + 1) ** -a (Newell & Rosenbloom 1981, in
  Anderson, Cognitive Skills and Their Acquisition; the form is theirs, the values of A, B and a
  are ours, from memory of published curves, where a lies between 0.2 and 0.6). N is minutes of
  practice of the exercise, and a quarter of those of its neighbours: transfer; ours.
- Days without practice take from N as a power of their number (the form after Wixted & Ebbesen
  1991, from memory; the value is ours).
- Strokes are uneven by 2.5 per cent of a step and, with the square of T / step, by 4.5 more; half
  of the variance is that of a clock which all limbs share, half is each limb's own (the two levels
  of Wing & Kristofferson 1973, from memory; the values are ours). Near T strokes fail.

It says whether advice that is followed leads somewhere, and whether it says what is wrong. It does
not say that people learn so.
"""

import random
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from functools import cached_property
from typing import Any

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.hear.expected import expected
from midiforge.hear.review import review
from midiforge.hear.take import Stroke, Take
from midiforge.kits.kit import read_kit
from midiforge.lesson.lesson import Lesson
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb
from midiforge.model.tempo import TempoMap
from midiforge.practice.advice import advise
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good, lacks
from midiforge.practice.log import with_take
from midiforge.practice.plan import make_plan
from midiforge.practice.reviewed import entry_of
from midiforge.practice.standing import Action, Advice
from midiforge.practice.words import advice_words

KIT = read_kit("general-midi-1")
FIRST = date(2026, 3, 2)
WEEKS = 6
BARS = 10
KEYS: dict[str, Any] = {
    "title": "Ferry landing",
    "sticking": "RLRR LRLL",
    "meter": "2/4",
    "placements": "1, 1e, 1&, 1a",
    "feet": "samba",
    "stages": "full",
    "tempos": "60, 80, 100",
}
ACCENTED = {**KEYS, "sticking": ">RLRR >LRLL"}
TRANSFER = 0.25
FORGETS = 0.15
HALF = 0.5**0.5
LEVELS = {"accent": 112, "tap": 72, "ghost": 35}


@dataclass(frozen=True)
class Student:
    """Who practises when, and how.

    days: of the six weeks, from 0. takes: a day. minutes: of each take, practice around it
        included.
    least, gain, power: A and B in ms and the exponent, see above.
    unsteady: how many times as uneven a limb is. pulled: of a limb, the share of its strokes off
        the beat that fall on the grid step before.
    rush: the share of the tempo that is gained within a take. flat: whether accents are left out.
    notes: what the student says of the takes of a day.
    heeds: whether a fault that was told gets better by the power law, too.
    """

    name: str
    days: Sequence[int]
    takes: int = 4
    minutes: float = 3.0
    least: float = 125.0
    gain: float = 220.0
    power: float = 0.35
    unsteady: Mapping[Limb, float] = field(default_factory=dict)
    pulled: Mapping[Limb, float] = field(default_factory=dict)
    rush: float = 0.0
    flat: bool = False
    notes: Mapping[int, str] = field(default_factory=dict)
    heeds: bool = True
    keys: Mapping[str, Any] = field(default_factory=lambda: KEYS)


CHANGE = Action.CHANGE
DAILY = range(7 * WEEKS)
RIGHT_FOOT = Limb.RIGHT_FOOT
STUDENTS: dict[str, Student] = {
    each.name: each
    for each in (
        Student("daily", DAILY),
        Student("weekly", range(0, 7 * WEEKS, 7), takes=8),
        Student("rushing", DAILY[::2], rush=0.10),
        Student("without accents", DAILY[::2], flat=True, heeds=False, keys=ACCENTED),
        Student("one weak foot", DAILY[::2], unsteady={RIGHT_FOOT: 3.0}),
        Student("plateau", DAILY[::2], least=235.0, gain=60.0),
        Student("talented", DAILY[::2], least=80.0, gain=110.0, power=0.5),
        Student("back after a month", [*range(7), *range(36, 42)]),
        Student("in pain", DAILY[::2], notes={8: "wrist hurts", 10: "still sore"}),
    )
}


@dataclass
class Played:
    """A take: when, what was asked, and what the log kept of it."""

    day: int
    advice: Advice
    asked: Fraction
    entry: Entry
    phase: str


@dataclass
class Outcome:
    """What became of a student.

    said: of each day, the advice for each exercise after its last take.
    turns: of each day, how many turns its first plan had; exercises: of how many exercises.
    """

    student: Student
    settings: Any
    takes: list[Played] = field(default_factory=list)
    said: dict[int, list[Advice]] = field(default_factory=dict)
    turns: dict[int, int] = field(default_factory=dict)
    exercises: dict[int, int] = field(default_factory=dict)

    def safe(self, day: int = 7 * WEEKS) -> dict[str, float]:
        """Placements with two good takes by the end of a day, and the fastest tempo of such two."""
        good: dict[str, list[float]] = {}
        for each in self.takes:
            if each.day <= day and is_good(each.entry, self.settings):
                good.setdefault(each.entry.placement_name, []).append(each.entry.tempo)
        return {place: sorted(some)[-2] for place, some in good.items() if len(some) > 1}

    def first_good(self, placement: str) -> float | None:
        """The tempo of the first good take of a placement."""
        good = (
            each.entry.tempo
            for each in self.takes
            if each.entry.placement_name == placement and is_good(each.entry, self.settings)
        )
        return next(good, None)

    def first(self, placement: str) -> int | None:
        """The day on which a placement was first played."""
        days = (each.day for each in self.takes if each.entry.placement_name == placement)
        return next(days, None)

    @property
    def lacking(self) -> list[str]:
        """What the takes were told to lack, in one word and of which limb; the most frequent
        first."""
        count = Counter(
            f"{lack.limb.title} {lack.what}" if lack.limb else lack.what
            for each in self.takes
            for lack in lacks(each.entry, self.settings)
        )
        return [word for word, _ in count.most_common()]

    @cached_property
    def told(self) -> list[str]:
        """All that was said, in words, once each, as it first came."""
        words = (
            f"{advice_words(each)}"
            for day in sorted(self.said)
            for each in self.said[day]
            if each.last
        )
        return [*dict.fromkeys(words)]


class Learner:
    """How well a student plays what, by the laws above."""

    def __init__(self, student: Student, seed: int = 1) -> None:
        self.student = student
        self.chance = random.Random(f"{student.name} {seed}")
        self.practised: dict[str, float] = {}
        self.told = 0  # times that a fault was named
        self.last = 0

    def come(self, day: int) -> None:
        """A day of practice; those since the last were without."""
        away = max(day - self.last, 1)
        for key in self.practised:
            self.practised[key] *= away**-FORGETS
        self.last = day

    def in_hand(self, key: str) -> float:
        """The shortest time of a step, in ms."""
        others = sum(minutes for other, minutes in self.practised.items() if other != key)
        minutes = self.practised.get(key, 0.0) + TRANSFER * others
        student = self.student
        return student.least + student.gain * (minutes + 1) ** -student.power

    @property
    def fault(self) -> float:
        """How much is left of a fault that was told, 0 to 1."""
        return (self.told + 1) ** -self.student.power if self.student.heeds else 1.0

    def play(self, exercise: Exercise, key: str) -> Take:
        """A take of an exercise, to a click from two seconds on."""
        student, chance = self.student, self.chance
        pulse = 60 / float(exercise.tempo.first)
        step = pulse * float(exercise.step / exercise.tempo.pulse)
        ratio = self.in_hand(key) / (1000 * step)
        self.practised[key] = self.practised.get(key, 0.0) + student.minutes
        seconds = BARS * float(exercise.meter.bar / exercise.tempo.pulse) * pulse
        uneven = 0.025 + 0.045 * ratio**2
        fails = min(0.5, 0.005 + 2.0 * max(0.0, ratio - 1.0) ** 1.5)
        strokes: list[Stroke] = []
        clock: dict[float, float] = {}
        for due in expected(exercise, KIT, seconds - 0.001):
            limb = due.hit.limb
            assert limb is not None
            if chance.random() < fails:
                continue
            worse = 1 + (student.unsteady.get(limb, 1.0) - 1) * self.fault
            time = due.time
            time -= student.rush * self.fault * time**2 / (2 * seconds)
            shared = clock.setdefault(due.time, chance.gauss(0, 1))
            time += HALF * uneven * step * (shared + worse * chance.gauss(0, 1))
            off_beat = due.place % exercise.tempo.pulse != 0
            if off_beat and chance.random() < student.pulled.get(limb, 0.0) * self.fault:
                time -= step
            level = "tap" if student.flat else due.hit.strength.value
            velocity = round(chance.gauss(LEVELS[level], 4))
            strokes.append(Stroke(2 + time, 2 + time, KIT.note(due.hit.voice), velocity))
        strokes.sort(key=lambda stroke: stroke.time)
        return Take("take.mid", tuple(strokes), strokes[-1].time + 1, start=2.0)


def follow(
    student: Student, seed: int = 1, watch: Callable[[Played], None] = lambda _: None, **keys: Any
) -> Outcome:
    """Six weeks of a student.

    watch: told of each take. keys: of the drill, over the student's.
    """
    drill = midiforge.check_drill({**student.keys, **keys})
    lesson = Lesson(drill)
    learner = Learner(student, seed)
    outcome = Outcome(student, drill.practice)
    entries: list[Entry] = []
    for day in student.days:
        today = FIRST + timedelta(day)
        learner.come(day)
        for number in range(student.takes):
            try:
                plan = make_plan(lesson, entries, today, 30)
            except MidiforgeError:  # pain with every exercise
                break
            planned = [turn.advice.group.key for turn in plan.turns if turn.advice]
            outcome.turns.setdefault(day, len(planned))
            outcome.exercises.setdefault(day, len({*planned}))
            turn = next((t for t in plan.turns if t.advice and t.phase != "warm-up"), None)
            if turn is None or turn.advice is None or turn.tempo is None:
                break
            group = turn.advice.group
            pace = TempoMap(group.exercise.meter.pulse, ((Fraction(0), turn.tempo),))
            exercise = replace(group.exercise, tempo=pace)
            found = review(learner.play(exercise, group.key), exercise, KIT)
            when = datetime(today.year, today.month, today.day, 18, tzinfo=UTC)
            entry = replace(
                entry_of(found, drill.title, note=student.notes.get(day, "")),
                when=when + timedelta(minutes=student.minutes * number),
                take=f"{day} {number}",
            )
            entries = with_take(entries, entry)
            if not is_good(entry, drill.practice):
                learner.told += 1
            played = Played(day, turn.advice, turn.tempo, entry, turn.phase)
            outcome.takes.append(played)
            watch(played)
            if entry.note:
                break
        outcome.said[day] = advise(lesson, entries, today)
    return outcome


# The table


def row(outcome: Outcome) -> list[str]:
    """A student's line of the table."""

    def reached(day: int) -> str:
        safe = outcome.safe(day)
        if not safe:
            return "0"
        return f"{len(safe)} at {min(safe.values()):.0f}-{max(safe.values()):.0f}"

    good = sum(is_good(each.entry, outcome.settings) for each in outcome.takes)
    first = outcome.first("1e")
    return [
        outcome.student.name,
        str(len(outcome.takes)),
        f"{good / max(1, len(outcome.takes)):.0%}",
        "-" if first is None else str(first + 1),
        *(reached(day) for day in (6, 13, 41)),
        str(max(outcome.turns.values())),
        str(len({each.advice.said for each in outcome.takes if each.advice.action is CHANGE})),
        ", ".join(outcome.lacking[:2]) or "nothing",
    ]


HEADS = ["student", "takes", "good", "1e on day", "safe: week 1", "week 2", "week 6", "turns"]
HEADS += ["changes", "told to lack, most"]


def main(names: Sequence[str]) -> None:
    if names:

        def watch(played: Played) -> None:
            entry = played.entry
            print(
                f"day {played.day + 1:2} {entry.placement_name:3} asked {float(played.asked):5.1f} "
                f"played {entry.tempo:5.1f} clean {entry.clean:4.0%} "
                f"steady to {entry.deviation_percent or 0:4.1f}%  "
                f"{advice_words(played.advice)}"
            )

        for name in names:
            outcome = follow(STUDENTS[name], watch=watch)
            for advice in outcome.said[outcome.student.days[-1]]:
                print(f"{advice.group.title}: {advice_words(advice)}")
        return
    rows = [HEADS, *(row(follow(student)) for student in STUDENTS.values())]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for cells in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)))


if __name__ == "__main__":
    main(sys.argv[1:])
