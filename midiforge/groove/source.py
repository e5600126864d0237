"""A groove's strokes: which channel, which kit, which voices; and what a click in it is."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import inf
from typing import NamedTuple

from midiforge.drill.click import CLICK_VOICES
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.kits.kit import DEFAULT, Kit, kit_names, read_kit
from midiforge.midi.content import MidiContent
from midiforge.midi.message import PEDAL
from midiforge.midi.reading import MidiSource, file_name, read_midi
from midiforge.model.meter import Meter

_CLICKS = CLICK_VOICES[:2]  # pairs of two sounds that are a click when they count the beats
_ON_THE_BEAT = 0.02  # of a quarter note


class Struck(NamedTuple):
    """One stroke of a groove.

    tick: as in the file. time: in seconds. place: quarter notes from the start of the file, by
    its own beats; the same as `time` in a file that has none.
    """

    tick: int
    time: float
    place: float
    velocity: int
    voice: str
    number: int


@frozen
class Source:
    """What a file has to say.

    strokes: of voices the kit knows, in order of time.
    unknown: note numbers that the kit does not know, and how often they came.
    elsewhere: channels that were not looked at, and how many notes they have.
    division: ticks to a quarter note; 0 for a file without beats.
    tempos: (quarter notes from the start, quarter notes a minute); empty if the file has none.
    meters: (quarter notes from the start, meter), as in the file.
    remarks: what is wrong with the file, one sentence each.
    seam: where it comes round, in seconds, if it ends on one of its bar lines; else infinity.
    """

    strokes: tuple[Struck, ...]
    unknown: Mapping[int, int]
    channel: int
    elsewhere: Mapping[int, int]
    kit: Kit
    kit_chosen: bool
    division: int
    tempos: tuple[tuple[float, float], ...]
    meters: tuple[tuple[Fraction, Meter], ...]
    remarks: tuple[str, ...]
    seam: float = inf


def read_source(path: MidiSource, kit: Kit | None, channel: int) -> Source:
    """The strokes in a Standard MIDI File.

    path: of the file, or a `mido.MidiFile`.
    kit: None for the one of midiforge's own that knows most of the notes.
    channel: 1 to 16; 0 for the kit's.
    Raises MidiforgeError for what is no MIDI file, or has no drums in it.
    """
    controller = kit.hihat.controller if kit and kit.hihat else PEDAL
    content = read_midi(path, controller)
    try:
        return _source(content, kit, channel)
    except MidiforgeError as error:
        raise error.within(file_name(path)) from None


def _source(content: MidiContent, kit: Kit | None, channel: int) -> Source:
    channels = Counter(channel for _, channel, _, _ in content.note_ons)
    if not channels:
        said = content.remarks[0] if content.remarks else ""
        raise MidiforgeError("there is no note in it", hint=said)
    wanted = channel or (kit.channel if kit else read_kit(DEFAULT).channel)
    if wanted not in channels:
        there = ", ".join(f"{each} ({channels[each]})" for each in sorted(channels))
        raise MidiforgeError(
            f"channel {wanted} has no notes",
            hint=f"channel says which; channels with notes, and how many: {there}",
        )
    notes = [note for note in content.notes() if note.channel == wanted]
    found = kit or _likeliest_kit({note.number for note in notes}, bool(content.pedals))
    known: dict[tuple[int, int | None], str | None] = {}
    division, meters = content.division, _meters(content)
    unknown: Counter[int] = Counter()
    strokes: list[Struck] = []
    for tick, time, place, _, number, velocity, pedal in notes:
        key = number, pedal
        if key not in known:
            known[key] = found.voice(number, pedal)
        voice = known[key]
        if voice is None:
            unknown[number] += 1
        else:
            strokes.append(Struck(tick, time, place, velocity, voice, number))
    if not strokes:
        numbers = ", ".join(map(str, sorted(unknown)[:8]))
        raise MidiforgeError(
            f"no note on channel {wanted} is a drum of the kit {found.name}",
            hint=f"kit says which; its notes: {numbers}",
        )
    return Source(
        strokes=tuple(strokes),
        unknown=dict(sorted(unknown.items())),
        channel=wanted,
        elsewhere={each: channels[each] for each in sorted(channels) if each != wanted},
        kit=found,
        kit_chosen=kit is None,
        division=division,
        tempos=_tempos(content),
        meters=meters,
        remarks=tuple(content.remarks),
        seam=content.clock().seconds(content.last_tick) if _ends_a_bar(content, meters) else inf,
    )


def _ends_a_bar(content: MidiContent, meters: Sequence[tuple[Fraction, Meter]]) -> bool:
    """Whether the file ends on a bar line, as loops do, not just with its last note."""
    since, meter = meters[-1] if meters else (Fraction(0), Meter.parse("4/4"))
    if not content.division:
        return False
    return (Fraction(content.last_tick, content.division) - since) % meter.bar == 0


def _likeliest_kit(numbers: set[int], pedal: bool) -> Kit:
    """The usual kit if it knows every note and no pedal sends; else the one that knows most."""
    names = [DEFAULT, *(name for name in kit_names() if name != DEFAULT)]
    kits = [read_kit(name) for name in names]

    def fit(kit: Kit) -> tuple[int, bool]:
        known = sum(1 for number in numbers if kit.voice(number))
        return known, pedal and kit.hihat is not None

    return max(kits, key=fit)


def _tempos(content: MidiContent) -> tuple[tuple[float, float], ...]:
    if not content.division:
        return ()
    changes = dict(content.tempos)
    found: list[tuple[float, float]] = []
    for tick in sorted(changes):
        tempo = _plain_tempo(changes[tick])
        if not found or found[-1][1] != tempo:
            found.append((tick / content.division, tempo))
    return tuple(found)


def _plain_tempo(microseconds: int) -> float:
    """Quarter notes a minute, with the fewest decimals that mean the same microseconds."""
    exact = 60e6 / microseconds
    for decimals in range(4):
        tempo = round(exact, decimals)
        if tempo and round(60e6 / tempo) == microseconds:
            return tempo
    return round(exact, 3)


def _meters(content: MidiContent) -> tuple[tuple[Fraction, Meter], ...]:
    found: list[tuple[Fraction, Meter]] = []
    for tick, numerator, unit in content.meters:
        if not content.division:
            break
        try:
            meter = Meter.parse(f"{numerator}/{unit}")
        except MidiforgeError:
            continue
        at = Fraction(tick, content.division)
        if found and found[-1][0] == at:
            found.pop()
        if not found or found[-1][1] != meter:
            found.append((at, meter))
    return tuple(found)


def without_click(source: Source, meter: Meter) -> tuple[Source, int]:
    """The source without the strokes of a click, and how many they were.

    A click is a pair of sounds of which one is on the first beat of a bar and the other on
    others, the same in every bar in which either sounds. Where its beats differ in length, the
    bars that it counts are felt so: 7/8 as 2+2+3/8.
    """
    for first, other in _CLICKS:
        struck = [each for each in source.strokes if each.voice in (first, other)]
        kept = tuple(each for each in source.strokes if each.voice not in (first, other))
        beats = _clicked(struck, meter, first)
        if not beats or not kept:
            continue
        groups = [later - each for each, later in pairwise([*beats, meter.numerator])]
        meters = source.meters
        if len(set(groups)) > 1:
            counted = Meter.parse(f"{'+'.join(map(str, groups))}/{meter.unit}")
            meters = tuple((at, counted if own == meter else own) for at, own in meters)
        return replace(source, strokes=kept, meters=meters), len(struck)
    return source, 0


def _clicked(struck: Sequence[Struck], meter: Meter, first: str) -> list[int]:
    """The units of the bar that a click counts; none if the strokes are no click's."""
    unit = 4 / meter.unit
    bars: dict[int, set[int]] = {}
    for each in struck:
        at = round(each.place / unit)
        number, beat = divmod(at, meter.numerator)
        if abs(each.place - at * unit) > _ON_THE_BEAT or (beat == 0) != (each.voice == first):
            return []
        bars.setdefault(number, set()).add(beat)
    beats = next(iter(bars.values()), set())
    whole = len(beats) > 1 or len(meter.beats) == 1
    same = whole and 0 in beats and all(heard == beats for heard in bars.values())
    return sorted(beats) if same else []
