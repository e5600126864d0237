"""Music in words, for whoever hears a page instead of seeing it.

Stroke by stroke as it is counted: "bar 1. 1: right snare drum, accent, with right foot bass drum;
1e: left snare drum; 1&: left; ...". A limb goes on with what it struck last, until something else
is named.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from midiforge.engraving.drawing import Piece
from midiforge.library import shelf
from midiforge.model.counts import place_name
from midiforge.model.hit import FEET, Hit, Limb, Strength
from midiforge.notation.score import Bar, Score

_STRENGTHS = {Strength.ACCENT: "accent", Strength.GHOST: "ghost note"}


def pieces_said(score: Score, pieces: Sequence[Piece]) -> Iterator[str]:
    """What each piece of a score has in it: the bar, its chords, every stroke and its count."""
    exercise = score.exercise
    bars = {bar.number: bar for bar in score.bars}
    hits = [hit for hit in (*exercise.hits, *exercise.answers) if _is_written(hit, score)]
    hits.sort(key=lambda hit: (hit.time, hit.limb is None, hit.limb in FEET))
    begins = [piece.times[0][0] for piece in pieces]
    ends = [*begins[1:], pieces[-1].bar * exercise.meter.bar]
    for piece, begin, end in zip(pieces, begins, ends, strict=True):
        strokes = [hit for hit in hits if begin <= hit.time < end]
        said = "as the bar before" if piece.is_simile else _strokes_said(strokes, score)
        yield f"{_heading(bars[piece.bar], piece)}. {said or 'rest'}"


def _is_written(hit: Hit, score: Score) -> bool:
    return hit.time >= 0 and (hit.limb is not None or hit.layer in score.above)


def _heading(bar: Bar, piece: Piece) -> str:
    parts = [f"bar {piece.bar}"]
    if piece.begins_bar:
        parts += [bar.words.lower()] if bar.words else []
        parts += [", ".join(sign.text for sign in bar.chords)] if bar.chords else []
    return ", ".join(parts)


def _strokes_said(strokes: Iterable[Hit], score: Score) -> str:
    struck: dict[Limb | None, str] = {}  # what each limb struck last
    meter, step = score.exercise.meter, score.exercise.step
    return "; ".join(
        f"{place_name(meter, step, time)}: {', with '.join(_said(hit, struck) for hit in hits)}"
        for time, hits in groupby(strokes, key=_time)
    )


def _time(hit: Hit) -> Fraction:
    return hit.time


def _said(hit: Hit, struck: dict[Limb | None, str]) -> str:
    limb = hit.limb.title.removesuffix(" hand") if hit.limb else ""
    voices = shelf.voices()
    voice = voices[hit.voice].title.lower().replace(",", "") if hit.voice in voices else hit.voice
    words = [limb] if limb and struck.get(hit.limb) == voice else [f"{limb} {voice}".strip()]
    struck[hit.limb] = voice
    words += [_STRENGTHS[hit.strength]] if hit.strength in _STRENGTHS else []
    words += [hit.ornament.kind] if hit.ornament else []
    return ", ".join(words)
