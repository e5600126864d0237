"""What an exercise asks for, on a line of time: every stroke that a take is compared with."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache
from itertools import count
from operator import attrgetter, itemgetter
from typing import NamedTuple

from midiforge.kits.kit import Kit
from midiforge.library import shelf
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit
from midiforge.model.piece import Section, SectionKind
from midiforge.model.swing import Swing

MOST_STROKES = 400_000
# Of what is due, somebody who plays an exercise strikes more than one in so many; where less was
# struck, as before an hour of silence, what would be due after that many is not looked at.
MOST_A_STROKE, MOST_BESIDES = 16, 2000


class Due(NamedTuple):
    """An expected stroke.

    time: seconds from the first downbeat, at the exercise's tempo, swing included.
    pad: whose stroke counts. hits: one, or two of both hands on one pad at once, which a module
        hears as one.
    bar: from 1, as the exercise would count on. round: which time round, from 1; 0 in a late
        entry. place: quarter notes from the bar line, as written.
    call: whether it is of a call, which the player may only listen to.
    """

    time: float
    pad: str
    hits: tuple[Hit, ...]
    bar: int
    round: int
    place: Fraction
    call: bool = False

    @property
    def hit(self) -> Hit:
        return self.hits[0]


@cache
def pad_of(voice: str) -> str:
    """The pad that a voice is played on: zones of one drum or cymbal are one pad."""
    entry = shelf.voices().get(voice)
    return entry.pad or voice if entry else voice


def expected(exercise: Exercise, kit: Kit, seconds: float, most: int = MOST_STROKES) -> list[Due]:
    """Every stroke the player is expected to play in the first `seconds`, in order of time; no more
    than `most` of what comes round, and then whole times round.

    An exercise that comes back goes on for as long as is asked; one whose tempo changes ends.
    What the player answers in bars left to them counts like what is written; what calls it is
    marked, for the player need not play it.
    """
    coming = rounds(exercise, kit)
    dues = next(coming, [])
    if not exercise.tempo.is_steady:
        return dues
    quarter = float(exercise.tempo.quarter(Fraction(1)))
    once = float(exercise.returns_after_bars * exercise.meter.bar) * quarter
    first = next(coming, [])
    if not first:
        return dues
    dues += first
    turns = int((seconds - float(exercise.loop_start) * quarter) / once) + 1
    for _ in range(min(turns, most // len(first)) - 1):
        dues += next(coming)
    return dues


def rounds(exercise: Exercise, kit: Kit) -> Iterator[list[Due]]:
    """The same round by round, for ever: first what is due before the loop, then each time round;
    of an exercise whose tempo changes, all at once."""
    bar, swing, tempo = exercise.meter.bar, exercise.swing, exercise.tempo
    hits = sorted(
        (hit for hit in (*exercise.hits, *exercise.answers) if hit.limb and hit.time >= 0),
        key=attrgetter("time"),
    )
    if not hits:
        return
    once = exercise.returns_after_bars * bar
    start = exercise.loop_start
    steady = tempo.is_steady
    end = start + once if steady else exercise.length
    merged = together((hit for hit in hits if hit.time < end), kit, swing)
    calls = [each for each in exercise.sections if each.kind is SectionKind.CALL]
    quarter = float(60 / (tempo.first * tempo.pulse))
    entry = bisect_left(merged, start, key=lambda each: each[0])  # bar lines are where they are
    dues: list[Due] = []
    for at, pad, struck in merged if not steady else merged[:entry]:
        time = struck[0].time
        due = float(at) * quarter if steady else float(tempo.seconds(Fraction(0), at))
        turn = 0 if time < start else int((time - start) // once) + 1
        call = _within(calls, time)
        dues.append(Due(due, pad, struck, int(time // bar) + 1, turn, time % bar, call))
    yield dues
    if not steady:
        return
    loop = [
        (
            float(at) * quarter,
            pad,
            struck,
            int(struck[0].time // bar) + 1,
            struck[0].time % bar,
            _within(calls, struck[0].time),
        )
        for at, pad, struck in merged[entry:]
    ]
    length = float(once) * quarter
    bars, new = exercise.returns_after_bars, tuple.__new__  # what Due() comes to, without a call
    for turn in count() if loop else ():
        later, bars_later = turn * length, turn * bars
        yield [
            new(Due, (due + later, pad, struck, number + bars_later, turn + 1, place, call))
            for due, pad, struck, number, place, call in loop
        ]


def _within(sections: Iterable[Section], time: Fraction) -> bool:
    return any(each.start <= time < each.start + each.length for each in sections)


def together(
    hits: Iterable[Hit], kit: Kit, swing: Swing
) -> list[tuple[Fraction, str, tuple[Hit, ...]]]:
    """Hits by the time they are played at, and pad; what two hands strike at once on one pad
    together."""
    struck: dict[tuple[Fraction, str], list[Hit]] = {}
    for hit in hits:
        at = swing.played(hit.time, hit.grid)
        struck.setdefault((at, pad_of(kit.stand_in(hit.voice))), []).append(hit)
    return sorted(((at, pad, tuple(hits)) for (at, pad), hits in struck.items()), key=itemgetter(0))
