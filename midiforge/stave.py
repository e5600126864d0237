"""An exercise as rows, bar by bar: what is counted, and what each player strikes when.

    count       1 e & a  2 e & a  3 e & a  4 e & a
    right hand  R . R R  . R . .  R . R R  . R . .
    left hand   . L . .  L . L L  . L . .  L . L L
    right foot  . . . K  . . K .  . . . K  . . K .

Letters are those of a sticking: >R is an accent, (R) a ghost note, lR a flam, llR a drag, Rz a
buzz. Whoever shows the rows only lays them out and colours them.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from fractions import Fraction
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.model.counts import UNNAMED, beat_of, counts, syllables
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, Strength
from midiforge.model.meter import Meter
from midiforge.model.spelling import Spelling, spelled, spelled_hit

_IN_PARTS = ("in twos", "in threes", "in fours", "in fives", "in sixes", "in sevens", "in eights")
_MOST_COUNTED = 8  # parts of a beat; nobody counts finer ones aloud

# Styles are names of parts; a screen gives them colours, or not.
COUNT, ACCENT, STROKE, GHOST, FAINT = "count", "accent", "stroke", "ghost", "faint"
_STYLES = {Strength.GHOST: GHOST, Strength.ACCENT: ACCENT}


class Cell(NamedTuple):
    """What stands at one time of a row, its letter in the column and the rest to its sides."""

    text: Spelling
    style: str


@frozen
class Row:
    """One row of one bar; times are within the bar, in quarter notes.

    hits: what is struck, in a player's row. rests: where a rest is marked if nothing is struck.
    """

    label: str
    cells: Mapping[Fraction, Cell]
    hits: Mapping[Fraction, Hit] = field(default_factory=dict)
    rests: Sequence[Fraction] = ()


class PlayedOn(NamedTuple):
    """What a player strikes: what is played on most, and for each other voice the figure that
    stands under its strokes."""

    main: str
    others: Mapping[str, str]

    def __str__(self) -> str:
        return self.main + "".join(f", {key} = {voice}" for voice, key in self.others.items())


def _played_on(hits: Sequence[Hit]) -> PlayedOn:
    voices = [hit.voice for hit in hits]
    taps = [hit.voice for hit in hits if hit.strength is Strength.TAP]
    main, *further = sorted(dict.fromkeys(voices), key=(taps or voices).count, reverse=True)
    further.sort(key=voices.index)
    return PlayedOn(main, {voice: f"{i % 9 + 1}" for i, voice in enumerate(further)})


class Stave:
    """The rows of an exercise.

    beside: whether time layers are shown below the drummer. The band is not.
    players: the hits of each limb that plays, hands first, then of each layer. played_on: on what.
    counts: the rows that are counted, which are the same in all bars.
    """

    def __init__(self, exercise: Exercise, beside: bool = True) -> None:
        self.exercise = exercise
        bar, length = exercise.meter.bar, exercise.length
        aside = {CLICK, *(member.name for member in exercise.band)}
        players: dict[str, list[Hit]] = {limb.title: [] for limb in (*HANDS, *FEET)}
        self._struck: dict[tuple[str, int], dict[Fraction, Hit]] = {}
        for hit in (*exercise.hits, *exercise.answers):
            shown = hit.limb or (beside and hit.layer not in aside)
            if shown and 0 <= hit.time < length:
                name = hit.limb.title if hit.limb else hit.layer
                players.setdefault(name, []).append(hit)
                number, time = divmod(hit.time, bar)
                self._struck.setdefault((name, int(number)), {})[time] = hit
        self.players = {name: hits for name, hits in players.items() if hits}
        self.played_on = {name: _played_on(hits) for name, hits in self.players.items()}
        times = {time for hits in self._struck.values() for time in hits}
        self.counts = tuple(_counts(exercise, times))

    def bar(self, number: int) -> tuple[Row, ...]:
        """What is struck in a bar, by number from 0: a row for each player."""
        rests = tuple(self.counts[0].cells)
        struck_by = {name: self._struck.get((name, number), {}) for name in self.players}
        return tuple(
            Row(name, {time: struck(hit) for time, hit in hits.items()}, hits, rests)
            for name, hits in struck_by.items()
        )


def struck(hit: Hit, strength: Strength | None = None) -> Cell:
    """A stroke in its colour, written as strong as it is, or as given."""
    return Cell(spelled_hit(hit, strength), _STYLES.get(hit.strength, STROKE))


def _counts(exercise: Exercise, times: Iterable[Fraction]) -> Iterator[Row]:
    """What is said on the exercise's grid and, for times off it, "in fours" or the like.

    Hands and feet may be on different grids: what is off the exercise's own is counted in as many
    parts of the beat as it needs.
    """
    meter, step = exercise.meter, exercise.step
    yield _count("count", ((i * step, text) for i, text in enumerate(counts(meter, step))))
    parts = {_parts(meter, time) for time in times if (time / step).denominator > 1}
    for number in sorted(parts):
        finer = any(other > number and other % number == 0 for other in parts)
        if number <= _MOST_COUNTED and not finer:
            yield _count(_IN_PARTS[number - 2], _said(meter, number))


def _count(label: str, said: Iterable[tuple[Fraction, str]]) -> Row:
    cells = ((time, spelled(text), FAINT if text == UNNAMED else COUNT) for time, text in said)
    return Row(label, {time: Cell(text, style) for time, text, style in cells})


def _parts(meter: Meter, time: Fraction) -> int:
    """Into how many parts its beat must be counted for a time to be one of them."""
    _, start, length = beat_of(meter, time)
    return ((time - start) / length).denominator


def _said(meter: Meter, parts: int) -> Iterator[tuple[Fraction, str]]:
    """What is said with each beat in so many equal parts."""
    beats = zip(meter.beats, meter.beat_lengths, meter.groups, strict=True)
    for number, (start, length, units) in enumerate(beats, start=1):
        for i, text in enumerate(syllables(units, parts)):
            yield start + i * length / parts, text or str(number)


def in_lines(parts: Sequence[range], fits: Callable[[range], bool]) -> list[range]:
    """Neighbouring parts of a bar in as few lines as fit, as many in each as in the others.

    Parts that do not fit by themselves have a line each.
    """
    lines: list[range] = []
    for number in range(1, len(parts) + 1):
        size = -(-len(parts) // number)
        joined = (parts[i : i + size] for i in range(0, len(parts), size))
        lines = [range(some[0].start, some[-1].stop) for some in joined]
        if all(map(fits, lines)):
            break
    return lines
