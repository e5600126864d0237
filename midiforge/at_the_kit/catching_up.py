"""Takes of sessions that were cut short: written by the next command, and logged by the next
session."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.hear.take import read_take
from midiforge.practice.entry import take_of
from midiforge.practice.reviewed import content_of
from midiforge.session import Session

CUT_SHORT = "take"  # what such takes are called, with their exercise behind it


def caught_up(
    sessions: Sequence[Session], folders: Iterable[Path], delay_ms: float | None
) -> Iterator[Path]:
    """Reviews and logs what in these folders is of these drills and in no log yet; gives each take
    that the log then has. What cannot be read is left."""
    known = {entry.take for entry in sessions[0].entries(begins=True)}
    for path in (path for folder in folders for path in sorted(folder.glob(f"{CUT_SHORT}-*.mid"))):
        try:
            if take_of(content_of(path)) in known:
                continue
            take = read_take(path)
            own = next((session for session in sessions if session.has(take)), None)
            if own and own.keep(own.review(take, delay_ms=delay_ms), path):
                yield path
        except MidiforgeError:
            continue
