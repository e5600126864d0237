"""A MIDI file of drums becomes a drill, and everything there is to say about how."""

import gc
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from statistics import fmean

from midiforge.drill.click import click_voices
from midiforge.drill.read import check_drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted, shortened
from midiforge.groove import text
from midiforge.groove.levels import strengths
from midiforge.groove.limbs import CYMBALS, DRUMS, FEET_VOICES, Played, deal
from midiforge.groove.loop import Laid, Loop, Place, find_loop
from midiforge.groove.settled import Settled, laid_out, settle, tempo_text
from midiforge.groove.source import Source, Struck, read_source, without_click
from midiforge.kit import DEFAULT, Kit
from midiforge.model.counts import count_name
from midiforge.model.hit import HANDS
from midiforge.model.meter import Meter

KINDS = ("ostinato", "phrase")
MOST_BARS = 64  # that can be asked for
_SURE, _LIKELY = 0.7, 0.3
_MOST_OF_IT = 0.8  # of the strokes that a loop should explain
_MUCH = 4  # strokes of a bar that did not fit; more are said in one line


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something in the file that is not in the drill.

    bar: from 1, of the file. count: as it is said, such as "2&". what: in words.
    """

    bar: int
    count: str
    voice: str
    what: str

    def __str__(self) -> str:
        return f"bar {self.bar}, count {self.count}: {self.voice}, {self.what}"


@dataclass(frozen=True, slots=True)
class Imported:
    """A drill and how it was made.

    text: of the drill file. kind: "ostinato" or "phrase".
    tempo: pulses of the meter a minute, as the drill has it; slowest, fastest: in the file.
    tempo_from: "file", "given", "found" from the strokes, or "assumed" for want of either;
        meter_from: the same.
    sure: 0 to 1, that beat and first beat are right; 1 where they are the file's own.
    steps: to a beat. swing: long to short; "" for straight. swing_pair: what swings; "" if none.
    bars: of the loop. first_bar: of the file, from 1, with which it begins. rounds: how often it
        goes round in the file.
    exact: whether every stroke of the loop is where the file has it, to a tick.
    mean_shift, largest_shift: ms that strokes were moved by, to the grid; late: ms that they
        were behind the file's own beats on average, below 0 ahead; 0 by beats that were found.
    strokes: in the file, ornaments apart. explained: of these, by the loop.
    doubles: second triggers left out. clicks: notes that were a click.
    unknown: note numbers that the kit does not know, and how often they came.
    elsewhere: other channels with notes, and how many.
    parts: limb and voice, marks, and the library's names for the same strokes.
    ornaments: in the drill, by kind.
    wrong: what did not fit, in order. remarks: what else is to be known, one sentence each.
    """

    text: str
    title: str
    kind: str
    kit: Kit
    kit_chosen: bool
    tempo: float
    slowest: float
    fastest: float
    tempo_from: str
    meter: Meter
    meter_from: str
    sure: float
    steps: int
    swing: str
    swing_pair: str
    bars: int
    first_bar: int
    rounds: float
    exact: bool
    mean_shift: float
    largest_shift: float
    late: float
    strokes: int
    explained: int
    doubles: int
    clicks: int
    channel: int
    unknown: Mapping[int, int]
    elsewhere: Mapping[int, int]
    parts: tuple[tuple[str, str, tuple[str, ...]], ...]
    ornaments: Mapping[str, int]
    wrong: tuple[Wrong, ...]
    remarks: tuple[str, ...]


def import_groove(
    path: Path | str,
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
    path = Path(path)
    with _uncollected():
        source = read_source(path, kit, channel)
        try:
            return _imported(path, source, kit_key, tempo, steps, meter, bars, kind)
        except MidiforgeError as error:
            raise error.within(str(path)) from None


@contextmanager
def _uncollected() -> Iterator[None]:
    """Nothing here refers to itself; looking for that would cost a third of the time."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


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
            hint=f"up to {text.MOST_STEPS}: --bars or --steps, fewer",
        )
    played = deal(loop.places, grid)
    kind = kind or _fitting(played)
    write = text.as_phrase if kind == "phrase" else text.as_ostinato
    written = write(played, grid, loop.bars)
    title = shortened(path.stem.strip() or "Groove")
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
        wrong=tuple(_wrong(settled, loop, laid, played, written.plain)),
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
    """Found tempos to a tenth: nobody plays more exactly."""
    if settled.tempo_from == "found":
        return round(settled.tempo, 1)
    return float(Fraction(settled.tempo).limit_denominator(1000))


def _swing(settled: Settled) -> tuple[str, str]:
    swing = settled.grid.swing
    if swing.is_straight:
        return "", ""
    ratio = swing.share / (1 - swing.share)
    pair = "eighth" if swing.pair == 1 else "sixteenth"
    return f"{ratio.numerator}:{ratio.denominator}", pair


_BESIDE = "beside the player"


def _parts(
    played: Sequence[Played], settled: Settled, loop: Loop
) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Limb and voice, marks, and the library's names for each part."""
    grid = settled.grid
    found = []
    for part in text.parts(played, grid.bar_steps * loop.bars, loop.bars):
        who = f"{part.limb.title if part.limb else _BESIDE}, {part.voice}"
        found.append((who, text.grouped(part, grid), tuple(text.known_as(part, grid))))
    return tuple(found)


def _ornaments(loop: Loop, plain: Sequence[tuple[Place, str]]) -> dict[str, int]:
    """Ornaments in the drill, by kind."""
    left_out = {id(place) for place, _ in plain}
    words = [text.ornament(place) for place in loop.places if id(place) not in left_out]
    return dict(Counter(word for word in words if word))


def _wrong(
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
        found.append((bar, step, double.voice, "double trigger"))
    for place, what in plain:
        bar, step = divmod(place.step, grid.bar_steps)
        found.append((loop.first + bar, step, place.voice, f"{what} written as a plain stroke"))
    for stroke in played:
        if stroke.limb is None and (stroke.place.pad in _PLAYERS):
            bar, step = divmod(stroke.place.step, grid.bar_steps)
            found.append((loop.first + bar, step, stroke.place.voice, "no limb is free"))
    counts = [count_name(grid.meter, grid.step, step) for step in range(grid.bar_steps)]
    for bar, step, voice, what in sorted(found):
        yield Wrong(bar + 1, counts[step], voice, what)


_PLAYERS = frozenset((*DRUMS, *CYMBALS, *FEET_VOICES))


def _near(struck: Struck, laid: Sequence[Laid], times: Sequence[float]) -> tuple[int, int]:
    """Bar and step of the stroke next to it."""
    i = bisect_left(times, struck.time)
    close = min(
        (each for each in (i - 1, i) if 0 <= each < len(laid)),
        key=lambda each: abs(times[each] - struck.time),
    )
    return laid[close].bar, laid[close].step


# The drill


def _text(found: Imported, written: text.Written, kit_key: str, file: str) -> str:
    keys: dict[str, object] = {"title": found.title}
    keys |= {key: value for key, value in written.keys.items() if key == "sticking"}
    keys |= {"tempos": [found.tempo], "meter": str(found.meter), "steps": found.steps}
    if found.swing:
        keys |= {"swing": found.swing, "swing_pair": found.swing_pair}
    keys |= {key: value for key, value in written.keys.items() if key != "sticking"}
    if kit_key or found.kit.name != DEFAULT:
        keys["kit"] = kit_key or found.kit.name
    if _silent(found):
        keys["click"] = "off"
    notes = {"layers": _OF_LAYERS} if found.kind == "ostinato" and "layers" in keys else {}
    notes["feet"] = _known(found)
    remarks = [f"From {file}. {line}" if not i else line for i, line in enumerate(summary(found))]
    made = text.toml(keys, remarks, notes)
    # Read back, so that whatever it lacks is said now and not at the build.
    check_drill({key: value for key, value in keys.items() if key != "kit"})
    return made


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


# What is said


def summary(found: Imported) -> list[str]:
    """What was found, one sentence each, the most important first."""
    said = [_of_time(found), _of_grid(found), _of_loop(found)]
    if found.ornaments:
        words = [f"{n} {word}{'s' if n > 1 else ''}" for word, n in found.ornaments.items()]
        said.append(f"Ornaments in the loop: {', '.join(words)}.".replace("buzzs", "buzzes"))
    if all(who.startswith(_BESIDE) for who, _, _ in found.parts):
        said.append("Nothing in it is for a drummer's hands or feet: add a sticking or feet to it.")
    else:
        said.append("MIDI does not say which hand or foot: the limbs are a guess.")
    if found.kit_chosen and found.kit.name != DEFAULT:
        said.append(f"The kit {found.kit.name} knows most of its notes; --kit names another.")
    if found.explained < _MOST_OF_IT * found.strokes:
        said.append("Much of it does not come round; --tempo, --meter and --bars may help.")
    if found.unknown:
        notes = ", ".join(f"{number} ({times})" for number, times in found.unknown.items())
        said.append(f"Notes that the kit {found.kit.name} does not know, and how often: {notes}.")
    if found.elsewhere:
        others = ", ".join(f"{number} ({times})" for number, times in found.elsewhere.items())
        said.append(f"Channels left aside, and their notes: {others}.")
    if found.clicks:
        said.append(f"Left out: {found.clicks} notes of a click.")
    return said


def _of_time(found: Imported) -> str:
    tempo = tempo_text(found.tempo)
    pulse = found.meter.pulse_name
    where = {
        "file": "as the file says",
        "given": "as given",
        "found": "found from the strokes",
        "assumed": "assumed, for the file has none; --tempo says it",
    }[found.tempo_from]
    drift = ""
    if found.tempo_from == "found" and found.fastest - found.slowest > 0.02 * found.tempo:
        drift = f", between {found.slowest:.1f} and {found.fastest:.1f} on the way"
    if found.sure >= 1 and found.tempo_from != "found":
        return f"{tempo} {pulse} notes a minute, {where}."
    word = "sure" if found.sure >= _SURE else "likely" if found.sure >= _LIKELY else "a mere guess"
    return (
        f"{tempo} {pulse} notes a minute, {where}{drift}; that this is the beat, and where the "
        f"bar begins, is {word}."
    )


def _of_grid(found: Imported) -> str:
    meter = f"{found.meter}"
    if found.meter_from in ("found", "assumed"):
        meter += f" ({found.meter_from})"
    grid = f"{meter}, {found.steps} step{'s' * (found.steps > 1)} to a beat"
    if found.swing:
        grid += f", {found.swing_pair}s swung {found.swing}"
    if found.exact:
        return f"{grid}: every stroke of the loop is on it, to a tick."
    late = ""
    if abs(found.late) >= 1:
        late = f", on average {abs(found.late):.0f} ms {'late' if found.late > 0 else 'early'}"
    return (
        f"{grid}: strokes were moved to it by {found.mean_shift:.0f} ms on average, "
        f"{found.largest_shift:.0f} ms at most{late}."
    )


def _of_loop(found: Imported) -> str:
    bars = f"{found.bars} bar{'s' * (found.bars > 1)}"
    times = f"{found.rounds:.1f}".removesuffix(".0")
    share = f"{found.explained} of {found.strokes} strokes"
    return f"A loop of {bars} from bar {found.first_bar} on, {times} times: {share}."


def details(found: Imported, most: int = 12) -> list[str]:
    """What did not fit, and what else is to be known, one line each; at most so many.

    A bar in which much is different, such as a fill, takes one line.
    """
    by_bar: dict[int, list[Wrong]] = {}
    for each in found.wrong:
        by_bar.setdefault(each.bar, []).append(each)
    lines: list[str] = []
    for bar, wrong in by_bar.items():
        if len(wrong) <= _MUCH:
            lines += map(str, wrong)
        else:
            lines.append(f"bar {bar}: {len(wrong)} strokes ({_kinds(wrong)})")
    said = [f"mind: {remark}" for remark in found.remarks]
    said += [f"not in the drill: {line}" for line in lines[:most]]
    if len(lines) > most:
        said.append(f"not in the drill: {_kinds(found.wrong)} in all; --json has them one by one")
    return said


def _kinds(wrong: Sequence[Wrong]) -> str:
    kinds = Counter(each.what for each in wrong)
    return ", ".join(f"{times} {what}" for what, times in kinds.most_common())


def facts(found: Imported) -> dict[str, object]:
    """Everything, for scripts."""
    return {
        "title": found.title,
        "kind": found.kind,
        "kit": found.kit.name,
        "channel": found.channel,
        "tempo": found.tempo,
        "tempo_from": found.tempo_from,
        "slowest_tempo": round(found.slowest, 2),
        "fastest_tempo": round(found.fastest, 2),
        "meter": str(found.meter),
        "meter_from": found.meter_from,
        "sure": round(found.sure, 2),
        "steps": found.steps,
        "swing": found.swing,
        "swing_pair": found.swing_pair,
        "bars": found.bars,
        "first_bar": found.first_bar,
        "rounds": round(found.rounds, 2),
        "exact": found.exact,
        "mean_shift_ms": round(found.mean_shift, 3),
        "largest_shift_ms": round(found.largest_shift, 3),
        "late_ms": round(found.late, 3),
        "strokes": found.strokes,
        "explained": found.explained,
        "double_triggers": found.doubles,
        "click_notes": found.clicks,
        "unknown_notes": {str(number): times for number, times in found.unknown.items()},
        "other_channels": {str(number): times for number, times in found.elsewhere.items()},
        "parts": [
            {"who": who, "pattern": marks, "known_as": list(names)}
            for who, marks, names in found.parts
        ],
        "ornaments": dict(found.ornaments),
        "not_in_the_drill": [
            {"bar": each.bar, "count": each.count, "voice": each.voice, "what": each.what}
            for each in found.wrong
        ],
        "remarks": list(found.remarks),
    }
