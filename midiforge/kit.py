"""Kits: which note a voice is on a sound module, and which voice a note from the pads is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from midiforge.disk import read_toml
from midiforge.errors import MidiforgeError, nearest
from midiforge.library import shelf

ENDING = ".toml"
DEFAULT = "general-midi-1"
STRENGTHS = ("accent", "tap", "ghost", "grace", "click", "click-accent")

_HERE = Path(__file__).parent
# In a wheel the kits lie inside the package, in a checkout beside it.
FOLDER = _HERE / "kits" if (_HERE / "kits").is_dir() else _HERE.parent / "kits"

# Struck with a stick, so that the pedal decides how they sound.
_HIHAT_BY_PEDAL = ("hihat-closed", "hihat-half", "hihat-open")

_HIHAT_KEYS = ("controller", "open_below", "closed_above")
_TABLES = ("notes", "velocities", "heard", "hihat")
_KEYS = ("name", "title", "source", "channel", "program", "starts_from", *_TABLES)


@dataclass(frozen=True, slots=True)
class Kit:
    """A sound module or an electronic kit.

    channel: 1 to 16, as musicians count.
    program: 1 to 128, sent first; None to send none.
    notes: voice to note number, 0 to 127.
    velocities: strength ("accent", "tap", "ghost", "grace", "click", "click-accent") to
        velocity, 1 to 127.
    heard: note number to voice, for what the pads send.
    hihat: the hi-hat pedal's controller: "controller" (its number), "open_below" and
        "closed_above" (controller values); empty if it has none.
    """

    name: str
    title: str
    channel: int
    program: int | None
    notes: Mapping[str, int]
    velocities: Mapping[str, int]
    heard: Mapping[int, str]
    hihat: Mapping[str, int] = field(default_factory=dict)
    source: str = ""

    def note(self, voice: str) -> int:
        """The note that plays `voice`, or the nearest sound this kit has to it."""
        name = voice
        while name:
            if name in self.notes:
                return self.notes[name]
            name = shelf.voice(name).fallback
        raise MidiforgeError(
            f"the kit {self.name} has no sound for the voice {voice!r}",
            hint="add it under [notes] in a kit file",
        )

    def voice(self, number: int, pedal: int | None = None) -> str | None:
        """The voice that an incoming note is, or None if the kit does not know it.

        pedal: the last value of the hi-hat pedal's controller, if one came: the hi-hat's notes
            are then told by how far it is open, whatever their number says.
        """
        voice = self.heard.get(number)
        if pedal is None or voice not in _HIHAT_BY_PEDAL or not self.hihat:
            return voice
        if pedal < self.hihat["open_below"]:
            return "hihat-open"
        return "hihat-closed" if pedal > self.hihat["closed_above"] else "hihat-half"

    def has(self, voice: str) -> bool:
        return voice in self.notes


def kit_names() -> list[str]:
    """The kits that come with midiforge."""
    return sorted(path.stem for path in FOLDER.glob(f"*{ENDING}"))


def read_kit(name: str, folder: Path | None = None) -> Kit:
    """A kit by the path of its file, or by the name of one that comes with midiforge.

    folder: where a relative path begins; the current one if not given.
    """
    return _check(_load(name, folder or Path(), ()), str(_path(name, folder or Path())))


def _path(name: str, folder: Path) -> Path:
    """Where a kit lies: a shipped name first, else a path, with or without its ending."""
    if not name.strip():
        raise MidiforgeError("the kit's name is empty", hint=nearest("", kit_names()))
    if name in kit_names():
        return FOLDER / f"{name}{ENDING}"
    for path in (folder / name, folder / f"{name}{ENDING}"):
        if path.is_file():
            return path
    raise MidiforgeError(f"no kit is called {name!r}", hint=nearest(name, kit_names()))


def _load(name: str, folder: Path, seen: tuple[Path, ...]) -> dict[str, Any]:
    """The kit file's content, laid over the kit it starts from."""
    path = _path(name, folder)
    if path in seen:
        raise MidiforgeError("kits start from each other in a ring", str(path))
    content = read_toml(path)
    for key in content:
        if key not in _KEYS:
            raise MidiforgeError(f"unknown key {key!r}", str(path), hint=nearest(key, _KEYS))
    for key in _TABLES:
        if not isinstance(content.get(key, {}), dict):
            raise MidiforgeError("a table was expected", str(path), key)
    base_name = content.pop("starts_from", "")
    if not base_name:
        return content
    if not isinstance(base_name, str):
        raise MidiforgeError("the name of a kit was expected", str(path), "starts_from")
    try:
        base = _load(base_name, path.parent, (*seen, path))
    except MidiforgeError as error:
        raise error.within(str(path), "starts_from") from None
    merged = {**base, **content}
    for key in _TABLES:
        merged[key] = {**base.get(key, {}), **content.get(key, {})}
    return merged


def _check(content: dict[str, Any], place: str) -> Kit:
    def whole(value: object, low: int, high: int, *where: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise MidiforgeError(
                f"{value!r} is not a whole number from {low} to {high}", place, *where
            )
        return value

    def voice(value: object, *where: str) -> str:
        try:
            return shelf.voice(str(value)).name
        except MidiforgeError as error:
            raise error.within(place, *where) from None

    notes = {
        voice(name, "notes"): whole(number, 0, 127, "notes", name)
        for name, number in content.get("notes", {}).items()
    }
    if not notes:
        raise MidiforgeError("the kit has no notes", place, hint="add voices under [notes]")
    velocities: dict[str, int] = {}
    for name, value in content.get("velocities", {}).items():
        if name not in STRENGTHS:
            raise MidiforgeError(
                f"unknown strength {name!r}", place, "velocities", hint=nearest(name, STRENGTHS)
            )
        velocities[name] = whole(value, 1, 127, "velocities", name)
    for name in STRENGTHS:
        if name not in velocities:
            raise MidiforgeError(
                f"no velocity for {name!r}", place, "velocities", hint=f"starts_from = {DEFAULT!r}"
            )
    heard = {number: name for name, number in reversed(notes.items())}
    for key, name in content.get("heard", {}).items():
        if not key.isdecimal():
            raise MidiforgeError(f"{key!r} is not a note number", place, "heard")
        heard[whole(int(key), 0, 127, "heard")] = voice(name, "heard", key)
    hihat = {}
    for name, value in content.get("hihat", {}).items():
        if name not in _HIHAT_KEYS:
            hint = nearest(name, _HIHAT_KEYS)
            raise MidiforgeError(f"unknown key {name!r}", place, "hihat", hint=hint)
        hihat[name] = whole(value, 0, 127, "hihat", name)
    missing = [name for name in _HIHAT_KEYS if name not in hihat]
    if hihat and missing:
        raise MidiforgeError(f"{missing[0]!r} is missing", place, "hihat")
    if hihat and hihat["open_below"] > hihat["closed_above"]:
        raise MidiforgeError("open_below is above closed_above", place, "hihat")
    program = content.get("program")
    return Kit(
        name=str(content.get("name", Path(place).stem)),
        title=str(content.get("title", Path(place).stem)),
        channel=whole(content.get("channel", 10), 1, 16, "channel"),
        program=None if program is None else whole(program, 1, 128, "program"),
        notes=MappingProxyType(notes),
        velocities=MappingProxyType(velocities),
        heard=MappingProxyType(heard),
        hihat=MappingProxyType(hihat),
        source=str(content.get("source", "")),
    )
