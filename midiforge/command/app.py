"""All commands, and what becomes of their errors."""

import sys
from typing import Annotated

import typer

from midiforge import __version__
from midiforge.command.build import build
from midiforge.command.listing import listing
from midiforge.command.show import show
from midiforge.errors import MidiforgeError

INTERRUPTED = 130
WRONG_INPUT = 2

app = typer.Typer(
    name="midiforge",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # flags and their help side by side, at any width
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Writes drum-set independence exercises as MIDI: one drill in, every placement, "
    "stage and tempo out.",
    epilog="Mind your ears and your hands: moderate volume, breaks, and stop when it hurts.",
)
app.command()(build)
app.command()(show)
app.command("list")(listing)


@app.command()
def schema() -> None:
    """Print the JSON Schema of drill files, for editors."""
    import json

    from midiforge.drill.schema import drill_schema

    print(json.dumps(drill_schema(), indent=2))


def _version(wanted: bool) -> None:
    if wanted:
        print(f"midiforge {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


def run(arguments: list[str]) -> int:
    """Runs a command line; gives its exit code. Errors take one line on standard error."""
    try:
        code = app(arguments, prog_name="midiforge", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except MidiforgeError as error:
        return _failed(str(error))
    except KeyboardInterrupt:
        return _failed("interrupted", INTERRUPTED)
    except BrokenPipeError:
        # Whoever read our output has had enough; say no more, not even at exit.
        import os

        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        # The command-line library raises what it finds wrong with arguments.
        if isinstance(error, typer.Abort) or type(error).__name__ == "Abort":
            return _failed("interrupted", INTERRUPTED)
        message = getattr(error, "format_message", None)
        if message is None:
            raise
        name = type(error).__name__
        text = message()
        return _failed(text if text else name) if name != "NoArgsIsHelpError" else WRONG_INPUT


def _failed(text: str, code: int = WRONG_INPUT) -> int:
    line = " ".join(text.split())
    print(f"midiforge: {line}", file=sys.stderr)
    return code
