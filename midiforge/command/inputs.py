"""A drill from the command line: a file, flags, or a file with flags laid over it."""

import inspect
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.terminal import tell
from midiforge.drill.keys import BY_NAME, KEYS
from midiforge.errors import MidiforgeError, quoted
from midiforge.files.disk import is_file, real
from midiforge.keys.key import Key
from midiforge.keys.kinds import items_of

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill

_TYPES: dict[str, Any] = {
    "text": str | None,
    "texts": list[str] | None,
    "whole": str | None,  # the drill's reader says what is wrong with a number
    "number": str | None,
    "yes-no": bool | None,
}
_FILE = Annotated[
    Path | None,
    typer.Argument(metavar="DRILL.toml", help="A drill file; flags take the place of its keys."),
]
_SET = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Any other key of a drill file, its value as TOML: stage.duo.limbs='[\"RH\"]'.",
    ),
]


def takes_a_drill(command: Callable[..., None]) -> Callable[..., None]:
    """Gives a command with a parameter `drill` the argument and the flags to name one.

    Parameters before it are arguments that stand before the drill's.
    """
    own = list(inspect.signature(command).parameters.values())
    place = next(i for i, each in enumerate(own) if each.name == "drill")
    before, own = own[:place], own[place + 1 :]
    flags = {key.name.replace(".", "_"): key for key in KEYS if key.kind != "table"}

    def wrapped(**given: Any) -> None:
        path = given.pop("drill_file")
        settings = given.pop("set_keys") or []
        keys = {key.name: given.pop(name) for name, key in flags.items()}
        drill = _drill(path, keys, settings)
        for note in () if given.get("quiet") else drill.notes:
            tell(f"note: {note}")
        command(drill=drill, **given)

    parameters = [
        *before,
        inspect.Parameter(
            "drill_file", inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None, annotation=_FILE
        ),
    ]
    parameters += [each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in own]
    parameters += [_parameter(key) for key in flags.values()]
    parameters.append(
        inspect.Parameter("set_keys", inspect.Parameter.KEYWORD_ONLY, default=None, annotation=_SET)
    )
    wrapped.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {each.name: each.annotation for each in parameters}
    wrapped.__doc__ = command.__doc__
    wrapped.__name__ = command.__name__
    return wrapped


def _parameter(key: Key) -> inspect.Parameter:
    declared = f"{key.flag}/--no-{key.flag[2:]}" if key.kind == "yes-no" else key.flag
    usual = f" [{key.default}]" if key.default not in ("", True, False) else ""
    option = typer.Option(
        declared,
        metavar=None if key.kind == "yes-no" else key.example or None,
        help=key.help + usual,
        show_default=False,
        autocompletion=_completes(key),
    )
    return inspect.Parameter(
        key.name.replace(".", "_"),
        inspect.Parameter.KEYWORD_ONLY,
        default=None,
        annotation=Annotated[_TYPES[key.kind], option],
    )


def _completes(key: Key) -> Callable[[str], list[str]] | None:
    """What the shell offers for a key's value; None for nothing."""
    if not key.choices and not key.names:
        return None

    def words(incomplete: str) -> list[str]:
        known = [*key.choices]
        if key.names == "kits":
            from midiforge.kits.kit import kit_names

            known += kit_names()
        elif key.names:
            from midiforge.library import band as players
            from midiforge.library import shelf

            home = shelf if hasattr(shelf, key.names) else players
            known += getattr(home, key.names)()
        before, comma, last = (
            incomplete.rpartition(",") if key.kind == "texts" else ("", "", incomplete)
        )
        return [before + comma + each for each in known if each and each.startswith(last)]

    return words


def _drill(path: Path | None, keys: dict[str, Any], settings: list[str]) -> "Drill":
    from midiforge.drill.read import check_drill, read_drill

    changes: dict[str, Any] = {}
    for setting in settings:
        _merge(changes, _setting(setting))
    for name, value in keys.items():
        if value is None or value == []:
            continue
        if name == "kit":
            value = _kit_from_here(value)
        if isinstance(value, list):
            # Commas part the text of a flag as they do that of a file; so do flags given again.
            counted = BY_NAME[name].counted
            several = [part for each in value for part in items_of(each, counted)]
            value = value[0] if len(value) == 1 else several
        table, dot, inner = name.rpartition(".")
        _merge(changes, {table: {inner: value}} if dot else {name: value})
    if path is None and not changes:
        raise MidiforgeError("there is no drill", hint="name a file, or give --sticking")
    return read_drill(path, changes) if path else check_drill(changes)


def _kit_from_here(name: str) -> str:
    """A kit file in the current folder by its full path; the drill's folder is another."""
    for path in (Path(name), Path(f"{name}.toml")):
        if is_file(path):
            return str(real(path))
    return name


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
            found = tomllib.loads(f"{name} = [{written}]")
        except ValueError:
            continue
        if len(found) == 1 and "\n" not in text:
            return _unwrapped(found)
    raise MidiforgeError(f"{quoted(text)} is not KEY=VALUE", "--set")


def _unwrapped(found: dict[str, Any]) -> dict[str, Any]:
    """The tables down to a list of one value, with the value in its place."""
    [(name, inner)] = found.items()
    if isinstance(inner, dict):
        return {name: _unwrapped(inner)}
    return {name: inner[0] if len(inner) == 1 else inner}


def _merge(into: dict[str, Any], changes: dict[str, Any]) -> None:
    for name, value in changes.items():
        if isinstance(value, dict) and isinstance(into.get(name), dict):
            _merge(into[name], value)
        else:
            into[name] = value
