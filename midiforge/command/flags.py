"""Flags: those that several commands have, a command's own, and what the library says of a
parameter, said of its flag."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Annotated, Any, TypeVar

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


C = TypeVar("C", bound=Callable[..., Any])
T = TypeVar("T")


def own_flags(command: C) -> C:
    """Gives a command the flags that the end of its docstring tells, a paragraph or line each:
    "--from N: Begin with this exercise, by number." is of its parameter `from_`."""
    told = re.split(r"\n *(?=--)", command.__doc__ or "")  # Python 3.13 takes the indent away
    command.__doc__, parameters = told[0].rstrip(), command.__annotations__
    for line in told[1:]:
        head, _, text = " ".join(line.split()).partition(": ")
        flag, _, metavar = head.partition(" ")
        name = flag[2:].replace("-", "_")
        name = name if name in parameters else f"{name}_"
        option = typer.Option(flag, metavar=metavar or None, help=text)
        parameters[name] = Annotated[parameters[name], option]
    return command


def read_flag(flag: str, read: Callable[[str], T], text: str) -> T:
    """What a flag's text says; what is wrong with it is said of the flag."""
    try:
        return read(text)
    except MidiforgeError as error:
        raise error.within(flag) from None


# Before the first, or behind the last, not every system can tell the day from the hour.
_FIRST, _LAST = date(1983, 1, 1), date(2999, 12, 31)  # MIDI's first year


def day_of(text: str) -> date | None:
    """The day that --date names; None for none. Raises MidiforgeError for what is no day, or
    one that no log has."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise MidiforgeError(
            f"{quoted(text)} is not a day", "--date", hint="such as 2026-03-31"
        ) from None
    if not _FIRST <= day <= _LAST:
        raise MidiforgeError(f"{day} is too far off", "--date", hint=f"from {_FIRST} to {_LAST}")
    return day


def named(out: str, what: str, example: str) -> str:
    """What --out names, and that it does."""
    if not out.strip():
        raise MidiforgeError(f"no {what} is named", "--out", hint=f"such as --out {example}")
    return out


def new_file(out: str | Path) -> Path:
    """The TOML file that --out names, with or without its ending, in a folder that is there."""
    path = Path(out) if Path(out).suffix else Path(out).with_suffix(".toml")
    if not path.parent.is_dir():
        raise MidiforgeError("there is no such folder", "--out", str(path.parent))
    return path


@contextmanager
def flags(**names: str) -> Iterator[None]:
    """Errors about these parameters name their flags, where those are called otherwise."""
    try:
        yield
    except WrongArgument as error:
        if error.parameter not in names:
            raise
        raise error.called(names[error.parameter]) from None
