"""The error midiforge raises for anything a person can put right, and kinds of it."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Self

_LONGEST_QUOTE = 60
_BEGUN = 3  # letters; words that begin alike are near, too
_NEAR = 0.6  # of two words, 0 to 1, that one may be a slip of the other


class MidiforgeError(Exception):
    """Something a person can put right: what is wrong, where, and the nearest right thing.

    what: one sentence without a full stop.
    where: the places from the outermost in, such as a file, a key, a bar.
    hint: what would have been right; may be empty.
    """

    def __init__(self, what: str, *where: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = tuple(place for place in where if place)
        self.hint = hint

    def within(self, *where: str) -> Self:
        """The same error, seen from one place further out."""
        return type(self)(self.what, *where, *self.where, hint=self.hint)

    def __str__(self) -> str:
        line = ": ".join((*self.where, self.what))
        return f"{line} ({self.hint})" if self.hint else line


@contextmanager
def within(*where: str) -> Iterator[None]:
    """Whatever is wrong inside is seen from these places, the outermost first."""
    try:
        yield
    except MidiforgeError as error:
        raise error.within(*where) from None


class WrongArgument(MidiforgeError):
    """A value that a function does not take; the innermost place is the parameter's name."""

    @property
    def parameter(self) -> str:
        return self.where[-1]

    def called(self, name: str) -> MidiforgeError:
        """The same error for a person who knows the parameter by another name, such as a flag."""
        return MidiforgeError(self.what, *self.where[:-1], name, hint=self.hint)


@contextmanager
def argument(parameter: str) -> Iterator[None]:
    """Whatever is wrong inside is wrong with what was given as a parameter."""
    try:
        yield
    except MidiforgeError as error:
        raise WrongArgument(error.what, parameter, hint=error.hint) from None


class NoOstinato(MidiforgeError):
    """A name that is no ostinato's."""


def is_not(value: object, what: str, hint: str = "") -> MidiforgeError:
    """Of a value that is not what was expected: "'fast' is not a tempo"."""
    return MidiforgeError(f"{quoted(value)} is not {what}", hint=hint)


def quoted(value: object) -> str:
    """A value as a person wrote it, in quotes if it is text, cut short if it is long."""
    text = value if isinstance(value, str) else str(value)
    return repr(shortened(text)) if isinstance(value, str) else shortened(text)


def shortened(text: str) -> str:
    """The text, its end left out if it is long."""
    return text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 4] + " ..."


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint that names the known word most like `word`, or else lists a few."""
    from difflib import get_close_matches

    words = sorted(known)
    lowered = {name.lower(): name for name in reversed(words)}
    close = get_close_matches(shortened(word).lower(), lowered, n=1, cutoff=_NEAR)
    begun = [name for name in lowered if name[:_BEGUN] == word[:_BEGUN].lower()]
    close = close or (begun[:1] if len(word) >= _BEGUN else [])
    if close:
        return f"did you mean {lowered[close[0]]!r}?"
    if len(words) <= 12:
        return "known: " + ", ".join(words)
    return "known: " + ", ".join(words[:8]) + f" and {len(words) - 8} more"
