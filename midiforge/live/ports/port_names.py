"""Which port a name or a number means."""

import re
from collections.abc import Sequence
from contextlib import suppress

from midiforge.errors import MidiforgeError, quoted
from midiforge.live.ports.rtmidi_system import CLIENT, OUT, here

_OURS = re.compile(rf"{CLIENT}(-[0-9]+)?:")  # JACK numbers clients of one name

# What to do on this system where there are no ports.
_GET_PORTS = {
    "linux": "switch on the module, or start a synthesiser; midiforge ports lists what is there",
    "darwin": "plug in the module, or enable the IAC driver in Audio MIDI Setup",
    "": "plug in the module and install its driver; midiforge ports lists what is there",
}


def choose(names: list[str], wanted: str, direction: str) -> int:
    """The index of the port that `wanted` names: its number, its name or part of it; the only one
    there is if nothing is wanted. MidiforgeError says what else there is."""
    others = [name for name in names if not _OURS.match(name)]
    if direction == OUT:
        others = others or names
    if not names or not (wanted or others):  # our own output is nobody's kit
        raise MidiforgeError(f"there is no MIDI {direction}", hint=here(_GET_PORTS))
    there_are = _listed(names, direction)
    if not wanted:
        if len(others) == 1:
            return names.index(others[0])
        raise MidiforgeError(f"there are {len(others)} MIDI {direction}s", hint=there_are)
    if wanted.isascii() and wanted.isdigit():
        if len(wanted) <= 4 and 1 <= int(wanted) <= len(names):
            return int(wanted) - 1
        raise MidiforgeError(f"there is no MIDI {direction} {wanted}", hint=there_are)
    exact = [i for i, name in enumerate(names) if name.lower() == wanted.lower()]
    found = exact or [i for i, name in enumerate(names) if wanted.lower() in name.lower()]
    if len(found) == 1:
        return found[0]
    if found:
        several = _listed([names[i] for i in found], direction)
        raise MidiforgeError(f"{quoted(wanted)} is part of {len(found)} {direction}s", hint=several)
    raise MidiforgeError(f"no MIDI {direction} is called {quoted(wanted)}", hint=there_are)


def index_of(names: list[str], had: str, wanted: str, direction: str) -> int:
    """Which of the ports is ours: the one we had, or the one like it under a new number."""
    if had not in names and had:
        like = re.sub(r"\s*[0-9]+:[0-9]+$", "", had)  # as ALSA numbers its clients
        with suppress(MidiforgeError):
            return choose(names, like, direction)
    return choose(names, had or wanted, direction)


def _listed(names: Sequence[str], direction: str) -> str:
    """What there is, with its numbers; our own output is not offered as anybody's kit."""
    shown = [
        f"{i} {name}"
        for i, name in enumerate(names, start=1)
        if direction == OUT or not _OURS.match(name)
    ]
    return "there are: " + ", ".join(shown) if shown else here(_GET_PORTS)
