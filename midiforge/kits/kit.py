"""Kits: which note a voice is on a sound module, and which voice a note from the pads is."""

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import field
from functools import cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from midiforge.errors import MidiforgeError, is_not, nearest, quoted
from midiforge.files.disk import is_file, read_toml, real, way
from midiforge.frozen import frozen
from midiforge.library import shelf

ENDING = ".toml"
DEFAULT = "general-midi-1"
STRENGTHS = ("accent", "tap", "ghost", "grace", "click", "click-accent")

COMMANDS = (
    "pause",
    "next",
    "previous",
    "again",
    "slower",
    "faster",
    "hands",
    "feet",
    "click",
    "percussion",
    "bass",
    "chords",
    "layer",
    "softer",
    "louder",
    "hurts",
    "quit",
)

_HERE = Path(__file__).parent
# In a wheel the kits lie beside this module, in a checkout beside the package.
FOLDER = _HERE if any(_HERE.glob("*.toml")) else _HERE.parent.parent / "kits"

# Struck with a stick, so that the pedal decides how they sound.
_HIHAT_BY_PEDAL = ("hihat-closed", "hihat-half", "hihat-open")

_HIHAT_KEYS = ("controller", "open_below", "closed_above")
_TABLES = ("notes", "velocities", "heard", "hihat", "controls")
_TRIGGERS = {"note": 127, "controller": 127, "program": 128}
_MOST_FILES = 16  # that start from each other


@frozen
class HiHatPedal:
    """The hi-hat pedal of an electronic kit.

    controller: its number. open_below, closed_above: values of it, 0 to 127; half open between.
    """

    controller: int
    open_below: int
    closed_above: int

    def voice(self, value: int) -> str:
        """The voice of a struck hi-hat at a value of the controller."""
        if value < self.open_below:
            return "hihat-open"
        return "hihat-closed" if value > self.closed_above else "hihat-half"


@frozen
class Kit:
    """A sound module or an electronic kit.

    channel: 1 to 16, as musicians count.
    program: 1 to 128, sent first; None to send none.
    notes: voice to note number, 0 to 127.
    velocities: strength ("accent", "tap", "ghost", "grace", "click", "click-accent") to
        velocity, 1 to 127.
    heard: note number to voice, for what the pads send.
    hihat: its pedal; None if it sends nothing of the kind.
    controls: what asks for something while midiforge plays: ("note", "controller" or "program",
        its number) to a command.
    """

    name: str
    title: str
    channel: int
    program: int | None
    notes: Mapping[str, int]
    velocities: Mapping[str, int]
    heard: Mapping[int, str]
    hihat: HiHatPedal | None = None
    source: str = ""
    controls: Mapping[tuple[str, int], str] = field(default_factory=dict)

    def note(self, voice: str) -> int:
        """The note that plays `voice`, or the nearest sound this kit has to it."""
        return self.notes[self.stand_in(voice)]

    def stand_in(self, voice: str) -> str:
        """The voice itself if the kit has it, or else the one that plays instead of it."""
        name = voice
        while name:
            if name in self.notes:
                return name
            name = shelf.voice(name).fallback
        raise MidiforgeError(
            f"the kit {self.name} has no sound for the voice {voice!r}",
            hint="add it under [notes] in a kit file",
        )

    def voice(self, number: int, pedal: int | None = None) -> str | None:
        """The voice that an incoming note is, or None if the kit does not know it.

        pedal: the value of the hi-hat pedal's controller at the stroke, if one came. Where open
            and closed have notes of their own, the note counts, and the pedal only says if it is
            half open; where one note is all, the pedal alone says how far it is open.
        """
        voice = self.heard.get(number)
        if pedal is None or voice not in _HIHAT_BY_PEDAL or self.hihat is None:
            return voice
        by_pedal = self.hihat.voice(pedal)
        if {"hihat-open", "hihat-closed"} <= set(self.heard.values()):
            return "hihat-half" if by_pedal == "hihat-half" else voice
        return by_pedal

    def has(self, voice: str) -> bool:
        """Whether it has a sound of its own for a voice."""
        return voice in self.notes


def kit_names() -> list[str]:
    """The kits that come with midiforge."""
    return sorted(path.stem for path in FOLDER.glob(f"*{ENDING}"))


def read_kit(name: str | Path, folder: Path | None = None) -> Kit:
    """A kit by the path of its file, or by the name of one that comes with midiforge.

    folder: where a relative path begins; the current one if not given.
    Raises MidiforgeError that names the file, the place in it and the nearest right word.
    """
    path = _path(str(name), folder or Path())
    return _shipped(path) if path.parent == FOLDER else _read(path)


def _read(path: Path) -> Kit:
    contents = _with_bases(path, (path,))
    merged: dict[str, Any] = {table: {} for table in _TABLES}
    for content in reversed(contents):
        for key, value in content.items():
            merged[key] = {**merged[key], **value} if key in _TABLES else value
    return _complete(merged, contents[0], path)


_shipped = cache(_read)  # those do not change, and drills and takes ask for them by the hundred


def _path(name: str, folder: Path) -> Path:
    """Where a kit lies: a shipped name first, else a path, with or without its ending."""
    path = FOLDER / f"{name}{ENDING}" if name in kit_names() else kit_path(name, folder)
    if path is None:
        raise MidiforgeError(f"no kit is called {quoted(name)}", hint=nearest(name, kit_names()))
    return path


def kit_path(name: str, folder: Path) -> Path | None:
    """The file of a kit that does not come with midiforge; None if there is none.

    folder: where a relative path begins.
    """
    if not name.strip() or name in kit_names():
        return None
    return next(filter(is_file, (folder / name, folder / f"{name}{ENDING}")), None)


def named_from(home: Path, name: str, folder: Path) -> str:
    """How a file in `home` names a kit that is called so in `folder`."""
    path = kit_path(name, folder)
    return way(path, home) if path else name


def _with_bases(path: Path, files: tuple[Path, ...]) -> list[dict[str, Any]]:
    """What a kit file holds, and those it starts from, the nearest first; `files` led here."""
    own = _checked(path)
    if "starts_from" not in own:
        return [own]
    try:
        base = _path(own["starts_from"], path.parent)
        if real(base) in map(real, files):
            raise MidiforgeError("kits start from each other in a ring")
        if len(files) >= _MOST_FILES:
            raise MidiforgeError(f"more than {_MOST_FILES} kits start from each other")
        return [own, *_with_bases(base, (*files, base))]
    except MidiforgeError as error:
        raise error.within(str(path), "starts_from") from None


def _checked(path: Path) -> dict[str, Any]:
    """A kit file's own content, every key known and every value right in itself."""
    place, content = str(path), read_toml(path)
    if "sticking" in content or "every" in content:
        raise MidiforgeError("is a drill, not a kit", place, hint="a kit has [notes]")
    for key, value in content.items():
        if key not in _KEYS:
            hint = nearest(key, _KEYS)
            raise MidiforgeError(f"unknown key {quoted(key)}", place, hint=hint)
        try:
            content[key] = _KEYS[key](value)
        except MidiforgeError as error:
            raise error.within(place, key) from None
    return content


def _complete(merged: dict[str, Any], own: dict[str, Any], path: Path) -> Kit:
    """The kit that a file and those it starts from make together."""
    place, notes, velocities = str(path), merged["notes"], merged["velocities"]
    if not notes:
        raise MidiforgeError("the kit has no notes", place, hint="add voices under [notes]")
    for name in STRENGTHS:
        if name not in velocities:
            hint = f"starts_from = {DEFAULT!r}"
            raise MidiforgeError(f"no velocity for {name!r}", place, "velocities", hint=hint)
    hihat = merged["hihat"]
    missing = [name for name in _HIHAT_KEYS if name not in hihat]
    if hihat and missing:
        raise MidiforgeError(f"{missing[0]!r} is missing", place, "hihat")
    if hihat and hihat["open_below"] > hihat["closed_above"]:
        raise MidiforgeError("open_below is above closed_above", place, "hihat")
    heard = {number: voice for voice, number in reversed(notes.items())} | merged["heard"]
    name = own.get("name") or path.stem
    return Kit(
        name=name,
        title=own.get("title") or name,
        channel=merged.get("channel", 10),
        program=merged.get("program"),
        notes=MappingProxyType(notes),
        velocities=MappingProxyType(velocities),
        heard=MappingProxyType(heard),
        hihat=HiHatPedal(**hihat) if hihat else None,
        source=own.get("source", ""),
        controls=MappingProxyType({trigger: name for name, trigger in merged["controls"].items()}),
    )


# Reading one key


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise is_not(value, "a text")
    return value


def _name(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise MidiforgeError("the name of a kit was expected", hint=nearest("", kit_names()))
    return value


def _whole(low: int, high: int, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise is_not(value, f"a whole number from {low} to {high}")
    return value


def _voice(value: object) -> str:
    return shelf.voice(_text(value)).name


def _note_number(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,3}", text) or int(text) > 127:
        raise is_not(text, "a note number", "0 to 127")
    return int(text)


def _trigger(value: object) -> tuple[str, int]:
    match = re.fullmatch(r"\s*([a-z]+)\s+([0-9]{1,3})\s*", _text(value))
    if not match or match[1] not in _TRIGGERS or int(match[2]) > _TRIGGERS[match[1]]:
        what = f"{quoted(value)} is nothing a kit sends"
        raise MidiforgeError(what, hint="such as note 49 or controller 64")
    return match[1], int(match[2])


def _word(what: str, known: Collection[str], text: str) -> str:
    if text not in known:
        raise MidiforgeError(f"unknown {what} {quoted(text)}", hint=nearest(text, known))
    return text


def _table(
    left: Callable[[str], Any], right: Callable[[object], Any], value: object
) -> dict[Any, Any]:
    if not isinstance(value, dict):
        raise MidiforgeError("a table was expected")
    table = {}
    for name, content in value.items():
        key = left(name)
        try:
            table[key] = right(content)
        except MidiforgeError as error:
            raise error.within(name) from None
    return table


_MIDI = partial(_whole, 0, 127)
_KEYS: dict[str, Callable[[object], Any]] = {
    "name": _text,
    "title": _text,
    "source": _text,
    "channel": partial(_whole, 1, 16),
    "program": partial(_whole, 1, 128),
    "starts_from": _name,
    "notes": partial(_table, _voice, _MIDI),
    "velocities": partial(_table, partial(_word, "strength", STRENGTHS), partial(_whole, 1, 127)),
    "heard": partial(_table, _note_number, _voice),
    "controls": partial(_table, partial(_word, "command", COMMANDS), _trigger),
    "hihat": partial(_table, partial(_word, "key", _HIHAT_KEYS), _MIDI),
}
