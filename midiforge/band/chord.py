"""Chords: their symbols, and progressions of them that go round.

Symbols are read by pychord in the spellings that musicians use.
"""

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from midiforge.errors import MidiforgeError, nearest, quoted, within
from midiforge.frozen import frozen
from midiforge.library.band import pitch_class
from midiforge.model.meter import Meter

_SYMBOL = re.compile(r"([A-G])([#♯b♭]?)(.*?)(?:/([A-G])([#♯b♭]?))?")
_NO_CHORD = ("N.C.", "NC", "N.C")

# How else people write what the library calls by one name; tried from the top, whole beginnings.
_SPELLINGS = (
    (r"(?:ø|Ø|o/|hdim)9", "m9b5"),
    (r"(?:ø|Ø|o/|hdim)11", "m11b5"),
    (r"(?:ø|Ø|o/|hdim|m7b5|min7b5|-7b5|m7-5)7?", "m7b5"),
    (r"(?:°|o|dim)(?:maj|M|Δ|△|\^)7?", "dimmaj7"),
    (r"(?:°|o|dim)7", "dim7"),
    (r"(?:°|o|dim)", "dim"),
    (r"(?:m|mi|min|-)(?:maj|Maj|ma(?!dd)|M|Δ|△|\^)7?9", "mM9"),
    (r"(?:m|mi|min|-)(?:(?:maj|Maj|ma(?!dd)|M|Δ|△|\^)7?|#7)", "mM7"),
    (r"(?:m|mi|min|-)(?:\+|aug)$", "m#5"),
    (r"(?:aug|\+)(?:maj|Maj|M|Δ|△|\^)7?", "augmaj7"),
    (r"(?:major|Major|maj|Maj|MA|Ma|ma|M)(?=7|9|11|13)", "maj"),
    (r"(?:major|Major|maj|Maj|MA|Ma|ma(?!dd)|M)", ""),
    (r"(?:minor|min|mi|m|-)", "m"),
    (r"(?:Δ|△|\^)7?(?=9|13)", "maj"),
    (r"(?:Δ|△|\^)7?", "maj7"),
    (r"(?:aug|\+)", "aug"),
    (r"(?:7\+|7aug)$", "7#5"),
    (r"sus(7|9|13)$", r"\1sus4"),
    (r"j(?=7|9)", "maj"),
    (r"7M$", "maj7"),
    (r"dom7?", "7"),
)
_ALTERATION = re.compile(r"([b#+-])(5|6|9|11|13)|(sus)([24]?)|(add)(2|4|6|9|11|13)|(no|omit)(3|5)")
_DEGREES = {2: 2, 4: 5, 5: 7, 6: 9, 9: 14, 11: 17, 13: 21}
_ALTERED = ("alt", "7alt")
_ORDINAL = "º"  # what many keyboards have for a circle
_TENSIONS = re.compile(r"\(([^()]*)\)")


@frozen
class Chord:
    """A chord by its symbol.

    symbol: as typed. root_name: such as "F#"; root: its pitch class, 0 for C.
    quality: what is typed between root and bass.
    tones: semitones above the root, rising, the root's 0 first; ninths and so on above 12.
    bass_name, bass: of the lowest note, the root where the symbol names no other ("").
    """

    symbol: str
    root_name: str
    root: int
    quality: str
    tones: tuple[int, ...]
    bass_name: str
    bass: int

    @property
    def pitch_classes(self) -> frozenset[int]:
        """All of them, a foreign bass included."""
        return frozenset({(self.root + tone) % 12 for tone in self.tones} | {self.bass})

    @property
    def third(self) -> int:
        """Semitones from the root to what makes it major, minor or suspended; a fifth if bare."""
        return self._first(4, 3, 5, 2, 7)

    @property
    def fifth(self) -> int:
        return self._first(7, 6, 8)

    @property
    def seventh(self) -> int:
        """Semitones to the seventh, else the sixth, else the octave."""
        return self._first(10, 11, 9, 12)

    def _first(self, *wanted: int) -> int:
        return next((tone for tone in wanted if tone in self.tones), wanted[-1])


@cache
def read_chord(text: str) -> Chord | None:
    """The chord of a symbol such as "Dm7", "F#m7b5" or "C7/E"; None for no chord ("N.C.").

    Raises MidiforgeError for what is no chord.
    """
    if text.upper() in _NO_CHORD:
        return None
    match = _SYMBOL.fullmatch(text.replace("6/9", "69"))
    if not match:
        hint = "a chord begins with a capital letter, such as Dm7 or Bb7"
        if text[:1].islower() and _SYMBOL.fullmatch(text[0].upper() + text[1:]):
            hint = f"did you mean {text[0].upper() + text[1:]!r}?"
        elif text[:1] in ("H", "h") and _SYMBOL.fullmatch(f"B{text[1:]}"):
            hint = f"did you mean {f'B{text[1:]}'!r}? H is written B here"
        raise MidiforgeError(f"{quoted(text)} is no chord", hint=hint)
    quality = match[3]
    tones = _tones(quality)
    if tones is None:
        hint = nearest(_spelled(quality.rstrip("/")), _known()).replace("'", "")
        if hint.startswith("did"):
            hint = f"did you mean {match[1]}{match[2]}{hint.removeprefix('did you mean ')}"
        else:
            hint = "such as 7, m7, maj7, m7b5, dim7, sus4, 7b9 or 13 after the root"
        raise MidiforgeError(f"{quoted(text)} is no chord we know", hint=hint)
    root_name, root = _note(match[1], match[2])
    bass_name, bass = _note(match[4], match[5]) if match[4] else ("", root)
    return Chord(text, root_name, root, quality, tones, bass_name, bass)


def lowest_of(pitch_class: int, low: int) -> int:
    """The lowest note of a pitch class from `low` on."""
    return low + (pitch_class - low) % 12


def octaves(pitch_class: int, low: int, high: int) -> Sequence[int]:
    """The notes of a pitch class within a range; the lowest one whatever the range."""
    first = lowest_of(pitch_class, low)
    return range(first, high + 1, 12) or (first,)


def _note(letter: str, sign: str) -> tuple[str, int]:
    name = letter + sign.replace("♯", "#").replace("♭", "b")
    return name, pitch_class(name)


@cache
def _known() -> dict[str, tuple[int, ...]]:
    """The tones of every quality."""
    from pychord import QualityManager

    qualities = QualityManager().get_qualities()
    known = {name: tuple(sorted(quality.components)) for name, quality in qualities.items()}
    return known | _OWN


def _spelled(quality: str) -> str:
    """The quality as the library spells it, as far as spelling goes."""
    text = _TENSIONS.sub(_added, quality.replace(_ORDINAL, "°"))
    text = re.sub(r"[(),\s]", "", text).replace("♯", "#").replace("♭", "b")
    text = re.sub(r"/(?=maj|Maj|M7|Δ|△)", "", text.removesuffix("."))
    for pattern, name in _SPELLINGS:
        match = re.match(pattern, text)
        if match:
            return match.expand(name) + text[match.end() :]
    return text


def _added(match: re.Match[str]) -> str:
    """Tensions in brackets: a number without a sign is added."""
    parts = re.split(r"[,\s]+", match[1].strip())
    return "".join(f"add{part}" if part in ("9", "11", "13") else part for part in parts)


def _tones(quality: str) -> tuple[int, ...] | None:
    known, text = _known(), _spelled(quality)
    if quality in known:
        return known[quality]
    if text in _ALTERED:
        return known["7#9#5"]
    # The longest beginning that is a quality, and what is altered in it or added to it.
    for end in range(len(text), -1, -1):
        core, rest = text[:end], text[end:]
        if core in known and not _ALTERATION.sub("", rest):
            tones = set(known[core])
            for alteration in _ALTERATION.finditer(rest):
                _alter(tones, alteration)
            return tuple(sorted(tones))
    return None


# What the library lacks, or reads with an eleventh that no lead sheet means.
_OWN = {
    "7b9b13": (0, 4, 7, 10, 13, 20),
    "13b9": (0, 4, 7, 10, 13, 21),
    "13#9": (0, 4, 7, 10, 15, 21),
    "m11b5": (0, 3, 6, 10, 14, 17),
    "m#5": (0, 3, 8),
    "m13": (0, 3, 7, 10, 14, 17, 21),
    "mM9": (0, 3, 7, 11, 14),
    "dimmaj7": (0, 3, 6, 11),
    "aug7": (0, 4, 8, 10),
    "aug9": (0, 4, 8, 10, 14),
    "augmaj7": (0, 4, 8, 11),
    "augM7": (0, 4, 8, 11),
    "maj11": (0, 4, 7, 11, 14, 17),
    "13sus4": (0, 5, 7, 10, 14, 21),
    "13sus": (0, 5, 7, 10, 14, 21),
}


def _alter(tones: set[int], match: re.Match[str]) -> None:
    sign, degree, sus, sus_degree, add, added, _, left = match.groups()
    if sign:
        plain = _DEGREES[int(degree)]
        tones.discard(plain)
        tones.add(plain + (1 if sign in "#+" else -1))
    elif sus:
        tones -= {3, 4}
        tones.add(_DEGREES[int(sus_degree or 4)])
    elif add:
        tones.add(_DEGREES[int(added)])
    else:
        tones -= {3, 4} if left == "3" else {6, 7, 8}


MOST_BARS = 256
_REPEAT = "%"  # the bar before once more, as it is written by hand
_GOES_ON = (_REPEAT, "/")  # within a bar: the chord before for its share of the beats


class Change(NamedTuple):
    """A chord from its first moment, in quarter notes; None for no chord."""

    time: Fraction
    chord: Chord | None
    symbol: str


@frozen
class Progression:
    """Chords that go round.

    bars: how many, of `bar` quarter notes. changes: from time 0 on, rising.
    """

    bars: int
    bar: Fraction
    changes: tuple[Change, ...]

    @property
    def length(self) -> Fraction:
        return self.bars * self.bar


def read_progression(text: str, meter: Meter) -> Progression:
    """A progression from chord symbols, bars divided by |, such as "Dm7 | G7 | Cmaj7 | % ".

    Several chords in a bar share its beats as evenly as they can, the earlier ones longer; %
    repeats the bar before, within a bar % or / goes on with the chord before; N.C. is no chord.
    Raises MidiforgeError that names bar and chord.
    """
    if ":" in text:
        raise MidiforgeError(
            "repeat signs are not read", hint="the whole goes round; write out what comes twice"
        )
    bars = [part.split() for part in text.strip().strip("|").split("|")]
    if not any(bars):
        raise MidiforgeError("there are no chords", hint="such as 'Dm7 | G7 | Cmaj7 | A7'")
    if len(bars) > MOST_BARS:
        raise MidiforgeError(f"the progression has {len(bars)} bars", hint=f"up to {MOST_BARS}")
    changes: list[Change] = []
    before: list[str] = []
    for number, symbols in enumerate(bars, start=1):
        place = f"bar {number}"
        if symbols == [_REPEAT]:
            if not before:
                raise MidiforgeError("there is no bar before to repeat", place)
            symbols = before
        if not symbols:
            raise MidiforgeError("the bar is empty", place, hint="% repeats the bar before")
        beats = meter.beats
        if len(symbols) > len(beats):
            raise MidiforgeError(
                f"{len(symbols)} chords in a bar of {len(beats)} beats",
                place,
                hint="at most one a beat",
            )
        before = symbols
        for i, symbol in enumerate(symbols):
            if symbol in _GOES_ON and changes:
                continue
            beat = -(-i * len(beats) // len(symbols))
            with within(place):
                chord = read_chord(symbol)
            time = (number - 1) * meter.bar + beats[beat]
            changes.append(Change(time, chord, symbol if chord else ""))
    return Progression(len(bars), meter.bar, tuple(changes))
