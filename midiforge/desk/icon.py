"""An icon that opens a folder, for who never uses a terminal, as each system has such things.

Linux and its like: a desktop entry (freedesktop.org, Desktop Entry Specification 1.5) among the
programs and on the desktop. macOS and Windows: a script on the desktop, or among the programs.
"""

import os
import re
import shlex
import sys
from hashlib import sha256
from itertools import count
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import writing
from midiforge.files.names import spelled
from midiforge.files.own_file import Seal

PICTURE = Path(__file__).parent / "page" / "icon.svg"
_WORDS = "A page opens in your browser. Close this window to end it."


def place_icon(folder: Path) -> list[Path]:
    """Places an icon that opens `folder`; gives the files it is.

    Raises MidiforgeError if there is no place for it, or something else is there by its name.
    """
    folder, home = folder.resolve(), _home()
    command = [sys.executable, "-m", "midiforge", "open", str(folder)]
    if any(not word.isprintable() for word in command):
        raise MidiforgeError("no icon can name such a folder", str(folder))
    places, text, ending, remark = [home / "Desktop"], _shell(command), ".command", "#"
    if os.name == "nt":
        programs = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
        places.append(programs / "Microsoft" / "Windows" / "Start Menu" / "Programs")
        text, ending, remark = _batch(command), ".cmd", "rem"
    elif sys.platform != "darwin":
        data = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
        places = [data / "applications", _desktop(home)]
        text, ending = _entry(command, folder), ".desktop"
        with writing(places[0]):
            places[0].mkdir(parents=True, exist_ok=True)
    mark = f"folder {sha256(os.fsencode(folder)).hexdigest()[:12]}"
    seal = Seal(f"{remark} {mark}, sha256 {{}}\n")
    placed = [_free(place, folder, ending, mark) for place in places if place.is_dir()]
    if not placed:
        raise MidiforgeError("is no folder", str(places[0]), hint="icons are put there")
    for path in placed:
        seal.write(path, text)
        with writing(path):
            path.chmod(0o755)
    return placed


def _free(place: Path, folder: Path, ending: str, mark: str) -> Path:
    """A name in a place that nothing else has, such as an icon of a folder that is called the
    same."""
    for number in count(1):
        stem = spelled(_title(folder)) + (f"_{number}" if number > 1 else "")
        path = place / f"{stem}{ending}"
        if not path.exists() or (path.is_file() and mark in path.read_text("utf-8", "replace")):
            return path
    raise AssertionError


def _title(folder: Path) -> str:
    return f"midiforge {folder.name}".strip()


def _home() -> Path:
    try:
        return Path.home()
    except RuntimeError:
        raise MidiforgeError("there is no home folder") from None


def _shell(command: list[str]) -> str:
    return f"#!/bin/sh\necho {shlex.quote(_WORDS)}\nexec {shlex.join(command)}\n"


def _batch(command: list[str]) -> str:
    words = " ".join(f'"{word}"' for word in command).replace("%", "%%")
    return f"@echo off\nchcp 65001 >nul\necho {_WORDS}\n{words}\n"


def _entry(command: list[str], folder: Path) -> str:
    return "\n".join(
        (
            "[Desktop Entry]",
            "Type=Application",
            "Version=1.0",
            f"Name={_string(_title(folder))}",
            f"Comment={_string(f'Drum exercises in {folder}')}",
            f"Exec={_string(' '.join(map(_argument, command)))}",
            f"Path={_string(str(folder))}",
            f"Icon={_string(str(PICTURE))}",
            "Terminal=true",
            "Categories=Education;Music;",
            "",
        )
    )


def _argument(word: str) -> str:
    """As the specification quotes an argument of Exec."""
    return '"' + re.sub(r'([\\"`$])', r"\\\1", word).replace("%", "%%") + '"'


def _string(text: str) -> str:
    """As it has a value of type string."""
    return text.replace("\\", "\\\\")


def _desktop(home: Path) -> Path:
    """The desktop's folder, as xdg-user-dirs keeps it; it has other names in other languages."""
    config = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    try:
        told = (config / "user-dirs.dirs").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        told = ""
    found = re.search(r'^XDG_DESKTOP_DIR="(.*)"$', told, re.MULTILINE)
    desktop = Path(found[1].replace("$HOME", str(home))) if found else home / "Desktop"
    return home / "Desktop" if desktop == home else desktop
