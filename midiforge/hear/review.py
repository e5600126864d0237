"""A take beside its exercise: what was played, when, how hard, and what was not.

Times are told from the player's own time, which is followed through the take (`follow`), so that
drift is told once and not of every stroke. A constant delay (of the module, the cable, the sound)
and how far the player is from the click as a whole look alike in a MIDI file: where the take or
the caller says when the first downbeat was due, their sum is given; the limbs' means are told
from the middle of all strokes, or from the click where the delay is known.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import datetime
from fractions import Fraction
from operator import itemgetter
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.hear.expected import Due
from midiforge.hear.figures import (
    CountFigures,
    DoubleFigures,
    GraceFigures,
    LimbFigures,
    LoudnessFigures,
    RoundFigures,
    Tally,
    TempoFigures,
    Timing,
    TogetherFigures,
    timing,
)
from midiforge.hear.follow import Line
from midiforge.hear.pairing import Pairing
from midiforge.hear.placing import LIKE, hear_take, likeness, place
from midiforge.hear.take import Take
from midiforge.hear.telling import (
    LIMBS,
    counts,
    doubles,
    graces,
    limbs,
    loudness,
    other_zones,
    rounds,
    tally,
    tempos,
    thirds,
    together,
)
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.uncollected import uncollected

_ABOUT = 0.1  # as a share: so near to half or double the tempo nobody means another; ours

__all__ = ["LIMBS", "Judged", "Review", "likeness", "review"]


class Judged(NamedTuple):
    """A stroke that was expected, played, or both.

    kind: "hit", as written; "moved": it was due and came in time on another pad; "pulled": it was
        due and came on its pad, a place early or late, as a foot does that is pulled to the beat
        or to a hand; "missed"; besides what was due "added": an ornament or part of a fill;
        "grace", "bounce"; "double trigger", "crosstalk"; "before" the exercise begins;
        "extra", which is none of these.
    due: what was expected; None if nothing was.
    time: seconds in the take; None if missed.
    off_ms: how far from where it was due by the player's own time, below 0 ahead; None without
        both. voice: as the kit heard it, or as it was expected if missed.
    """

    kind: str
    due: Due | None
    time: float | None
    off_ms: float | None
    velocity: int | None
    voice: str


@frozen
class Review:
    """What there is to say of a take.

    source, played: as in `Take`.
    like: how much of the take's beginning the exercise explains, 0 to 1.
    start: of the first downbeat, in seconds of the take: by the click where the take's mark or the
        beats of its file say it, else by the player's own time.
    delay_ms: how far the whole lies from when it was due: delay and habit together; None where
        nothing says when it was due.
    known_delay_ms: what of that is delay, if the caller knew.
    tempo, played_tempo: pulses a minute, asked and played on average; of an exercise that gets
        faster, the first and the last that was reached.
    drift_ms_per_bar: below 0 rushing, above 0 dragging, against a steady tempo; None of less
        than three bars. thirds: the tempo of the take's first third and of its last; None where
        it is too short, gets faster by itself, or the place was lost.
    bars: how many were played, about. step_ms: of the grid, at the tempo played.
    tally, timing: of all limbs together.
    other_zones: (expected voice, heard voice) and how often, where the pad was right.
    remarks: what a reader has to know besides, one sentence each.
    """

    exercise: Exercise
    source: str
    played: datetime | None
    like: float
    start: float
    delay_ms: float | None
    known_delay_ms: float | None
    tempo: float
    played_tempo: float
    drift_ms_per_bar: float | None
    thirds: tuple[float, float] | None
    bars: float
    seconds: float
    step_ms: float
    tally: Tally
    timing: Timing
    judged: tuple[Judged, ...]
    limbs: tuple[LimbFigures, ...]
    loudness: tuple[LoudnessFigures, ...]
    counts: tuple[CountFigures, ...]
    rounds: tuple[RoundFigures, ...]
    together: tuple[TogetherFigures, ...]
    doubles: tuple[DoubleFigures, ...]
    graces: tuple[GraceFigures, ...]
    tempos: tuple[TempoFigures, ...]
    unknown: Mapping[int, int]
    kinds: Mapping[str, int]
    other_zones: Mapping[tuple[str, str], int]
    remarks: tuple[str, ...]
    line: Line

    @property
    def own_ms(self) -> float | None:
        """How far the whole lies from the click, the delay taken off; None where not known."""
        if self.delay_ms is None or self.known_delay_ms is None:
            return None
        return self.delay_ms - self.known_delay_ms

    @property
    def tempo_ratio(self) -> Fraction:
        """The tempo played to the one asked for, where it is half or double; else 1."""
        return tempo_ratio(self.line.stretch)

    @property
    def has_dynamics(self) -> bool:
        """Whether the kit tells hard strokes from soft ones at all."""
        return len({each.velocity for each in self.judged if each.kind == "hit"}) > 1


@uncollected()
def review(take: Take, exercise: Exercise, kit: Kit, known_delay_ms: float | None = None) -> Review:
    """Compares a take with the exercise it is of.

    known_delay_ms: between a stroke and its arrival, if it was measured; what is left of the
        whole's distance from the click is then the player's.
    Raises MidiforgeError where the exercise asks the player for nothing, or no stroke of the take
    is on a pad that the kit knows.
    """
    hearing = hear_take(take, exercise, kit)
    placed = place(take, exercise, kit, hearing)
    return _told(Pairing(take, exercise, kit, hearing, placed, known_delay_ms))


def _told(of: Pairing) -> Review:
    count = Counter(of.kinds.values())
    count["moved"], count["pulled"] = len(of.moved), len(of.pulled)
    pulses = float(of.exercise.tempo.first)
    reached = of.dues[max(of.met)].time if of.met else 0.0
    played_bars = len({of.dues[i].bar for i in of.met})
    return Review(
        exercise=of.exercise,
        source=of.take.source,
        played=of.take.played,
        like=of.placed.start.share,
        start=of.start,
        delay_ms=of.whole(),
        known_delay_ms=of.known_delay_ms,
        tempo=pulses,
        played_tempo=of.pulses_at(reached) / of.stretch,
        drift_ms_per_bar=of.drift(),
        thirds=thirds(of),
        bars=played_bars,
        seconds=of.strokes[-1].time - of.strokes[0].time,
        step_ms=of.step_ms,
        tally=tally(of, range(len(of.dues)), len(of.extras), len(of.added)),
        timing=timing([of.offs[i] for i in of.met], of.step_ms),
        judged=_judged(of),
        limbs=tuple(limbs(of)),
        loudness=tuple(loudness(of)),
        counts=tuple(counts(of)),
        rounds=tuple(rounds(of)),
        together=tuple(together(of)),
        doubles=tuple(doubles(of)),
        graces=tuple(graces(of)),
        tempos=tuple(tempos(of)),
        unknown=of.hearing.unknown,
        kinds={kind: times for kind, times in count.items() if times},
        other_zones=other_zones(of),
        remarks=tuple(_remarks(of)),
        line=of.placed.line,
    )


def tempo_ratio(stretch: float) -> Fraction:
    """1/2 or 2 of what takes about twice or half as long as it should; else 1."""
    ratios = (Fraction(1, 2), Fraction(2))
    return next((each for each in ratios if abs(stretch * each - 1) <= _ABOUT), Fraction(1))


def _judged(of: Pairing) -> tuple[Judged, ...]:
    voices, strokes, new = of.hearing.voices, of.strokes, tuple.__new__
    judged: list[tuple[float, Judged]] = []
    for kind, some in (("hit", of.met), ("moved", of.moved), ("pulled", of.pulled)):
        for i, j in some.items():
            due, (time, _, velocity, which) = of.dues[i], strokes[j]
            voice = voices[which] or due.hit.voice
            judged.append((time, new(Judged, (kind, due, time, of.offs[i], velocity, voice))))
    for i, due in enumerate(of.dues):
        if i not in of.offs:
            judged.append((of.when[i], Judged("missed", due, None, None, None, due.hit.voice)))
    for time, pad, velocity, which in (*of.before, *strokes):
        kind = of.kinds.get(which, "")
        if kind:
            other = Judged(kind, None, time, None, velocity, voices[which] or pad)
            judged.append((time, other))
    return tuple([each for _, each in sorted(judged, key=itemgetter(0))])


def _remarks(of: Pairing) -> Iterator[str]:
    yield from of.take.remarks
    hearing = of.hearing
    if hearing.unknown:
        said = ", ".join(f"{number} ({times})" for number, times in hearing.unknown.items())
        yield f"the kit {of.kit.name} does not know these notes (times): {said}"
    if hearing.elsewhere:
        yield (f"{hearing.elsewhere} notes on other channels than {hearing.channel} are left out")
    if hearing.beside:
        yield f"{hearing.beside} notes of the click, of time layers or of the band are left out"
    for due, _ in of.placed.line.jumps:
        yield f"the place was lost in bar {int(due // of.bar) + 1} and found again elsewhere"
    asked = (*of.exercise.hits, *of.exercise.answers)
    for voice in sorted({hit.voice for hit in asked if hit.limb}):
        instead = of.kit.stand_in(voice)
        if instead != voice:
            yield f"the kit {of.kit.name} has no {voice}: {instead} counts in its place"
    if of.placed.start.share < LIKE:
        yield "the take is hardly like this exercise"
