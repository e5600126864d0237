"""What is to be practised as a drill file: the drill's own keys, and which of its exercises come
when, as a plan has them; or one of them, as it is advised."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from midiforge.drill.drill import Drill
from midiforge.drill.read import changed_keys
from midiforge.errors import MidiforgeError
from midiforge.files.toml_text import toml_lines, toml_value
from midiforge.kits.kit import named_from
from midiforge.model.tempo import plain
from midiforge.practice.advice import changed
from midiforge.practice.plan import Plan, Turn, clock
from midiforge.practice.standing import Advice, is_to_be_played
from midiforge.practice.words import advice_words, turn_words, without_flags
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
    remarks = [
        f"# A plan of practice: {plan.minutes} minutes on {plan.day.isoformat()}, "
        f"{clock(plan.seconds)} in all.",
        "# Numbers are those of play and build: 3 is 3a, 3b and all its other tempos.",
    ]
    return _file(remarks, plan.drill, plan.drill.title, {}, _running(plan), folder)


def advised_file(advice: Advice, drill: Drill, day: date, folder: Path) -> str:
    """One exercise as it is advised, as TOML. folder: as for `drill_file`.

    Raises MidiforgeError where it is not to be played now, or cannot be in this drill.
    """
    if not is_to_be_played(advice):
        raise MidiforgeError("this is not to be played now")
    changes = advice.change.keys if advice.change else {}
    outline = changed(advice.group, changes, drill)
    if outline is None:
        raise MidiforgeError(f"{advice.said}: no key of a drill says that")
    chosen = str(outline.numbers[0].whole)
    if advice.tempo is not None and "tempos" not in changes:
        chosen += f" at {plain(advice.tempo)}"
    remarks = [f"# {printable(advice_words(without_flags(advice)))} ({day.isoformat()})"]
    title = f"{drill.title}: {advice.said}"
    running = [f"running = {toml_value([chosen])}"]
    return _file(remarks, drill, title, changes, running, folder)


def _file(
    remarks: list[str],
    drill: Drill,
    title: str,
    changes: Mapping[str, Any],
    running: Iterable[str],
    folder: Path,
) -> str:
    """The drill's own keys but for those that are changed, and its running order."""
    given = changed_keys(drill.given, {**changes, "title": title})
    if "kit" in given:
        home = Path(drill.source).parent if drill.source else Path()
        given["kit"] = named_from(folder, str(given["kit"]), home)
    given.pop("running", None)
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
    lines = [*remarks, "", *toml_lines(keys), "", *running, *toml_lines(tables)]
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
