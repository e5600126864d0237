"""midiforge guide"""

import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import midiforge
from midiforge.command.listing import Shelf, print_shelf
from midiforge.command.terminal import on_terminal, output, say_text
from midiforge.drill.keys import GROUPS, STAGE_KEYS
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.keys.key import Key
from midiforge.printable import print_line

if TYPE_CHECKING:
    from collections.abc import Iterator

FOLDER = Path(midiforge.__file__).parent / "guide"
# In the order in which a newcomer would read them.
CHAPTERS = (
    "drill",
    "stickings",
    "moves",
    "feet",
    "time",
    "stages",
    "band",
    "loops",
    "pages",
    "live",
    "kits",
    "takes",
    "practice",
    "grooves",
    "python",
)
# The line of a chapter that stands for the list of keys.
KEYS_HERE = "[The table of keys](../drill/keys.py)"

_WIDEST = 96  # columns; longer lines are hard to read


@dataclass(frozen=True)
class Chapter:
    """A chapter of the guide: a title, a sentence that says what is in it, and the rest."""

    name: str

    @cached_property
    def text(self) -> str:
        """All of it as Markdown, with the list of keys where it belongs."""
        lines = (FOLDER / f"{self.name}.md").read_text("utf-8").split("\n")
        return "\n".join(_key_list() if line.startswith(KEYS_HERE) else line for line in lines)

    @property
    def title(self) -> str:
        return self.text.split("\n\n", 2)[0].removeprefix("# ")

    @property
    def summary(self) -> str:
        return " ".join(self.text.split("\n\n", 2)[1].split())


def guide(
    chapter: Annotated[
        str,
        typer.Argument(
            metavar="CHAPTER",
            help="The chapter to print; without it, what there is.",
            autocompletion=lambda incomplete: [
                name for name in CHAPTERS if name.startswith(incomplete)
            ],
            show_default=False,
        ),
    ] = "",
) -> None:
    """Print a chapter of the guide, or list the chapters.

    A terminal gets it laid out; a pipe or file gets its Markdown.
    """
    name = chapter.strip().lower()
    if not name:
        print_shelf(_CONTENTS)
    elif name not in CHAPTERS:
        raise MidiforgeError(
            f"the guide has no chapter {quoted(chapter)}", hint=nearest(name, CHAPTERS)
        )
    elif on_terminal(sys.stdout):
        _print_laid_out(Chapter(name))
    else:
        say_text(Chapter(name).text)


_CONTENTS = Shelf(
    lambda: [{"name": name, "what it says": Chapter(name).summary} for name in CHAPTERS],
    only_json=(),
    below=(),
    remark=lambda: "midiforge guide NAME prints a chapter.",
)


def _print_laid_out(chapter: Chapter) -> None:
    from rich.markdown import Markdown

    console = output()
    rest = chapter.text.split("\n\n", 1)[1]
    page = Markdown(rest, code_theme="ansi_dark", hyperlinks=False)
    width = min(console.width, _WIDEST)
    print_line(console, [(chapter.title, "bold")])
    print_line(console, [])
    blank = True
    for line in console.render_lines(page, console.options.update_width(width)):
        spans = [(each.text, each.style or "") for each in line]
        before, blank = blank, not any(text.strip() for text, _ in spans)
        if not (before and blank):  # one blank line is enough between any two things
            print_line(console, spans)


def _key_list() -> str:
    """Every key of a drill as a Markdown list, a heading for each group."""
    groups = {**GROUPS, "In a table [stage.NAME]": STAGE_KEYS}
    return "\n\n".join(
        "\n".join([f"### {group}", "", *_items(keys)]) for group, keys in groups.items()
    )


def _items(keys: tuple[Key, ...]) -> "Iterator[str]":
    for key in keys:
        usual = "" if key.default in ("", False) else f" (usually `{_written(key.default)}`)"
        example = f" `{key.example}`" if key.example else ""
        yield f"- **{key.name}**{example}{usual}: {key.help}"


def _written(value: object) -> str:
    """A value as a drill file has it."""
    return str(value).lower() if isinstance(value, bool) else str(value)
