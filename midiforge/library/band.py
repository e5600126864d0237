"""Those who play beside the drummer, from the library: percussion, instruments and styles."""

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from typing import Any

from midiforge.frozen import frozen
from midiforge.library.shelf import entries, find
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Pattern, parse_pattern

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "b": -1, "#": 1}


@frozen
class Percussion:
    """A percussion player's part.

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
    variation: Mapping[str, str]
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
    """How one player of a style plays.

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
    """A way of playing beside the drummer.

    clave: the way round its patterns are written for; "" for any.
    goes_with: the foot patterns that ask for it. locked: whether the bass goes with the bass drum.
    percussion: who plays along, as a drill would write it.
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
    return {each["name"]: _percussion(each) for each in entries("percussion", "percussion")}


@cache
def instruments() -> Mapping[str, Instrument]:
    """The instruments with pitch by name."""
    return {each["name"]: _instrument(each) for each in entries("instruments", "instrument")}


@cache
def styles() -> Mapping[str, Style]:
    """The styles by name."""
    return {each["name"]: _style(each) for each in entries("styles", "style")}


def basses() -> Mapping[str, Instrument]:
    """The instruments that play a bass line."""
    return _of_role("bass")


def comps() -> Mapping[str, Instrument]:
    """The instruments that play chords."""
    return _of_role("comp")


def _of_role(role: str) -> Mapping[str, Instrument]:
    return {each.name: each for each in instruments().values() if each.role == role}


def style(name: str) -> Style:
    """The style of that name, other name or title."""
    return find(name, styles(), "style")


def instrument(name: str, role: str) -> Instrument:
    """The instrument of that name, for "bass" or "comp"."""
    return find(name, _of_role(role), f"{role} instrument")


def pitch(name: str) -> int:
    """The MIDI note number of a scientific pitch name such as "Eb4"; C4 is 60."""
    match = re.fullmatch(r"([A-G])([b#]?)(-?[0-9])", name)
    if not match:
        raise ValueError(name)
    return 12 * (int(match[3]) + 1) + _STEPS[match[1]] + _SIGNS[match[2]]


def _percussion(entry: dict[str, Any]) -> Percussion:
    fields = {"variation": {}, **entry, "meter": Meter.parse(entry["meter"])}
    return Percussion(**fields)


def _instrument(entry: dict[str, Any]) -> Instrument:
    return Instrument(
        **{**entry, "lowest": pitch(entry["lowest"]), "highest": pitch(entry["highest"])}
    )


def _style(entry: dict[str, Any]) -> Style:
    meter = Meter.parse(entry["meter"])
    players = {role: _figure(entry[role], meter) for role in ("bass", "comp")}
    listed = {key: tuple(entry.get(key, ())) for key in ("goes_with", "percussion")}
    return Style(**{**entry, **players, **listed, "meter": meter})


def _figure(entry: dict[str, Any], meter: Meter) -> Figure:
    return Figure(
        instrument=entry["instrument"],
        step=meter.beat / entry["steps"],
        pattern=_marks(entry["pattern"]),
        lowest=pitch(entry["lowest"]),
        highest=pitch(entry["highest"]),
        hand=entry.get("hand", ""),
        last=_marks(entry.get("last", "")),
        level=Fraction(entry.get("level", 100), 100),
        rests_at_top=entry.get("rests_at_top", False),
    )


def _marks(pattern: str) -> str:
    return "".join(mark for mark in pattern if mark not in " |")
