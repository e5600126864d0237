"""A MIDI file of drums becomes a drill."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import fmean

from midiforge.drill.click import click_voices
from midiforge.drill.read import check_drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted, shortened
from midiforge.frozen import frozen
from midiforge.groove import text
from midiforge.groove.form import MOST_BARS as LONGEST_FORM
from midiforge.groove.form import Form, find_form
from midiforge.groove.grid import STRAIGHT, Grid, allowed, on_steps
from midiforge.groove.imported import TIME_LAYER, Imported, Wrong
from midiforge.groove.levels import strengths
from midiforge.groove.limbs import Played, deal
from midiforge.groove.loop import Laid, Loop, Place, find_loop
from midiforge.groove.misfits import form_misfits, misfits
from midiforge.groove.ornaments import BASS_DRUM
from midiforge.groove.sections import Section
from midiforge.groove.settled import Settled, laid_out, settle, tempo_text
from midiforge.groove.source import Source, read_source, without_click
from midiforge.groove.tab import as_tab
from midiforge.groove.words import summary
from midiforge.hear.expected import pad_of
from midiforge.insight.words import bars_named
from midiforge.kits.kit import DEFAULT, Kit
from midiforge.midi.reading import MidiSource, file_name
from midiforge.model.hit import HANDS, Strength
from midiforge.model.meter import Meter
from midiforge.printable import printable
from midiforge.uncollected import uncollected

KINDS = ("form", "fills", "ostinato", "phrase")
FORMS = KINDS[:2]
MOST_BARS = 64  # that can be asked for
_MOSTLY_REST = 0.25  # of the bars are struck in: less is no form
# Of a step: chance moves strokes by .25, and on the steps that fit them best mostly by .18 to .25
# (44 of 48 takes of noise and of playing without a pulse); the longer of 152 recordings by .17 at
# most. Of the recordings hardly one had strokes that mostly strayed, of the others every one.
_BY_CHANCE, _STRAYING, _FEW_STROKES = 0.175, 0.5, 24
_FINEST = 0.050  # s
LONGEST_LOOP = 4  # bars that are a loop though they come once
_MOST_TOLD = 8  # bars
LEAST_UNFIT = 0.08  # of the strokes: from so many that do not fit a loop, it is a form


def import_groove(
    path: MidiSource,
    *,
    kit: Kit | None = None,
    kit_key: str = "",
    tempo: Fraction | None = None,
    steps: int = 0,
    meter: Meter | None = None,
    bars: int = 0,
    kind: str = "",
    kinds: int = 0,
    channel: int = 0,
    anyway: bool = False,
) -> Imported:
    """A drill from a MIDI file of drums, written in a DAW or played.

    path: of the file, or a `mido.MidiFile`.
    kit: None for the one that comes with midiforge and knows most of the notes; kit_key: what
        the drill calls it, if not its name.
    tempo: pulses of the meter a minute; meter; steps: to a beat; bars: of the loop. None and 0
        find them.
    kind: "form" for all of it, bars and their order; "fills" for these alone; "ostinato" or
        "phrase" for the loop it repeats; "" for whichever fits.
    kinds: of bars in a form, at most; with more it is nearer to what was played. 0: as many as
        its length asks for.
    channel: 1 to 16; 0 for the kit's.
    anyway: make a drill also where strokes would have to be moved far.
    Raises MidiforgeError, naming the file.
    """
    if kind and kind not in KINDS:
        raise WrongArgument(
            f"a groove does not become {quoted(kind)}", "kind", hint=nearest(kind, KINDS)
        )
    file = file_name(path)
    with uncollected():
        source = read_source(path, kit, channel)
        try:
            return _imported(
                Path(file), source, kit_key, tempo, steps, meter, bars, kind, kinds, anyway
            )
        except MidiforgeError as error:
            raise error.within(file) from None


def _imported(
    path: Path,
    source: Source,
    kit_key: str,
    tempo: Fraction | None,
    steps: int,
    meter: Meter | None,
    bars: int,
    kind: str,
    kinds: int,
    anyway: bool,
) -> Imported:
    clicks = 0
    if source.division:
        own = meter or (source.meters[0][1] if source.meters else Meter.parse("4/4"))
        source, clicks = without_click(source, own)
    settled = settle(source, meter, tempo, steps)
    if not anyway:
        _not_by_chance(settled, steps)
    levels = _levels(settled, source.kit)
    laid = _laid(settled, levels)
    loop = None if kind in FORMS else _loop(laid, settled.grid, bars, kind)
    made = (
        _of_loop(settled, laid, loop, kind)
        if loop
        else _of_form(settled, find_form(settled, levels, steps, kinds), kind)
    )
    shifts = made.shifts
    tick_ms = 1000 * settled.quarter / source.division if source.division else 0.0
    exact = settled.found.exact and max(map(abs, shifts), default=0.0) <= 0.51 * tick_ms
    swing, pair = _swing(settled)
    imported = Imported(
        text="",
        title=shortened(printable(path.stem.strip()) or "Groove"),
        kind=made.kind,
        kit=source.kit,
        kit_chosen=source.kit_chosen,
        tempo=_tempo(settled),
        slowest=settled.slowest,
        fastest=settled.fastest,
        tempo_from=settled.tempo_from,
        meter=settled.grid.meter,
        meter_from=settled.meter_from,
        sure=settled.sure,
        steps=made.steps,
        swing=swing,
        swing_pair=pair,
        bars=made.bars,
        first_bar=made.first + 1,
        rounds=made.rounds,
        exact=exact,
        mean_shift=fmean(map(abs, shifts)) if shifts else 0.0,
        largest_shift=max(map(abs, shifts), default=0.0),
        late=1000 * settled.late + fmean(shifts) if shifts and settled.sure >= 1 else 0.0,
        strokes=len(laid),
        explained=len(shifts),
        doubles=len(settled.gathered.doubles),
        clicks=clicks,
        channel=source.channel,
        unknown=source.unknown,
        elsewhere=source.elsewhere,
        parts=made.parts,
        ornaments=made.ornaments,
        wrong=made.wrong,
        remarks=(*source.remarks, *settled.remarks, *made.remarks),
        bounces=sum(pad_of(stroke.voice) == BASS_DRUM for stroke in settled.gathered.doubles),
        road_map=made.road_map,
        sections=made.sections,
        cells=made.cells,
        changes=made.changes,
    )
    return replace(imported, text=_text(imported, made, kit_key, path.name))


@frozen
class _Made:
    """A loop or a form as keys of a drill, and what is told of it. shifts: ms to the grid."""

    kind: str
    keys: Mapping[str, object]
    steps: int
    bars: int
    first: int
    rounds: float
    shifts: Sequence[float]
    parts: tuple[tuple[str, str, tuple[str, ...]], ...]
    ornaments: Mapping[str, int]
    wrong: tuple[Wrong, ...]
    road_map: str = ""
    sections: tuple[Section, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    cells: int = 0
    changes: int = 0
    remarks: tuple[str, ...] = ()


def _loop(laid: Sequence[Laid], grid: Grid, bars: int, kind: str) -> Loop | None:
    """The loop that it repeats; None where it is no loop, unless one is asked for."""
    asked = bool(bars or kind)
    try:
        loop = find_loop(laid, grid.bar_steps, bars)
    except MidiforgeError:
        struck = {stroke.bar for stroke in laid}
        whole = max(struck) - min(struck) + 1
        if asked or whole > LONGEST_FORM or len(struck) < _MOSTLY_REST * whole:
            raise
        return None
    size = loop.bars * grid.bar_steps
    if asked and size > text.MOST_STEPS:
        raise MidiforgeError(
            f"a loop of {loop.bars} bars has {size} grid steps",
            hint=f"up to {text.MOST_STEPS}: fewer bars or steps",
        )
    once = loop.bars > LONGEST_LOOP and loop.rounds < 2
    differs = len(loop.unfit) > LEAST_UNFIT * len(laid)
    return None if not asked and (once or differs) else loop


def _of_loop(settled: Settled, laid: Sequence[Laid], loop: Loop, kind: str) -> _Made:
    grid = settled.grid
    played = deal(loop.places, grid, float(grid.step) * settled.quarter)
    kind = kind or _fitting(played)
    write = text.as_phrase if kind == "phrase" else text.as_ostinato
    written = write(played, grid, loop.bars)
    return _Made(
        kind=kind,
        keys=written.keys,
        steps=grid.steps,
        bars=loop.bars,
        first=loop.first,
        rounds=loop.rounds,
        shifts=[1000 * stroke.off for stroke in loop.kept],
        parts=_parts(played, settled, loop),
        ornaments=_ornaments(loop, written.plain),
        wrong=tuple(misfits(settled, loop, laid, played, written.plain)),
    )


def _of_form(settled: Settled, form: Form, kind: str) -> _Made:
    grid = settled.grid
    if kind == "fills" and not any(cell.is_fill for cell in form.cells):
        raise MidiforgeError(
            "no bar of it is a fill, where the hands leave off keeping time for drums",
            hint="as a form, it has all of it",
        )
    tab = as_tab(form, grid, settled.quarter, kind == "fills")
    return _Made(
        kind=kind or "form",
        keys={"stages": ["full"], "road_map": tab.road_map, "bars": tab.bars},
        steps=form.steps,
        bars=len(form.order),
        first=form.first,
        rounds=1.0,
        shifts=[1000 * off for off in form.kept],
        parts=tuple(
            (f"{limb.title if limb else TIME_LAYER}, {voice}", marks, ())
            for (limb, voice), marks in tab.players.items()
        ),
        ornaments=tab.ornaments,
        wrong=tuple(form_misfits(settled, form)),
        road_map=" ".join(tab.road_map.split()),
        sections=form.sections if kind != "fills" else (),
        notes=tuple(form.headings.items()) if kind != "fills" else (),
        cells=sum(not cell.instrument for cell in form.cells),
        changes=sum(bool(cell.instrument) for cell in form.cells),
        remarks=(*_too_long(settled, form), *_rough(form)),
    )


def _too_long(settled: Settled, form: Form) -> tuple[str, ...]:
    bars = int(max(settled.places) // float(settled.grid.meter.bar)) + 1 - form.first
    if bars <= LONGEST_FORM:
        return ()
    return (f"a form has up to {LONGEST_FORM} bars; the other {bars - LONGEST_FORM} are left out",)


def _rough(form: Form) -> Iterator[str]:
    if form.rough:
        bars = bars_named(number + 1 for number in form.rough[:_MOST_TOLD])
        left = len(form.rough) - _MOST_TOLD
        yield (
            f"{bars}{f' and {left} more' if left > 0 else ''} "
            f"{'is' if len(form.rough) == 1 else 'are'} only roughly so; with more kinds of bar it "
            "comes nearer"
        )


def _not_by_chance(settled: Settled, steps: int) -> None:
    """MidiforgeError where strokes lie on no steps better than anything would by chance.

    steps: to a beat, of those that were asked for; 0 for any.
    """
    grid, quarter = settled.grid, settled.quarter
    if len(settled.places) < _FEW_STROKES or settled.found.strays < _STRAYING:
        return
    tried = [Grid(grid.meter, n, STRAIGHT) for n in allowed(grid.meter, steps)]
    tried = [one for one in tried if one.steps == 1 or float(one.step) * quarter >= _FINEST]
    share, step = min((_moved(settled, one), float(one.step) * quarter) for one in [grid, *tried])
    if share > _BY_CHANCE:
        tempo = tempo_text(round(settled.tempo, 1))
        raise MidiforgeError(
            f"strokes would be moved by {1000 * share * step:.0f} ms on average, about a quarter "
            f"of a step ({1000 * step:.0f} ms), at {tempo} in {grid.meter}: as if they had no beat",
            hint="tempo and meter may be others; playing to a click helps; anyway makes a drill "
            "all the same",
        )


def _moved(settled: Settled, grid: Grid) -> float:
    """How far strokes are from their steps on average, as a share of a step."""
    return fmean(abs(off) for *_, off in on_steps(settled.places, grid)) / float(grid.step)


def _levels(settled: Settled, kit: Kit) -> dict[str, dict[int, Strength]]:
    velocities: dict[str, list[int]] = {}
    for stroke in settled.strokes:
        velocities.setdefault(stroke.struck.voice, []).append(stroke.struck.velocity)
    return strengths(velocities, kit)


def _laid(settled: Settled, levels: Mapping[str, Mapping[int, Strength]]) -> list[Laid]:
    places = laid_out(settled)
    return [
        Laid(stroke, bar, step, off, levels[stroke.struck.voice][stroke.struck.velocity], near)
        for stroke, (bar, step, off, near) in zip(settled.strokes, places, strict=True)
    ]


def _fitting(played: Sequence[Played]) -> str:
    """A phrase where the hands play ornaments, or share one drum; else an ostinato."""
    hands = [each for each in played if each.limb in HANDS]
    if not hands:
        return "ostinato"
    struck = Counter(each.place.step for each in hands)
    if any(
        each.place.buzz or (each.place.grace and struck[each.place.step] == 1) for each in hands
    ):
        return "phrase"
    shared = len({each.limb for each in hands}) == 2 and len({e.place.pad for e in hands}) == 1
    return "phrase" if shared else "ostinato"


def _tempo(settled: Settled) -> float:
    """Found tempos to a tenth: nobody plays more exactly. Others as they are said, a file's to a
    thousandth."""
    if settled.tempo_from == "found":
        return round(settled.tempo, 1)
    return round(float(Fraction(settled.tempo).limit_denominator(1000)), 3)


def _swing(settled: Settled) -> tuple[str, str]:
    swing = settled.grid.swing
    if swing.is_straight:
        return "", ""
    ratio = swing.share / (1 - swing.share)
    pair = "eighth" if swing.pair == 1 else "sixteenth"
    return f"{ratio.numerator}:{ratio.denominator}", pair


def _parts(
    played: Sequence[Played], settled: Settled, loop: Loop
) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Limb and voice, marks, and the library's names for each part."""
    grid = settled.grid
    found = []
    for part in text.parts(played, grid.bar_steps * loop.bars, loop.bars):
        who = f"{part.limb.title if part.limb else TIME_LAYER}, {part.voice}"
        found.append((who, text.grouped(part, grid), tuple(text.known_as(part, grid))))
    return tuple(found)


def _ornaments(loop: Loop, plain: Sequence[tuple[Place, str]]) -> dict[str, int]:
    """Ornaments in the drill, by kind."""
    left_out = {id(place) for place, _ in plain}
    words = [text.ornament(place) for place in loop.places if id(place) not in left_out]
    return dict(Counter(word for word in words if word))


# The drill


def _text(found: Imported, made: _Made, kit_key: str, file: str) -> str:
    written = made.keys
    keys: dict[str, object] = {"title": found.title}
    keys |= {key: value for key, value in written.items() if key == "sticking"}
    tempo = int(found.tempo) if found.tempo.is_integer() else found.tempo
    keys |= {"tempos": [tempo], "meter": str(found.meter), "steps": found.steps}
    if found.swing:
        keys |= {"swing": found.swing, "swing_pair": found.swing_pair}
    keys |= {key: value for key, value in written.items() if key != "sticking"}
    if kit_key or found.kit.name != DEFAULT:
        keys["kit"] = kit_key or found.kit.name
    if _silent(found):
        keys["click"] = "off"
    notes = {**dict(made.notes), "feet": _known(found)}
    if found.kind == "ostinato":
        notes["layers"] = _OF_LAYERS
    remarks = [
        f"From {file or _NO_FILE}. {line}" if not i else line
        for i, line in enumerate(summary(found))
    ]
    drill = text.toml(keys, remarks, notes)
    # Read back, so that whatever it lacks is said now and not at the build.
    check_drill({key: value for key, value in keys.items() if key != "kit"})
    return drill


_NO_FILE = "MIDI that was no file"
_OF_LAYERS = """\
What the hands play. To put a sticking over these feet instead, take this list out; to keep it as
timekeeping between, call it groove and add a sticking and form = "3 time 1 exercise"."""


def _known(found: Imported) -> str:
    return "\n".join(
        f"{who.partition(',')[0].capitalize()}: the strokes of {', '.join(names)}."
        for who, _, names in found.parts
        if names
    )


def _silent(found: Imported) -> bool:
    """Whether the groove leaves no sound for a click."""
    voices = {who.rpartition(", ")[2] for who, _, _ in found.parts}
    try:
        click_voices("", found.kit, voices)
    except MidiforgeError:
        return True
    return False
