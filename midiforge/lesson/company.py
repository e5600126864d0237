"""What plays beside the drummer over an exercise: percussion, bass line and chords."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, lcm

from midiforge.drill.drill import Beside, Part, Player
from midiforge.lesson.cycle import bars_to_meet
from midiforge.library.players import Figure
from midiforge.model.hit import Hit
from midiforge.model.meter import Meter
from midiforge.model.track import ChordMark, Tone


@dataclass(frozen=True, slots=True)
class Company:
    """What plays beside the drummer; as in `Exercise`."""

    hits: tuple[Hit, ...]
    tones: tuple[Tone, ...]
    chords: tuple[ChordMark, ...]


def company_bars(beside: Beside, bar: Fraction) -> int:
    """After how many bars all that plays beside the drummer comes back to its beginning."""
    lengths = [line.pattern.length for part in beside.parts for line in part.lines]
    bars = bars_to_meet(bar, *lengths) if lengths else 1
    if beside.vary and any(part.variation for part in beside.parts):
        bars = lcm(bars, beside.vary)
    if beside.progression and beside.style:
        bars = lcm(bars, beside.progression.bars)
        for player, figure in _figures(beside):
            if player:
                bars = lcm(bars, bars_to_meet(bar, len(figure.pattern) * figure.step))
    return bars


def company(
    beside: Beside,
    meter: Meter,
    start: Fraction,
    length: Fraction,
    bass_drum: Sequence[Fraction] = (),
) -> Company:
    """The company over `length` quarter notes from `start`, where it begins.

    bass_drum: times of the player's bass drum, rising, from the exercise's first downbeat.
    """
    hits = [
        replace(hit, time=hit.time + start)
        for part in beside.parts
        for hit in _strokes(part, beside.vary, meter.bar, length)
    ]
    tones: list[Tone] = []
    chords: list[ChordMark] = []
    if beside.progression and beside.style:
        from midiforge.accompaniment.bass import bass_line
        from midiforge.accompaniment.comp import comping

        (bass, bass_figure), (comp, comp_figure) = _figures(beside)
        progression = beside.progression
        if bass:
            struck = [time - start for time in bass_drum if start <= time < start + length]
            tones += bass_line(
                bass_figure,
                progression,
                meter,
                length,
                bass.instrument.lowest,
                bass.instrument.highest,
                struck if beside.style.locked else (),
            )
        if comp:
            low, high = comp.instrument.lowest, comp.instrument.highest
            tones += comping(comp_figure, progression, meter, length, low, high)
        changes = list(progression.over(length))
        ends = [*(change.time for change in changes[1:]), length]
        chords = [
            ChordMark(change.time + start, end - change.time, change.symbol)
            for change, end in zip(changes, ends, strict=True)
        ]
        tones = [
            Tone(t.time + start, t.length, t.pitch, t.velocity, t.track) if start else t
            for t in sorted(tones, key=lambda tone: tone.time)
        ]
    return Company(tuple(hits), tuple(tones), tuple(chords))


def _figures(beside: Beside) -> tuple[tuple[Player | None, Figure], tuple[Player | None, Figure]]:
    """Bass and comp with what they play, the right way round for the clave."""
    style = beside.style
    assert style is not None
    figures = [style.bass, style.comp]
    if style.clave and beside.clave not in ("", style.clave):
        figures = [
            replace(each, pattern=_turned(each.pattern), last=_turned(each.last))
            for each in figures
        ]
    return (beside.bass, figures[0]), (beside.comp, figures[1])


def _turned(pattern: str) -> str:
    """Begun with its second half."""
    half = len(pattern) // 2
    return pattern[half:] + pattern[:half]


def _strokes(part: Part, vary: int, bar: Fraction, length: Fraction) -> Iterator[Hit]:
    """A percussion part over `length`; varied the last time in every `vary` bars."""
    longest = max(line.pattern.length for line in part.lines)
    varied = ceil(longest / bar) * bar  # the bars that a variation fills
    unit = vary * bar if vary and part.variation else Fraction(0)
    for lines, wanted in ((part.lines, False), (part.variation, True)):
        if wanted and not unit:
            continue
        for line in lines:
            pattern, turn = line.pattern, Fraction(0)
            while turn < length:
                for within, strength in pattern.strokes:
                    time = turn + within
                    last = bool(unit) and time % unit >= unit - varied
                    if time < length and last is wanted:
                        yield Hit(time, None, line.voice, strength, None, part.track.name)
                turn += pattern.length
