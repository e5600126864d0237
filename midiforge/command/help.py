"""Help of commands that take a drill: what the command does first, then the drill's keys by
group."""

import re
from typing import Any

import typer
from typer.core import TyperCommand

from midiforge.drill.keys import GROUPS

_GROUP_OF = {
    key.name.replace(".", "_"): group for group, keys in GROUPS.items() for key in keys
} | {"set_keys": "Anything else"}


# What the keys do while it plays; the drummer's own way of saying it, key by key.
_KEYS = (
    ("space", "pause, and go on"),
    ("n, p, a", "the next exercise, the previous one, this one again from the top"),
    ("-, +", "this exercise slower, faster, by 2 beats a minute; no other one"),
    ("h, f, c", "silence hands, feet, click, or bring them back"),
    ("b, s, m", "the same for the band: percussion, bass, chords"),
    ("l", "choose a layer, one after the other"),
    (", .", "the chosen layer softer, louder"),
    ("q", "quit"),
)


class DrillCommand(TyperCommand):
    """A command whose flags for a drill's keys stand in groups of their own."""

    def format_options(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]
        """Writes arguments, the command's own options, then those of the drill."""
        sections: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
        sections |= {f"The drill: {group.lower()}": [] for group in _GROUP_OF.values()}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is None:
                continue
            record = (record[0], _said(record[1]))
            if parameter.param_type_name == "argument":
                sections["Arguments"].append(record)
            elif parameter.name in _GROUP_OF:
                sections[f"The drill: {_GROUP_OF[parameter.name].lower()}"].append(record)
            else:
                sections["Options"].append(record)
        for title, rows in sections.items():
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)


class PlayCommand(DrillCommand):
    """The command that has keys while it plays."""

    def format_epilog(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]  # noqa: ARG002
        """Says what the keys do."""
        with formatter.section("Keys while it plays"):
            formatter.write_dl(_KEYS)


def _said(text: str) -> str:
    """Help without the library's own way of writing limits, "[0<=x<=600]" or "[x>=0]"."""
    return re.sub(r"([0-9.]+)<=x<=([0-9.]+)", r"\1 to \2", re.sub(r" *\[x>=0\]|; x>=0", "", text))
