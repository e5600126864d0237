"""The nine lists of a SoundFont that say how its presets are made of samples, checked.

After the SoundFont Technical Specification 2.04, section 7: each is an array of records of one
size, each record but that of a modulator or generator says where its part of the next list
begins, and the last record only marks the end. A synthesiser may crash on lists that do not fit.
"""

import struct
from collections.abc import Mapping
from itertools import pairwise

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
_BANK = 2  # a field of phdr
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
