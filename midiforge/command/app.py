"""All commands."""

from collections.abc import Iterator, Mapping
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge import __version__
from midiforge.command.flags import own_flags
from midiforge.command.terminal import say, say_text

if TYPE_CHECKING:
    from collections.abc import Callable

# In the order of the help: where each is in this folder, as a function or an app of its own.
COMMANDS = {
    "open": "open.open_page",
    "build": "folders.build",
    "show": "show.show",
    "sheet": "sheet.sheet",
    "loop": "folders.loop",
    "play": "play.play",
    "ports": "listing.ports",
    "review": "review.review",
    "log": "practice.log",
    "next": "practice.next_steps",
    "plan": "practice.plan",
    "practise": "practise.practise",
    "import": "groove.import_command",
    "list": "listing.listing",
    "schema": "listing.schema",
    "guide": "guide.guide",
    "kit": "kit.kit_app",
}
SETTINGS: dict[str, Any] = {
    "rich_markup_mode": None,  # flags and their help side by side, at any width
    "context_settings": {"help_option_names": ["-h", "--help"]},
}

app = typer.Typer(
    name="midiforge",
    no_args_is_help=True,
    help="Drum-set independence exercises from one drill: every placement, stage and tempo, "
    "as MIDI, as pages, played live; and what you play, heard and remembered.",
    epilog="Mind your ears and your hands: moderate volume, breaks, and stop when it hurts.",
    **SETTINGS,
)


def _version(wanted: bool) -> None:
    if wanted:
        say(f"midiforge {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


class _Commands(Mapping[str, Any]):
    """The commands by name, each imported and made when it is asked for."""

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)

    def __getitem__(self, name: str) -> Any:
        module, function = COMMANDS[name].split(".")
        return _command(name, getattr(import_module(f"midiforge.command.{module}"), function))


@cache
def _command(name: str, function: Any) -> Any:
    if isinstance(function, typer.Typer):
        return typer.main.get_command(function)
    alone = typer.Typer(add_completion=False, **SETTINGS)
    alone.command(name, cls=getattr(function, "command_class", None))(own_flags(function))
    return typer.main.get_command(alone)


@cache
def command() -> "Callable[..., object]":
    """The command line as the library runs it, made once a process."""
    group: Any = typer.main.get_command(app)
    group.commands = _Commands()
    return group  # type: ignore[no-any-return]


def explained(error: Exception) -> str | None:
    """What the command-line library found wrong with arguments; None if it is not its error.

    "" if all is said: where no argument was given, help is printed.
    """
    if isinstance(error, typer.Abort):
        raise KeyboardInterrupt from None
    message = getattr(error, "format_message", None)
    if message is None:
        return None
    context = getattr(error, "ctx", None)
    if type(error).__name__ == "NoArgsIsHelpError" and context is not None:
        say_text(context.get_help())
        return ""
    return str(message())
