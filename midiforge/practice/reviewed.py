"""A review as an entry of the log."""

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.files.disk import is_file, read_file, reason
from midiforge.hear.figures import LimbFigures, meetings
from midiforge.hear.limits import LEAST_TIMES
from midiforge.hear.review import Review
from midiforge.midi.reading import LARGEST, MidiSource, file_name
from midiforge.practice.entry import Entry, LimbEntry, key_of, take_of
from midiforge.practice.standing import kind_of


def entry_of(
    review: Review, drill: str, take: MidiSource, note: str = "", player: str = ""
) -> Entry:
    """What the log keeps of a review.

    drill: its title. take: the file that was reviewed; when it was last written is when it was
        played. One that is in memory alone was played now. note: what the player says of it.
    player: who played; "" is the usual one.
    Raises MidiforgeError if that file cannot be read.
    """
    content, played = _content(take)
    exercise = review.exercise
    stage, sticking, placement_name = kind_of(exercise.stage, exercise.variant)
    steady = exercise.tempo.is_steady
    return Entry(
        when=datetime.fromtimestamp(played, UTC),
        drill=drill,
        exercise=exercise.title,
        key=key_of(exercise),
        stage=stage,
        sticking=sticking,
        placement_name=placement_name,
        number=str(exercise.number),
        # What was played counts, not what was asked.
        tempo=round(review.played_tempo, 1) if steady else float(exercise.tempo.last),
        expected=review.tally.expected,
        hit=review.tally.hit,
        missed=review.tally.missed,
        extra=review.tally.extra,
        mean_ms=review.timing.mean_ms,
        deviation_ms=review.timing.deviation_ms,
        deviation_percent=review.timing.deviation_percent,
        drift_ms_per_bar=review.drift_ms_per_bar,
        bars=review.bars,
        seconds=review.seconds,
        source=Path(file_name(take)).name,
        take=take_of(content),
        note=note.strip(),
        player=player.strip(),
        asked=float(exercise.tempo.last),
        comes_round=exercise.returns_after_bars,
        first_third=review.thirds[0] if review.thirds else None,
        last_third=review.thirds[1] if review.thirds else None,
        own_ms=_own_ms(review),
        **_loudness(review),
        limbs=tuple(_limb_entry(each, not _has_one_velocity(review)) for each in review.limbs),
        meetings=meetings(review.together),
    )


def _own_ms(review: Review) -> float | None:
    whole, known = review.delay_ms, review.known_delay_ms
    return None if whole is None or known is None else whole - known


def _loudness(review: Review) -> dict[str, Any]:
    """The figures of an entry that velocities tell."""
    levels = [each.levels for each in review.pads]
    accents = [each for each in levels if min(each.times[:2]) >= LEAST_TIMES]
    flattest = max(accents, key=lambda each: each.overlap or 0.0, default=None)
    ghosts = [
        each.ghost_ratio
        for each in levels
        if each.times[2] >= LEAST_TIMES and each.ghost_ratio is not None
    ]
    if _has_one_velocity(review):
        return {"even_velocity": bool(accents or ghosts)}
    return {
        "accent_ratio": flattest.ratio if flattest else None,
        "accent_overlap": flattest.overlap if flattest else None,
        "ghost_ratio": max(ghosts, default=None),
    }


def _has_one_velocity(review: Review) -> bool:
    return len({each.velocity for each in review.judged if each.kind == "hit"}) == 1


def _limb_entry(limb: LimbFigures, told: bool) -> LimbEntry:
    """What is kept of a limb. told: whether velocities say anything."""
    tally, levels = limb.tally, limb.levels
    told = told and min(levels.times[:2]) >= LEAST_TIMES
    return LimbEntry(
        limb.limb,
        tally.expected,
        tally.hit,
        tally.extra,
        tally.moved,
        tally.pulled,
        limb.timing.mean_ms,
        limb.timing.deviation_ms,
        limb.timing.deviation_percent,
        levels.ratio if told else None,
        levels.overlap if told else None,
    )


def _content(take: MidiSource) -> tuple[bytes, float]:
    """A take as bytes, and when it was written, in seconds since 1970."""
    path = Path(file_name(take))
    if not isinstance(take, (str, Path)) and not is_file(path):
        from midiforge.midi.mido_file import saved

        return saved(take), time.time()
    content = read_file(path, LARGEST)
    try:
        return content, path.stat().st_mtime
    except OSError as error:
        raise MidiforgeError(f"cannot be read: {reason(error)}", str(path)) from None
