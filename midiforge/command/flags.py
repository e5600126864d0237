"""Flags that several commands have, and what the library says of a parameter, said of its flag."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from midiforge.errors import MidiforgeError, WrongArgument, quoted

AsJson = Annotated[bool, typer.Option("--json", help="Print as JSON.")]
Folder = Annotated[str, typer.Option("--out", metavar="DIR", help="The folder to write.")]
Log = Annotated[
    str, typer.Option("--log", metavar="FILE", help="Another log. [MIDIFORGE_LOG, or your own]")
]
Only = Annotated[
    str, typer.Option("--only", metavar="N,N-N", help="Only these exercises, by number.")
]
Picture = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE.svg", help="Draw to an SVG file instead."),
]
Player = Annotated[
    str, typer.Option("--player", metavar="NAME", help="Who plays. [the log's usual player]")
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only errors.")]


T = TypeVar("T")


def read_flag(flag: str, read: Callable[[str], T], text: str) -> T:
    """What a flag's text says; what is wrong with it is said of the flag."""
    try:
        return read(text)
    except MidiforgeError as error:
        raise error.within(flag) from None


def day_of(text: str) -> date | None:
    """The day that --date names; None for none. Raises MidiforgeError for what is no day."""
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise MidiforgeError(
            f"{quoted(text)} is not a day", "--date", hint="such as 2026-03-31"
        ) from None


@contextmanager
def flags(**names: str) -> Iterator[None]:
    """Errors about these parameters name their flags, where those are called otherwise."""
    try:
        yield
    except WrongArgument as error:
        if error.parameter not in names:
            raise
        raise error.called(names[error.parameter]) from None
