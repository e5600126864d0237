"""The band: who plays along with the drummer, and what they play over a stretch of bars."""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from math import ceil, lcm
from typing import TYPE_CHECKING

from midiforge.frozen import frozen
from midiforge.model.band import ChordMark, Member, Tone
from midiforge.model.hit import Hit
from midiforge.model.meter import Meter
from midiforge.model.rounds import later
from midiforge.phrase.cycle import bars_to_meet
from midiforge.phrase.pattern import Line

if TYPE_CHECKING:
    from midiforge.band.chord import Progression
    from midiforge.library.band import Figure, Instrument, Style

_FORM, _EVEN = 8, 2  # bars that a form has at least, and is a multiple of


@frozen
class Part:
    """A percussion part.

    lines: what each voice plays; variation: instead, the last time in every so many bars.
    clave: the way round that it leans on the clave, "3-2" or "2-3"; "" if it does not.
    """

    member: Member
    lines: tuple[Line, ...]
    variation: tuple[Line, ...] = ()
    clave: str = ""

    def hits(self, vary: int, bar: Fraction, length: Fraction) -> Iterator[Hit]:
        """Its hits over `length`; varied the last time in every `vary` bars."""
        longest = max(line.pattern.length for line in self.lines)
        varied = ceil(longest / bar) * bar  # the bars that a variation fills
        unit = vary * bar if self.variation else Fraction(0)
        for lines, wanted in ((self.lines, False), (self.variation, True)):
            for line in lines if unit or not wanted else ():
                grid = line.pattern.grid
                for time, strength in line.pattern.over(length):
                    last = bool(unit) and time % unit >= unit - varied
                    if last is wanted:
                        yield Hit(time, None, line.voice, strength, None, self.member.name, grid)


@frozen
class PitchedPart:
    """The part of the bass, or of the chords.

    figure: of the style, the right way round for the clave and within what the instrument has.
    """

    member: Member
    instrument: "Instrument"
    figure: "Figure"


@frozen
class Band:
    """Who plays along with the drummer.

    vary: percussion varies the last time in so many bars; 0 for never.
    progression, style: None without chords; bass and comp: None for nobody.
    """

    percussion: tuple[Part, ...] = ()
    vary: int = 0
    progression: "Progression | None" = None
    style: "Style | None" = None
    bass: PitchedPart | None = None
    comp: PitchedPart | None = None

    @property
    def members(self) -> tuple[Member, ...]:
        """Everybody, percussion first."""
        parts = (*self.percussion, self.bass, self.comp)
        return tuple(part.member for part in parts if part)

    @property
    def lines(self) -> tuple[Line, ...]:
        """All that percussion plays."""
        return tuple(line for part in self.percussion for line in (*part.lines, *part.variation))

    def bars(self, bar: Fraction) -> int:
        """After how many bars all of it repeats."""
        lengths = [line.pattern.length for part in self.percussion for line in part.lines]
        bars = bars_to_meet(bar, *lengths) if lengths else 1
        if self.vary and any(part.variation for part in self.percussion):
            bars = lcm(bars, self.vary)
        return lcm(bars, self.form_bars(bar))

    def form_bars(self, bar: Fraction) -> int:
        """How many bars bass and chords play before they begin anew: whole times round the
        progression, long enough not to tire; 1 where nobody plays chords.
        """
        if not (self.progression and self.style):
            return 1
        bars = lcm(self.progression.bars, _EVEN)
        if self.style.clave:
            for figure in (self.style.bass, self.style.comp):
                bars = lcm(bars, bars_to_meet(bar, len(figure.pattern) * figure.step))
        return bars * ceil(_FORM / bars)

    def over(
        self, meter: Meter, start: Fraction, length: Fraction, bass_drum: Sequence[Fraction] = ()
    ) -> tuple[Iterable[Hit], Iterable[Tone], Iterable[ChordMark]]:
        """What it plays over `length` quarter notes from `start`, where it begins: hits, tones and
        the chords that it plays them to.

        bass_drum: times of the player's bass drum, rising, from the exercise's first downbeat.
        """
        hits = [hit for part in self.percussion for hit in part.hits(self.vary, meter.bar, length)]
        tones: list[Tone] = []
        chords: list[ChordMark] = []
        if self.progression and self.style:
            from midiforge.band.bass import bass_line
            from midiforge.band.chart import Chart
            from midiforge.band.comp import comping

            form = self.form_bars(meter.bar) * meter.bar
            chart = Chart(self.progression, meter, form, length)
            struck = [time - start for time in bass_drum if start <= time < start + length]
            if self.bass:
                tones += bass_line(self.bass, chart, struck if self.style.locked else ())
            if self.comp:
                tones += comping(self.comp, chart)
            tones.sort(key=lambda tone: tone.time)
            chords += chart.marks
        return later(hits, start), later(tones, start), later(chords, start)
