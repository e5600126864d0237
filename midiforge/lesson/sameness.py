"""Telling whether two things come out the same, without keeping either."""

from collections.abc import Callable, Iterable
from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b
from typing import Generic, TypeVar

from midiforge.model.hit import Hit
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Phrase, Step, Stroke

T = TypeVar("T")
_MOST_KNOWN = 512


class _Texts(Generic[T]):
    """The text of each value, made once for as long as it is the very same: variants share their
    phrases and lines, and a long one is not looked through again to see that it is equal."""

    def __init__(self, text: Callable[[T], str]) -> None:
        self._text = text
        self._known: dict[int, tuple[T, str]] = {}  # with the value, or its id might be another's

    def __call__(self, value: T) -> str:
        known = self._known.get(id(value))
        if known is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            known = self._known[id(value)] = value, self._text(value)
        return known[1]


def digest(*parts: object) -> bytes:
    """Sixteen bytes that are the same for what has the same text, and for nothing else."""
    return blake2b("\n".join(map(str, parts)).encode(), digest_size=16).digest()


def phrase_text(phrase: Phrase | None) -> str:
    """One period of a phrase, however its steps were typed."""
    return _phrase_texts(phrase) if phrase else ""


@_Texts
def _phrase_texts(phrase: Phrase) -> str:
    return " ".join(map(_step_text, phrase.steps[: phrase.period]))


def strokes_text(phrase: Phrase, step: Fraction) -> str:
    """The same in time, on whatever grid they were typed; a buzz is as long as its step."""
    steps = phrase.steps[: phrase.period]
    buzzes = any(stroke.buzz for strokes in steps for stroke in strokes)
    struck = (
        f"{time}:{_step_text(strokes)}"
        for time, strokes in zip(_times(step, len(steps)), steps, strict=True)
        if strokes
    )
    return f"{len(steps) * step} {step if buzzes else ''} {' '.join(struck)}"


@_Texts
def line_text(line: Line) -> str:
    """One period of a repeating line, and who plays it on what."""
    period = line.pattern.period
    strokes = [(time, strength) for time, strength in line.pattern.strokes if time < period]
    return (
        f"{line.limb}|{line.voice}|{'' if line.limb else line.name}|{period}|"
        + " ".join(f"{time}{strength}" for time, strength in strokes)
        + "".join(f" {ornament}" for ornament in line.pattern.ornaments if ornament[0] < period)
    )


@lru_cache(maxsize=64)
def _times(step: Fraction, steps: int) -> tuple[str, ...]:
    return tuple(str(i * step) for i in range(steps))


@lru_cache(maxsize=1024)
def _step_text(step: Step) -> str:
    return "+".join(sorted(map(_stroke_text, step)))


def _stroke_text(stroke: Stroke) -> str:
    return f"{stroke.limb}{stroke.strength}{stroke.grace}{stroke.buzz}"


def hits_text(hits: Iterable[Hit]) -> str:
    """Everything that tells one list of hits from another."""
    return " ".join(
        f"{h.time}|{h.limb}|{h.voice}|{h.strength}|{h.layer}|{h.ornament or ''}" for h in hits
    )
