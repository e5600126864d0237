"""A MIDI file of drums becomes a drill."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import fmean

from midiforge.drill.click import click_voices
from midiforge.drill.read import check_drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted, shortened
from midiforge.groove import text
from midiforge.groove.imported import BESIDE, Imported
from midiforge.groove.levels import strengths
from midiforge.groove.limbs import Played, deal
from midiforge.groove.loop import Laid, Loop, Place, find_loop
from midiforge.groove.misfits import misfits
from midiforge.groove.settled import Settled, laid_out, settle
from midiforge.groove.source import Source, read_source, without_click
from midiforge.groove.words import summary
from midiforge.kits.kit import DEFAULT, Kit
from midiforge.midi.reading import MidiSource, file_name
from midiforge.model.hit import HANDS
from midiforge.model.meter import Meter
from midiforge.printable import printable
from midiforge.uncollected import uncollected

KINDS = ("ostinato", "phrase")
MOST_BARS = 64  # that can be asked for


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
    channel: int = 0,
) -> Imported:
    """A drill from a MIDI file of drums, written in a DAW or played.

    path: of the file, or a `mido.MidiFile`.
    kit: None for the one that comes with midiforge and knows most of the notes; kit_key: what
        the drill calls it, if not its name.
    tempo: pulses of the meter a minute; meter; steps: to a beat; bars: of the loop. None and 0
        find them.
    kind: "ostinato", "phrase", or "" for whichever fits.
    channel: 1 to 16; 0 for the kit's.
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
            return _imported(Path(file), source, kit_key, tempo, steps, meter, bars, kind)
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
) -> Imported:
    clicks = 0
    if source.division:
        own = meter or (source.meters[0][1] if source.meters else Meter.parse("4/4"))
        source, clicks = without_click(source, own)
    settled = settle(source, meter, tempo, steps)
    grid = settled.grid
    laid = _laid(settled, source.kit)
    loop = find_loop(laid, grid.bar_steps, bars)
    size = loop.bars * grid.bar_steps
    if size > text.MOST_STEPS:
        raise MidiforgeError(
            f"a loop of {loop.bars} bars has {size} grid steps",
            hint=f"up to {text.MOST_STEPS}: fewer bars or steps",
        )
    played = deal(loop.places, grid)
    kind = kind or _fitting(played)
    write = text.as_phrase if kind == "phrase" else text.as_ostinato
    written = write(played, grid, loop.bars)
    title = shortened(printable(path.stem.strip()) or "Groove")
    shifts = [1000 * each.off for each in loop.kept]
    tick_ms = 1000 * settled.quarter / source.division if source.division else 0.0
    exact = settled.found.exact and max(map(abs, shifts), default=0.0) <= 0.51 * tick_ms
    swing, pair = _swing(settled)
    found = Imported(
        text="",
        title=title,
        kind=kind,
        kit=source.kit,
        kit_chosen=source.kit_chosen,
        tempo=_tempo(settled),
        slowest=settled.slowest,
        fastest=settled.fastest,
        tempo_from=settled.tempo_from,
        meter=grid.meter,
        meter_from=settled.meter_from,
        sure=settled.sure,
        steps=grid.steps,
        swing=swing,
        swing_pair=pair,
        bars=loop.bars,
        first_bar=loop.first + 1,
        rounds=loop.rounds,
        exact=exact,
        mean_shift=fmean(map(abs, shifts)) if shifts else 0.0,
        largest_shift=max(map(abs, shifts), default=0.0),
        late=fmean(shifts) if shifts and settled.sure >= 1 else 0.0,
        strokes=len(laid),
        explained=len(loop.kept),
        doubles=len(settled.gathered.doubles),
        clicks=clicks,
        channel=source.channel,
        unknown=source.unknown,
        elsewhere=source.elsewhere,
        parts=_parts(played, settled, loop),
        ornaments=_ornaments(loop, written.plain),
        wrong=tuple(misfits(settled, loop, laid, played, written.plain)),
        remarks=(*source.remarks, *settled.remarks),
    )
    return replace(found, text=_text(found, written, kit_key, path.name))


def _laid(settled: Settled, kit: Kit) -> list[Laid]:
    velocities: dict[str, list[int]] = {}
    for stroke in settled.strokes:
        velocities.setdefault(stroke.struck.voice, []).append(stroke.struck.velocity)
    levels = strengths(velocities, kit)
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
        who = f"{part.limb.title if part.limb else BESIDE}, {part.voice}"
        found.append((who, text.grouped(part, grid), tuple(text.known_as(part, grid))))
    return tuple(found)


def _ornaments(loop: Loop, plain: Sequence[tuple[Place, str]]) -> dict[str, int]:
    """Ornaments in the drill, by kind."""
    left_out = {id(place) for place, _ in plain}
    words = [text.ornament(place) for place in loop.places if id(place) not in left_out]
    return dict(Counter(word for word in words if word))


# The drill


def _text(found: Imported, written: text.Written, kit_key: str, file: str) -> str:
    keys: dict[str, object] = {"title": found.title}
    keys |= {key: value for key, value in written.keys.items() if key == "sticking"}
    tempo = int(found.tempo) if found.tempo.is_integer() else found.tempo
    keys |= {"tempos": [tempo], "meter": str(found.meter), "steps": found.steps}
    if found.swing:
        keys |= {"swing": found.swing, "swing_pair": found.swing_pair}
    keys |= {key: value for key, value in written.keys.items() if key != "sticking"}
    if kit_key or found.kit.name != DEFAULT:
        keys["kit"] = kit_key or found.kit.name
    if _silent(found):
        keys["click"] = "off"
    notes = {"layers": _OF_LAYERS} if found.kind == "ostinato" and "layers" in keys else {}
    notes["feet"] = _known(found)
    remarks = [
        f"From {file or _NO_FILE}. {line}" if not i else line
        for i, line in enumerate(summary(found))
    ]
    made = text.toml(keys, remarks, notes)
    # Read back, so that whatever it lacks is said now and not at the build.
    check_drill({key: value for key, value in keys.items() if key != "kit"})
    return made


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
