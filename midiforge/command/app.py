"""All commands."""

from copy import copy
from functools import cache
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge import __version__
from midiforge.command.build import build
from midiforge.command.groove import import_command
from midiforge.command.guide import guide
from midiforge.command.help import DrillCommand, PlayCommand
from midiforge.command.kit import kit_app
from midiforge.command.listing import listing
from midiforge.command.loop import loop
from midiforge.command.play import play
from midiforge.command.ports import ports
from midiforge.command.practice import log, next_steps, plan
from midiforge.command.review import review
from midiforge.command.sheet import sheet
from midiforge.command.show import show
from midiforge.command.terminal import say, say_json, say_text

if TYPE_CHECKING:
    from collections.abc import Callable

app = typer.Typer(
    name="midiforge",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # flags and their help side by side, at any width
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Drum-set independence exercises from one drill: every placement, stage and tempo, "
    "as MIDI, as pages, played live; and what you play, heard and remembered.",
    epilog="Mind your ears and your hands: moderate volume, breaks, and stop when it hurts.",
)
app.command(cls=DrillCommand)(build)
app.command(cls=DrillCommand)(show)
app.command(cls=DrillCommand)(sheet)
app.command(cls=DrillCommand)(loop)
app.command(cls=PlayCommand)(play)
app.command()(ports)
app.command(cls=DrillCommand)(review)
app.command()(log)
app.command("next", cls=DrillCommand)(next_steps)
app.command(cls=DrillCommand)(plan)
app.command("import")(import_command)
app.add_typer(kit_app, name="kit")
app.command("list")(listing)
app.command()(guide)


@app.command()
def schema() -> None:
    """Print the JSON Schema of drill files, for editors."""
    from midiforge.drill.schema import drill_schema

    say_json(drill_schema())


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


@cache
def command(name: str = "") -> "Callable[..., object]":
    """The command line as the library runs it, made once a process; with the command of that name
    alone, if there is one, which is made sooner."""
    one = copy(app)
    one.registered_commands = [
        each for each in app.registered_commands if name in (each.name, _called(each.callback))
    ]
    one.registered_groups = []
    return typer.main.get_command(one if one.registered_commands else app)


def _called(function: "Callable[..., object] | None") -> str:
    return getattr(function, "__name__", "")


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
