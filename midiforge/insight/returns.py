"""After how many bars an exercise comes round: the strokes, and the chords beside them."""

from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise
from midiforge.phrase.phrase import period


def chord_bars(exercise: Exercise) -> list[list[str]]:
    """The chord symbols of each bar of the progression, once round it; N.C. for no chord."""
    bars: list[list[str]] = [[] for _ in range(exercise.bars)]
    for mark in exercise.chords:
        bars[int(mark.time / exercise.meter.bar)].append(mark.symbol or NO_CHORD)
    loop = bars[exercise.loop_bar :]
    return loop[: period(loop)] if exercise.chords else []


def returns(exercise: Exercise) -> str:
    """Such as "after 5 bars", or "strokes after every bar, chords after 4 bars"."""
    strokes, chords = exercise.returns_after_bars, len(chord_bars(exercise))
    if chords in (0, strokes):
        return _after(strokes)
    return f"strokes {_after(strokes)}, chords {_after(chords)}"


def _after(bars: int) -> str:
    return "after every bar" if bars == 1 else f"after {bars} bars"
