"""What the log keeps of a reviewed take, and what an exercise is called there for good."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from fractions import Fraction
from hashlib import blake2b
from math import gcd
from typing import Any

from midiforge.frozen import frozen
from midiforge.hear.figures import Meeting
from midiforge.insight.loop import loop_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb

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


@frozen
class LimbEntry:
    """What is kept of one limb of a take; figures as in `Entry`.

    moved: strokes that came in time on another pad. pulled: that came a place early or late.
    accent_ratio, accent_overlap: as in `hear.figures.Levels`.
    """

    limb: Limb
    expected: int
    hit: int
    extra: int
    moved: int
    pulled: int
    mean_ms: float | None
    deviation_ms: float | None
    deviation_percent: float | None
    accent_ratio: float | None = None
    accent_overlap: float | None = None


@frozen
class Entry:
    """One reviewed take; of figures that a take is too short for, None.

    when: in UTC.
    drill: its title. exercise: its title, without the tempo.
    key: what the exercise is called whatever its number; see `key_of`.
    number: what it was in the drill at that time, "3b"; "old 13" if that was before
        exercises were numbered by piece.
    tempo: pulses a minute; of an exercise that gets faster, the one it ends with.
    mean_ms: below 0 ahead, above 0 behind.
    deviation_ms, deviation_percent: standard deviation, in ms and in per cent of a grid step.
    drift_ms_per_bar: below 0 rushing, above 0 dragging.
    bars: how many were played. seconds: how long it lasted.
    source: the file's name. take: a digest of its content; "" if that is not known.
    note: what the player said of it.
    player: who played it; "" is the usual one.
    asked: the tempo that it was held against.
    comes_round: after how many bars the exercise comes round.
    first_third, last_third: the tempo of the first third of the take, and of the last.
    own_ms: how far the whole lies from the click, the delay taken off; None where the delay is
        not known.
    accent_ratio, accent_overlap: as in `hear.figures.Levels`, of the voice where accents stand out
        least, all limbs together. ghost_ratio: of ghost notes to other strokes, where they stand
        back least. Each is None where the exercise has none, or nothing beside them.
    even_velocity: whether accents or ghost notes were asked for and every stroke came with one
        velocity, as of a module without dynamics, so that nothing is known of them.
    lost: how often the place was lost.
    limbs: those that the exercise asks for. meetings: of limbs that are due together.
    movement: what the limbs do in the exercise, however it is called; see `movement_of`.

    Takes from before version 4 of the log have none of what comes after `note`.
    """

    when: datetime
    drill: str
    exercise: str
    key: str
    stage: str
    sticking: str
    placement_name: str
    number: str
    tempo: float
    expected: int
    hit: int
    missed: int
    extra: int
    mean_ms: float | None
    deviation_ms: float | None
    deviation_percent: float | None
    drift_ms_per_bar: float | None
    bars: float
    seconds: float
    source: str
    take: str = ""
    note: str = ""
    player: str = ""
    asked: float | None = None
    comes_round: float | None = None
    first_third: float | None = None
    last_third: float | None = None
    own_ms: float | None = None
    accent_ratio: float | None = None
    accent_overlap: float | None = None
    ghost_ratio: float | None = None
    even_velocity: bool = False
    lost: int = 0
    limbs: tuple[LimbEntry, ...] = ()
    meetings: tuple[Meeting, ...] = ()
    movement: str = ""

    @property
    def clean(self) -> float:
        """The share of what was expected or played besides that was right, 0 to 1."""
        total = self.expected + self.extra
        return self.hit / total if total else 0.0

    @property
    def in_time(self) -> float:
        """As `clean`, where strokes on another pad count, too."""
        total = self.expected + self.extra
        return (self.hit + sum(limb.moved for limb in self.limbs)) / total if total else 0.0

    @property
    def was_heard(self) -> bool:
        """Whether it is a take; else the log keeps only what the player said of the exercise."""
        return self.expected > 0

    @property
    def hurts(self) -> bool:
        """Whether the player noted pain with it."""
        return bool(_HURTS.search(_NOT.sub("", self.note)))

    @property
    def day(self) -> date:
        """The day it was played, where the player is."""
        return self.when.astimezone().date()


def is_by(entry: Entry, player: str) -> bool:
    """Whether somebody played it; "" is the usual player."""
    return entry.player.casefold() == " ".join(player.split()).casefold()


def player_said(player: str) -> str:
    """A player's name, or what the usual one is called."""
    return player or "the usual player"


def take_of(content: bytes) -> str:
    """The digest of a take's file that `Entry.take` holds."""
    return blake2b(content, digest_size=16).hexdigest()


def key_of(exercise: Exercise) -> str:
    """What the log calls an exercise, whatever its number, its tempo and how often it is written.

    The same for the same stage, variant, feet, meter, grid, swing and strokes of one time round,
    and for nothing else. It is kept for years: what goes into it is spelled out here, so that it
    does not change with the classes it comes from.
    """
    return blake2b("\n".join(_spelled(exercise)).encode(), digest_size=16).hexdigest()


def _spelled(exercise: Exercise) -> Iterator[str]:
    variant, meter, swing, loop = (
        exercise.variant,
        exercise.meter,
        exercise.swing,
        loop_of(exercise),
    )

    def value(move: str) -> Any:
        return variant.moved(move).value

    yield "1"  # of this spelling
    yield exercise.stage
    yield " ".join(filter(None, (variant.sticking, value("grid"))))
    yield f"{value('placement') or 0} {value('accents') or ''} {value('accent placement')}"
    swapped, backward = value("lead") or 0, value("direction") or 0
    yield f"{variant.lead} {swapped} {backward} {value('feet placement') or 0}"
    yield exercise.feet_logged
    yield f"{'+'.join(map(str, meter.groups))}/{meter.unit} {meter.beat} {meter.pulse}"
    yield f"{exercise.step} {swing.pair} {swing.share} {loop.length}"
    for moment in loop.moments:
        for hit in moment.hits:
            yield f"{moment.time - loop.start} {_stroke(hit)}"


def _stroke(hit: Hit, moved_alone: bool = False) -> str:
    """moved_alone: what the limbs do, whatever they strike."""
    voice = "" if moved_alone else f"{hit.voice} "
    stroke = f"{hit.limb.value if hit.limb else ''} {voice}{hit.strength.value}"
    if ornament := hit.ornament:
        limb = ornament.limb.value if ornament.limb else ""
        stroke += f" {ornament.kind.value} {ornament.grace_notes} {limb}"
        stroke += "" if moved_alone else f" {ornament.voice} {ornament.length}"
    return stroke


def movement_of(exercise: Exercise) -> str:
    """What the limbs do in an exercise, whatever it is called and whatever they strike.

    The same for the same stage, pulse, swing, limbs, strengths and ornaments at the same times, so
    that a history goes on where a voice or a spelling changed. Kept for years, as `key_of`.
    """
    swing, loop = exercise.swing, loop_of(exercise)
    strokes = [
        (moment.time % loop.length, _stroke(hit, moved_alone=True))
        for moment in loop.moments
        for hit in moment.hits
    ]
    length = _period(strokes, loop.length)
    swung = "" if swing.share == Fraction(1, 2) else f"{swing.pair} {swing.share}"
    spelled = ["1", exercise.stage, f"{exercise.meter.pulse} {length}", swung]
    spelled += [f"{time} {said}" for time, said in sorted({(t % length, s) for t, s in strokes})]
    return blake2b("\n".join(spelled).encode(), digest_size=16).hexdigest()


def _period(strokes: Sequence[tuple[Fraction, str]], length: Fraction) -> Fraction:
    """After how long the same strokes come again: voices that take turns make a loop longer."""
    most = gcd(*Counter(said for _, said in strokes).values())
    for times in range(most, 1, -1):
        part = length / times
        if most % times == 0 and len(strokes) == times * len(
            {(time % part, said) for time, said in strokes}
        ):
            return part
    return length
