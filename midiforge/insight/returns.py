"""After how many bars an exercise repeats: its strokes, and its chords."""

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


def repeats(exercise: Exercise) -> str:
    """Such as "every 5 bars", or "strokes every bar, chords every 4 bars"."""
    strokes, chords = exercise.returns_after_bars, len(chord_bars(exercise))
    if chords in (0, strokes):
        return _every(strokes)
    return f"strokes {_every(strokes)}, chords {_every(chords)}"


def _every(bars: int) -> str:
    return "every bar" if bars == 1 else f"every {bars} bars"
