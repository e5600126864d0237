"""Many takes on one page: what was practised on a day, exercise by exercise."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from midiforge.files.own_file import Seal
from midiforge.frozen import frozen
from midiforge.hear.figures import steady_to
from midiforge.printable import many
from midiforge.report import words
from midiforge.report.html import body
from midiforge.report.rules.case import Finding
from midiforge.report.sentence import advice
from midiforge.report.terminal import print_wrapped
from midiforge.report.view import View
from midiforge.svg import escaped

if TYPE_CHECKING:
    from rich.console import Console

    from midiforge.hear.choice import Reviewed

_SEAL = Seal("<!-- midiforge day, sha256 {} -->\n")
_GOOD, _OTHER = "good", "not yet"
_UNTOLD = "Could not be told, and are in no log; review each by itself"


@frozen
class DayTake:
    """A take and what is said of it.

    name: of its file. figures: "at 60.2, 8 bars, 98% clean, steady to 5.1% of a step".
    first: what leads; what to work on is said once for the exercise.
    lacks: what it lacks to be good, in words; "" for nothing.
    """

    name: str
    figures: str
    first: Finding
    lacks: str


def day_take(name: str, found: "Reviewed", lacks: str) -> DayTake:
    review = found.review
    figures = (
        f"at {words.pulses(review.played_tempo)}",
        many(round(review.bars), "bar"),
        f"{words.percent(review.tally.clean)} clean",
        *steady_to(review.timing.deviation_percent),
    )
    first, _ = advice(View(review), found.known)
    return DayTake(name, ", ".join(figures), first, lacks)


@frozen
class DayExercise:
    """The takes of one exercise, in the order in which they were played.

    step: what to do next with it, in words.
    """

    heading: str
    takes: tuple[DayTake, ...]
    step: str


@frozen
class Day:
    """A day's takes.

    title: of the drill. when: the day, or the days. player: "" is the usual one.
    most: what came up most often, in words; "" for nothing.
    untold: (file, why) of takes that could not be told, which no log has.
    """

    title: str
    when: str
    player: str
    exercises: tuple[DayExercise, ...]
    most: str
    untold: tuple[tuple[str, str], ...]

    @property
    def takes(self) -> list[DayTake]:
        return [take for exercise in self.exercises for take in exercise.takes]

    @property
    def heading(self) -> str:
        return ", ".join(filter(None, (self.when, self.player, self.title)))

    @property
    def summary(self) -> str:
        """ "12 takes of 4 exercises, 7 of them good; 2 takes could not be told."."""
        takes = self.takes
        good = sum(not take.lacks for take in takes)
        said = f"{many(len(takes), 'take')} of {many(len(self.exercises), 'exercise')}, {good} good"
        if self.untold:
            said += f"; {many(len(self.untold), 'take')} could not be told"
        return f"{said}."


def show_day(day: Day, console: "Console") -> None:
    """Prints the page, each exercise with its takes."""
    for indent, style, text in _lines(day):
        print_wrapped(console, text, style, " " * indent, " " * indent)


def _lines(day: Day) -> Iterator[tuple[int, str, str]]:
    """Indent, style and text of each line before it is wrapped."""
    yield 0, "bold", day.heading
    yield 0, "", day.summary
    if day.most:
        yield 0, "", day.most
    for exercise in day.exercises:
        yield 0, "", ""
        yield 0, "cyan", exercise.heading
        for take in exercise.takes:
            yield 2, "", f"{take.name}: {_OTHER if take.lacks else _GOOD}, {take.figures}"
            yield 4, "bold", take.first.happened
            if take.lacks:
                yield 4, "", f"Not yet good: {take.lacks}."
        if exercise.step:
            yield 2, "", f"{words.NEXT}: {exercise.step}"
    if day.untold:
        yield 0, "", ""
        yield 0, "cyan", _UNTOLD
        for name, why in day.untold:
            yield 2, "", f"{name}: {why}"


def write_day(path: Path, *days: Day) -> None:
    """Writes the page as HTML, as a whole or not at all, over nothing but an unchanged one.

    days: one, or of each drill that was played one. Raises MidiforgeError.
    """
    parts = (part for day in days for part in _parts(day))
    _SEAL.write(path, body(f"Practice: {'; '.join(day.heading for day in days)}", parts))


def _parts(day: Day) -> Iterator[str]:
    yield f"<header><p class=of>{escaped(day.heading)}</p><h1>{escaped(day.summary)}</h1>"
    if day.most:
        yield f"<p class=next>{escaped(day.most)}</p>"
    yield "</header><main>"
    for exercise in day.exercises:
        yield f"<section><h2>{escaped(exercise.heading)}</h2>"
        if exercise.step:
            yield f"<p class=next><b>{words.NEXT}:</b> {escaped(exercise.step)}</p>"
        yield (
            "<table><thead><tr><th scope=col>take<th scope=col><th class=words scope=col>what to "
            "work on</tr></thead><tbody>"
        )
        for take in exercise.takes:
            said = escaped(take.first.happened)
            if take.lacks:
                said += f"<p class=small>Not yet good: {escaped(take.lacks)}.</p>"
            yield (
                f"<tr><th class=words scope=row>{escaped(take.name)}"
                f"<p class=small>{escaped(take.figures)}</p>"
                f"<td class=words>{_OTHER if take.lacks else _GOOD}<td class=words>{said}</tr>"
            )
        yield "</tbody></table></section>"
    if day.untold:
        rows = "".join(f"<li>{escaped(f'{name}: {why}')}" for name, why in day.untold)
        yield f"<section><h2>{_UNTOLD}</h2><ul>{rows}</ul></section>"
    yield "</main>"


def plain_day(day: Day, facts: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The page of JSON's own kinds only. facts: of each take, as `report.facts` has them."""
    return {
        "title": day.title,
        "when": day.when,
        "player": day.player,
        "most": day.most or None,
        "takes": [*facts],
        "next": {each.heading: each.step for each in day.exercises},
        "untold": [{"source": name, "why": why} for name, why in day.untold],
    }
