"""A review as an entry of the log."""

from datetime import UTC, datetime
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import read_file, reason
from midiforge.hear.review import Review
from midiforge.midi.reading import LARGEST
from midiforge.practice.entry import Entry, key_of, take_of
from midiforge.practice.standing import kind_of


def entry_of(review: Review, drill: str, take: Path, note: str = "") -> Entry:
    """What the log keeps of a review.

    drill: its title. take: the file that was reviewed; when it was last written is when it was
        played. note: what the player says of it.
    Raises MidiforgeError if that file cannot be read.
    """
    content = read_file(take, LARGEST)
    try:
        played = take.stat().st_mtime
    except OSError as error:
        raise MidiforgeError(f"cannot be read: {reason(error)}", str(take)) from None
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
        source=take.name,
        take=take_of(content),
        note=note.strip(),
    )
