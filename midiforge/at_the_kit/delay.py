"""How long a stroke takes to arrive, kept for each kit and the input it is on.

What is measured with a click is the set-up's delay and how far ahead of a click the player strikes
by habit, some tens of milliseconds with most people (B. H. Repp, Sensorimotor synchronization,
Psychonomic Bulletin & Review 12, 2005; from memory). So it is the player's own zero.
"""

import json
from contextlib import suppress
from math import isfinite
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import data_folder, read_file, write_aside

MOST_MS = 1000.0
_LARGEST = 1_000_000  # bytes


def _file() -> Path:
    return data_folder() / "delays.json"


def _all() -> dict[str, float]:
    with suppress(MidiforgeError, OSError, ValueError):
        told = json.loads(read_file(_file(), _LARGEST))
        if isinstance(told, dict):
            return {
                str(name): float(ms)
                for name, ms in told.items()
                if isinstance(ms, (int, float)) and isfinite(ms) and abs(ms) <= MOST_MS
            }
    return {}


def kept(kit: str, port: str) -> float | None:
    """The delay in ms that was measured with a kit on an input; None for none."""
    return _all().get(f"{kit} on {port}")


def keep(kit: str, port: str, delay_ms: float) -> None:
    """Keeps a delay. Raises MidiforgeError where it cannot be written."""
    path = _file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MidiforgeError(f"cannot be made: {error.strerror}", str(path.parent)) from None
    delays = {**_all(), f"{kit} on {port}": round(delay_ms, 1)}
    write_aside(path, json.dumps(delays, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def kept_anew(kit: str, port: str, measured: float | None, known: float | None) -> str:
    """Keeps a delay that was measured in a session that knew another; gives what there is to say of
    it, "" for nothing. Raises MidiforgeError where it cannot be written."""
    if measured is None or measured == known:
        return ""
    keep(kit, port, measured)
    return f"Delay of {kit} on {port}: {measured:.0f} ms, kept for the next time."
