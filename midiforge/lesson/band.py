"""What plays beside the drummer over an exercise: percussion, bass line and chords."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm

from midiforge.drill.drill import Beside, Part
from midiforge.frozen import frozen
from midiforge.lesson.strokes import repeat
from midiforge.library.band import Figure
from midiforge.model.band import ChordMark, Tone
from midiforge.model.hit import Hit
from midiforge.model.meter import Meter
from midiforge.model.rounds import later
from midiforge.phrase.cycle import bars_to_meet

_FORM, _EVEN = 8, 2  # bars that a form has at least, and is a multiple of


@frozen
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
    return lcm(bars, form_bars(beside, bar))


def form_bars(beside: Beside, bar: Fraction) -> int:
    """How many bars bass and chords play before they begin anew: whole times round the
    progression, long enough not to tire; 1 where nobody plays chords.
    """
    if not (beside.progression and beside.style):
        return 1
    bars = lcm(beside.progression.bars, _EVEN)
    if beside.style.clave:
        for figure in (beside.style.bass, beside.style.comp):
            bars = lcm(bars, bars_to_meet(bar, len(figure.pattern) * figure.step))
    return bars * ceil(_FORM / bars)


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
    hits = [hit for part in beside.parts for hit in _strokes(part, beside.vary, meter.bar, length)]
    tones: list[Tone] = []
    chords: list[ChordMark] = []
    if beside.progression and beside.style:
        from midiforge.band.bass import bass_line
        from midiforge.band.comp import comping

        style, progression = beside.style, beside.progression
        form = form_bars(beside, meter.bar) * meter.bar
        if beside.bass:
            struck = [time - start for time in bass_drum if start <= time < start + length]
            instrument = beside.bass.instrument
            tones += bass_line(
                _right_way(style.bass, beside),
                progression,
                form,
                meter,
                length,
                instrument.lowest,
                instrument.highest,
                struck if style.locked else (),
            )
        if beside.comp:
            instrument, figure = beside.comp.instrument, _right_way(style.comp, beside)
            low, high = instrument.lowest, instrument.highest
            tones += comping(figure, progression, form, meter, length, low, high)
        changes = list(progression.over(length))
        ends = [*(change.time for change in changes[1:]), length]
        chords = [
            ChordMark(change.time, end - change.time, change.symbol)
            for change, end in zip(changes, ends, strict=True)
        ]
        tones.sort(key=lambda tone: tone.time)
    return Company(
        tuple(later(hits, start)), tuple(later(tones, start)), tuple(later(chords, start))
    )


def _right_way(figure: Figure, beside: Beside) -> Figure:
    """A figure of the style, the right way round for the clave.

    An end shorter than the pattern has no half of the clave to itself, and stays.
    """
    if beside.style is None or beside.clave in ("", beside.style.clave) or not beside.style.clave:
        return figure
    last = figure.last
    whole = len(last) == len(figure.pattern)
    return replace(figure, pattern=_turned(figure.pattern), last=_turned(last) if whole else last)


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
        for placed in repeat(lines, length):
            last = bool(unit) and placed.time % unit >= unit - varied
            if last is wanted:
                name, grid = part.track.name, placed.grid
                yield Hit(placed.time, None, placed.voice, placed.strength, None, name, grid)
