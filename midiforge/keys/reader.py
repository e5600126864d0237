"""The value of one key, checked against what is known of it."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from midiforge.errors import MidiforgeError
from midiforge.keys import values
from midiforge.keys.key import Key
from midiforge.keys.values import items_of, of_kind

T = TypeVar("T")


class KeyReader:
    """Reads single keys of a drill.

    content: keys as given, those of tables as "table.key".
    folder: where relative paths begin. known: the table of keys, by name.
    """

    def __init__(self, content: dict[str, Any], folder: Path, known: Mapping[str, Key]) -> None:
        self.known = known
        self.content = content
        self.folder = folder

    def raw(self, name: str) -> Any:
        """The value of a key, or its default, of the kind the table says."""
        key = self.known[name]
        value = self.content.get(name)
        return key.default if value is None else of_kind(key, value, name)

    def read(self, name: str, reader: Callable[[Any], T]) -> T:
        """A key through its reader, errors naming the key."""
        value = self.items(name) if self.known[name].kind == "texts" else self.raw(name)
        try:
            return reader(value)
        except MidiforgeError as error:
            raise error.within(name) from None

    def text(self, name: str) -> str:
        """A key as text."""
        return str(self.raw(name))

    def items(self, name: str) -> Any:
        """A list; one that was given empty is an error where the key's default is not."""
        key = self.known[name]
        items = items_of(self.raw(name), key.counted)
        if not items and (key.default or (name == "sticking" and name in self.content)):
            raise MidiforgeError("nothing is given", name, hint="leave the key out instead")
        return items

    def flag(self, name: str) -> bool:
        """A key that is true or false."""
        return bool(self.raw(name))

    def whole(self, name: str, low: int, high: int) -> int:
        """A whole number from `low` to `high`."""
        return self.read(name, lambda value: values.whole(value, low, high))

    def number(self, name: str, low: float, high: float) -> float:
        """A number from `low` to `high`."""
        return self.read(name, lambda value: values.number(value or 0, low, high))

    def both(self, name: str, no: str, yes: str) -> tuple[bool, ...]:
        """One of two words, or "both" for one after the other."""
        return {no: (False,), yes: (True,), "both": (False, True)}[self.text(name)]
