"""What is in the file and not in the drill."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence

from midiforge.groove.form import Form, count_of
from midiforge.groove.imported import Wrong
from midiforge.groove.limbs import CYMBALS, DRUMS, FEET_VOICES, Played
from midiforge.groove.loop import Laid, Loop, Place
from midiforge.groove.ornaments import BASS_DRUM
from midiforge.groove.settled import Settled
from midiforge.groove.source import Struck
from midiforge.hear.expected import pad_of
from midiforge.model.counts import count_name

BEATER = "the beater came back"
_PLAYERS = frozenset((*DRUMS, *CYMBALS, *FEET_VOICES))


def misfits(
    settled: Settled,
    loop: Loop,
    laid: Sequence[Laid],
    played: Sequence[Played],
    plain: Sequence[tuple[Place, str]],
) -> Iterator[Wrong]:
    grid = settled.grid
    found: list[tuple[int, int, str, str]] = []
    for each in loop.unfit:
        found.append((each.bar, each.step, each.voice, each.kind))
    times = [each.stroke.struck.time for each in laid]
    for double in settled.gathered.doubles:
        bar, step = _near(double, laid, times)
        what = BEATER if pad_of(double.voice) == BASS_DRUM else "double trigger"
        found.append((bar, step, double.voice, what))
    for place, what in plain:
        bar, step = divmod(place.step, grid.bar_steps)
        found.append((loop.first + bar, step, place.voice, what))
    for stroke in played:
        if stroke.limb is None and (stroke.place.pad in _PLAYERS):
            bar, step = divmod(stroke.place.step, grid.bar_steps)
            found.append((loop.first + bar, step, stroke.place.voice, "no limb is free"))
    counts = [count_name(grid.meter, grid.step, step) for step in range(grid.bar_steps)]
    for bar, step, voice, what in sorted(found):
        yield Wrong(bar + 1, counts[step], voice, what)


def form_misfits(settled: Settled, form: Form) -> Iterator[Wrong]:
    """Strokes that the bars of a form have and their cells have not, or the other way round."""
    places = {place for _, place, *_ in form.unfit}
    counts = {place: count_of(settled.grid.meter, form.unit, place) for place in places}
    for number, place, voice, what in form.unfit:
        yield Wrong(number + 1, counts[place], voice, what)


def _near(struck: Struck, laid: Sequence[Laid], times: Sequence[float]) -> tuple[int, int]:
    """Bar and step of the stroke next to it."""
    i = bisect_left(times, struck.time)
    close = min(
        (each for each in (i - 1, i) if 0 <= each < len(laid)),
        key=lambda each: abs(times[each] - struck.time),
    )
    return laid[close].bar, laid[close].step
