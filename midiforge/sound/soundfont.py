"""Finding a SoundFont, and telling a whole one from a damaged one before it is loaded.

The form of the file is that of the SoundFont Technical Specification 2.04 (Creative Technology,
2006): a RIFF file of the kind "sfbk" with three lists, INFO, sdta and pdta. The last holds nine
that say how presets are made of samples (section 7): each is an array of records of one size, each
record but that of a modulator or generator says where its part of the next list begins, and the
last record only marks the end. A synthesiser may crash on lists that do not fit.
"""

import os
import struct
import sys
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO

from midiforge.errors import MidiforgeError
from midiforge.files.disk import no_file, reason

VARIABLE = "MIDIFORGE_SOUNDFONT"
ENDINGS = (".sf2", ".sf3")

_SAMPLE_SIZE = 2  # bytes
_CHUNK = struct.Struct("<4sI")
_LONGEST_LISTS = 1 << 28  # bytes
# What distributions call their General MIDI set, the one a person chose first.
_SETS = ("default-gm", "default", "fluidr3_gm", "fluidr3", "generaluser", "timgm6mb")
_RANKS = {name: rank for rank, name in enumerate(_SETS)}

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
    if named := os.environ.get(VARIABLE, ""):
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
        if what := no_file(path):
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
        yield from sorted(found, key=lambda path: _RANKS.get(path.stem.lower(), len(_RANKS)))


def _folders() -> Iterator[Path]:
    for name in _FOLDERS.get(sys.platform, _FOLDERS["linux"]):
        yield Path(os.path.expanduser(name))  # noqa: PTH111  # no home directory is no error here


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
    there = banks(*described)
    if there is None:
        return _DAMAGED
    return None if DRUM_BANK in there else _NO_DRUMS


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
        samples = length // _SAMPLE_SIZE if name == b"smpl" else samples
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


# List: how its records are packed.
_RECORDS = {
    b"phdr": struct.Struct("<20sHHHIII"),
    b"pbag": struct.Struct("<HH"),
    b"pmod": struct.Struct("<HHhHH"),
    b"pgen": struct.Struct("<HH"),
    b"inst": struct.Struct("<20sH"),
    b"ibag": struct.Struct("<HH"),
    b"imod": struct.Struct("<HHhHH"),
    b"igen": struct.Struct("<HH"),
    b"shdr": struct.Struct("<20sIIIIIBbHH"),
}
# List, the number of the field, and the list whose records it counts up.
_LEADS = (
    (b"phdr", 3, b"pbag"),
    (b"pbag", 0, b"pgen"),
    (b"pbag", 1, b"pmod"),
    (b"inst", 1, b"ibag"),
    (b"ibag", 0, b"igen"),
    (b"ibag", 1, b"imod"),
)
# Generators that name a record of another list: list, generator, list named.
_NAMES = ((b"pgen", 41, b"inst"), (b"igen", 53, b"shdr"))
_PROGRAM, _BANK, _ZONES = 1, 2, 3  # fields of phdr
_KEYS, _INSTRUMENT, _SAMPLE = 43, 41, 53  # generators: a range of keys, what a zone plays
DRUM_BANK = 128
_FIRST, _LAST, _KIND = 1, 2, 9  # fields of shdr
_ROM, _VORBIS = 0x8000, 0x10  # kinds of samples whose place is not counted in samples


def banks(lists: Mapping[bytes, bytes], samples: int) -> set[int] | None:
    """The banks of the presets; None if the lists do not fit together.

    lists: the content of each by its name. samples: how many the file has.
    """
    if any(not lists.get(name) or len(lists[name]) % _RECORDS[name].size for name in _RECORDS):
        return None
    found = _unpacked(lists, *_RECORDS)
    for name, field, led in _LEADS:
        starts = [record[field] for record in found[name]]
        # The record that marks the end of a list of generators or modulators may be left out.
        if any(b < a for a, b in pairwise(starts)) or starts[-1] > len(found[led]):
            return None
    for name, generator, named in _NAMES:
        # The last record of what is named marks its end, and that of the generators is empty.
        last = len(found[named]) - 1
        if any(kind == generator and which >= last for kind, which in found[name][:-1]):
            return None
    for sample in found[b"shdr"][:-1]:
        outside = not sample[_FIRST] <= sample[_LAST] <= samples
        if outside and not sample[_KIND] & (_ROM | _VORBIS):
            return None
    return {preset[_BANK] for preset in found[b"phdr"][:-1]}


def _unpacked(lists: Mapping[bytes, bytes], *names: bytes) -> dict[bytes, list[tuple[Any, ...]]]:
    return {name: list(_RECORDS[name].iter_unpack(lists[name])) for name in names}


def drum_keys(lists: Mapping[bytes, bytes]) -> frozenset[int]:
    """The keys that sound in the first drum set, MIDI note numbers.

    lists: as in `banks`, which found no fault in them.
    """
    found = _unpacked(lists, b"phdr", b"pbag", b"pgen", b"inst", b"ibag", b"igen")
    presets = [
        (preset[_PROGRAM], preset[_ZONES], after[_ZONES])
        for preset, after in pairwise(found[b"phdr"])
        if preset[_BANK] == DRUM_BANK
    ]
    keys: set[int] = set()
    _, first, end = min(presets)
    for instrument, wanted in _zones(found[b"pbag"], found[b"pgen"], first, end, _INSTRUMENT):
        one, after = found[b"inst"][instrument : instrument + 2]
        for _, has in _zones(found[b"ibag"], found[b"igen"], one[1], after[1], _SAMPLE):
            keys |= wanted & has
    return frozenset(keys)


def _zones(
    bags: Sequence[Any],
    generators: Sequence[Any],
    first: int,
    end: int,
    plays: int,
) -> Iterator[tuple[int, set[int]]]:
    """The zones that play something: what, and on which keys.

    A first zone that plays nothing says what holds for all that say nothing else.
    """
    usual = set(range(128))
    for number in range(first, end):
        own: dict[int, int] = dict(generators[bags[number][0] : bags[number + 1][0]])
        keys = usual
        if _KEYS in own:
            keys = set(range(own[_KEYS] & 0xFF, (own[_KEYS] >> 8) + 1))
        if plays in own:
            yield own[plays], keys
        elif number == first:
            usual = keys
