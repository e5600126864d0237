"""midiforge guide"""

import sys
from pathlib import Path
from typing import Annotated

import typer

import midiforge
from midiforge.command.listing import Shelf, print_shelf
from midiforge.command.terminal import on_terminal, output, say_text
from midiforge.drill.keys import GROUPS, STAGE_KEYS
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.keys.key import Key
from midiforge.printable import print_line

FOLDER = Path(midiforge.__file__).parent / "guide"
# In the order in which a newcomer would read them.
CHAPTERS = (
    "open",
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
    "practise",
    "grooves",
    "python",
)
# The line of a chapter that stands for the list of keys.
KEYS_HERE = "[The table of keys](../drill/keys.py)"

_WIDEST = 96  # columns; longer lines are hard to read


def chapter_text(name: str) -> str:
    """A chapter as Markdown, with the list of keys where it belongs: a title, a sentence that says
    what is in it, and the rest, an empty line between."""
    lines = (FOLDER / f"{name}.md").read_text("utf-8").split("\n")
    return "\n".join(_key_list() if line.startswith(KEYS_HERE) else line for line in lines)


def summary(name: str) -> str:
    """What is in a chapter."""
    return " ".join(chapter_text(name).split("\n\n", 2)[1].split())


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
        what = f"the guide has no chapter {quoted(chapter)}"
        raise MidiforgeError(what, hint=nearest(name, CHAPTERS))
    elif on_terminal(sys.stdout):
        _print_laid_out(chapter_text(name))
    else:
        say_text(chapter_text(name))


_CONTENTS = Shelf(
    lambda: [{"name": name, "what it says": summary(name)} for name in CHAPTERS],
    only_json=(),
    below=(),
    remark=lambda: "midiforge guide NAME prints a chapter.",
)


def _print_laid_out(text: str) -> None:
    from rich.markdown import Markdown

    console = output()
    title, rest = text.split("\n\n", 1)
    page = Markdown(rest, code_theme="ansi_dark", hyperlinks=False)
    width = min(console.width, _WIDEST)
    print_line(console, [(title.removeprefix("# "), "bold")])
    print_line(console, [])
    blank = True
    for line in console.render_lines(page, console.options.update_width(width)):
        spans = [(each.text, each.style or "") for each in line]
        before, blank = blank, not any(text.strip() for text, _ in spans)
        if not (before and blank):  # one blank line is enough between any two things
            print_line(console, spans)


def _key_list() -> str:
    """Every key of a drill as a Markdown list, a heading for each group."""
    lines: list[str] = []
    for group, keys in {**GROUPS, "In a table [stage.NAME]": STAGE_KEYS}.items():
        lines += ["", f"### {group}", "", *map(_item, keys)]
    return "\n".join(lines[1:])


def _item(key: Key) -> str:
    written = str(key.default).lower() if isinstance(key.default, bool) else str(key.default)
    usual = "" if key.default in ("", False) else f" (usually `{written}`)"
    example = f" `{key.example}`" if key.example else ""
    return f"- **{key.name}**{example}{usual}: {key.help}"
