"""Telling whether two things come out the same, without keeping either."""

from collections.abc import Iterable
from fractions import Fraction
from hashlib import blake2b

from midiforge.model.hit import Hit
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Phrase, Stroke


def digest(*parts: object) -> bytes:
    """Sixteen bytes that are the same for what has the same text, and for nothing else."""
    return blake2b("\n".join(map(str, parts)).encode(), digest_size=16).digest()


def phrase_text(phrase: Phrase | None) -> str:
    """One period of a phrase, however its steps were typed."""
    if phrase is None:
        return ""
    return " ".join(
        "+".join(sorted(map(_stroke_text, step))) for step in phrase.steps[: phrase.period]
    )


def strokes_text(phrase: Phrase, step: Fraction) -> str:
    """The same in time, on whatever grid they were typed; a buzz is as long as its step."""
    steps = phrase.steps[: phrase.period]
    buzzes = any(stroke.buzz for strokes in steps for stroke in strokes)
    struck = (
        f"{i * step}:{'+'.join(sorted(map(_stroke_text, strokes)))}"
        for i, strokes in enumerate(steps)
        if strokes
    )
    return f"{len(steps) * step} {step if buzzes else ''} {' '.join(struck)}"


def line_text(line: Line) -> str:
    """One period of a repeating line, and who plays it on what."""
    period = line.pattern.period
    strokes = [(time, strength) for time, strength in line.pattern.strokes if time < period]
    return (
        f"{line.limb}|{line.voice}|{'' if line.limb else line.name}|{period}|"
        + " ".join(f"{time}{strength}" for time, strength in strokes)
        + "".join(f" {ornament}" for ornament in line.pattern.ornaments if ornament[0] < period)
    )


def _stroke_text(stroke: Stroke) -> str:
    return f"{stroke.limb}{stroke.strength}{stroke.grace}{stroke.buzz}"


def hits_text(hits: Iterable[Hit]) -> str:
    """Everything that tells one list of hits from another."""
    return " ".join(
        f"{h.time}|{h.limb}|{h.voice}|{h.strength}|{h.layer}|{h.ornament or ''}" for h in hits
    )
