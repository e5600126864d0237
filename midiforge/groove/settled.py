"""Where each stroke of a groove lies in its bars: by the file's own beats, or by found ones."""

from bisect import bisect_left, bisect_right
from cmath import exp as turn
from cmath import phase
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate, pairwise
from math import pi
from statistics import fmean, median

from midiforge.errors import MidiforgeError, WrongArgument, shortened
from midiforge.frozen import frozen
from midiforge.groove.feel import felt
from midiforge.groove.flams import between_hands
from midiforge.groove.grid import Found, Grid, allowed, exact_grid, likeliest_grid, on_steps, spots
from midiforge.groove.ornaments import Gathered, Stroke, gather
from midiforge.groove.pulse import find_pulse, smoothed
from midiforge.groove.source import Source
from midiforge.model.meter import Meter
from midiforge.model.tempo import plain

USUAL_TEMPO = 120.0  # Standard MIDI Files 1.0: where a file does not say
# The file's own beats fit what was played if strokes lie about its grid like this.
_SPREAD_OF_STEP, _MOST_STRAYS = 0.17, 0.20
_REACH = 5.0  # quarter notes before and after a stroke that say where its beat is
_NEAR_STEP, _SPREADS = 0.35, 3.0  # farther from its step, a stroke is not on the grid
_RATIOS = tuple(
    Fraction(above, below) for above in (1, 2, 3, 4) for below in (1, 2, 3, 4)
)  # of a tempo that is given to the file's
_SAME = 0.025
_FINE, _SLOW = 8, 82.0  # steps to a beat; quarter notes a minute
_COARSE = 4  # steps to a quarter note
_EVENER = 0.7
_SAMPLE, _MANY = 3000, 20_000  # strokes
_FEW_STROKES = 24  # from fewer no ear has a tempo that a file's would be given up for
_UNEVEN = 0.018  # s from the grid, as players are; only what is farther wants another beat
_NEARLY = 0.97  # how sure a file's beats are that strokes stray from now and then
_UNHEARD = 0.8  # how sure a file's beats are that its strokes do not show
_PLAIN = 0.100  # s: on finer steps, what is early on one would be late on another
_FEW_TO_FOLLOW = 8  # strokes; from fewer it is not told whether all of them are late
_LIKELY = 0.9  # so sure bars in another meter are than those of a file that names none
_FEWEST = 4  # strokes that say something of beats
_MOST_TOLD = 100  # tempos; what is told of them is shorter


@frozen
class Settled:
    """Strokes on bars.

    places: of the strokes, in quarter notes from the bar line that bars are counted from, by the
        player's own time. late: s, that it is behind the file's, on average.
    found: the grid and how well it fits.
    quarter: seconds. tempo: pulses of the meter a minute; slowest, fastest: what it was.
    tempo_from: "file", "given", "found" or "assumed"; meter_from: the same.
    sure: 0 to 1, that beat and first of the bar are right; 1 for the file's own.
    remarks: what else is to be known, one sentence each.
    """

    gathered: Gathered
    places: Sequence[float]
    found: Found
    quarter: float
    tempo: float
    slowest: float
    fastest: float
    tempo_from: str
    meter_from: str
    sure: float
    remarks: tuple[str, ...] = ()
    late: float = 0.0

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        return self.gathered.strokes

    @property
    def grid(self) -> Grid:
        return self.found.grid


def settle(source: Source, meter: Meter | None, tempo: Fraction | None, steps: int) -> Settled:
    """Bars, beats and grid of a groove.

    meter, tempo: None to find them. steps: to a beat; 0 to find them.
    Raises MidiforgeError where strokes are too few to say, or a given tempo cannot be right.
    """
    settled = _settled(source, meter, tempo, steps)
    if settled.found.exact or settled.tempo_from == "found":
        return settled
    return _in_own_time(settled, steps)


def _in_own_time(settled: Settled, steps: int) -> Settled:
    """Strokes by the player's own time, ahead of the beats in one bar and behind in another."""
    places, meter = settled.places, settled.grid.meter
    beat = float(meter.beat)
    plain = [n for n in allowed(meter, steps) if beat * settled.quarter / n >= _PLAIN]
    if not plain:
        return settled
    # Strokes laid round a circle for each step, as in `rate`: their mean direction is how late.
    laid = {n: [turn(2j * pi * n * place / beat) for place in places] for n in plain}
    n = max(plain, key=lambda n: abs(sum(laid[n])))
    usual = sum(laid[n]) + _FEW_TO_FOLLOW
    usual /= abs(usual)
    until = list(accumulate((each / usual for each in laid[n]), initial=0j))
    late = []
    for place in places:
        low = bisect_left(places, place - _REACH)
        high = bisect_right(places, place + _REACH)
        here = usual * turn(1j * phase(until[high] - until[low] + _FEW_TO_FOLLOW))
        late.append(phase(here) / (2 * pi * n) * beat)
    own = [place - each for place, each in zip(places, late, strict=True)]
    return replace(settled, places=own, late=settled.quarter * fmean(late))


def _settled(source: Source, meter: Meter | None, tempo: Fraction | None, steps: int) -> Settled:
    remarks: list[str] = []
    origin, in_file, source = _one_meter(source, remarks)
    as_felt = felt(in_file, source.strokes, origin) if in_file else None
    own = meter or as_felt or Meter.parse("4/4")
    meter_from = "given" if meter else "file" if in_file else "assumed"
    ratio = _ratio(source, own, tempo)
    trusted = meter or (in_file if in_file and str(in_file) != "4/4" else None)
    said = "given" if meter else "file"
    gathered: Gathered | None = None
    if source.division and ratio:
        by_file, fits = _by_file(source, own, tempo, steps, origin, ratio, remarks)
        gathered = by_file.gathered
        by_file = replace(by_file, meter_from=meter_from)
        if by_file.found.exact or (fits and (tempo or not _usual(source))):
            return replace(by_file, remarks=tuple(remarks))
        if source.tempos and not tempo and len(gathered.strokes) < _FEW_STROKES:
            return replace(by_file, sure=_UNHEARD, remarks=tuple(remarks))
        if source.tempos and (tempo or not _usual(source)):
            kept = _at_own_tempo(by_file, own, steps)
            otherwise = () if tempo else _heard_otherwise(kept, trusted, steps)
            return replace(kept, remarks=(*remarks, *otherwise))
        if tempo is None:
            heard = _heard(gathered, trusted, steps, said)
            few = fits and len(gathered.strokes) >= _FEWEST
            bars = in_file or not heard or heard.grid.meter == own or heard.sure < _LIKELY
            if few and bars and (heard is None or not _by_chance(by_file, heard)):
                return replace(by_file, remarks=tuple(remarks))
            if source.tempos and heard and _agrees(heard, by_file):
                kept = _at_own_tempo(by_file, own, steps)
                return replace(kept, remarks=tuple(remarks))
    elif source.division:
        _not_another_tempo(source, own, tempo, steps, origin)
    gathered = gathered or gather(source.strokes, end=source.seam)
    return replace(_by_ear(gathered, trusted, tempo, steps, said), remarks=tuple(remarks))


def _at_own_tempo(by_file: Settled, meter: Meter, steps: int) -> Settled:
    """At the file's tempo, which is kept; bars begin where the strokes have them, if that is
    clearly better than where the file has them."""
    if _unevenness(by_file) <= _UNEVEN:
        return replace(by_file, sure=_NEARLY)
    tempo = Fraction(by_file.tempo).limit_denominator(1000)
    try:
        heard = _by_ear(by_file.gathered, meter, tempo, steps, by_file.meter_from)
    except MidiforgeError:
        return replace(by_file, sure=_UNHEARD)
    if _unevenness(heard) >= _EVENER * _unevenness(by_file):
        return replace(by_file, sure=_UNHEARD)
    return replace(heard, tempo=by_file.tempo, tempo_from=by_file.tempo_from)


def _heard_otherwise(kept: Settled, meter: Meter | None, steps: int) -> Iterator[str]:
    """What the ear would say instead of a file's tempo that strokes do not fit well."""
    heard = _heard(kept.gathered, meter, steps, "") if _unevenness(kept) > _UNEVEN else None
    if heard is None or _agrees(heard, kept):
        return
    yield (
        f"strokes are unevenly on the file's beats; by ear it would be {heard.tempo:.1f} in "
        f"{heard.grid.meter}, which can be said"
    )


def _agrees(heard: Settled, other: Settled) -> bool:
    """Whether both have one tempo, or one that is a simple multiple of it."""
    apart = heard.tempo * float(heard.grid.meter.pulse) / other.tempo
    apart /= float(other.grid.meter.pulse)
    return any(abs(apart / float(ratio) - 1) <= _SAME for ratio in _RATIOS)


def _one_meter(source: Source, remarks: list[str]) -> tuple[Fraction, Meter | None, Source]:
    """Where bars are counted from, the meter, and the strokes in it: up to where it changes."""
    if not source.meters:
        return Fraction(0), None, source
    starts = [float(at) for at, _ in source.meters]
    i = max(0, bisect_right(starts, source.strokes[0].place + 1e-6) - 1)
    origin, meter = source.meters[i]
    if i == 0:
        origin = Fraction(0)
    if i + 1 == len(source.meters) or starts[i + 1] > source.strokes[-1].place:
        return origin, meter, source
    end = bisect_left([each.place for each in source.strokes], starts[i + 1] - 1e-6)
    number = int((source.meters[i + 1][0] - origin) / meter.bar) + 1
    remarks.append(
        f"the meter changes from {meter} to {source.meters[i + 1][1]} at bar {number}; "
        f"the {len(source.strokes) - end} strokes from there on are left out"
    )
    return origin, meter, replace(source, strokes=source.strokes[:end])


def _tempo_at(source: Source, place: float) -> float:
    i = bisect_right([at for at, _ in source.tempos], place + 1e-6) - 1
    return source.tempos[i][1] if i >= 0 else USUAL_TEMPO


def _ratio(source: Source, meter: Meter, tempo: Fraction | None) -> Fraction:
    """How many of the wanted quarter notes go into one of the file's; 0 for no simple number."""
    if tempo is None or not source.tempos:
        return Fraction(1)
    wanted = float(tempo * meter.pulse)
    own = _tempo_at(source, source.strokes[0].place)
    for ratio in sorted(set(_RATIOS), key=lambda each: abs(each - 1)):
        if abs(wanted / own / ratio - 1) <= _SAME:
            return ratio
    return Fraction(0)


def _not_another_tempo(
    source: Source, meter: Meter, tempo: Fraction | None, steps: int, origin: Fraction
) -> None:
    """MidiforgeError if strokes were written on the file's beats, so that no other can be right."""
    start = int(origin * source.division)
    ticks = [each.tick - start for each in source.strokes]
    if tempo is None or not exact_grid(ticks, meter, steps, source.division):
        return
    own = _tempo_at(source, source.strokes[0].place) / float(meter.pulse)
    raise WrongArgument(
        f"the strokes are on the file's own beats at {tempo_text(own)}, not at {plain(tempo)}",
        "tempo",
        hint=f"{tempo_text(own / 2)}, {tempo_text(own)} or {tempo_text(own * 2)}",
    )


# By the file's own beats


def _by_file(
    source: Source,
    meter: Meter,
    tempo: Fraction | None,
    steps: int,
    origin: Fraction,
    ratio: Fraction,
    remarks: list[str],
) -> tuple[Settled, bool]:
    """Strokes on the file's own beats, and whether they fit: exactly, or as played to them."""
    division = Fraction(source.division) / ratio
    start = int(origin * source.division)  # bars are counted from there
    own_tempo = _tempo_at(source, source.strokes[0].place)
    quarter = 60 / own_tempo / float(ratio)
    found, kept = _written(source, meter, steps, division, start)
    fits = True
    places = _places(kept, division, start)
    if found is None:
        found = likeliest_grid(places, meter, steps, quarter)
        fits = _fits(found, places[:_SAMPLE], quarter)
    first, last = source.strokes[0].place, source.strokes[-1].place
    during = [each for at, each in source.tempos if first + 1e-6 < at <= last]
    pulse = float(meter.pulse) / float(ratio)
    if during:
        # No more than can be shown: a tempo is put into words slowly, and there may be thousands.
        told = shortened(", ".join(tempo_text(each / pulse) for each in during[:_MOST_TOLD]))
        remarks.append(f"the tempo changes on the way, to {told}; the drill has the first")
    tempo_from = "given" if tempo else "file" if source.tempos else "assumed"
    whole = [own_tempo, *during]
    settled = Settled(
        gathered=kept,
        places=places,
        found=found,
        quarter=quarter,
        tempo=float(tempo) if tempo else own_tempo / pulse,
        slowest=min(whole) / pulse,
        fastest=max(whole) / pulse,
        tempo_from=tempo_from,
        meter_from="file",
        sure=1.0,
    )
    return settled, fits


def _usual(source: Source) -> bool:
    """Whether the file's tempo may be nobody's choice."""
    return {tempo for _, tempo in source.tempos} <= {USUAL_TEMPO}


def _heard(gathered: Gathered, meter: Meter | None, steps: int, meter_from: str) -> Settled | None:
    try:
        return _by_ear(gathered, meter, None, steps, meter_from)
    except MidiforgeError:
        return None


def _by_chance(settled: Settled, heard: Settled) -> bool:
    """Whether played strokes lie on the file's beats for no better reason than a fine grid.

    A recording device that knows no tempo writes none, or the usual one.

    heard: the same by ear.
    """
    coarse = _COARSE * settled.grid.meter.beat
    finer = settled.grid.steps > coarse >= heard.grid.steps
    return finer or _unevenness(heard) < _EVENER * _unevenness(settled)


def _unevenness(settled: Settled) -> float:
    """How far strokes usually are from the grid, if all of them may be late, s."""
    offs = [off for _, _, off, _ in laid_out(settled)]
    late = median(offs)
    return median(abs(off - late) for off in offs)


def _places(gathered: Gathered, division: Fraction, start: int) -> list[float]:
    above, below = division.numerator, division.denominator
    return [(each.struck.tick - start) * below / above for each in gathered.strokes]


def _written(
    source: Source,
    meter: Meter,
    steps: int,
    division: Fraction,
    start: int,
) -> tuple[Found | None, Gathered]:
    """The grid that a file was written on, None if on none; and its strokes."""
    whole = exact_grid([each.tick - start for each in source.strokes], meter, steps, division)
    if whole and not whole.strays:
        return whole, gather(source.strokes, plain=True)
    flams = _with_flams(source, meter, steps, division, start)
    if flams:
        return flams
    gathered = gather(source.strokes, end=source.seam)
    ticks = [each.struck.tick - start for each in gathered.strokes]
    main = exact_grid(ticks, meter, steps, division)
    if main and (whole is None or main.strays <= whole.strays):
        return main, gathered
    return whole, gather(source.strokes, plain=True) if whole else gathered


def _with_flams(
    source: Source, meter: Meter, steps: int, division: Fraction, start: int
) -> tuple[Found, Gathered] | None:
    """The grid of a file that is on one but for grace notes on other voices; None if it is not."""
    struck = source.strokes
    graces = between_hands(struck, source.seam)
    soft = {i for each in graces.values() for i in each}
    rest = gather([each for i, each in enumerate(struck) if i not in soft], end=source.seam)
    ticks = [each.struck.tick - start for each in rest.strokes]
    found = exact_grid(ticks, meter, steps, division) if graces else None
    if found is None or found.strays:
        return None
    on = {i for i in soft if _is_on(found.grid, struck[i].tick - start, division)}
    kept = [each for i, each in enumerate(struck) if i not in soft or i in on]
    gathered = gather(kept, end=source.seam)
    before = {id(struck[main]): [i for i in each if i not in on] for main, each in graces.items()}
    strokes = []
    for stroke in gathered.strokes:
        own = before.get(id(stroke.struck), [])
        if own:
            count = sum(1 for i in own if struck[i].time < stroke.struck.time) or len(own)
            stroke = stroke._replace(grace=count, grace_voice=struck[own[0]].voice)
        strokes.append(stroke)
    return found, replace(gathered, strokes=tuple(strokes))


def _is_on(grid: Grid, tick: int, division: Fraction) -> bool:
    """Whether a tick, from a bar line, is a step's."""
    within = float(tick / division % grid.meter.bar)
    return abs(on_steps([within], grid)[0][2]) * float(division) <= 0.51


def _fits(found: Found, places: Sequence[float], quarter: float) -> bool:
    """Whether what was played was played to these beats."""
    at = spots(found.grid)
    gap = min(later - each for each, later in pairwise(at)) * quarter
    away = [abs(off) for *_, off in on_steps(places, found.grid)]
    return (
        found.spread <= _SPREAD_OF_STEP * gap
        and found.strays <= _MOST_STRAYS
        and median(away) * quarter <= _SPREAD_OF_STEP * gap
    )


# By ear


def _by_ear(
    gathered: Gathered, meter: Meter | None, tempo: Fraction | None, steps: int, meter_from: str
) -> Settled:
    """Strokes on beats that are found from them."""
    strokes = gathered.strokes
    wanted = float(tempo) if tempo else None
    pulse = find_pulse(strokes, meter, wanted)
    if pulse is None:
        if tempo is None:
            raise MidiforgeError(
                f"{len(strokes)} strokes are too few to find a tempo", hint="tempo says it"
            )
        return _from_the_first(gathered, meter or Meter.parse("4/4"), tempo, steps)
    times = [each.struck.time for each in strokes]
    own, quarter = pulse.meter, 60 / pulse.tempo
    places: list[float] = list(pulse.places)
    found = likeliest_grid(places, own, steps, quarter)
    for _ in range(2 if len(places) <= _MANY else 1):
        places = smoothed(times, meant(places, found.grid), _REACH)
        found = likeliest_grid(places, own, steps, quarter)
    twice = 1
    if not (tempo or steps) and found.grid.steps >= _FINE and pulse.tempo <= _SLOW:
        twice = 2  # nobody writes thirty-second notes where sixteenths at twice the tempo will do
        places, quarter = [2 * place for place in places], quarter / 2
        found = likeliest_grid(places, own, steps, quarter)
    per = float(own.pulse) / twice
    return Settled(
        gathered=gathered,
        places=places,
        found=found,
        quarter=quarter,
        tempo=pulse.tempo / per if wanted is None else wanted,
        slowest=pulse.slowest / per,
        fastest=pulse.fastest / per,
        tempo_from="given" if tempo else "found",
        meter_from="found" if pulse.meter_guessed else meter_from,
        sure=pulse.sure,
    )


def _from_the_first(gathered: Gathered, meter: Meter, tempo: Fraction, steps: int) -> Settled:
    """A few strokes at a tempo that is given: the first is on the first beat."""
    quarter = float(60 / (tempo * meter.pulse))
    start = gathered.strokes[0].struck.time
    places = [(each.struck.time - start) / quarter for each in gathered.strokes]
    found = likeliest_grid(places, meter, steps, quarter)
    return Settled(
        gathered=gathered,
        places=places,
        found=found,
        quarter=quarter,
        tempo=float(tempo),
        slowest=float(tempo),
        fastest=float(tempo),
        tempo_from="given",
        meter_from="assumed",
        sure=0.0,
    )


def meant(places: Sequence[float], grid: Grid) -> list[float]:
    """Where strokes are meant: on the nearest steps, in quarter notes."""
    at = spots(grid)
    bar = float(grid.meter.bar)
    return [number * bar + at[step] for number, step, _ in on_steps(places, grid)]


def laid_out(settled: Settled) -> list[tuple[int, int, float, bool]]:
    """Bar, step, how far off in s, and whether that is near enough, of each stroke."""
    grid = settled.grid
    at = spots(grid)
    size = grid.bar_steps
    gaps = [later - each for each, later in pairwise(at)]
    spread = _SPREADS * settled.found.spread / settled.quarter
    reach = [max(_NEAR_STEP * min(gaps[i - 1], gaps[i % size]), spread) for i in range(size)]
    return [
        (number, step, off * settled.quarter, abs(off) <= reach[step] + 1e-9)
        for number, step, off in on_steps(settled.places, grid)
    ]


def tempo_text(tempo: float) -> str:
    """A tempo without decimals that say nothing."""
    return plain(Fraction(tempo).limit_denominator(1000))
