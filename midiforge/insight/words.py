"""Small things said in words."""

import re
from collections.abc import Iterable, Iterator

from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.meter import note_name
from midiforge.model.number import runs
from midiforge.model.swing import Swing
from midiforge.phrase.phrase import period


def ranges(numbers: Iterable[int]) -> str:
    """Whole numbers, neighbours drawn together: "1-3, 5"."""
    return ", ".join(f"{a}-{b}" if a < b else f"{a}" for a, b in runs(numbers))


def bars_named(numbers: Iterable[int]) -> str:
    """Bars by number: "bar 2", "bars 1-3, 5"."""
    bars = ranges(numbers)
    return f"bar {bars}" if bars.isdigit() else f"bars {bars}"


def swung(swing: Swing) -> str:
    """Which notes swing and how far: "swung eighths 2:1"."""
    ratio = swing.share / (1 - swing.share)
    return f"swung {note_name(swing.pair / 2)}s {ratio.numerator}:{ratio.denominator}"


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


def chord_bars(exercise: Exercise) -> list[list[str]]:
    """The chord symbols of each bar of the progression, once round it; N.C. for no chord."""
    bars: list[list[str]] = [[] for _ in range(exercise.bars)]
    for mark in exercise.chords:
        bars[int(mark.time / exercise.meter.bar)].append(mark.symbol or NO_CHORD)
    loop = bars[exercise.loop_bar :]
    return loop[: period(loop)] if exercise.chords else []


def repeats(exercise: Exercise) -> str:
    """Such as "every 5 bars", or "strokes every bar, chords every 4 bars"."""
    strokes, chords = exercise.returns_after_bars, len(chord_bars(exercise))
    if chords in (0, strokes):
        return _every(strokes)
    return f"strokes {_every(strokes)}, chords {_every(chords)}"


def _every(bars: int) -> str:
    return "every bar" if bars == 1 else f"every {bars} bars"


def explained(texts: Iterable[str]) -> Iterator[tuple[str, str]]:
    """What counts that nobody speaks mean, an example of each kind that the texts have."""
    said = "\n".join(texts)
    if "." not in said and "/" not in said:  # nearly always
        return
    if count := re.search(r"(?<![\w.])([0-9]+)\.([0-9]+)(?![\w./]*[\w/])", said):
        yield count[0], f"step {count[2]} of beat {count[1]}, which has no syllable of its own"
    if count := re.search(r"(?<![\w.])([0-9]+)\.([0-9]+)/([0-9]+)", said):
        yield count[0], f"part {count[2]} of beat {count[1]} in {count[3]} equal parts"
    if count := re.search(r"(?<![\w.])([0-9]+)([e&a])/([0-9]+)", said):
        yield count[0], f"the {count[2]} of {count[1]}, with {count[3]} parts to the beat"
