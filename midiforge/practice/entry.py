"""What the log keeps of a reviewed take, and what an exercise is called there for good."""

from collections.abc import Iterator
from datetime import date, datetime
from hashlib import blake2b
from typing import Any

from midiforge.frozen import frozen
from midiforge.insight.loop import loop_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit


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

    @property
    def clean(self) -> float:
        """The share of what was expected or played besides that was right, 0 to 1."""
        total = self.expected + self.extra
        return self.hit / total if total else 0.0

    @property
    def day(self) -> date:
        """The day it was played, where the player is."""
        return self.when.astimezone().date()

    def is_good(self, clean: float, steady: float) -> bool:
        """Whether it has at least this share of right strokes, and at most this deviation.

        steady: in per cent of a grid step.
        """
        percent = self.deviation_percent
        return self.clean >= clean and percent is not None and percent <= steady


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
    yield exercise.feet
    yield f"{'+'.join(map(str, meter.groups))}/{meter.unit} {meter.beat} {meter.pulse}"
    yield f"{exercise.step} {swing.pair} {swing.share} {loop.length}"
    for moment in loop.moments:
        for hit in moment.hits:
            yield f"{moment.time - loop.start} {_stroke(hit)}"


def _stroke(hit: Hit) -> str:
    limb = hit.limb.value if hit.limb else ""
    said = f"{limb} {hit.voice} {hit.strength.value}"
    if hit.ornament:
        each = hit.ornament
        said += f" {each.kind.value} {each.grace_notes} {each.limb.value if each.limb else ''}"
        said += f" {each.voice} {each.length}"
    return said
