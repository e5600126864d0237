"""Every kind of file read back with four independent libraries.

mido and music21 are asked for ticks and quarter notes, symusic for ticks, pretty_midi for seconds.
What should be there is worked out in this file from the hits of the exercise, the numbers in the
kit and the documented rules (below), without midiforge's own way from hits to notes.

Rules: a flam's grace note comes `flam_ms` before its stroke, the notes of a drag or ruff lie
`drag_ms` apart; grace notes of the loop's first stroke come before the seam too, and before the
first downbeat only if there is something before it. Of two strokes of one note at one tick the
louder sounds. A note lasts a thirty-second note, or until the same note sounds again, or until
the loop ends.

Tolerances: ticks are exact, but for grace notes, which are rounded from milliseconds (1 tick).
Seconds: a tempo in a file is a whole number of microseconds to the quarter note, so each quarter
note may be half a microsecond off.
"""

import csv
import io
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import mido
import pretty_midi
import pytest
import symusic
from music21 import midi as music21_midi

import midiforge
from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.kits.kit import Kit, kit_names
from midiforge.midi.exercise_file import exercise_bytes
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit

FLAM_MS, DRAG_MS = 30, 35  # as the keys flam_ms and drag_ms say when not given
MICROSECOND = Fraction(1, 1_000_000)

OWN_KIT = """
starts_from = "general-midi-1"
title = "A module on another channel"
channel = 3
program = 17

[notes]
snare = 40

[velocities]
accent = 127
tap = 66
ghost = 9
"""

PARADIDDLE = {"sticking": "RLRR LRLL"}

# The kinds of file; all stages of each are read.
CASES: dict[str, dict[str, Any]] = {
    "format 1": {**PARADIDDLE, "feet": "tumbao"},
    "format 0": {**PARADIDDLE, "feet": "tumbao", "format": 0},
    "several tempos and placements": {
        "sticking": "RLRR LRLL",
        "feet": "samba",
        "placements": "0,1,2&",
        "tempos": "72,92.5",
    },
    "feet alone": {"feet": "tumbao"},
    "flams": {"sticking": "lR L R rL R L", "meter": "6/8", "steps": 3, "tempos": 50},
    "flams in format 0": {"sticking": "lR L R rL R L", "meter": "6/8", "steps": 3, "format": 0},
    "flams without count-in": {"sticking": "lR - rL R", "count_in": 0, "tempos": 60},
    "drags": {"sticking": "llR L rrL R", "steps": 2, "tempos": 60},
    "ruffs": {"sticking": "lllR - rrrrL -", "steps": 2, "tempos": 60},
    "flams and drags of other lengths": {
        "sticking": "lR - rrL R",
        "steps": 2,
        "tempos": 60,
        "flam_ms": 17.5,
        "drag_ms": 41,
    },
    "grace notes on a voice of their own": {
        "sticking": "lR L rL R",
        "steps": 2,
        "tempos": 60,
        "voicing": {"LH grace": "side-stick", "RH grace": "tom-high"},
    },
    "buzz": {"sticking": "Rz L Lz R", "steps": 2, "tempos": 60},
    "ghosts and accents": {"sticking": ">R (L) R (LL) R (L) >R", "steps": 4},
    "accents on the beats": {"sticking": "RLL", "accents": "beats", "feet": "hihat-quarters"},
    "both hands and feet inside": {"sticking": "B K R+K L -  K B K", "tempos": 100},
    "swing": {"sticking": "RLRL", "steps": 2, "swing": "2:1", "feet": "1 2& 4"},
    "swing of sixteenths": {"sticking": "RLRRL", "swing": "3:2", "swing_pair": "sixteenth"},
    "sixteenths over swung eighths": {
        "sticking": "RLRRL",
        "swing": "5:3",
        "swing_pair": "eighth",
    },
    "triplets over swung eighths": {
        "sticking": "RLR",
        "steps": 3,
        "swing": "2:1",
        "swing_pair": "eighth",
        "feet": "x.x. .x.x on RF",
        "layers": "1 2& 3& as cowbell",
    },
    "two strokes of one note at once": {
        "sticking": "R+(L) - (R)+L -",
        "voicing": {"RH": "snare", "LH": "snare"},
    },
    "swung flams": {"sticking": "R lR rL L", "steps": 2, "swing": "2:1", "tempos": 60},
    "6/8": {"sticking": "RLL", "meter": "6/8", "tempos": 60, "feet": "1 2"},
    "12/8": {"sticking": "RLRLL", "meter": "12/8", "steps": 3, "feet": "x..x.."},
    "7/8": {"sticking": "RLRLRLL", "meter": "7/8", "steps": 2, "tempos": 200},
    "2+2+3/8": {"sticking": "RLRLRLL", "meter": "2+2+3/8", "steps": 2, "tempos": 90},
    "half notes": {"sticking": "RLRR", "meter": "2/2", "tempos": 66},
    "triplets": {"sticking": "RLRR", "steps": 3},
    "quintuplets": {"sticking": "RLRLL", "steps": 5, "feet": "hihat-quarters"},
    "septuplets": {"sticking": "RLRLRLL", "steps": 7, "tempos": 63},
    "several grids": {"sticking": "RLRR LRLL", "steps": "3,4,5,7"},
    "ramp": {**PARADIDDLE, "ramp": "60 to 72 by 5 every 1 bars"},
    "ramp with flams in 6/8": {
        "sticking": "lR L R",
        "meter": "6/8",
        "steps": 3,
        "ramp": "40 to 50 by 5 every 2 bars",
    },
    "gap": {**PARADIDDLE, "gap": "1 on 2 off"},
    "late entry": {**PARADIDDLE, "entry": "late", "placements": "+3", "feet": "tumbao"},
    "late entry with flams": {
        "sticking": "rL R L R",
        "entry": "late",
        "placements": "+4",
        "tempos": 60,
    },
    "late entry of a flam that ends up on the seam": {
        "sticking": "R L R lR",
        "entry": "late",
        "placements": "+1",
        "tempos": 60,
    },
    "call and response": {**PARADIDDLE, "form": "2 call 2 response", "feet": "tumbao"},
    "bars of time": {**PARADIDDLE, "form": "3 time 1 exercise", "groove": "jazz-ride"},
    "crescendo": {**PARADIDDLE, "dynamics": "crescendo 40% to 130% over 2 bars"},
    "diminuendo with drags": {
        "sticking": "llR L >R (L)",
        "steps": 2,
        "tempos": 60,
        "dynamics": "diminuendo 120% to 30% over 3 bars",
    },
    "soft repeat": {**PARADIDDLE, "dynamics": "soft repeat at 50%"},
    "clave": {**PARADIDDLE, "layers": "son-clave-3-2", "feet": "tumbao"},
    "clave and cascara": {"feet": "tumbao", "layers": ["son-clave-3-2", "cascara-3-2 on RH"]},
    "voices taking turns": {
        "sticking": "R R L",
        "voicing": {"RH": "ride/crash", "LH": "tom-high/tom-mid/floor-tom"},
    },
    "one surface for all": {
        "sticking": "B R L B",
        "steps": 8,
        "voicing": {"RH": "snare", "LH": "snare"},
        "accents": "1 2 3 4",
    },
    "fast on one surface": {"sticking": "RL", "steps": 12, "tempos": 300},
    "count-in of none": {**PARADIDDLE, "count_in": 0},
    "count-in of two": {**PARADIDDLE, "count_in": 2, "click": "count-in"},
    "no click": {**PARADIDDLE, "count_in": 0, "click": "off"},
    "repeats": {"sticking": "RLRRL", "repeats": 3, "steps": 2},
    "own kit": {"sticking": ">R (L) R lR", "tempos": 60, "kit": "OWN", "feet": "tumbao"},
    "own kit in format 0": {"sticking": "RL", "kit": "OWN", "format": 0},
    **{
        f"kit {name}": {
            "sticking": ">R L (R) R",
            "kit": name,
            "voicing": {"RH accent": "ride-edge", "LH": "snare-rim", "RH ghost": "high-q"},
            "feet": "tumbao",
        }
        for name in kit_names()
    },
}


# What should be there


class Due(NamedTuple):
    """A note that should sound.

    tick: as near as it can be said; `near` where it may be one tick off.
    velocity: before rounding to a whole number.
    track: whose it is; "" where two tracks strike one note at one tick.
    """

    tick: int
    near: bool
    number: int
    velocity: Fraction
    track: str


class Bounces(NamedTuple):
    """Where a buzz may bounce on: between two ticks, softer than the stroke."""

    start: int
    end: int
    number: int
    velocity: Fraction


class Expected:
    """What a file of an exercise should hold, with times in ticks."""

    def __init__(self, exercise: Exercise, kit: Kit, division: int, single: bool) -> None:
        self.exercise, self.kit, self.division, self.single = exercise, kit, division, single
        bar = exercise.meter.bar
        self.before = self.whole(exercise.count_in_bars * bar)
        self.length = self.before + self.whole(exercise.bars * bar)
        self.lyrics: list[tuple[int, str]] = []
        self.bounces: list[Bounces] = []
        self.tracks: set[str] = set()
        struck: dict[tuple[int, int], Due] = {}
        for due in self._dues():
            self.tracks.add(due.track)
            other = struck.get((due.tick, due.number))
            if other:
                louder = max(other, due, key=lambda each: each.velocity)
                due = louder._replace(track="")
            struck[due.tick, due.number] = due
        self.notes = sorted(struck.values())

    def whole(self, quarters: Fraction) -> int:
        """Ticks of a time that must fall on one."""
        found = quarters * self.division
        assert found.denominator == 1, f"{quarters} is not on a tick of {self.division}"
        return int(found)

    def seconds(self, tick: int) -> Fraction:
        """When a tick comes, from the exact tempos."""
        time = Fraction(tick - self.before, self.division)
        total, tempo = Fraction(0), self.exercise.tempo
        at = -self.exercise.count_in
        for change, rate in tempo.changes:
            ends = [start for start, _ in tempo.changes if start > change]
            until = min([time, *ends[:1]])
            if until > at:
                total += (until - at) * 60 / (rate * tempo.pulse)
                at = until
        return total

    def _level(self, time: Fraction) -> Fraction:
        """The dynamics at a time: straight lines between points, the later of two at one time."""
        points = self.exercise.dynamics.points
        if not points:
            return Fraction(1)
        (t0, l0) = max((i for i in enumerate(points) if i[1][0] <= time), key=lambda i: i[0])[1]
        after = [point for point in points if point[0] > time]
        if not after:
            return l0
        t1, l1 = after[0]
        return l0 + (l1 - l0) * (time - t0) / (t1 - t0)

    def _played(self, time: Fraction) -> Fraction:
        """The two halves of a pair long and short; triplets and the like stay as written."""
        swing = self.exercise.swing
        pairs, place = divmod(time / swing.pair, 1)
        if swing.share == Fraction(1, 2) or place.denominator not in (1, 2, 4, 8, 16, 32, 64):
            return time
        halves = place * 2
        late = halves * swing.share if halves <= 1 else 1 - (2 - halves) * (1 - swing.share)
        return (pairs + late) * swing.pair

    def _ms(self, time: Fraction, ms: float) -> int:
        """Ticks of some ms just before a time."""
        tempo = self.exercise.tempo
        rate = [bpm for start, bpm in tempo.changes if start < time] or [tempo.changes[0][1]]
        return round(Fraction(ms) / 1000 * rate[-1] * tempo.pulse / 60 * self.division)

    def _dues(self) -> Iterator[Due]:
        titles = {"RH": "Right hand", "LH": "Left hand", "RF": "Right foot", "LF": "Left foot"}
        titles["click"] = "Click"
        titles |= {"son-clave-3-2": "Son clave 3-2", "cascara-3-2": "Cascara 3-2"}
        strengths = self.kit.velocities
        for hit in self.exercise.hits:
            track = titles.get(hit.limb or hit.layer, hit.layer)
            time = self._played(hit.time)
            tick = self.before + self.whole(time)
            number = self.kit.note(hit.voice)
            if hit.layer == "click":
                name = "click-accent" if hit.strength == "accent" else "click"
                yield Due(tick, False, number, Fraction(strengths[name]), track)
                continue
            level = self._level(hit.time)
            velocity = self._within(strengths[hit.strength] * level)
            yield Due(tick, False, number, velocity, track)
            self._lyric(tick, hit)
            if hit.ornament is None:
                continue
            if hit.ornament.kind == "buzz":
                until = self.before + self.whole(hit.time + self.exercise.step)
                self.bounces.append(Bounces(tick, until, number, velocity))
                continue
            soft = self._within(strengths["grace"] * level)
            count, limb = hit.ornament.grace_notes, hit.ornament.limb
            apart = self.exercise.touch.flam_ms if count == 1 else self.exercise.touch.drag_ms
            grace_number = self.kit.note(hit.ornament.voice)
            places = [(time, tick)] if tick > 0 else []
            if hit.time == self.exercise.loop_start:
                places.append((self.exercise.length, self.length))
            for moment, place in places:
                for i in range(1, count + 1):
                    at = place - self._ms(moment, apart * i)
                    yield Due(at, True, grace_number, soft, titles[str(limb)])

    def _lyric(self, tick: int, hit: Hit) -> None:
        letter = {"RH": "R", "LH": "L"}.get(hit.limb or "")
        if letter:
            grace = hit.ornament.grace_notes if hit.ornament else 0
            other = "l" if letter == "R" else "r"
            buzz = "z" if hit.ornament and hit.ornament.kind == "buzz" else ""
            self.lyrics.append((tick, other * grace + letter + buzz))

    @staticmethod
    def _within(velocity: Fraction) -> Fraction:
        return max(Fraction(1), min(Fraction(127), velocity))

    @property
    def title(self) -> str:
        tempos = [f"{float(bpm):g}" for _, bpm in self.exercise.tempo.changes]
        ends = dict.fromkeys((tempos[0], tempos[-1]))
        return f"{self.exercise.title}, {' to '.join(ends)} bpm"

    @property
    def markers(self) -> list[tuple[int, str]]:
        found = [(self.before + self.whole(s.start), s.title) for s in self.exercise.sections]
        first = f"{self.exercise.number}. {self.title}: {found[0][1]}"
        return [(found[0][0], first), *found[1:]]

    @property
    def tempos(self) -> list[tuple[int, Fraction]]:
        """Ticks and quarter notes a minute."""
        tempo = self.exercise.tempo
        return [
            (self.before + self.whole(start) if start else 0, rate * tempo.pulse)
            for start, rate in tempo.changes
        ]


# Reading


class Seen(NamedTuple):
    """What a library sees; times in its own unit, None for what it does not read.

    unit: of a tick, that is what one tick is, for tempos that do not change, in `unit_name`.
    notes: (start, end, number, velocity, track).
    """

    unit_name: str
    division: int
    notes: list[tuple[Any, Any, int, int, str]]
    tempos: list[tuple[Any, float]]
    meters: list[tuple[Any, int, int]]
    lyrics: list[tuple[Any, str]]
    markers: list[tuple[Any, str]] | None
    names: list[str]
    ends: list[Any] | None


def pairs(events: Iterable[tuple[int, bool, int, int]]) -> list[tuple[int, int, int, int]]:
    """Notes from (tick, on, number, velocity); each must end before it sounds again."""
    sounding: dict[int, tuple[int, int]] = {}
    found = []
    for tick, on, number, velocity in events:
        if on:
            assert number not in sounding, f"note {number} at {tick} overlaps itself"
            sounding[number] = tick, velocity
        else:
            start, struck = sounding.pop(number)
            assert tick > start, f"note {number} at {start} has no length"
            found.append((start, tick, number, struck))
    assert not sounding, f"notes that never end: {sounding}"
    return found


def read_mido(data: bytes) -> Seen:
    file = mido.MidiFile(file=io.BytesIO(data))
    seen = Seen("ticks", file.ticks_per_beat, [], [], [], [], [], [], [])
    assert seen.markers is not None and seen.ends is not None
    for track in file.tracks:
        at, events = 0, []
        for message in track:
            at += message.time
            if message.type in ("note_on", "note_off"):
                on = message.type == "note_on" and message.velocity > 0
                events.append((at, on, message.note, message.velocity))
            elif message.type == "set_tempo":
                seen.tempos.append((at, mido.tempo2bpm(message.tempo)))
            elif message.type == "time_signature":
                seen.meters.append((at, message.numerator, message.denominator))
            elif message.type == "lyrics":
                seen.lyrics.append((at, message.text))
            elif message.type == "marker":
                seen.markers.append((at, message.text))
        seen.notes.extend((*note, track.name) for note in pairs(events))
        seen.names.append(track.name)
        seen.ends.append(at)
        assert track[-1].type == "end_of_track"
    return seen


def read_symusic(data: bytes) -> Seen:
    score = symusic.Score.from_midi(data)
    notes = [(n.time, n.end, n.pitch, n.velocity, t.name) for t in score.tracks for n in t.notes]
    return Seen(
        unit_name="ticks",
        division=score.tpq,
        notes=notes,
        tempos=[(each.time, each.qpm) for each in score.tempos],
        meters=[(each.time, each.numerator, each.denominator) for each in score.time_signatures],
        lyrics=[(each.time, each.text) for track in score.tracks for each in track.lyrics],
        markers=[(each.time, each.text) for each in score.markers],
        names=list(dict.fromkeys(track.name for track in score.tracks)),
        ends=None,
    )


def read_pretty_midi(data: bytes) -> Seen:
    file = pretty_midi.PrettyMIDI(io.BytesIO(data))
    notes = [
        (n.start, n.end, n.pitch, n.velocity, instrument.name)
        for instrument in file.instruments
        for n in instrument.notes
    ]
    return Seen(
        unit_name="seconds",
        division=file.resolution,
        notes=notes,
        tempos=list(zip(*file.get_tempo_changes(), strict=True)),
        meters=[(m.time, m.numerator, m.denominator) for m in file.time_signature_changes],
        lyrics=[(each.time, each.text) for each in file.lyrics],
        markers=None,
        names=list(dict.fromkeys(instrument.name for instrument in file.instruments)),
        ends=None,
    )


def read_music21(data: bytes) -> Seen:
    file = music21_midi.MidiFile()
    file.readstr(data)
    division = file.ticksPerQuarterNote
    seen = Seen("quarters", division, [], [], [], [], [], [], [])
    assert seen.markers is not None and seen.ends is not None
    meta = music21_midi.MetaEvents
    for track in file.tracks:
        timed = music21_midi.translate.getTimeForEvents(track)
        texts = {e.type: e.data for _, e in timed if e.type is meta.SEQUENCE_TRACK_NAME}
        name = texts[meta.SEQUENCE_TRACK_NAME].decode("latin-1")
        for note in music21_midi.translate.getNotesFromEvents(timed):
            times = Fraction(note.onTime, division), Fraction(note.offTime, division)
            seen.notes.append((*times, note.event.pitch, note.event.velocity, name))
        for tick, event in timed:
            at, content = Fraction(tick, division), event.data
            if event.type is meta.SET_TEMPO:
                seen.tempos.append((at, 60e6 / int.from_bytes(content)))
            elif event.type is meta.TIME_SIGNATURE:
                seen.meters.append((at, content[0], 2 ** content[1]))
            elif event.type is meta.LYRIC:
                seen.lyrics.append((at, content.decode("latin-1")))
            elif event.type is meta.MARKER:
                seen.markers.append((at, content.decode("latin-1")))
        seen.names.append(name)
        ons = [e for e in track.events if e.isNoteOn()]
        assert len(ons) == len(music21_midi.translate.getNotesFromEvents(timed))
        # The last delta time and event of a track are those of its end.
        ticks = sum(e.time for e in track.events if isinstance(e, music21_midi.DeltaTime))
        seen.ends.append(Fraction(ticks, division))
    return seen


READERS: dict[str, Callable[[bytes], Seen]] = {
    "mido": read_mido,
    "pretty_midi": read_pretty_midi,
    "symusic": read_symusic,
    "music21": read_music21,
}


# Comparing


class File(NamedTuple):
    """An exercise, its file, and what should be in it."""

    data: bytes
    expected: Expected


@pytest.fixture(scope="session")
def kits(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kits")
    (folder / "OWN.toml").write_text(OWN_KIT)
    return folder


@cache
def files(name: str, folder: Path) -> tuple[File, ...]:
    drill = check_drill(CASES[name], folder=folder)
    found = []
    for exercise in exercises(drill):
        data = exercise_bytes(exercise, drill.kit, drill.file_format)
        division = int.from_bytes(data[12:14])
        single = drill.file_format == 0
        found.append(File(data, Expected(exercise, drill.kit, division, single)))
    assert found
    return tuple(found)


class Scale:
    """From ticks to the unit a library reads in, and how far off it may be."""

    def __init__(self, expected: Expected, unit_name: str) -> None:
        self.expected, self.unit_name = expected, unit_name
        quarters = Fraction(expected.length, expected.division)
        self.error = (quarters / 2 + 1) * MICROSECOND if unit_name == "seconds" else Fraction(0)

    def of(self, tick: int) -> Fraction:
        if self.unit_name == "seconds":
            return self.expected.seconds(tick)
        if self.unit_name == "quarters":
            return Fraction(tick, self.expected.division)
        return Fraction(tick)

    def ticks(self) -> list[float]:
        """When each tick comes, if the library reads in seconds."""
        if self.unit_name != "seconds":
            return []
        changes = [0, *(tick for tick, _ in self.expected.tempos[1:]), self.expected.length]
        found: list[float] = []
        for start, end in pairwise(changes):
            begin, stop = float(self.of(start)), float(self.of(end))
            found += [begin + (stop - begin) * i / (end - start) for i in range(end - start)]
        return [*found, float(self.of(self.expected.length))]

    def same(self, seen: Any, tick: int, slack: int = 0) -> bool:
        """Whether a time is that of a tick, or at most `slack` ticks off."""
        low, high = self.of(tick - slack) - self.error, self.of(tick + slack) + self.error
        return low <= Fraction(seen) <= high


def every(check: Callable[..., None]) -> Callable[..., None]:
    """The check for each kind of file and each reader."""
    with_readers = pytest.mark.parametrize("reader", READERS)
    return pytest.mark.parametrize("case", CASES)(with_readers(check))


def without_bounces(seen: Seen, expected: Expected, scale: Scale) -> list[tuple[Any, ...]]:
    """The notes less the bounces of buzzes, which are checked here."""
    kept = sorted(seen.notes)
    for buzz in expected.bounces:
        start, end = scale.of(buzz.start) + scale.error, scale.of(buzz.end) - scale.error
        mine = [n for n in kept if n[2] == buzz.number and start < Fraction(n[0]) < end]
        assert len(mine) >= 3, "a buzz bounces on"
        velocities = [note[3] for note in mine]
        assert velocities == sorted(velocities, reverse=True)
        assert velocities[0] < buzz.velocity
        kept = [note for note in kept if note not in mine]
    return kept


@every
def test_notes_begin_where_the_hits_are_and_have_their_numbers_and_velocities(
    case: str, reader: str, kits: Path
) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        assert seen.division == expected.division
        scale = Scale(expected, seen.unit_name)
        notes = without_bounces(seen, expected, scale)
        assert len(notes) == len(expected.notes)
        left = sorted(expected.notes, key=lambda due: (due.number, due.tick))
        for note, due in zip(sorted(notes, key=lambda n: (n[2], n[0])), left, strict=True):
            start, _, number, velocity, track = note
            assert number == due.number
            assert scale.same(start, due.tick, slack=int(due.near)), (note, due)
            assert abs(velocity - due.velocity) <= Fraction(1, 2), (note, due)
            if due.track and not expected.single:
                assert track == due.track


@every
def test_notes_last_a_thirty_second_or_until_their_sound_comes_again(
    case: str, reader: str, kits: Path
) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        scale = Scale(expected, seen.unit_name)
        ticks = scale.ticks()
        by_number: dict[int, list[tuple[Any, Any]]] = {}
        for start, end, number, *_ in seen.notes:
            by_number.setdefault(number, []).append((start, end))
        usual = max(1, expected.division // 8)
        for notes in by_number.values():
            notes.sort()
            starts = [nearest_tick(start, scale, ticks) for start, _ in notes]
            for (_, end), at, following in zip(
                notes, starts, [*starts[1:], expected.length + usual], strict=True
            ):
                due = min(at + usual, expected.length, following)
                # It may make room for the next stroke one tick early.
                early = int(following <= at + usual and due - 1 > at)
                assert scale.same(end, due) or scale.same(end, due - early)


def nearest_tick(time: Any, scale: Scale, ticks: list[float]) -> int:
    """The tick of a time that a library gives in its own unit."""
    if scale.unit_name != "seconds":
        return int(time * (scale.expected.division if scale.unit_name == "quarters" else 1))
    place = bisect_left(ticks, float(time - float(scale.error)))
    assert ticks[place] == pytest.approx(float(time), abs=float(scale.error))
    return place


@every
def test_tempo_and_meter_are_those_of_the_drill(case: str, reader: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        scale = Scale(expected, seen.unit_name)
        meter = expected.exercise.meter
        assert [(n, d) for _, n, d in seen.meters] == [(meter.numerator, meter.unit)]
        assert seen.meters[0][0] == 0
        assert len(seen.tempos) == len(expected.tempos)
        for (at, rate), (tick, quarters) in zip(seen.tempos, expected.tempos, strict=True):
            assert scale.same(at, tick)
            # Half a microsecond in the length of a quarter note, and single precision.
            assert rate == pytest.approx(float(quarters), rel=2e-6)


@every
def test_lyrics_are_the_sticking_where_it_is_struck(case: str, reader: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        scale = Scale(expected, seen.unit_name)
        due = sorted(expected.lyrics)
        found = sorted(seen.lyrics, key=lambda each: (round(float(each[0]), 4), each[1]))
        assert [text for _, text in found] == [text for _, text in due]
        assert all(scale.same(at, tick) for (at, _), (tick, _) in zip(found, due, strict=True))


@every
def test_tracks_are_named_after_who_plays(case: str, reader: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        if expected.single:
            assert seen.names == [expected.title]
        elif reader in ("mido", "music21"):  # the others show tracks with notes only
            assert seen.names[0] == expected.title
            assert sorted(seen.names[1:]) == sorted(expected.tracks)
        else:
            sounding = {due.track for due in expected.notes} - {""}
            assert sounding <= set(seen.names) <= expected.tracks


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("reader", ["mido", "symusic", "music21"])
def test_every_section_has_a_marker(case: str, reader: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        scale = Scale(expected, seen.unit_name)
        assert seen.markers is not None
        due = Counter((scale.of(tick), text) for tick, text in expected.markers)
        assert Counter((Fraction(at), text) for at, text in seen.markers) == due


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("reader", ["mido", "music21"])
def test_every_track_ends_exactly_on_the_loop(case: str, reader: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        seen = READERS[reader](data)
        assert seen.ends is not None
        assert set(seen.ends) == {Scale(expected, seen.unit_name).of(expected.length)}


@pytest.mark.parametrize("case", CASES)
def test_a_file_lasts_as_long_as_the_exercise_says(case: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        file = mido.MidiFile(file=io.BytesIO(data))
        error = float(Fraction(expected.length, expected.division) / 2 * MICROSECOND)
        due = float(expected.exercise.seconds)
        assert due == pytest.approx(float(expected.seconds(expected.length)), abs=1e-9)
        assert file.length == pytest.approx(due, abs=error + 1e-9)
        last = pretty_midi.PrettyMIDI(io.BytesIO(data)).get_end_time()
        assert last <= due + error + 1e-9


@pytest.mark.parametrize("case", [case for case in CASES if "format 0" in case])
def test_format_0_has_one_track_in_every_reader(case: str, kits: Path) -> None:
    for data, _ in files(case, kits):
        file = mido.MidiFile(file=io.BytesIO(data))
        assert (file.type, len(file.tracks)) == (0, 1)
        other = music21_midi.MidiFile()
        other.readstr(data)
        assert (other.format, len(other.tracks)) == (0, 1)


@pytest.mark.parametrize("case", CASES)
def test_all_notes_are_on_the_channel_of_the_kit(case: str, kits: Path) -> None:
    for data, expected in files(case, kits):
        channels = {
            message.channel + 1
            for track in mido.MidiFile(file=io.BytesIO(data)).tracks
            for message in track
            if not message.is_meta
        }
        assert channels == {expected.kit.channel}
        if expected.kit.channel == 10:
            drums = pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments
            assert all(instrument.is_drum for instrument in drums)


def merged(data: bytes) -> list[tuple[int, Any]]:
    """All messages as a player sends them: by tick, and of one tick by track."""
    at, found = 0, []
    for message in mido.merge_tracks(mido.MidiFile(file=io.BytesIO(data)).tracks):
        at += message.time
        found.append((at, message))
    return found


def test_no_note_overlaps_itself_when_tracks_are_played_together(kits: Path) -> None:
    for case in CASES:
        for data, _ in files(case, kits):
            pairs(
                (at, message.type == "note_on", message.note, message.velocity)
                for at, message in merged(data)
                if message.type in ("note_on", "note_off")
            )


@pytest.mark.parametrize("case", ["own kit in format 0", "own kit"])
def test_the_program_of_a_kit_is_sent_once(case: str, kits: Path) -> None:
    for data, _ in files(case, kits):
        programs = [(at, m) for at, m in merged(data) if m.type == "program_change"]
        assert [(at, m.channel + 1, m.program + 1) for at, m in programs] == [(0, 3, 17)]
        file = music21_midi.MidiFile()
        file.readstr(data)
        changes = music21_midi.ChannelVoiceMessages.PROGRAM_CHANGE
        found = [e for track in file.tracks for e in track.events if e.type is changes]
        assert [(e.channel, e.data) for e in found] == [(3, 16)]
        instruments = pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments
        assert 16 in {int(each.program) for each in instruments}


def test_the_program_of_a_kit_comes_before_every_note(kits: Path) -> None:
    for data, _ in files("own kit", kits):
        types = [message.type for _, message in merged(data)]
        assert types.index("program_change") < types.index("note_on")


def test_no_kit_that_is_shipped_sends_a_program(kits: Path) -> None:
    # So that a module keeps the drum set the player chose.
    for name in kit_names():
        for data, _ in files(f"kit {name}", kits):
            assert all(message.type != "program_change" for _, message in merged(data))


def test_a_stream_of_music21_has_the_notes_of_the_drum_set_at_their_quarters(kits: Path) -> None:
    for data, expected in files("quintuplets", kits):
        file = music21_midi.MidiFile()
        file.readstr(data)
        stream = music21_midi.translate.midiFileToStream(file, quantizePost=False)
        found = Counter(
            (n.getOffsetInHierarchy(stream), n.volume.velocity, n.storedInstrument.percMapPitch)
            for n in stream.recurse().notes
        )
        due = Counter(
            (Fraction(each.tick, expected.division), int(each.velocity), each.number)
            for each in expected.notes
        )
        assert found == due


# RH accents on the edge of the ride cymbal, LH on the rim of the snare drum, RH ghosts on "High
# Q": General MIDI level 1 has none of them, level 2 adds High Q as 27 (RP-024); the numbers of
# the electronic kit are those of its published table. What has no note falls back on ride 51,
# snare 38 and high wood block 76 (MMA0007).
HANDS_NOTES = {
    "general-midi-1": {51, 42, 76, 38},
    "general-midi-2": {51, 42, 27, 38},
    "electronic": {59, 42, 76, 40},
}


@pytest.mark.parametrize("name", kit_names())
def test_a_voice_that_a_kit_lacks_sounds_as_the_nearest_it_has(name: str, kits: Path) -> None:
    full = read_mido(files(f"kit {name}", kits)[-1].data)
    assert {note[2] for note in full.notes if note[4].endswith("hand")} == HANDS_NOTES[name]


def test_in_call_and_response_the_hands_are_silent_in_the_response(kits: Path) -> None:
    full = files("call and response", kits)[-1]
    seen = read_mido(full.data)
    bar = full.expected.whole(full.expected.exercise.meter.bar)
    for start, _, _, _, track in seen.notes:
        number = start // bar - full.expected.exercise.count_in_bars
        if track.endswith(("hand", "foot")):
            assert number % 4 < 2 or track.endswith("foot")
    bars = {start // bar - 1 for start, *_, track in seen.notes if track.endswith("hand")}
    assert bars == {n for n in range(full.expected.exercise.bars) if n % 4 < 2}


def test_in_a_gap_there_is_no_click(kits: Path) -> None:
    for data, expected in files("gap", kits):
        bar = expected.whole(expected.exercise.meter.bar)
        clicks = {start // bar - 1 for start, *_, t in read_mido(data).notes if t == "Click"}
        bars = expected.exercise.bars
        assert clicks == {-1, *(n for n in range(bars) if n % 3 == 0)}
        assert bars % 3 == 0


def test_fast_grace_notes_stay_between_their_stroke_and_the_step_before() -> None:
    drill = check_drill({"sticking": "R rrrL R rrL", "tempos": 240, "steps": 4})
    for exercise in exercises(drill):
        seen = read_mido(exercise_bytes(exercise, drill.kit))
        step = exercise.step * seen.division
        grace = drill.kit.velocities["grace"]
        places = [Fraction(n[0]) / step % 1 for n in seen.notes if n[3] == grace]
        assert len(places) >= 5
        assert all(place > Fraction(1, 2) for place in places)


# Humanising


HUMAN = {
    "sticking": "RLRR LRLL",
    "feet": "tumbao",
    "stages": "full",
    "humanise": {"timing": 4, "velocity": 6},
}


def human(**changes: Any) -> bytes:
    drill = check_drill({**HUMAN, **changes})
    (exercise,) = exercises(drill)
    return exercise_bytes(exercise, drill.kit)


def test_one_seed_gives_one_file_and_another_seed_another() -> None:
    other = {"timing": 4, "velocity": 6, "seed": 2}
    assert human() == human() != human(humanise=other)
    assert human(humanise=other) == human(humanise=other)


@pytest.mark.parametrize("reader", READERS)
def test_humanised_notes_stay_within_three_deviations(reader: str) -> None:
    straight = READERS[reader](human(humanise={"timing": 0, "velocity": 0}))
    uneven = READERS[reader](human(repeats=1))
    per_ms = {
        "ticks": Fraction(80 * 480, 60_000),
        "quarters": Fraction(80, 60_000),
        "seconds": Fraction(1, 1000),
    }[straight.unit_name]
    tick = {"ticks": 1, "quarters": Fraction(1, 480), "seconds": Fraction(1, 600)}
    moved = louder = 0
    for before, after in zip(
        *(sorted(each.notes, key=lambda n: (n[2], n[0])) for each in (straight, uneven)),
        strict=True,
    ):
        assert (before[2], before[4]) == (after[2], after[4])
        late = abs(Fraction(after[0]) - Fraction(before[0]))
        assert late <= 12 * per_ms + tick[straight.unit_name]
        assert abs(after[3] - before[3]) <= 18
        if before[4] == "Click":
            assert late < per_ms / 100
            assert after[3] == before[3]
        else:
            moved += late > per_ms / 100
            louder += after[3] != before[3]
    assert moved > 8
    assert louder > 8


def test_humanised_notes_stay_inside_the_file() -> None:
    for seed in range(20):
        data = human(humanise={"timing": 40, "seed": seed}, count_in=0)
        seen = read_mido(data)
        assert seen.ends is not None
        assert min(note[0] for note in seen.notes) >= 0
        assert max(note[1] for note in seen.notes) <= seen.ends[0]


@pytest.mark.parametrize("keys", [{}, {"lead": "swapped"}, {"feet": "samba", "layers": "clave"}])
def test_tracks_are_in_the_same_order_in_every_file(keys: dict[str, Any]) -> None:
    """Hands, feet, what plays beside them, the click: so that files line up under each other."""
    order = ["Right hand", "Left hand", "Right foot", "Left foot", "Son clave 3-2", "Click"]
    drill = check_drill({"sticking": "RLRR LRLL", **keys})
    for exercise in exercises(drill):
        names = read_mido(exercise_bytes(exercise, drill.kit)).names[1:]
        assert names == [name for name in order if name in names]


# The whole lesson in one file


LESSONS = ("several tempos and placements", "format 0", "ramp with flams in 6/8", "clave")


@pytest.mark.parametrize("case", LESSONS)
@pytest.mark.parametrize("reader", ["mido", "symusic", "music21"])
def test_the_lesson_is_its_exercises_one_after_the_other(
    case: str, reader: str, tmp_path: Path
) -> None:
    midiforge.build_lesson(check_drill(CASES[case]), tmp_path)
    with (tmp_path / "index.csv").open(newline="") as stream:
        index = list(csv.DictReader(stream))
    assert [row["file"] for row in index] == sorted(row["file"] for row in index)
    assert len(index) > 1
    notes: list[tuple[Any, ...]] = []
    lyrics: list[tuple[Any, str]] = []
    markers: list[tuple[Any, str]] = []
    at = 0
    for row in index:
        data = (tmp_path / row["file"]).read_bytes()
        seen, ends = READERS[reader](data), read_mido(data).ends
        assert ends is not None
        assert seen.markers is not None
        late = Fraction(at, seen.division) if seen.unit_name == "quarters" else at
        soft = check_drill(CASES[case]).kit.velocities["grace"]
        last = max(n[0] for n in seen.notes if n[3] > soft)
        # Grace notes behind the last stroke are for the loop, and here nothing goes round.
        own = [n for n in seen.notes if n[0] <= last]
        notes += [(n[0] + late, n[1] + late, n[2], n[3]) for n in own]
        lyrics += [(time + late, text) for time, text in seen.lyrics]
        markers += [(time + late, text) for time, text in seen.markers]
        at += ends[0]
        length = mido.MidiFile(file=io.BytesIO(data)).length
        assert float(row["seconds"]) == pytest.approx(length, abs=1e-3)
    data = (tmp_path / "lesson.mid").read_bytes()
    whole = READERS[reader](data)
    assert sorted(note[:4] for note in whole.notes) == sorted(notes)
    assert sorted(whole.lyrics) == sorted(lyrics)
    assert sorted(whole.markers or []) == sorted(markers)
    assert set(read_mido(data).ends or []) == {at}


@pytest.mark.parametrize("case", LESSONS)
def test_cues_come_when_the_markers_do(case: str, tmp_path: Path) -> None:
    drill = check_drill(CASES[case])
    report = midiforge.build_lesson(drill, tmp_path)
    data = (tmp_path / "lesson.mid").read_bytes()
    file = pretty_midi.PrettyMIDI(io.BytesIO(data))
    division = file.resolution
    due: list[tuple[float, str]] = []
    seen_numbers: set[str] = set()
    with (tmp_path / "cues.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            seconds = float(row["seconds"])
            hours, minutes, rest = row["start"].split(":")
            assert int(hours) * 3600 + int(minutes) * 60 + float(rest) == pytest.approx(seconds)
            text = row["section"]
            if row["number"] not in seen_numbers:
                text = f"{row['number']}. {row['title']}: {text}"
            seen_numbers.add(row["number"])
            due.append((seconds, text))
    assert [seconds for seconds, _ in due] == sorted(seconds for seconds, _ in due)
    ticks = sorted((tick, text) for tick, text in read_mido(data).markers or [])
    # Half a microsecond a quarter note, and half a millisecond that the list is rounded to.
    error = ticks[-1][0] / division * 0.5e-6 + 0.5e-3 + 1e-6
    left = sorted(due, key=lambda each: (round(each[0], 3), each[1]))
    for (tick, text), (seconds, cue) in zip(ticks, left, strict=True):
        assert text == cue
        assert file.tick_to_time(tick) == pytest.approx(seconds, abs=error)
    length = mido.MidiFile(file=io.BytesIO(data)).length
    ends = read_mido(data).ends
    assert ends is not None
    error = ends[0] / division * 0.5e-6 + 1e-6
    assert length == pytest.approx(float(report.built.seconds), abs=error)


@pytest.mark.parametrize("case", LESSONS)
def test_tempo_and_meter_are_told_again_for_each_exercise_of_the_lesson(
    case: str, tmp_path: Path
) -> None:
    drill = check_drill(CASES[case])
    lesson = list(exercises(drill))
    midiforge.build_lesson(drill, tmp_path)
    for reader in (read_mido, read_symusic, read_music21):
        seen = reader((tmp_path / "lesson.mid").read_bytes())
        due = [rate * e.tempo.pulse for e in lesson for _, rate in e.tempo.changes]
        assert [bpm for _, bpm in seen.tempos] == pytest.approx([float(x) for x in due], rel=2e-6)
        meters = [(e.meter.numerator, e.meter.unit) for e in lesson]
        assert [(n, d) for _, n, d in seen.meters] == meters
