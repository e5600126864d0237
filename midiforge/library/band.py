"""The band, from the library: percussion, instruments and styles."""

from collections.abc import Mapping
from dataclasses import field
from fractions import Fraction
from functools import cache
from typing import Any

from midiforge.frozen import frozen
from midiforge.library.shelf import entries
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Pattern, parse_pattern

_NATURALS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@frozen
class Percussion:
    """A percussion part.

    clave: "3-2" or "2-3" if it leans on the clave that way round; else "".
    timeline: whether it is what the others play to.
    lines, variation: patterns by voice, as typed; no variation if empty.
    """

    name: str
    title: str
    family: str
    meter: Meter
    steps: int
    source: str
    lines: Mapping[str, str]
    variation: Mapping[str, str] = field(default_factory=dict)
    clave: str = ""
    timeline: bool = False
    also: tuple[str, ...] = ()

    def patterns(self, varied: bool = False) -> Mapping[str, Pattern]:
        """What each voice plays; as usual, or varied."""
        step = self.meter.beat / self.steps
        texts = self.variation if varied else self.lines
        return {voice: parse_pattern(text, self.meter, step) for voice, text in texts.items()}


@frozen
class Instrument:
    """An instrument with pitch.

    program: General MIDI program, from 1. lowest, highest: MIDI note numbers, sounding.
    role: "bass" or "comp".
    """

    name: str
    title: str
    program: int
    lowest: int
    highest: int
    role: str
    also: tuple[str, ...] = ()


@frozen
class Figure:
    """How the bass of a style, or its chord instrument, plays.

    instrument: its name. step: the length of one character of `pattern`, in quarter notes.
    last: what is played instead at the end of a form; "" for no change.
    lowest, highest: MIDI note numbers that its lines stay within. hand: how chords are voiced.
    level: of its velocities, so that the players balance.
    rests_at_top: whether what it would hold over the seam is not struck anew at the top.
    """

    instrument: str
    step: Fraction
    pattern: str
    lowest: int
    highest: int
    hand: str = ""
    last: str = ""
    level: Fraction = Fraction(1)
    rests_at_top: bool = False


@frozen
class Style:
    """A way of playing along with the drummer.

    clave: the way round its patterns are written for; "" for any.
    goes_with: the foot patterns that ask for it. locked: whether the bass goes with the bass drum.
    percussion: as a drill would write it.
    """

    name: str
    title: str
    family: str
    meter: Meter
    goes_with: tuple[str, ...]
    percussion: tuple[str, ...]
    bass: Figure
    comp: Figure
    source: str
    locked: bool = False
    clave: str = ""
    also: tuple[str, ...] = ()

    @property
    def swings(self) -> bool:
        """Whether its chords are played in triplets of a meter that is not compound."""
        steps = self.meter.beat / self.comp.step
        return not self.meter.is_compound and steps % 3 == 0


@cache
def percussion() -> Mapping[str, Percussion]:
    """The percussion parts by name."""
    parts = entries("percussion", "percussion")
    return {part["name"]: Percussion(**{**part, "meter": _meter(part)}) for part in parts}


@cache
def instruments() -> Mapping[str, Instrument]:
    """The instruments with pitch by name."""
    tables = entries("instruments", "instrument")
    return {table["name"]: Instrument(**_ranged(table)) for table in tables}


@cache
def styles() -> Mapping[str, Style]:
    """The styles by name."""
    return {style["name"]: _style(style) for style in entries("styles", "style")}


def basses() -> Mapping[str, Instrument]:
    """The instruments that play a bass line."""
    return instruments_of("bass")


def comps() -> Mapping[str, Instrument]:
    """The instruments that play chords."""
    return instruments_of("comp")


def instruments_of(kind: str) -> Mapping[str, Instrument]:
    """The instruments for "bass" or "comp"."""
    return {name: played for name, played in instruments().items() if played.role == kind}


def pitch(name: str) -> int:
    """The MIDI note number of a scientific pitch name such as "Eb4"; C4 is 60."""
    return _NATURALS[name[0]] + name.count("#") - name.count("b") + 12 * (int(name[-1]) + 1)


def pitch_class(name: str) -> int:
    """The pitch class of a note such as "F#": 0 for C."""
    return pitch(f"{name}4") % 12


def _style(entry: dict[str, Any]) -> Style:
    meter = _meter(entry)
    figures = {role: _figure(entry[role], meter) for role in ("bass", "comp")}
    listed = {key: tuple(entry.get(key, ())) for key in ("goes_with", "percussion")}
    return Style(**{**entry, **figures, **listed, "meter": meter})


def _figure(entry: dict[str, Any], meter: Meter) -> Figure:
    values = _ranged(entry)
    for key in ("pattern", "last"):
        values[key] = "".join(mark for mark in values.get(key, "") if mark not in " |")
    values["step"] = meter.beat / values.pop("steps")
    values["level"] = Fraction(values.get("level", 100), 100)
    return Figure(**values)


def _meter(entry: dict[str, Any]) -> Meter:
    return Meter.parse(entry["meter"])


def _ranged(entry: dict[str, Any]) -> dict[str, Any]:
    """The entry with its lowest and highest note as numbers."""
    return {**entry, "lowest": pitch(entry["lowest"]), "highest": pitch(entry["highest"])}
