"""A plan as a drill file: the drill's own keys, and which of its exercises come when."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.files.toml_text import toml_lines, toml_value
from midiforge.kits.kit import named_from
from midiforge.model.tempo import plain
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.words import turn_words
from midiforge.printable import printable


def drill_file(plan: Plan, folder: Path) -> str:
    """The plan as TOML; what a drill cannot say stands in it as remarks.

    folder: where the file is to lie; the drill's own kit is named from there.
    Raises MidiforgeError where all was practised already.
    """
    if not plan.turns:
        raise MidiforgeError(
            f"there is nothing left of {plan.minutes} minutes to write", hint="--minutes for more"
        )
    given = dict(plan.drill.given)
    given["title"] = plan.drill.title
    if "kit" in given:
        home = Path(plan.drill.source).parent if plan.drill.source else Path()
        given["kit"] = named_from(folder, str(given["kit"]), home)
    given.pop("running", None)
    lines = [
        f"# A plan of practice: {plan.minutes} minutes on {plan.day.isoformat()}, "
        f"{clock(plan.seconds)} in all.",
        "# Numbers are those of play and build: 3 is 3a, 3b and all its other tempos.",
    ]
    keys: dict[str, Any] = {}
    tables: dict[str, dict[str, Any]] = {}
    for name, value in given.items():
        table, dot, inner = name.partition(".")
        if dot:
            tables.setdefault(table, {})[inner] = value
        elif isinstance(value, Mapping):
            tables[name] = dict(value)
        else:
            keys[name] = value
    lines += ["", *toml_lines(keys), "", *_running(plan), *toml_lines(tables)]
    return "\n".join(lines) + "\n"


def _running(plan: Plan) -> Iterator[str]:
    yield "running = ["
    for turn, numbers in plan.numbered:
        words = printable(turn_words(turn, numbers))
        if turn.advice is None:
            yield f"    # {clock(turn.start)} rest, {words}"
            yield f"    {toml_value(f'rest {clock(turn.seconds)}')},"
            continue
        yield f"    # {clock(turn.start)} {turn.phase}: {words}"
        yield from [f"    {toml_value(_chosen(turn, plan))},"] * turn.times
    yield "]"


def _chosen(turn: Turn, plan: Plan) -> str:
    piece = turn.number.piece
    if plan.drill.running:  # numbers are those of the whole drill
        piece = plan.drill.chosen_pieces[piece - 1][0].number.piece
    text = str(piece)
    if turn.tempo is not None:
        text += f" at {plain(turn.tempo)}"
    return f"{text} repeats {turn.repeats}" if turn.repeats else text
