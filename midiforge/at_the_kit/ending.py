"""What there is to say when a session is over: what was played, what got better, what is next."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from midiforge.hear.figures import steady_to
from midiforge.practice.advice import advise
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good, lacks, most_often
from midiforge.practice.standing import WORK, Action
from midiforge.practice.teacher import Teacher
from midiforge.practice.words import advice_words
from midiforge.printable import many
from midiforge.session import Heard

_MOST_NEXT = 3


def told(teacher: Teacher, heard: Sequence[Heard], seconds: float) -> Iterator[tuple[int, str]]:
    """Lines, and how far each is indented."""
    settings = teacher.drill.practice
    entries = [take.entry for take in heard if take.entry is not None]
    minutes = many(max(1, round(seconds / 60)), "minute")
    if not entries:
        yield 0, f"{minutes}; no take was heard, and nothing is in the log."
        return
    exercises = [*dict.fromkeys(entry.key for entry in entries)]
    good = sum(is_good(entry, settings) for entry in entries)
    takes = f"{many(len(entries), 'take')} of {many(len(exercises), 'exercise')}"
    yield 0, f"{minutes}: {takes}, {good} good."
    if often := most_often([x for entry in entries for x in lacks(entry, settings)], len(entries)):
        yield 0, often
    in_turn = sorted(entries, key=lambda entry: exercises.index(entry.key))
    for _, own in groupby(in_turn, key=lambda entry: entry.key):
        takes_of = [*own]
        course = _course(takes_of, [is_good(entry, settings) for entry in takes_of])
        yield 2, f"{takes_of[0].exercise}: {course}"
    advised = advise(teacher.lesson, teacher.entries, teacher.day)
    following = [advice for advice in advised if advice.action in (*WORK, Action.BEGIN)]
    for advice in following[:_MOST_NEXT]:
        yield 2, f"next, {advice.group.title}: {advice_words(advice)}"


def _course(entries: Sequence[Entry], good: Sequence[bool]) -> str:
    """ "60 to 66, 5 of 8 takes good, steady to 9.1% of a step, then to 6.2%"."""
    asked = [entry.asked or entry.tempo for entry in entries]
    reached = [tempo for tempo, is_so in zip(asked, good, strict=True) if is_so]
    tempo = f"at {asked[0]:g}"
    if reached and max(reached) != asked[0]:
        tempo = f"{asked[0]:g} to {max(reached):g}"
    said = [tempo, f"{sum(good)} of {many(len(entries), 'take')} good"]
    first, last = entries[0].deviation_percent, entries[-1].deviation_percent
    said += steady_to(first) if len(entries) == 1 or last is None else []
    if len(entries) > 1 and first is not None and last is not None:
        said.append(f"steady to {first:.1f}% of a step, then to {last:.1f}%")
    return ", ".join(said)
