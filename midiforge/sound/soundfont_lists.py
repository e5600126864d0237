"""The nine lists of a SoundFont that say how its presets are made of samples, checked.

After the SoundFont Technical Specification 2.04, section 7: each is an array of records of one
size, each record but that of a modulator or generator says where its part of the next list
begins, and the last record only marks the end. A synthesiser may crash on lists that do not fit.
"""

import struct
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

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
    found: dict[bytes, list[tuple[int, ...]]] = {}
    for name, record in _RECORDS.items():
        content = lists.get(name, b"")
        if not content or len(content) % record.size:
            return None
        found[name] = list(record.iter_unpack(content))
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


def drum_keys(lists: Mapping[bytes, bytes]) -> frozenset[int]:
    """The keys that sound in the first drum set, MIDI note numbers.

    lists: as in `banks`, which found no fault in them.
    """
    found = {
        name: list(record.iter_unpack(lists[name]))
        for name, record in _RECORDS.items()
        if name in (b"phdr", b"pbag", b"pgen", b"inst", b"ibag", b"igen")
    }
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
