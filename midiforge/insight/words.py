"""Small things said in words."""

import re
from collections.abc import Iterable, Sequence

from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.meter import NOTE_VALUES
from midiforge.model.swing import Swing


def listed(names: Sequence[str]) -> str:
    """Names as one says them: "a, b and c"."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def ranges(numbers: Iterable[int]) -> str:
    """Whole numbers, neighbours drawn together: "1-3, 5"."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in spans)


def bars_named(numbers: Iterable[int]) -> str:
    """Bars by number: "bar 2", "bars 1-3, 5"."""
    found = ranges(numbers)
    return f"bar {found}" if found.isdigit() else f"bars {found}"


def swung(swing: Swing) -> str:
    """Which notes swing and how far: "swung eighths 2:1"."""
    ratio = swing.share / (1 - swing.share)
    value = swing.pair / 2
    names = (f"{name}s" for name, each in NOTE_VALUES.items() if each == value)
    notes = next(names, f"{value / 4} notes")
    return f"swung {notes} {ratio.numerator}:{ratio.denominator}"


def counted_in(exercise: Exercise) -> str:
    """What comes before the first downbeat: "2 bars count-in"; "" for nothing."""
    bars = exercise.count_in_bars
    if not bars:
        return ""
    clicked = any(hit.layer == CLICK and hit.time < 0 for hit in exercise.hits)
    kind = "count-in" if clicked else "of silence before"
    return f"{bars} {'bar' if bars == 1 else 'bars'} {kind}"


def paragraphs(text: str) -> list[str]:
    """The paragraphs of a text, which empty lines part; within one, lines are joined."""
    return [" ".join(part.split()) for part in re.split(r"\n\s*\n", text) if part.strip()]
