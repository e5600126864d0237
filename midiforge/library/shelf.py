"""Reads the library's TOML files, once each, and finds entries by name."""

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Protocol, TypeVar

from midiforge.errors import MidiforgeError, NoOstinato, nearest, quoted
from midiforge.frozen import frozen
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Pattern, parse_pattern
from midiforge.phrase.phrase import Phrase
from midiforge.phrase.sticking import parse_sticking

HERE = Path(__file__).parent


class _Named(Protocol):
    @property
    def title(self) -> str: ...

    @property
    def also(self) -> tuple[str, ...]: ...


T = TypeVar("T", bound=_Named)


@frozen
class Rudiment:
    """One of the Percussive Arts Society's 40 International Drum Rudiments.

    steps: grid steps to a quarter note in its usual note values.
    sticking: as `midiforge.phrase.sticking` reads it.
    note: where the sheet could differ, or usage does.
    also: other names that find it.
    """

    number: int
    name: str
    title: str
    family: str
    steps: int
    sticking: str
    note: str = ""
    also: tuple[str, ...] = ()

    @property
    def phrase(self) -> Phrase:
        return parse_sticking(self.sticking, name=self.name)


@frozen
class LibraryOstinato:
    """A repeating part with a trade name.

    kind: "foot", "hand" or "timeline" (which no limb of the player need play).
    meter: where it is at home; steps: grid steps to that meter's beat.
    limb: who usually plays it; None for a timeline.
    voice: "" for what the limb usually plays.
    partner: the ostinato that usually goes with it; "" for none.
    clave: "3-2" or "2-3" if it is the clave, or leans on it, that way round; else "".
    note: where usage differs.
    also: other names that find it.
    """

    name: str
    title: str
    family: str
    kind: str
    meter: Meter
    steps: int
    limb: Limb | None
    text: str
    source: str
    voice: str = ""
    partner: str = ""
    clave: str = ""
    note: str = ""
    also: tuple[str, ...] = ()

    @property
    def pattern(self) -> Pattern:
        return parse_pattern(self.text, self.meter, self.meter.beat / self.steps)


@frozen
class Voice:
    """A sound by its name.

    fallback: what a kit without it plays instead; "" for none.
    sign: how it is written, such as "G5 x open"; "" for as its fallback is.
    pad: the voice whose pad it is a zone or a sound of; "" for one of its own.
    also: other names that find it.
    """

    name: str
    title: str
    fallback: str = ""
    sign: str = ""
    pad: str = ""
    also: tuple[str, ...] = ()


@cache
def rudiments() -> Mapping[str, Rudiment]:
    """The 40 rudiments by name, in the society's order."""
    return {entry["name"]: Rudiment(**entry) for entry in entries("rudiments", "rudiment")}


@cache
def ostinatos() -> Mapping[str, LibraryOstinato]:
    """The ostinatos by name."""
    return {entry["name"]: _ostinato(entry) for entry in entries("ostinatos", "ostinato")}


@cache
def voices() -> Mapping[str, Voice]:
    """The voices by name."""
    return {entry["name"]: Voice(**entry) for entry in entries("voices", "voice")}


def rudiment(name: str) -> Rudiment:
    """The rudiment of that name, other name or title, whatever its case, spaces and hyphens."""
    return find(name, rudiments(), "rudiment")


def ostinato(name: str) -> LibraryOstinato:
    """The ostinato of that name, other name or title."""
    return find(name, ostinatos(), "ostinato", NoOstinato)


def voice(name: str) -> Voice:
    """The voice of that name, other name or title."""
    return find(name, voices(), "voice")


def slug(text: str) -> str:
    """Lower case, words joined by hyphens, nothing but letters, digits and hyphens."""
    from unicodedata import normalize

    plain = normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    kept = "".join(letter if letter.isalnum() else "-" for letter in plain)
    return "-".join(part for part in kept.split("-") if part)


def among(name: str, shelf: Mapping[str, T]) -> T | None:
    """The entry of a shelf by name, other name or title; None if there is none."""
    wanted = slug(name)
    if wanted in shelf:
        return shelf[wanted]
    entries = (entry for entry in shelf.values() if wanted in (*entry.also, slug(entry.title)))
    return next(entries, None)


def find(
    name: str, shelf: Mapping[str, T], what: str, error: type[MidiforgeError] = MidiforgeError
) -> T:
    """The entry of a shelf by name, other name or title; raises an error if there is none.

    what: how errors call what was meant; error: their kind.
    """
    entry = among(name, shelf)
    if entry:
        return entry
    others = {other: known for known, entry in shelf.items() for other in entry.also}
    hint = nearest(slug(name), [*shelf, *others])
    for other, known in others.items():
        hint = hint.replace(f"{other!r}?", f"{other!r}, which is {known!r}?")
    raise error(f"no {what} is called {quoted(name)}", hint=hint)


def entries(file: str, table: str) -> list[dict[str, Any]]:
    """The tables of one of the library's files, as they are written."""
    with (HERE / f"{file}.toml").open("rb") as stream:
        entries: list[dict[str, Any]] = tomllib.load(stream)[table]
    return [{**entry, "also": tuple(entry.get("also", ()))} for entry in entries]


def _ostinato(entry: dict[str, Any]) -> LibraryOstinato:
    limb = Limb(entry["limb"]) if entry["limb"] else None
    known = {**entry, "meter": Meter.parse(entry["meter"]), "limb": limb}
    return LibraryOstinato(text=known.pop("pattern"), **known)
