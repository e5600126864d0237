"""Finding a SoundFont, and telling a whole one from a damaged one before it is loaded.

The form of the file is that of the SoundFont Technical Specification 2.04 (Creative Technology,
2006): a RIFF file of the kind "sfbk" with three lists, INFO, sdta and pdta.
"""

import os
import struct
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import BinaryIO

from midiforge.errors import MidiforgeError
from midiforge.files.disk import no_file, reason
from midiforge.sound.soundfont_lists import DRUM_BANK, banks, drum_keys

VARIABLE = "MIDIFORGE_SOUNDFONT"
ENDINGS = (".sf2", ".sf3")

_SAMPLE = 2  # bytes
_CHUNK = struct.Struct("<4sI")
_LONGEST_LISTS = 1 << 28  # bytes
# What distributions call their General MIDI set, the one a person chose first.
_FIRST = ("default-gm", "default", "fluidr3_gm", "fluidr3", "generaluser", "timgm6mb")

_FOLDERS = {
    "linux": (
        "~/.local/share/soundfonts",
        "~/.local/share/sounds/sf2",
        "/usr/local/share/soundfonts",
        "/usr/share/soundfonts",
        "/usr/share/sounds/sf2",
        "/usr/share/sounds/sf3",
    ),
    "darwin": (
        "~/Library/Audio/Sounds/Banks",
        "/Library/Audio/Sounds/Banks",
        "/opt/homebrew/share/soundfonts",
        "/usr/local/share/soundfonts",
        "/opt/homebrew/share/fluid-synth/sf2",
        "/usr/local/share/fluid-synth/sf2",
    ),
    "win32": ("~/soundfonts", r"C:\soundfonts", r"C:\ProgramData\soundfonts"),
}
_INSTALL = {
    "linux": "install a package such as fluid-soundfont-gm or soundfont-fluid",
    "": "get a free General MIDI SoundFont",
}


def find_soundfont(wanted: str | Path = "") -> Path:
    """The SoundFont to use: the one wanted, else MIDIFORGE_SOUNDFONT's, else the system's.

    Raises MidiforgeError if a named one is missing or damaged, or none is found.
    """
    if wanted:
        return check_soundfont(Path(wanted).expanduser())
    named = os.environ.get(VARIABLE, "")
    if named:
        try:
            return check_soundfont(Path(named).expanduser())
        except MidiforgeError as error:
            raise error.within(VARIABLE) from None
    for path in _candidates():
        try:
            return check_soundfont(path)
        except MidiforgeError:
            continue
    hint = _INSTALL.get(sys.platform, _INSTALL[""])
    raise MidiforgeError(
        "audio needs a SoundFont with drums, and none was found",
        hint=f"{hint}, or name a file with --soundfont or {VARIABLE}",
    )


def check_soundfont(path: Path) -> Path:
    """The path, if it is a whole SoundFont with a drum kit; MidiforgeError says what is wrong."""
    place = str(path)
    try:
        what = no_file(path)
        if what:
            raise MidiforgeError(f"is {what}", place, hint="name a file such as font.sf2")
        with path.open("rb") as stream:
            fault = _fault(stream, path.stat().st_size)
    except (OSError, ValueError) as error:
        why = reason(error) if isinstance(error, OSError) else str(error)
        raise MidiforgeError(f"cannot be read: {why}", place) from None
    if fault:
        raise MidiforgeError(fault[0], place, hint=fault[1])
    return path


@cache
def drums_of(path: Path) -> frozenset[int]:
    """The MIDI note numbers that the drum set of a whole SoundFont has; those of General MIDI
    level 1 alone if it cannot be read."""
    try:
        with path.open("rb") as stream:
            described = _lists(stream, path.stat().st_size)
    except OSError:
        described = None
    return drum_keys(described[0]) if described else frozenset(range(35, 82))


def _candidates() -> Iterator[Path]:
    for folder in _folders():
        try:
            found = sorted(p for p in folder.iterdir() if p.suffix.lower() in ENDINGS)
        except OSError:
            continue
        yield from sorted(found, key=_rank)


def _folders() -> Iterator[Path]:
    for name in _FOLDERS.get(sys.platform, _FOLDERS["linux"]):
        yield Path(os.path.expanduser(name))  # noqa: PTH111  # no home directory is no error here


def _rank(path: Path) -> int:
    name = path.stem.lower()
    return _FIRST.index(name) if name in _FIRST else len(_FIRST)


_NO_SOUNDFONT = ("is not a SoundFont", "a file in the form .sf2 or .sf3 was expected")
_CUT = "the SoundFont is cut short: {} of {} bytes are there"
_DAMAGED = ("the SoundFont is damaged", "get it anew")
_NO_DRUMS = ("the SoundFont has no drum kit", "a General MIDI one has")


def _fault(stream: BinaryIO, size: int) -> tuple[str, str] | None:
    """What is wrong with a file, and what to do; None if nothing is."""
    head = stream.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
        return _NO_SOUNDFONT
    end = _CHUNK.unpack_from(head)[1] + 8
    if end > size:
        return _CUT.format(size, end), "get it anew"
    if end < size:  # FluidSynth refuses it
        return f"the SoundFont ends after {end} of {size} bytes", "get it anew"
    described = _lists(stream, end)
    if described is None:
        return _DAMAGED
    found = banks(described[0], described[1])
    if found is None:
        return _DAMAGED
    return None if DRUM_BANK in found else _NO_DRUMS


def _lists(stream: BinaryIO, end: int) -> tuple[dict[bytes, bytes], int] | None:
    """The lists that describe the presets, and how many samples there are; None if some lack."""
    lists: dict[bytes, tuple[int, int]] = {}
    for name, start, length in _chunks(stream, 12, end):
        if name == b"LIST" and length >= 4:
            stream.seek(start)
            lists[stream.read(4)] = (start + 4, start + length)
    if not {b"INFO", b"sdta", b"pdta"} <= lists.keys():
        return None
    samples = 0
    for name, _, length in _chunks(stream, *lists[b"sdta"]):
        samples = length // _SAMPLE if name == b"smpl" else samples
    start, stop = lists[b"pdta"]
    if stop - start > _LONGEST_LISTS:
        return None
    described = {}
    for name, place, length in _chunks(stream, start, stop):
        stream.seek(place)
        described[name] = stream.read(length)
    return described, samples


def _chunks(stream: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """The chunks that lie whole between two places: name, place of the content, length."""
    while start + _CHUNK.size <= end:
        stream.seek(start)
        name, length = _CHUNK.unpack(stream.read(_CHUNK.size))
        start += _CHUNK.size
        if start + length > end:
            return
        yield name, start, length
        start += length + length % 2
