"""Help of commands that take a drill: what the command does first, then the drill's keys by
group."""

from typing import Any

import typer
from typer.core import TyperCommand

from midiforge.drill.keys import GROUPS

_GROUP_OF = {
    key.name.replace(".", "_"): group for group, keys in GROUPS.items() for key in keys
} | {"set_keys": "Anything else"}


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
