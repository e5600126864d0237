"""What an exercise asks of each limb, and when that is more than is sensible.

All of it is read from one time round the loop, seam included (see `loop_of`).

Strokes and movements. A `stroke` is a hit as written. The grace notes before it belong to the
other hand, and however many they are that hand makes one movement for them (the stick rebounds
for the second and third, common practice); it begins with the first of them, as long before the
stroke as `Touch` has it. A buzz is one movement. Rates and runs count movements: in a flam tap
(lRR rLL) each hand moves three times in a row.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import field, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil, lcm

from midiforge.frozen import frozen
from midiforge.insight.loop import Loop, Moment, loop_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS, Limb
from midiforge.model.piece import Touch

STRETCH = Fraction(2)  # seconds over which a rate counts as sustained
# How far grace notes reach back at most, as a share of a grid step; as they are performed.
GRACE_SHARE = Fraction(45, 100)


@frozen
class Limit:
    """Up to where a limb's rate is sensible, in strokes a second.

    sustained: over two seconds and longer.
    peak: between two strokes.
    why, peak_why: what the limit is, for the reader of a warning.
    """

    sustained: Fraction
    peak: Fraction
    why: str
    peak_why: str
    source: str


HAND_LIMIT = Limit(
    Fraction(7),
    Fraction(10),
    why="people reach 5 to 7 with one hand",
    peak_why="10 is the fastest drummer's single hand; above it only a rebound helps",
    source=(
        "S. Fujii, K. Kudo, T. Ohtsuki, S. Oda, Tapping performance and underlying wrist muscle "
        "activity of non-drummers, drummers, and the world's fastest drummer, Neuroscience "
        "Letters 459 (2009) 69-73: the rate limit of rapid unimanual tapping is taken as 5-7 Hz; "
        "the winner of a contest for the world's fastest drummer held 10 Hz with a stick"
    ),
)
FOOT_LIMIT = Limit(
    Fraction(5),
    Fraction(8),
    why="more than 5 a second is faster than sixteenths of one foot at 75 bpm",
    peak_why="more than 8 a second is closer than sixteenths of one foot at 120 bpm",
    source="common practice",
)
LIMITS = {limb: HAND_LIMIT if limb.is_hand else FOOT_LIMIT for limb in Limb}


@frozen
class LimbDemand:
    """What one limb does in one time round.

    strokes: as written, without grace notes.
    grace_notes: how many grace notes it plays.
    per_second: movements a second, the mean of the loop.
    sustained: movements a second where they are densest, over two seconds or more.
    peak: movements a second that its shortest gap would give; 0 if it never moves.
    too_much_from: the highest whole tempo, in pulses a minute, that asks for no more than
        `LIMITS` (of the sustained rate if that is passed, else of the peak); None if nothing is
        passed at this tempo.
    """

    limb: Limb
    strokes: int
    grace_notes: int
    per_second: Fraction
    sustained: Fraction
    peak: Fraction
    too_much_from: int | None = None


@frozen
class Demands:
    """What an exercise asks of the player.

    limbs: those that play, hands first.
    tempo: in pulses a minute; the fastest where it changes. Rates are at this tempo.
    seconds: how long one time round lasts at that tempo.
    longest_run: movements of one hand with none of the other alone between them. Feet do not
        count; grace notes are one movement before their stroke.
    run_hand: whose run that is; None if no hand plays.
    endless: the run never ends, since the other hand never plays alone; `longest_run` is then
        the number of movements in one time round.
    moments: at how many different times the player strikes something.
    unisons: at how many of them two limbs or more strike together.
    hihat_both_ways: at how many the hi-hat is to be open and closed at once.
    moves: when each of the limbs moves.
    """

    limbs: tuple[LimbDemand, ...]
    tempo: Fraction
    seconds: Fraction
    longest_run: int
    run_hand: Limb | None
    endless: bool
    moments: int
    unisons: int
    hihat_both_ways: int = 0
    moves: tuple["_Moves", ...] = field(default=(), repr=False)

    def at(self, tempo: Fraction) -> "Demands":
        """What it asks at another tempo, in pulses a minute."""
        limbs = tuple(limb.at(tempo) for limb in self.moves)
        return replace(self, limbs=limbs, tempo=tempo, seconds=self.seconds * self.tempo / tempo)

    @property
    def unison_share(self) -> Fraction:
        """Unisons among all moments, 0 to 1."""
        return Fraction(self.unisons, self.moments) if self.moments else Fraction(0)


def demands(exercise: Exercise, loop: Loop | None = None) -> Demands:
    """What the exercise asks of the player; swing and the fastest tempo are taken into account.

    loop: one time round it, if already known.
    """
    loop = loop or loop_of(exercise)
    tempo = fastest_tempo(exercise)
    moves = tuple(_moves(exercise, loop))
    run, hand, endless = _longest_run(loop)
    return Demands(
        limbs=tuple(limb.at(tempo) for limb in moves),
        tempo=tempo,
        seconds=loop.length * 60 / (tempo * exercise.tempo.pulse),
        longest_run=run,
        run_hand=hand,
        endless=endless,
        moments=len(loop.moments),
        unisons=sum(len(moment.limbs) > 1 for moment in loop.moments),
        hihat_both_ways=sum(_hihat_both_ways(moment) for moment in loop.moments),
        moves=moves,
    )


def fastest_tempo(exercise: Exercise) -> Fraction:
    """The fastest of an exercise's tempos, in pulses a minute."""
    return max(bpm for _, bpm in exercise.tempo.changes)


def _hihat_both_ways(moment: Moment) -> bool:
    """Whether the hi-hat is to be open and closed at once."""
    voices = {hit.voice for hit in moment.hits if hit.limb}
    return not (voices.isdisjoint(_OPEN) or voices.isdisjoint(_CLOSED))


_OPEN, _CLOSED = ("hihat-open", "hihat-half"), ("hihat-closed", "hihat-pedal")


def warnings(asked: Demands) -> tuple[str, ...]:
    """A sentence for each limb that is asked for more than `LIMITS` calls sensible, and one where
    the hi-hat is to be open and closed at once.

    It names the tempo from which on that is so and not the rate at this one, so that exercises
    that ask for the same are told the same.
    """
    said = []
    for demand in asked.limbs:
        limit = LIMITS[demand.limb]
        name = demand.limb.title.capitalize()
        for rate, most, lasting, why in (
            (demand.sustained, limit.sustained, ", on and on,", limit.why),
            (demand.peak, limit.peak, " for a moment,", limit.peak_why),
        ):
            if rate > most:
                said.append(
                    f"{name}: more than {most} strokes a second{lasting} "
                    f"from about {demand.too_much_from} bpm up; {why} ({_short(limit)})."
                )
                break
    if asked.hihat_both_ways:
        said.append("The hi-hat is open and closed at once: one of the two can't sound.")
    return tuple(said)


def _short(limit: Limit) -> str:
    return "Fujii and others 2009" if limit is HAND_LIMIT else limit.source


@frozen
class _Moves:
    """When a limb moves in one time round.

    places: the time as played, in quarter notes from the loop's start, and how many grace notes
        the movement is made for, before that time; 0 for a stroke.
    grace_notes: how many there are.
    length, step, pulse: of the loop, of a grid step, of what a tempo counts; quarter notes.
    """

    limb: Limb
    places: tuple[tuple[Fraction, int], ...]
    grace_notes: int
    length: Fraction
    step: Fraction
    pulse: Fraction
    touch: Touch

    def at(self, tempo: Fraction) -> LimbDemand:
        """What it asks of the limb at a tempo."""
        limit = LIMITS[self.limb]
        sustained, peak = self.rates(tempo)
        passed = sustained > limit.sustained or peak > limit.peak
        return LimbDemand(
            self.limb,
            sum(not grace for _, grace in self.places),
            self.grace_notes,
            len(self.places) * tempo * self.pulse / (self.length * 60),
            sustained,
            peak,
            self.too_much_from(tempo, limit) if passed else None,
        )

    def rates(self, tempo: Fraction) -> tuple[Fraction, Fraction]:
        """The sustained rate and the peak at a tempo."""
        quarter, room = 60 / (tempo * self.pulse), self.step * GRACE_SHARE
        times = [
            time - min(self._reach(grace) / quarter, room) if grace else time
            for time, grace in self.places
        ]
        # In whole parts of a quarter note, as many as make all of this exact: sooner done.
        exact = (self.length, STRETCH / quarter, *times)
        parts = lcm(*(length.denominator for length in exact))
        around, stretch, *moves = (int(length * parts) for length in exact)
        moves = sorted(move % around for move in moves)
        second = parts / quarter
        return _sustained(moves, around, stretch) * second, _peak(moves, around) * second

    def _reach(self, grace: int) -> Fraction:
        """Seconds from the first of so many grace notes to their stroke, if there is room."""
        apart = self.touch.flam_ms if grace == 1 else self.touch.drag_ms
        return grace * Fraction(apart).limit_denominator(1000) / 1000

    def too_much_from(self, tempo: Fraction, limit: Limit) -> int:
        """The highest whole tempo at which the limit that is passed at `tempo` is kept."""
        lasting = self.rates(tempo)[0] > limit.sustained

        def passes(slower: int) -> bool:
            sustained, peak = self.rates(Fraction(slower))
            return sustained > limit.sustained if lasting else peak > limit.peak

        return 1 + bisect_left(range(2, ceil(tempo)), True, key=passes)


def _moves(exercise: Exercise, loop: Loop) -> Iterator[_Moves]:
    """The movements of each limb that moves, hands first."""
    places: dict[Limb, list[tuple[Fraction, int]]] = {limb: [] for limb in Limb}
    grace_notes = dict.fromkeys(Limb, 0)
    for hit in loop.hits:
        time = exercise.swing.played(hit.time, hit.grid) - loop.start
        if hit.limb:
            places[hit.limb].append((time, 0))
        if hit.ornament and hit.ornament.limb and hit.ornament.grace_notes:
            grace_notes[hit.ornament.limb] += hit.ornament.grace_notes
            if hit.ornament.limb is not hit.limb:
                places[hit.ornament.limb].append((time, hit.ornament.grace_notes))
    for limb, moves in places.items():
        if moves:
            yield _Moves(
                limb,
                tuple(sorted(moves)),
                grace_notes[limb],
                loop.length,
                exercise.step,
                exercise.tempo.pulse,
                exercise.touch,
            )


def _peak(moves: Sequence[int], around: int) -> Fraction:
    gaps = [later - earlier for earlier, later in pairwise((*moves, moves[0] + around))]
    return Fraction(1, min(gap for gap in gaps if gap > 0))


def _sustained(moves: Sequence[int], around: int, stretch: int) -> Fraction:
    """The highest rate of the movements within a stretch of two seconds from one of them.

    They are taken to last until the next one would come if they went on evenly, but two seconds
    at the least: a short burst is not sustained, and an even hand sustains its own rate.
    """
    size = len(moves)

    def at(i: int) -> int:
        return moves[i % size] + i // size * around

    best, lasts = 0, 1
    end = 0
    for i, first in enumerate(moves):
        while at(end) - first < stretch:
            end += 1
        count = end - i
        gaps = max(count - 1, 1)
        lasting = at(i + gaps) - first
        if lasting * count < stretch * gaps:
            gaps, lasting = count, stretch
        if gaps * lasts > best * lasting:
            best, lasts = gaps, lasting
    return Fraction(best, lasts)


def _longest_run(loop: Loop) -> tuple[int, Limb | None, bool]:
    hands = loop.hand_strokes
    longest, whose, endless = 0, None, False
    for hand in HANDS:
        pauses = [i for i, striking in enumerate(hands) if hand not in striking]
        if not pauses:
            run = len(hands)
        else:  # the last of them comes before the first, over the seam
            run = max(b - a - 1 for a, b in pairwise([pauses[-1] - len(hands), *pauses]))
        if run > longest:
            longest, whose, endless = run, hand, not pauses
    return longest, whose, endless
