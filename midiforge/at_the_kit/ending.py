"""What there is to say when a session is over: what was played, what got better, what is next."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from midiforge.hear.figures import steady_to
from midiforge.practice.advice import advise
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good, lacks, most_often
from midiforge.practice.standing import WORK, Action
from midiforge.practice.teacher import Teacher
from midiforge.practice.words import advice_words, without_flags
from midiforge.printable import many
from midiforge.session import Heard, Session

_MOST_NEXT = 3


def told(
    teacher: Teacher,
    heard: Sequence[tuple[Session, Sequence[Heard]]],
    seconds: float,
    flags: bool = True,
) -> Iterator[tuple[int, str]]:
    """Lines, and how far each is indented. heard: what was, of each drill. flags: as in
    `Session`."""
    takes = [
        (session.drill, take.entry)
        for session, some in heard
        for take in some
        if take.entry is not None
    ]
    minutes = many(max(1, round(seconds / 60)), "minute")
    if not takes:
        logged = "that it hurts" if teacher.has_pain else "nothing"
        yield 0, f"{minutes}; no take was heard, and {logged} is in the log."
        return
    exercises = {(entry.drill, entry.key) for _, entry in takes}
    good = sum(is_good(entry, drill.practice) for drill, entry in takes)
    played = f"{many(len(takes), 'take')} of {many(len(exercises), 'exercise')}"
    yield 0, f"{minutes}: {played}, {good} good."
    if often := most_often([x for drill, e in takes for x in lacks(e, drill.practice)], len(takes)):
        yield 0, often
    for lesson in teacher.lessons:
        drill = lesson.drill
        own = [entry for of, entry in takes if of is drill]
        indent = 2 * (len(teacher.lessons) > 1)
        if indent:
            yield 2, f"{drill.title}"
        keys = [entry.key for entry in own]
        in_turn = sorted(own, key=lambda entry: keys.index(entry.key))
        for _, same in groupby(in_turn, key=lambda entry: entry.key):
            entries = [*same]
            course = _course(entries, [is_good(entry, drill.practice) for entry in entries])
            yield 2 + indent, f"{entries[0].exercise}: {course}"
        advised = advise(lesson, teacher.entries, teacher.day)
        following = [advice for advice in advised if advice.action in (*WORK, Action.BEGIN)]
        for advice in following[:_MOST_NEXT]:
            next_step = advice_words(advice if flags else without_flags(advice))
            yield 2 + indent, f"next, {advice.group.title}: {next_step}"


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
