"""A review as an entry of the log."""

import time
from datetime import UTC, datetime
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import is_file, read_file, reason
from midiforge.hear.review import Review
from midiforge.midi.reading import LARGEST, MidiSource, file_name
from midiforge.practice.entry import Entry, key_of, take_of
from midiforge.practice.standing import kind_of


def entry_of(review: Review, drill: str, take: MidiSource, note: str = "") -> Entry:
    """What the log keeps of a review.

    drill: its title. take: the file that was reviewed; when it was last written is when it was
        played. One that is in memory alone was played now. note: what the player says of it.
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
