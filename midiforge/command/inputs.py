"""A drill from the command line: a file, flags, or a file with flags laid over it."""

import inspect
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from textwrap import TextWrapper
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand, TyperOption

from midiforge.command.flags import own_flags
from midiforge.command.terminal import tell
from midiforge.drill.keys import BY_NAME, GROUPS, KEYS
from midiforge.errors import MidiforgeError, quoted
from midiforge.files.disk import real
from midiforge.keys.key import Key
from midiforge.keys.values import items_of

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill

_FILE = Annotated[
    Path | None,
    typer.Argument(metavar="DRILL.toml", help="A drill file; flags take the place of its keys."),
]
_FILES = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="DRILL.toml ...", help="Drill files; flags take the place of their keys."
    ),
]
_SET = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Any other key of a drill file, its value as TOML: stage.duo.limbs='[\"RH\"]'.",
    ),
]
_FLAGS = {key.name.replace(".", "_"): key for key in KEYS if key.kind != "table"}

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


def takes_a_drill(
    command: Callable[..., None],
    shown_by: "type[DrillCommand] | None" = None,
    behind: str = "",
) -> Callable[..., None]:
    """Gives a command with a parameter `drill` the argument and the flags to name one.

    Parameters before it are arguments that stand before the drill's. If it is called `drills`,
    there may be several, and flags are laid over each.
    shown_by: what writes its help, if not a `DrillCommand`. behind: an argument of several files,
    the last of which is the drill if it is no MIDI file and no folder.
    """

    def wrapped(**given: Any) -> None:
        if behind:
            given[behind], given["drill_file"] = _parted(given[behind])
        paths, settings = given.pop("drill_file"), given.pop("set_keys") or []
        keys = {key.name: given.pop(name) for name, key in _FLAGS.items()}
        takes = given[behind][-1] if behind else Path()
        folder = f"{takes} is a folder of takes; " if behind and takes.is_dir() else ""
        hint = f"{folder}name a file, or give --sticking"
        named = [*dict.fromkeys(paths)] if isinstance(paths, list) and paths else [paths or None]
        drills = [_drill(path, keys, settings, hint) for path in named]
        for drill in () if given.get("quiet") else drills:
            for note in drill.notes:
                tell(f"note: {note}")
        given |= {"drills": drills} if several else {"drill": drills[0]}
        command(**given)

    taken = inspect.signature(own_flags(command)).parameters
    several = "drills" in taken
    file = _parameter("drill_file", _FILES if several else _FILE)
    setting = _parameter("set_keys", _SET)
    parameters = [file if own.name in ("drill", "drills") else own for own in taken.values()] + [
        setting
    ]
    if behind:
        parameters.remove(file)
    # What the command-line library looks at; the drill's own flags are the class's.
    wrapped.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {own.name: own.annotation for own in parameters}
    wrapped.__doc__ = command.__doc__
    wrapped.command_class = shown_by or DrillCommand  # type: ignore[attr-defined]
    return wrapped


def _parted(files: Sequence[Path]) -> tuple[list[Path], Path | None]:
    """Takes, and the drill behind them, if one is."""
    *takes, last = files
    if not takes or last.suffix.lower() in (".mid", ".midi") or last.is_dir():
        return [*files], None
    return takes, last


def _parameter(name: str, annotation: Any) -> inspect.Parameter:
    kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
    return inspect.Parameter(name, kind, default=None, annotation=annotation)


class DrillCommand(TyperCommand):
    """A command with a flag for each key of a drill, which its help only names."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params += [_option(name, key) for name, key in _FLAGS.items()]

    def format_options(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]
        """Writes arguments and the command's own options, then the flags of the drill by group."""
        sections: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record and parameter.name not in _FLAGS:
                kind = "Arguments" if parameter.param_type_name == "argument" else "Options"
                sections[kind].append((record[0], _said(record[1])))
        for title, rows in sections.items():
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)
        with formatter.section("The drill's keys as flags, each told by midiforge guide drill"):
            folded = TextWrapper(formatter.width, "  ", "    ", break_on_hyphens=False)
            for group, keys in GROUPS.items():
                flags = (_declared(key) for key in keys if key.kind != "table")
                formatter.write(folded.fill(f"{group.lower()}: {' '.join(flags)}") + "\n")


class PlayCommand(DrillCommand):
    """The command that has keys while it plays."""

    def format_epilog(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]  # noqa: ARG002
        """Says what the keys do."""
        with formatter.section("Keys while it plays"):
            formatter.write_dl(_KEYS)


def _said(text: str) -> str:
    """Help without the library's own way of writing limits, "[0<=x<=600]" or "[x>=0]"."""
    return re.sub(r"([0-9.]+)<=x<=([0-9.]+)", r"\1 to \2", re.sub(r" *\[x>=0\]|; x>=0", "", text))


def _declared(key: Key) -> str:
    return f"{key.flag}/--no-{key.flag[2:]}" if key.kind == "yes-no" else key.flag


def _option(name: str, key: Key) -> TyperOption:
    """A key's flag; its value is text, and the drill's reader says what is wrong with it."""
    usual = f" [{key.default}]" if key.default not in ("", True, False) else ""
    return TyperOption(
        param_decls=[name, _declared(key)],
        is_flag=key.kind == "yes-no",
        type=None if key.kind == "yes-no" else str,
        multiple=key.kind == "texts",
        help=key.help + usual,
        show_default=False,
        autocompletion=_completes(key),
    )


def _completes(key: Key) -> Callable[[Any, list[str], str], list[tuple[str, str] | str]] | None:
    """What the shell offers for a key's value; None for nothing."""
    if not key.choices and not key.names:
        return None

    def words(_: Any, __: list[str], incomplete: str) -> list[tuple[str, str] | str]:
        known = [*key.choices]
        if key.names == "kits":
            from midiforge.kits.kit import kit_names

            known += kit_names()
        elif key.names:
            from midiforge.library import band, shelf

            home = shelf if hasattr(shelf, key.names) else band
            known += getattr(home, key.names)()
        before, comma, last = (
            incomplete.rpartition(",") if key.kind == "texts" else ("", "", incomplete)
        )
        return [before + comma + word for word in known if word and word.startswith(last)]

    return words


def _drill(path: Path | None, keys: dict[str, Any], settings: list[str], hint: str) -> "Drill":
    from midiforge.drill.read import check_drill, read_drill

    changes: dict[str, Any] = {}
    for setting in settings:
        _merge(changes, _setting(setting))
    for name, value in keys.items():
        if value is None or value == ():
            continue
        if name == "kit":  # of the current folder; the drill's is another
            from midiforge.kits.kit import kit_path

            kit = kit_path(value, Path())
            value = str(real(kit)) if kit else value
        if isinstance(value, tuple):
            # Commas part the text of a flag as they do that of a file; so do flags given again.
            counted = BY_NAME[name].counted
            several = [part for text in value for part in items_of(text, counted)]
            value = value[0] if len(value) == 1 else several
        changes[name] = value
    if path is None and not changes:
        raise MidiforgeError("there is no drill", hint=hint)
    return read_drill(path, changes) if path else check_drill(changes)


def _setting(text: str) -> dict[str, Any]:
    """The key of "KEY=VALUE" in its tables, the value as TOML, or as a text if it is none."""
    import json
    import tomllib

    name, equals, value = text.partition("=")
    if not equals:
        raise MidiforgeError(f"{quoted(text)} sets nothing", "--set", hint="KEY=VALUE")
    bare = json.dumps(value.strip(), ensure_ascii=False)
    for written in (value, bare) if value.strip() else (bare,):
        try:  # In brackets nothing but a value can stand: no remark, no second key.
            tables = tomllib.loads(f"{name} = [{written}]")
        except ValueError:
            continue
        if len(tables) == 1 and "\n" not in text:
            return _unwrapped(tables)
    raise MidiforgeError(f"{quoted(text)} is not KEY=VALUE", "--set")


def _unwrapped(tables: dict[str, Any]) -> dict[str, Any]:
    """The tables down to a list of one value, with the value in its place."""
    [(name, inner)] = tables.items()
    if isinstance(inner, dict):
        return {name: _unwrapped(inner)}
    return {name: inner[0] if len(inner) == 1 else inner}


def _merge(into: dict[str, Any], changes: dict[str, Any]) -> None:
    for name, value in changes.items():
        if isinstance(value, dict) and isinstance(into.get(name), dict):
            _merge(into[name], value)
        else:
            into[name] = value
