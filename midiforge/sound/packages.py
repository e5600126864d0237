"""The Python packages that audio needs, imported where they are used."""

from importlib import import_module
from typing import Any

from midiforge.errors import MidiforgeError

NEEDED = ("numpy", "soundfile", "mutagen", "scipy", "pyloudnorm")


def package(name: str) -> Any:
    """A package or module of one; MidiforgeError says how to get it where it is missing."""
    try:
        return import_module(name)
    except (ImportError, OSError):  # OSError: soundfile without the library it stands on
        raise MidiforgeError(
            f"audio needs the Python package {name.partition('.')[0]}",
            hint='pip install "midiforge[sound]"',
        ) from None


def check_packages() -> None:
    """Raises MidiforgeError if any of the packages is missing, before work begins."""
    for name in NEEDED:
        package(name)
