"""Chord symbols as MusicXML has them: root, kind, degrees, bass.

https://www.w3.org/2021/06/musicxml40/musicxml-reference/elements/harmony/
A kind is one of the standard's list; what a chord has beside or instead of the tones of its kind
are degrees. How the symbol is typed goes along as the kind's text, so that the degrees need not
be printed.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import NamedTuple
from xml.sax.saxutils import quoteattr

from midiforge.band.chord import read_chord
from midiforge.model.band import NO_CHORD
from midiforge.notation.chords import printed

# Semitones above the root by degree; the first that fits best is taken.
_MINOR, _MAJOR = {1: 0, 3: 3, 5: 7}, {1: 0, 3: 4, 5: 7}
_KINDS: Mapping[str, Mapping[int, int]] = {
    "major": _MAJOR,
    "minor": _MINOR,
    "augmented": {1: 0, 3: 4, 5: 8},
    "diminished": {1: 0, 3: 3, 5: 6},
    "dominant": {**_MAJOR, 7: 10},
    "major-seventh": {**_MAJOR, 7: 11},
    "minor-seventh": {**_MINOR, 7: 10},
    "half-diminished": {1: 0, 3: 3, 5: 6, 7: 10},
    "diminished-seventh": {1: 0, 3: 3, 5: 6, 7: 9},
    "augmented-seventh": {1: 0, 3: 4, 5: 8, 7: 10},
    "major-minor": {**_MINOR, 7: 11},
    "major-sixth": {**_MAJOR, 6: 9},
    "minor-sixth": {**_MINOR, 6: 9},
    "dominant-ninth": {**_MAJOR, 7: 10, 9: 14},
    "major-ninth": {**_MAJOR, 7: 11, 9: 14},
    "minor-ninth": {**_MINOR, 7: 10, 9: 14},
    "dominant-11th": {**_MAJOR, 7: 10, 9: 14, 11: 17},
    "major-11th": {**_MAJOR, 7: 11, 9: 14, 11: 17},
    "minor-11th": {**_MINOR, 7: 10, 9: 14, 11: 17},
    "dominant-13th": {**_MAJOR, 7: 10, 9: 14, 11: 17, 13: 21},
    "major-13th": {**_MAJOR, 7: 11, 9: 14, 11: 17, 13: 21},
    "minor-13th": {**_MINOR, 7: 10, 9: 14, 11: 17, 13: 21},
    "suspended-second": {1: 0, 2: 2, 5: 7},
    "suspended-fourth": {1: 0, 4: 5, 5: 7},
    "power": {1: 0, 5: 7},
}
# What an added tone is called, and how far it is from that degree of a dominant chord.
_ADDED = {
    1: (9, -1), 2: (2, 0), 3: (9, 1), 4: (3, 0), 5: (4, 0), 6: (11, 1), 7: (5, 0), 8: (13, -1),
    9: (6, 0), 10: (7, 0), 11: (7, 1), 13: (9, -1), 14: (9, 0), 15: (9, 1), 17: (11, 0),
    18: (11, 1), 20: (13, -1), 21: (13, 0),
}  # fmt: skip
_ALTERABLE = {5, 7, 9, 11, 13}
_ALTERS = {"#": 1, "b": -1}
# Readers know what it is to add or alter a tone better than what it is to leave one out.
_COSTS = {"add": 2, "alter": 2, "subtract": 3}


class _Degree(NamedTuple):
    value: int
    alter: int
    kind: str  # "add", "alter" or "subtract"


@cache
def harmony(symbol: str, offset: int = 0) -> str:
    """A chord symbol as an element; `offset` in divisions from where it stands among the notes.

    Raises MidiforgeError for what is no chord.
    """
    chord = read_chord(symbol) if symbol else None
    at = f"<offset>{offset}</offset>" if offset else ""
    if chord is None:
        # Without a chord the root has no meaning, and an empty text keeps it from being shown.
        return (
            '<harmony><root><root-step text="">C</root-step></root>'
            f'<kind text="{NO_CHORD}">none</kind>{at}</harmony>\n'
        )
    kind, degrees = _kind(chord.tones)
    text = f" text={quoteattr(printed(chord.quality))}" if chord.quality else ""
    return (
        f"<harmony>{_named('root', chord.root_name)}<kind{text}>{kind}</kind>"
        f"{_named('bass', chord.bass_name) if chord.bass_name else ''}"
        f"{''.join(map(_degree, degrees))}{at}</harmony>\n"
    )


def _named(what: str, name: str) -> str:
    alter = f"<{what}-alter>{_ALTERS[name[1]]}</{what}-alter>" if name[1:] else ""
    return f"<{what}><{what}-step>{name[0]}</{what}-step>{alter}</{what}>"


def _degree(degree: _Degree) -> str:
    return (
        f'<degree print-object="no"><degree-value>{degree.value}</degree-value>'
        f"<degree-alter>{degree.alter}</degree-alter>"
        f"<degree-type>{degree.kind}</degree-type></degree>"
    )


@cache
def _kind(tones: tuple[int, ...]) -> tuple[str, tuple[_Degree, ...]]:
    """The kind that says most of a chord, and the degrees that say the rest."""
    said = {name: tuple(_differences(kind, set(tones))) for name, kind in _KINDS.items()}
    return min(said.items(), key=lambda kind: sum(_COSTS[degree.kind] for degree in kind[1]))


def _differences(kind: Mapping[int, int], tones: set[int]) -> Iterator[_Degree]:
    beside = tones - set(kind.values())
    for degree, tone in kind.items():
        if tone in tones:
            continue
        moved = [near for near in (tone - 1, tone + 1) if near in beside]
        if moved and degree in _ALTERABLE:
            beside.remove(moved[0])
            yield _Degree(degree, moved[0] - tone, "alter")
        else:
            yield _Degree(degree, 0, "subtract")
    for tone in sorted(beside):
        yield _Degree(*_ADDED.get(tone, _ADDED.get(tone % 12, (1, 0))), "add")
