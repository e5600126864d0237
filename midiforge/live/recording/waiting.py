"""Whether a recording was cut short: its journal waits. Looked for by every command, so light."""

from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import data_folder

ENDING = ".journal"


def folder() -> Path:
    """Where journals are; MidiforgeError if there is no home folder."""
    return data_folder() / "recordings"


def journals_wait() -> bool:
    """Whether there are journals; those of recordings that still run are among them."""
    try:
        return any(path.suffix == ENDING for path in folder().iterdir())
    except (OSError, MidiforgeError):
        return False
