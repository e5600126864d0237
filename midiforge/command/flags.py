"""Flags: those that several commands have, a command's own, and what the library says of a
parameter, said of its flag."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from midiforge.errors import MidiforgeError, WrongArgument

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
