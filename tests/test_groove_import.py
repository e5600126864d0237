"""Grooves brought in from MIDI files, against files that others wrote.

The files are written by mido and by pretty_midi, which share nothing with midiforge; what is in
them is said here. Sources: Standard MIDI Files 1.0 (120 quarter notes a minute and 4/4 where a file
says nothing), General MIDI level 1 (notes), the library's ostinatos and the 40 rudiments of the
Percussive Arts Society (round trips). Tempos, swing and unevenness of synthetic players are known
because they are made here; patterns are common practice.
"""

import hashlib
import json
import math
import random
import time
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from math import log
from pathlib import Path

import mido
import pretty_midi
import pytest
import typer
from typer.testing import CliRunner

import midiforge
from midiforge.command.groove import import_command
from midiforge.command.terminal import failed
from midiforge.errors import MidiforgeError
from midiforge.files.own_file import Seal
from midiforge.groove.groove import import_groove
from midiforge.groove.imported import Imported
from midiforge.groove.levels import strengths
from midiforge.groove.ornaments import gather
from midiforge.groove.source import Struck
from midiforge.groove.text import MADE
from midiforge.groove.words import details, summary
from midiforge.kits.kit import read_kit
from midiforge.library import shelf
from midiforge.loops import Shape
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Strength
from midiforge.model.meter import Meter

KIT = read_kit("general-midi-1")
BASS, SNARE, CLOSED, PEDAL, OPEN, RIDE, SIDE = 36, 38, 42, 44, 46, 51, 37
TAP, ACCENT, GHOST = 84, 118, 38  # velocities of a DAW; not those of midiforge's kits
LEVELS = {"x": TAP, ">": ACCENT, "g": GHOST}

Event = tuple[float, int, int]  # quarter notes or seconds, note, velocity
Pattern = Mapping[int, str]

ROCK: Pattern = {CLOSED: "x.x.x.x.x.x.x.x.", BASS: "x.....x.x.......", SNARE: "....x.......x..."}
FUNK: Pattern = {CLOSED: "x.x.x.x.x.x.x.x.", BASS: "x..x..x...x.....", SNARE: "....x..g.g..x..."}


def strokes(pattern: Pattern, steps: int, bars: int = 1, beats: int = 4) -> list[Event]:
    """A pattern again and again, in quarter notes."""
    found = [
        (turn * beats + i / steps, note, LEVELS[mark])
        for turn in range(bars)
        for note, marks in pattern.items()
        for i, mark in enumerate(marks)
        if mark != "."
    ]
    return sorted(found)


def by_mido(
    path: Path,
    events: Iterable[Event],
    division: int = 480,
    tempo: float | None = None,
    meter: tuple[int, int] | None = None,
    kind: int = 0,
    channel: int = 9,
    others: Sequence[tuple[int, mido.Message]] = (),
    end: int = 0,
) -> Path:
    """A file with events in quarter notes; `others`: ticks and messages."""
    midi = mido.MidiFile(type=kind, ticks_per_beat=division)
    conductor = mido.MidiTrack()
    midi.tracks.append(conductor)
    track = conductor
    if kind == 1:
        track = mido.MidiTrack()
        midi.tracks.append(track)
    if tempo:
        conductor.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo)))
    if meter:
        above, below = meter
        conductor.append(mido.MetaMessage("time_signature", numerator=above, denominator=below))
    messages: list[tuple[int, int, mido.Message]] = []
    for place, note, velocity in events:
        tick = round(place * division)
        on = mido.Message("note_on", channel=channel, note=note, velocity=velocity)
        messages += [(tick, 2, on), (tick + 1, 1, on.copy(velocity=0))]
    messages += [(tick, 0, message) for tick, message in others]
    now = 0
    for tick, _, message in sorted(messages, key=lambda each: each[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    midi.save(path)
    return path


def by_hand(path: Path, events: Iterable[Event], tempo: bool = True) -> Path:
    """A file of format 0, its bytes put together here: mido takes long for many.

    tempo: 100 quarter notes a minute, or nothing said.
    """
    body, now = bytearray(b"\0\xff\x51\x03" + (600_000).to_bytes(3) if tempo else b""), 0
    for place, note, velocity in sorted(events):
        tick = round(480 * place)
        for wait, loud in ((tick - now, velocity), (0, 0)):
            far = (bytes((0x80 | wait >> each & 127,)) for each in (14, 7) if wait >> each)
            body += b"".join(far) + bytes((wait & 127, 0x99, note, loud))
        now = tick
    body += b"\0\xff\x2f\0"
    header = b"MThd" + (6).to_bytes(4) + (0).to_bytes(2) + (1).to_bytes(2) + (480).to_bytes(2)
    path.write_bytes(header + b"MTrk" + len(body).to_bytes(4) + bytes(body))
    return path


def in_seconds(path: Path, events: Iterable[Event]) -> Path:
    """A recording: events in seconds, and a file that says nothing of tempo."""
    return by_hand(path, [(2 * at, note, velocity) for at, note, velocity in events], tempo=False)


def drill_of(found: Imported) -> midiforge.Exercise:
    """The whole groove, built from the drill's text."""
    return list(midiforge.exercises(midiforge.check_drill(tomllib.loads(found.text))))[-1]


def heard(exercise: Exercise, turns: int = 1) -> list[tuple[float, str]]:
    """Times as played in quarter notes, and voices, of the loop."""
    return sorted(
        (float(exercise.swing.played(hit.time) + turn * exercise.length), hit.voice)
        for turn in range(turns)
        for hit in exercise.hits
        if hit.time >= 0 and hit.layer != "click"
    )


def same(one: list[tuple[float, str]], other: list[tuple[float, str]], within: float) -> bool:
    def order(each: tuple[float, str]) -> tuple[str, float]:
        return each[1], each[0]

    return len(one) == len(other) and all(
        a[1] == b[1] and abs(a[0] - b[0]) <= within
        for a, b in zip(sorted(one, key=order), sorted(other, key=order), strict=True)
    )


# Round trips of what midiforge writes


def unrolled(exercise: Exercise, length: Fraction) -> list[tuple[Fraction, str, str, str]]:
    return sorted(
        (
            hit.time + turn * exercise.length,
            hit.voice,
            hit.strength.value,
            hit.ornament.kind.value if hit.ornament else "",
        )
        for turn in range(int(length / exercise.length))
        for hit in exercise.hits
        if hit.time >= 0 and hit.layer != "click"
    )


def brought_back(keys: Mapping[str, object], tmp_path: Path) -> tuple[Imported, Exercise]:
    """What is imported of the first whole exercise of a drill, and that exercise."""
    drill = midiforge.check_drill({"stages": "full", "repeats": 4, **keys})
    written = next(iter(midiforge.exercises(drill)))
    path = tmp_path / "written.mid"
    path.write_bytes(midiforge.exercise_bytes(written, drill.kit))
    return import_groove(path), written


FOOT_PATTERNS = [each for each in shelf.ostinatos().values() if each.kind == "foot"]


@pytest.mark.parametrize("partner", ["usual", "none"])
@pytest.mark.parametrize("click", ["off", "throughout"])
@pytest.mark.parametrize("ostinato", FOOT_PATTERNS, ids=lambda each: each.name)
def test_every_foot_pattern_of_the_library_comes_back(
    ostinato: shelf.LibraryOstinato, partner: str, click: str, tmp_path: Path
) -> None:
    drill = midiforge.check_drill(
        {
            "feet": ostinato.name,
            "meter": str(ostinato.meter),
            "partner": partner,
            "click": click,
            "stages": "feet",
            "repeats": 2,
        }
    )
    [written] = midiforge.exercises(drill)
    path = tmp_path / "feet.mid"
    path.write_bytes(midiforge.exercise_bytes(written, drill.kit))
    found = import_groove(path)
    again = drill_of(found)
    length = written.length * again.length
    assert unrolled(again, length) == unrolled(written, length)
    assert found.meter == written.meter
    assert found.tempo == 80
    assert found.exact
    assert not found.wrong
    assert (found.clicks > 0) == (click == "throughout")
    if partner == "none" and not ostinato.voice:
        assert ostinato.name in [name for _, _, names in found.parts for name in names]


@pytest.mark.parametrize("rudiment", shelf.rudiments().values(), ids=lambda each: each.name)
def test_every_rudiment_comes_back_with_its_flams_drags_and_buzzes(
    rudiment: shelf.Rudiment, tmp_path: Path
) -> None:
    drill = midiforge.check_drill(
        {"sticking": rudiment.name, "click": "off", "tempos": 90, "stages": "hands", "repeats": 4}
    )
    [written] = midiforge.exercises(drill)
    path = tmp_path / "hands.mid"
    path.write_bytes(midiforge.exercise_bytes(written, drill.kit))
    found = import_groove(path, kind="phrase")
    again = drill_of(found)
    length = written.length * again.length
    assert unrolled(again, length) == unrolled(written, length)


@pytest.mark.parametrize("meter", ["2+2+3/8", "3+2+2/8", "3+3+2/8", "4+3+3/16", "2+3/4"])
def test_the_click_of_a_mixed_meter_is_no_part_of_the_groove_and_tells_its_beats(
    meter: str, tmp_path: Path
) -> None:
    found, written = brought_back({"sticking": "RLRRLL", "meter": meter, "feet": "x"}, tmp_path)
    assert found.clicks == (written.bars + 1) * len(written.meter.groups)
    assert found.meter == written.meter
    assert found.first_bar == 2  # after the count-in
    assert {voice for _, voice in heard(drill_of(found))} == {voice for _, voice in heard(written)}


@pytest.mark.parametrize("tempo", [60, 80, 120])
@pytest.mark.parametrize("rudiment", ["flam", "pataflafla", "double-ratamacue", "flam-drag"])
def test_grace_notes_of_the_other_hand_on_another_voice_come_back(
    rudiment: str, tempo: int, tmp_path: Path
) -> None:
    found, written = brought_back({"sticking": rudiment, "tempos": tempo}, tmp_path)
    again = drill_of(found)
    length = written.length * again.length
    assert (found.tempo, found.meter) == (tempo, written.meter)
    assert unrolled(again, length) == unrolled(written, length)


# Files from a DAW


def ticks_by_mido(data: Path | str, division: int) -> list[tuple[int, int]]:
    """Ticks of `division` and notes, as mido reads them."""
    midi = mido.MidiFile(data)
    now, found = 0, []
    for message in mido.merge_tracks(midi.tracks):
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((now * division / midi.ticks_per_beat, message.note))
    return sorted((round(tick), note) for tick, note in found)


def lines_up(found: Imported, path: Path, tmp_path: Path, loop_ticks: int, division: int) -> bool:
    """Whether the drill, built, gives the file's ticks, turn after turn."""
    exercise = drill_of(found)
    built = tmp_path / "built.mid"
    drill = midiforge.check_drill(tomllib.loads(found.text))
    built.write_bytes(midiforge.exercise_bytes(exercise, drill.kit))
    lead = int(exercise.count_in * division)
    clicks = {76, 77} if drill.click != "off" else set()
    ours = {
        (tick - lead, note)
        for tick, note in ticks_by_mido(built, division)
        if tick >= lead and note not in clicks
    }
    theirs = {(tick % loop_ticks, note) for tick, note in ticks_by_mido(path, division)}
    return ours == theirs


@pytest.mark.parametrize("division", [24, 96, 120, 192, 220, 384, 480, 960, 15360])
@pytest.mark.parametrize("kind", [0, 1])
def test_a_file_on_its_grid_lines_up_to_a_tick(division: int, kind: int, tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(FUNK, 4, 4), division, 93, (4, 4), kind)
    found = import_groove(path)
    assert found.exact
    assert (found.tempo, found.tempo_from) == (93, "file")
    assert (found.steps, found.swing, found.bars, found.rounds) == (4, "", 1, pytest.approx(4, 0.1))
    assert not found.wrong
    assert lines_up(found, path, tmp_path, 4 * division, division)


@pytest.mark.parametrize("steps", range(1, 13))
def test_every_grid_is_found_and_lines_up(steps: int, tmp_path: Path) -> None:
    chance = random.Random(steps)
    for division in (480, 960):
        pattern = {
            note: "".join(chance.choice("x..") for _ in range(4 * steps)) for note in (RIDE, BASS)
        }
        pattern[SNARE] = "x" * steps + "." * (3 * steps)  # so that no coarser grid will do
        path = by_mido(tmp_path / "a.mid", strokes(pattern, steps, 3), division, 100, (4, 4))
        found = import_groove(path)
        assert found.steps == steps
        assert found.exact
        assert lines_up(found, path, tmp_path, 4 * division, division)


@pytest.mark.parametrize(
    ("meter", "steps", "beats"),
    [((3, 4), 4, 3.0), ((5, 4), 2, 5.0), ((7, 8), 2, 3.5), ((6, 8), 3, 3.0), ((12, 8), 6, 6.0)],
)
def test_meters_are_the_file_s(
    meter: tuple[int, int], steps: int, beats: float, tmp_path: Path
) -> None:
    chance = random.Random(3)
    own = Meter.parse(f"{meter[0]}/{meter[1]}")
    step = float(own.beat / steps)
    size = round(beats / step)
    bar = [(0.0, BASS, TAP), *((i * step, RIDE, TAP) for i in range(size) if chance.random() < 0.7)]
    events = [(at + turn * beats, note, loud) for turn in range(3) for at, note, loud in bar]
    path = by_mido(tmp_path / "a.mid", sorted(events), 480, 60, meter)
    found = import_groove(path)
    assert (found.meter.numerator, found.meter.unit) == meter
    assert found.tempo == pytest.approx(60 / float(found.meter.pulse))  # 60 quarters a minute
    assert found.bars == 1
    assert lines_up(found, path, tmp_path, round(480 * beats), 480)


def test_pretty_midi_s_file_is_read_the_same(tmp_path: Path) -> None:
    midi = pretty_midi.PrettyMIDI(initial_tempo=126, resolution=480)
    drums = pretty_midi.Instrument(program=0, is_drum=True)
    for at, note, velocity in strokes(FUNK, 4, 8):
        start = at * 60 / 126
        drums.notes.append(pretty_midi.Note(velocity, note, start, start + 0.05))
    midi.instruments.append(drums)
    path = tmp_path / "p.mid"
    midi.write(str(path))
    found = import_groove(path)
    assert found.tempo == pytest.approx(126, abs=0.001)
    assert (found.steps, found.bars, found.exact) == (4, 1, True)
    own = [(at, KIT.voice(note) or "") for at, note, _ in strokes(FUNK, 4)]
    assert same(heard(drill_of(found)), own, 0)


@pytest.mark.parametrize("division", [96, 480, 960])
@pytest.mark.parametrize("percent", [54, 58, 60, 62, 66, 70])
@pytest.mark.parametrize("pair", [1.0, 0.5])
def test_swing_of_a_daw_is_written_as_swing(
    division: int, percent: int, pair: float, tmp_path: Path
) -> None:
    off = round(division * pair * percent / 100) / division
    half = int(1 / pair)
    events = [
        (beat + part * pair + late, note, TAP)
        for beat in range(16)
        for part in range(half)
        for late, note in ((0.0, CLOSED), (off, CLOSED), *(((0.0, BASS),) if not part else ()))
    ]
    path = by_mido(tmp_path / "a.mid", sorted(events), division, 100, (4, 4))
    found = import_groove(path)
    assert found.swing_pair == {1.0: "eighth", 0.5: "sixteenth"}[pair]
    long, short = map(int, found.swing.split(":"))
    assert long / (long + short) == pytest.approx(off / pair, abs=0.6 / (division * pair))
    assert found.steps == 2 * half
    assert found.exact
    assert lines_up(found, path, tmp_path, 4 * division, division)


def test_triplets_are_no_swing_where_the_middle_one_is_played(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes({RIDE: "x.xxxxx.xx.x"}, 3, 4), 480, 100, (4, 4))
    found = import_groove(path)
    assert (found.steps, found.swing) == (3, "")


def test_dotted_eighths_are_no_swing(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes({RIDE: "x..xx..xx..xx..x"}, 4, 4), 480, 100)
    found = import_groove(path)
    assert (found.steps, found.swing) == (4, "")


def test_a_loop_of_two_bars_is_two_bars(tmp_path: Path) -> None:
    clave = {75: "x..x..x...x.x...", BASS: "x...x...x...x..."}  # son clave: [3 3 4 2 4]
    path = by_mido(tmp_path / "a.mid", strokes(clave, 2, 4, 8), 480, 100, (4, 4))
    found = import_groove(path)
    assert found.bars == 2
    assert "x. .x .. x. | .. x. x. .. on RH as claves" in tomllib.loads(found.text)["layers"]


def test_what_comes_once_is_reported_with_bar_and_count(tmp_path: Path) -> None:
    events = [*strokes(ROCK, 4, 16), (0.0, 49, ACCENT), (21.75, SNARE, TAP)]
    path = by_mido(tmp_path / "a.mid", sorted(events), 480, 100, (4, 4))
    found = import_groove(path)
    assert found.bars == 1
    said = [(each.bar, each.count, each.voice, each.what) for each in found.wrong]
    assert (1, "1", "crash", "extra") in said
    assert (6, "2a", "snare", "extra") in said
    assert found.explained + sum(1 for each in said if each[3] == "extra") == found.strokes


def test_a_stroke_left_out_once_is_reported_missing(tmp_path: Path) -> None:
    events = strokes(ROCK, 4, 16)
    events.remove((4 * 9 + 1.5, BASS, TAP))
    path = by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4))
    [wrong] = import_groove(path).wrong
    assert (wrong.bar, wrong.count, wrong.voice, wrong.what) == (10, "2&", "bass-drum", "missing")


def test_a_short_file_with_a_fill_is_kept_as_a_whole(tmp_path: Path) -> None:
    fill = {48: "........xxxx....", 43: "............xxxx", CLOSED: "x.x.x.x.", BASS: "x....."}
    events = [*strokes(ROCK, 4, 3), *((at + 12, *rest) for at, *rest in strokes(fill, 4))]
    path = by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4))
    found = import_groove(path)
    assert (found.bars, len(found.wrong)) == (4, 0)
    assert lines_up(found, path, tmp_path, 16 * 480, 480)


def test_the_loop_s_length_can_be_given(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 8), 480, 100, (4, 4))
    assert import_groove(path).bars == 1
    found = import_groove(path, bars=2)
    assert (found.bars, found.rounds) == (2, pytest.approx(4, abs=0.1))


def test_a_pickup_is_not_the_first_bar_of_the_loop(tmp_path: Path) -> None:
    two = {CLOSED: "x.x.x.x.x.x.x.x.", BASS: "x...............", SNARE: "........x......."}
    events = [(3.5, SNARE, TAP), *((at + 4, *rest) for at, *rest in strokes(two, 2, 4, 8))]
    found = import_groove(by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4)))
    assert (found.first_bar, found.bars) == (2, 2)
    assert [str(each) for each in found.wrong] == ["bar 1, count 4&: snare, extra"]


def test_an_empty_bar_in_front_is_left_out(tmp_path: Path) -> None:
    events = [(at + 8, *rest) for at, *rest in strokes(ROCK, 4, 4)]
    found = import_groove(by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4)))
    assert (found.first_bar, found.bars, found.exact) == (3, 1, True)


def test_the_tempo_may_change_on_the_way(tmp_path: Path) -> None:
    change = [(8 * 480, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(150)))]
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 4), 480, 100, (4, 4), others=change)
    found = import_groove(path)
    assert (found.tempo, found.bars, found.exact) == (100, 1, True)
    assert (found.slowest, found.fastest) == (100, 150)
    assert any("the tempo changes on the way, to 150" in each for each in found.remarks)


def test_the_meter_may_change_and_the_rest_is_named(tmp_path: Path) -> None:
    change = [(16 * 480, mido.MetaMessage("time_signature", numerator=3, denominator=4))]
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 8), 480, 100, (4, 4), others=change)
    found = import_groove(path)
    assert (found.meter, found.bars, found.strokes) == (Meter.parse("4/4"), 1, 4 * 13)
    assert any("from 4/4 to 3/4 at bar 5; the 52 strokes" in each for each in found.remarks)


def test_a_given_tempo_can_halve_the_beat(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(FUNK, 2, 4, 8), 480, 160, (4, 4))
    found = import_groove(path, tempo=Fraction(80))
    assert (found.tempo, found.steps, found.bars, found.exact) == (80, 4, 1, True)


def test_a_given_tempo_that_cannot_be_is_refused(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 4), 480, 120, (4, 4))
    with pytest.raises(MidiforgeError, match="on the file's own beats at 120, not at 97"):
        import_groove(path, tempo=Fraction(97))


def test_a_file_without_a_tempo_takes_the_given_one(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 4))
    assert import_groove(path).tempo == 120  # Standard MIDI Files 1.0
    assert import_groove(path).tempo_from == "assumed"
    assert import_groove(path, tempo=Fraction(97)).tempo == 97


# Recorded on a kit

PLAYED: dict[str, tuple[int, int, Pattern, tuple[float, float]]] = {
    # beats to a bar, steps to a beat, pattern, tempos between which the beat is not in doubt
    "rock": (4, 2, {CLOSED: "xxxxxxxx", BASS: "x..xx...", SNARE: "..x...x."}, (80, 150)),
    "sixteenths": (4, 4, {CLOSED: 16 * "x", BASS: ROCK[BASS], SNARE: ROCK[SNARE]}, (70, 115)),
    "funk": (4, 4, FUNK, (75, 115)),
    "disco": (4, 2, {OPEN: ".x.x.x.x", BASS: "x.x.x.x.", SNARE: "..x...x."}, (100, 140)),
    "shuffle": (
        4, 3, {CLOSED: "x.xx.xx.xx.x", BASS: "x.....x.....", SNARE: "...x.....x.."}, (80, 150)
    ),
    "triplets": (
        4, 3, {RIDE: 12 * "x", BASS: "x....xx.....", SNARE: "...x.....x.."}, (70, 130)
    ),
    "jazz": (
        4, 3, {RIDE: "x..x.xx..x.x", PEDAL: "...x.....x..", BASS: "g..g..g..g.."}, (110, 165)
    ),
    "waltz": (3, 2, {RIDE: "xxxxxx", BASS: "x.....", SNARE: "..x.x."}, (100, 160)),
}  # fmt: skip


def played(
    name: str,
    tempo: float,
    bars: int,
    chance: random.Random,
    jitter: float,
    drift: float = 0.0,
    miss: float = 0.0,
    start: float = 1.3,
    share: float = 0.0,
) -> list[Event]:
    """Strokes in seconds. jitter: s, standard deviation. drift: of the tempo, a beat.

    share: of the second triplet note, where not 2/3 of the beat.
    """
    beats, steps, pattern, _ = PLAYED[name]
    found = []
    for at, note, velocity in strokes(pattern, steps, bars, beats):
        if chance.random() < miss:
            continue
        if share and 0.6 < at % 1 < 0.7:
            at = at // 1 + share
        elapsed = log(1 + drift * at) / drift if drift else at
        loud = max(1, min(127, round(velocity + chance.gauss(0, 5))))
        found.append((start + 60 / tempo * elapsed + chance.gauss(0, jitter), note, loud))
    return sorted(found)


def meant(name: str) -> list[tuple[float, str]]:
    beats, steps, pattern, _ = PLAYED[name]
    return [(at, KIT.voice(note) or "") for at, note, _ in strokes(pattern, steps, 1, beats)]


def recovered(found: Imported, name: str) -> bool:
    exercise = drill_of(found)
    beats = PLAYED[name][0]
    own = [
        (at + beats * turn, voice)
        for turn in range(int(exercise.length / beats))
        for at, voice in meant(name)
    ]
    return exercise.length % beats == 0 and same(heard(exercise), own, 0.03)


@pytest.mark.parametrize("name", PLAYED)
def test_tempo_grid_and_bar_of_played_grooves_are_found(name: str, tmp_path: Path) -> None:
    # 20 players each, uneven by 4 to 12 ms: tempo within 1 %, every stroke of the loop.
    for seed in range(20):
        chance = random.Random(f"{name} {seed}")
        tempo = chance.uniform(*PLAYED[name][3])
        jitter = chance.choice([0.004, 0.008, 0.012])
        bars = chance.choice([8, 12, 20])
        path = in_seconds(tmp_path / "p.mid", played(name, tempo, bars, chance, jitter))
        found = import_groove(path)
        about = (name, seed, tempo, found.tempo, jitter)
        assert found.tempo == pytest.approx(tempo, rel=0.01), about
        assert recovered(found, name), about
        # The mean of a normal deviation's size is 0.8 of it.
        assert found.mean_shift <= 1000 * jitter, about
        assert not found.exact


@pytest.mark.parametrize("drift", [0.0006, -0.0005])
def test_slow_drift_is_followed(drift: float, tmp_path: Path) -> None:
    # Over 96 beats the tempo changes by about 5 %; a grid that stands still would lose the bar.
    for seed in range(10):
        for name in ("rock", "funk", "triplets"):
            chance = random.Random(f"{name} {seed} {drift}")
            tempo = chance.uniform(90, 112)
            events = played(name, tempo, 24, chance, 0.008, drift)
            found = import_groove(in_seconds(tmp_path / "p.mid", events))
            low, high = sorted((tempo, tempo * (1 + 96 * drift)))
            about = (name, seed, tempo, found.tempo)
            assert low * 0.99 <= found.tempo <= high * 1.01, about
            assert found.slowest == pytest.approx(low, rel=0.02), about
            assert found.fastest == pytest.approx(high, rel=0.02), about
            assert recovered(found, name), about


@pytest.mark.parametrize("share", [0.57, 0.60, 0.64, 0.68])
def test_played_swing_is_recognised_and_measured(share: float, tmp_path: Path) -> None:
    for seed in range(10):
        for name in ("shuffle", "jazz"):
            chance = random.Random(f"{name} {seed} {share}")
            tempo = chance.uniform(110, 150)
            events = played(name, tempo, 16, chance, 0.007, share=share)
            found = import_groove(in_seconds(tmp_path / "p.mid", events))
            about = (name, seed, tempo, found.tempo, found.swing)
            assert found.tempo == pytest.approx(tempo, rel=0.01), about
            assert found.swing_pair == "eighth", about
            long, short = map(int, found.swing.split(":"))
            assert long / (long + short) == pytest.approx(share, abs=0.015), about


def test_swing_played_late_to_a_click_is_measured_from_the_player_s_own_beats(
    tmp_path: Path,
) -> None:
    for seed in range(8):
        chance = random.Random(seed)
        events = [
            (at // 1 + (0.6 if at % 1 > 0.5 else 0) + 0.02 + chance.gauss(0, 0.008), *rest)
            for at, *rest in strokes({RIDE: "x..x.xx..x.x", PEDAL: "...x.....x.."}, 3, 12)
        ]
        found = import_groove(by_mido(tmp_path / "p.mid", sorted(events), 960, 96, (4, 4)))
        long, short = map(int, found.swing.split(":"))
        assert found.tempo_from == "file"
        assert long / (long + short) == pytest.approx(0.6, abs=0.015)  # 0.62 from the click's
        assert found.late == pytest.approx(12.5, abs=3)  # 0.02 of 625 ms


def test_strokes_that_a_player_leaves_out_do_not_change_the_loop(tmp_path: Path) -> None:
    for seed in range(10):
        for name in ("rock", "funk"):
            chance = random.Random(f"{name} {seed}")
            tempo = chance.uniform(85, 112)
            events = played(name, tempo, 20, chance, 0.008, miss=0.04)
            found = import_groove(in_seconds(tmp_path / "p.mid", events))
            assert recovered(found, name), (name, seed, tempo, found.tempo)
            whole = 20 * len(meant(name))
            missing = [each for each in found.wrong if each.what == "missing"]
            # Those before the first stroke and after the last are not known to be missing.
            assert whole - len(events) - 3 <= len(missing) <= whole - len(events)


def test_what_was_played_to_the_daw_s_click_stays_on_its_beats(tmp_path: Path) -> None:
    for seed in range(20):
        chance = random.Random(seed)
        tempo = chance.choice([72, 88, 97.5, 104, 120])
        late = chance.uniform(-0.006, 0.012)
        events = [
            (max(0.0, at + (chance.gauss(0, 0.008) + late) * tempo / 60), note, velocity)
            for at, note, velocity in strokes(FUNK, 4, 12)
        ]
        path = by_mido(tmp_path / "p.mid", sorted(events), 960, tempo, (4, 4), 1)
        found = import_groove(path)
        assert (found.tempo, found.steps, found.bars, found.swing) == (tempo, 4, 1, "")
        assert found.tempo_from == "file"
        assert found.late == pytest.approx(1000 * late, abs=3)
        own = [(at, KIT.voice(note) or "") for at, note, _ in strokes(FUNK, 4)]
        assert same(heard(drill_of(found)), own, 0)


def test_who_is_ahead_in_one_bar_and_behind_in_another_plays_one_loop(tmp_path: Path) -> None:
    for seed in range(8):
        chance = random.Random(seed)
        events = [
            (
                max(0.0, at + 0.04 * math.sin(at * math.pi / 16) - 0.05 + chance.gauss(0, 0.012)),
                *rest,
            )
            for at, *rest in strokes(FUNK, 4, 16)
        ]
        found = import_groove(by_mido(tmp_path / "p.mid", sorted(events), 960, 96, (4, 4)))
        assert (found.steps, found.bars, found.swing, found.explained) == (4, 1, "", len(events))
        assert found.mean_shift < 10  # ms; from the click it is 34


def test_half_time_is_written_in_sixteenths_and_not_in_thirty_seconds(tmp_path: Path) -> None:
    halves = {CLOSED: "x.x.x.x.x.x.x.x.", BASS: "x......x......x.", SNARE: "........x......."}
    for seed in range(8):
        chance = random.Random(seed)
        tempo = chance.uniform(120, 160)
        events = [
            (1 + at * 60 / tempo + chance.gauss(0, 0.005), note, velocity)
            for at, note, velocity in strokes(halves, 4, 12)
        ]
        found = import_groove(in_seconds(tmp_path / "p.mid", sorted(events)))
        assert found.tempo == pytest.approx(tempo, rel=0.01)
        assert found.steps == 4


def test_a_tempo_that_is_given_settles_which_beat_is_meant(tmp_path: Path) -> None:
    events = played("rock", 132, 12, random.Random(1), 0.006)
    path = in_seconds(tmp_path / "p.mid", events)
    assert import_groove(path, tempo=Fraction(66)).tempo == pytest.approx(66, rel=0.01)
    assert import_groove(path, tempo=Fraction(66)).steps == 4
    assert import_groove(path, tempo=Fraction(132)).steps == 2


# What a kit sends


def one_bar(notes: Iterable[int], velocity: int = 90) -> list[Event]:
    found = [(float(i) / 2, note, velocity) for i, note in enumerate(notes)]
    return [
        (at + 4 * turn * -(-len(found) // 8), *rest) for turn in range(3) for at, *rest in found
    ]


def test_notes_of_real_kits_are_heard_by_the_kit_that_knows_them(tmp_path: Path) -> None:
    # The 22 notes of the Groove MIDI Dataset's kit (2019, CC BY 4.0), which its table names.
    notes = [36, 38, 40, 37, 48, 50, 45, 47, 43, 58, 46, 26, 42, 22, 44, 49, 55, 57, 52, 51, 59, 53]
    path = by_mido(tmp_path / "a.mid", one_bar(notes), 480, 100, (4, 4))
    found = import_groove(path)
    assert found.kit.name == "electronic"
    assert found.unknown == {}
    assert tomllib.loads(found.text)["kit"] == "electronic"
    by_gm = import_groove(path, kit=KIT)
    assert by_gm.unknown == {22: 3, 26: 3}
    assert any("22 (3), 26 (3)" in each for each in summary(by_gm))


def test_the_note_decides_whether_the_hi_hat_is_open_whatever_the_pedal_says(
    tmp_path: Path,
) -> None:
    # More controller 4 messages than notes, as kits send; 0 is open, 127 closed.
    others = [
        (tick, mido.Message("control_change", channel=9, control=4, value=value))
        for start in range(0, 8 * 1920, 1920)
        for tick, value in [
            *((start + i, 127) for i in range(6)),
            *((start + 960 - 20 + i, 127 - 20 * i) for i in range(7)),
        ]
    ]
    path = by_mido(
        tmp_path / "a.mid",
        strokes({CLOSED: "x.x.x.x.", BASS: "x......."}, 2, 8),
        480,
        100,
        (4, 4),
        others=others,
    )
    found = import_groove(path)
    assert found.kit.name == "electronic"
    assert [(round(at, 3), voice) for at, voice in heard(drill_of(found)) if "hihat" in voice] == [
        (0, "hihat-closed"),
        (1, "hihat-closed"),
        (2, "hihat-closed"),
        (3, "hihat-closed"),
    ]


def test_two_snare_notes_of_one_pad_are_one_voice(tmp_path: Path) -> None:
    events = [(float(i), (38, 40)[i % 2], 90) for i in range(16)]
    found = import_groove(by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4)), kit=KIT)
    assert {voice for _, voice in heard(drill_of(found))} == {"snare"}


def struck(*strokes: tuple[float, int]) -> list[Struck]:
    """Strokes of the snare drum: ms, velocity."""
    return [Struck(0, at / 1000, at / 1000, loud, "snare", 38) for at, loud in strokes]


@pytest.mark.parametrize(
    ("played", "main", "grace", "buzz", "doubles"),
    [
        (((0, 40), (30, 100)), 1, 1, False, 0),  # flam
        (((0, 40), (68, 100)), 1, 1, False, 0),
        (((0, 38), (35, 42), (70, 100)), 1, 2, False, 0),  # drag
        (((0, 38), (35, 42), (70, 40), (105, 100)), 1, 3, False, 0),  # ruff
        (((0, 100), (38, 70), (76, 50), (114, 35)), 1, 0, True, 0),  # buzz
        (((0, 100), (20, 50)), 1, 0, False, 1),  # rings twice
        (((0, 60), (4, 100)), 1, 0, False, 1),
        (((0, 40), (30, 100), (50, 60)), 1, 1, False, 1),  # a flam that rings twice
        (((0, 100), (28, 95)), 2, 0, False, 0),  # equally loud: both are meant
        (((0, 90), (62, 60), (124, 90), (186, 60), (248, 90)), 5, 0, False, 0),  # a roll
        (((0, 60), (80, 100)), 2, 0, False, 0),
    ],
)
def test_strokes_close_together_are_told_apart(
    played: tuple[tuple[float, int], ...], main: int, grace: int, buzz: bool, doubles: int
) -> None:
    # Times and velocities of flams, drags and double triggers: common practice.
    found = gather(struck(*played))
    assert len(found.strokes) == main
    assert max(each.grace for each in found.strokes) == grace
    assert any(each.buzz for each in found.strokes) == buzz
    assert len(found.doubles) == doubles


def test_no_stroke_of_a_dense_roll_is_lost() -> None:
    for seed in range(50):
        chance = random.Random(seed)
        at, events = 0.0, []
        for _ in range(60):
            at += chance.uniform(5, 120)
            events.append((at, chance.randint(1, 127)))
        found = gather(struck(*events))
        kept = sum(1 + each.grace for each in found.strokes) + len(found.doubles)
        bounces = sum(1 for each in found.strokes if each.buzz)
        assert kept <= len(events)
        assert kept == len(events) or bounces


def test_double_triggers_are_dropped_and_reported(tmp_path: Path) -> None:
    chance = random.Random(4)
    events = played("rock", 100, 12, chance, 0.005)
    rings = [(at + 0.018, note, velocity // 2) for at, note, velocity in events if note == SNARE]
    path = in_seconds(tmp_path / "p.mid", sorted(events + rings[:6]))
    found = import_groove(path)
    assert recovered(found, "rock")
    assert found.doubles == 6
    said = [each for each in found.wrong if each.what == "double trigger"]
    assert len(said) == 6
    assert {each.count for each in said} <= {"2", "4"}


def test_flams_are_kept_in_a_phrase_and_named_in_an_ostinato(tmp_path: Path) -> None:
    events = strokes({SNARE: "x.x.x.x.", BASS: "x...x..."}, 2, 4)
    graces = [(4.0 * bar + 1 - 0.05, SNARE, 40) for bar in range(4)]
    path = by_mido(tmp_path / "a.mid", sorted(events + graces), 480, 100, (4, 4))
    phrase = import_groove(path)
    assert (phrase.kind, phrase.ornaments, phrase.wrong) == ("phrase", {"flam": 1}, ())
    assert any(hit.ornament for hit in drill_of(phrase).hits)
    ostinato = import_groove(path, kind="ostinato")
    assert [str(each) for each in ostinato.wrong] == [
        "bar 1, count 2: snare, flam written as a plain stroke: an ostinato has none; a phrase may"
    ]


def test_a_flam_for_which_no_hand_is_free_says_which_hand_is_not(tmp_path: Path) -> None:
    events = strokes({SNARE: "..x...x.", CLOSED: "xxxxxxxx", BASS: "x...x..."}, 2, 4)
    graces = [(4.0 * bar + 1 - 0.05, SNARE, 40) for bar in range(4)]
    path = by_mido(tmp_path / "a.mid", sorted(events + graces), 480, 100, (4, 4))
    found = import_groove(path, kind="phrase")
    assert [str(each) for each in found.wrong] == [
        "bar 1, count 2: snare, flam written as a plain stroke: "
        "the other hand is at the hihat-closed just then"
    ]


@pytest.mark.parametrize("bars", [4, 8])
@pytest.mark.parametrize("seed", range(6))
def test_the_last_stroke_of_a_recording_is_no_grace_note_of_its_first(
    seed: int, bars: int, tmp_path: Path
) -> None:
    """A swung ride whose soft last stroke is followed by nothing; files end with their last note.

    Common practice: ride on every beat and before two and four, the foot on two and four.
    """
    chance = random.Random(seed)
    ride = [(0, 90), (1, 100), (5 / 3, 60), (2, 90), (3, 100), (11 / 3, 60)]
    bar = [(at, RIDE, loud) for at, loud in ride]
    bar += [(at, BASS, 60) for at in range(4)] + [(at, PEDAL, 90) for at in (1, 3)]
    bar += [(at, SNARE, 50) for at in (1, 3)]
    events = [
        (max(0.0, 4 * turn + at + chance.gauss(0, 0.008)), note, loud)
        for turn in range(bars)
        for at, note, loud in bar
    ]
    path = by_mido(tmp_path / "a.mid", sorted(events), 480, 120, (4, 4))
    found = import_groove(path)
    assert (found.strokes, found.explained) == (14 * bars, 14 * bars)
    assert round(found.rounds, 1) == bars


@pytest.mark.parametrize(
    ("bass", "snare", "meter"),
    [
        ("x...x..", "..x..x.", "2+2+3/8"),
        ("x....x.", "..x....", "2+3+2/8"),
        ("x..x...", ".....x.", "3+2+2/8"),
        ("x......", ".......", "2+2+3/8"),
    ],
)
def test_seven_eighths_are_counted_in_quarters_and_in_groups(
    bass: str, snare: str, meter: str, tmp_path: Path
) -> None:
    """Common practice: 7/8 is felt in two twos and a three, its tempo said in quarters."""
    pattern = {BASS: bass, SNARE: snare, CLOSED: "xxxxxxx"}
    events = [(at / 2, note, 100) for note, marks in pattern.items()
              for turn in range(4) for at, mark in enumerate(marks, 7 * turn)
              if mark == "x"]  # fmt: skip
    found = import_groove(by_mido(tmp_path / "a.mid", sorted(events), 480, 140, (7, 8)))
    assert (str(found.meter), found.tempo, found.steps) == (meter, 140, 2)
    assert found.exact and found.explained == found.strokes
    assert str(drill_of(found).meter) == meter
    assert "140 quarter notes a minute" in found.text
    assert f"{meter} (7/8, in groups as its strokes are), 2 steps to a quarter note" in found.text


def test_rim_shots_are_accents_and_what_lies_between_them_and_ghosts_is_tapped() -> None:
    chance = random.Random(4)
    snare = [round(min(90, max(3, chance.gauss(30, 16)))) for _ in range(300)]  # no groups
    rim = [chance.randint(95, 127) for _ in range(60)]
    found = strengths({"snare": snare, "snare-rim": rim}, KIT)
    assert {found["snare-rim"][each] for each in rim} == {Strength.ACCENT}
    assert {found["snare"][each] for each in snare if each <= 15} == {Strength.GHOST}
    assert found["snare"][min(snare, key=lambda each: abs(each - 60))] is Strength.TAP


def test_velocities_are_accents_taps_and_ghosts_of_their_own_voice() -> None:
    chance = random.Random(2)

    def about(middle: int, many: int) -> list[int]:
        return [round(chance.gauss(middle, 4)) for _ in range(many)]

    velocities = {
        "snare": [*about(115, 30), *about(75, 40), *about(30, 60)],
        "ride": [*about(100, 40), *about(62, 80)],
        "side-stick": [*about(112, 30), *about(35, 60)],
        "hihat-closed": about(60, 100),
        "bass-drum": [chance.randint(50, 110) for _ in range(400)],  # no groups at all
    }
    found = strengths(velocities, KIT)
    assert {found["snare"][each] for each in velocities["snare"][:30]} == {Strength.ACCENT}
    assert {found["snare"][each] for each in velocities["snare"][30:70]} == {Strength.TAP}
    assert {found["snare"][each] for each in velocities["snare"][70:]} == {Strength.GHOST}
    assert {found["ride"][each] for each in velocities["ride"][:40]} == {Strength.ACCENT}
    assert {found["ride"][each] for each in velocities["ride"][40:]} == {Strength.TAP}
    assert {found["side-stick"][each] for each in velocities["side-stick"][:30]} == {
        Strength.ACCENT
    }
    assert {found["side-stick"][each] for each in velocities["side-stick"][30:]} == {Strength.GHOST}
    assert set(found["hihat-closed"].values()) == {Strength.TAP}
    assert set(found["bass-drum"].values()) == {Strength.TAP}


def test_what_is_usual_on_a_bass_drum_is_no_accent_and_on_a_ride_no_ghost_note() -> None:
    bass, ride = [*[12] * 20, *[28] * 30, *[44] * 90], [*[45] * 90, *[70] * 30, *[120] * 20]
    found = strengths({"bass-drum": bass, "ride": ride}, KIT)
    assert found["bass-drum"] == {12: Strength.GHOST, 28: Strength.TAP, 44: Strength.TAP}
    assert found["ride"] == {45: Strength.TAP, 70: Strength.ACCENT, 120: Strength.ACCENT}


# Limbs


def test_limbs_are_dealt_by_the_usual_rule(tmp_path: Path) -> None:
    pattern = {CLOSED: "xxxxxxxx", BASS: "x...x...", SNARE: "..g...g.", PEDAL: "..x...x."}
    found = import_groove(by_mido(tmp_path / "a.mid", strokes(pattern, 2, 4), 480, 100, (4, 4)))
    content = tomllib.loads(found.text)
    assert content["feet"] == ["x. .. on RF", ".. x. on LF"]
    assert content["layers"] == ["xx on RH as hihat-closed", ".. x. on LH as snare"]
    assert any("the limbs are a guess" in each for each in summary(found))


def test_a_backbeat_between_cymbals_is_the_left_hand_s(tmp_path: Path) -> None:
    pattern = {RIDE: "x.x.", SNARE: ".x.x"}
    found = import_groove(by_mido(tmp_path / "a.mid", strokes(pattern, 1, 4), 480, 100, (4, 4)))
    assert tomllib.loads(found.text)["layers"] == ["x. on RH as ride", ".x on LH as snare"]


def test_drums_without_a_cymbal_go_hand_to_hand(tmp_path: Path) -> None:
    pattern = {48: "xxxx............", 45: "....xxxx........", 43: "........xxxxxxxx"}
    found = import_groove(by_mido(tmp_path / "a.mid", strokes(pattern, 4, 4), 480, 100, (4, 4)))
    hits = sorted(
        (hit.time, hit.limb.letter)
        for hit in drill_of(found).hits
        if hit.limb and hit.limb.is_hand and hit.time >= 0
    )
    assert "".join(letter for _, letter in hits) == "RL" * 8


def test_what_no_hand_is_free_for_plays_beside(tmp_path: Path) -> None:
    pattern = {CLOSED: "xxxx", SNARE: ".x.x", 54: "xxxx", 70: "xxxx"}
    found = import_groove(by_mido(tmp_path / "a.mid", strokes(pattern, 1, 4), 480, 100, (4, 4)))
    layers = tomllib.loads(found.text)["layers"]
    assert "x as tambourine" in layers
    assert "x as maracas" in layers
    assert not found.wrong


def test_any_groove_becomes_a_drill_that_builds_and_lines_up(tmp_path: Path) -> None:
    # The builder itself refuses a limb with two strokes at once.
    notes = [36, 38, 40, 37, 42, 46, 44, 49, 51, 53, 48, 45, 43, 41, 54, 56, 70, 75, 39, 35]
    for seed in range(40):
        chance = random.Random(seed)
        steps, size = chance.choice([1, 2, 3, 4, 6]), chance.choice([1, 2, 3])
        numbers = chance.sample(notes, chance.randint(1, 6))
        if {36, 35} <= {*numbers} or {38, 40} <= {*numbers}:
            continue  # one voice: what comes at once is one stroke
        pattern = {
            note: "".join(chance.choice("x>g....") for _ in range(4 * steps * size))
            for note in numbers
        }
        if not any(mark != "." for marks in pattern.values() for mark in marks):
            continue
        events = strokes(pattern, steps, 3, 4 * size)
        path = by_mido(tmp_path / "a.mid", events, 480, chance.randint(50, 200), (4, 4))
        for kind in ("ostinato", "phrase"):
            found = import_groove(path, kind=kind, kit=KIT, bars=3 * size)
            size_of_all = 12 * size
            own = [
                ((at - 4 * (found.first_bar - 1)) % size_of_all, KIT.voice(note) or "")
                for at, note, _ in events
            ]
            exercise = drill_of(found)
            turns = int(size_of_all / exercise.length)
            assert same(heard(exercise, turns), own, 1 / 960), (seed, kind, details(found))


def test_a_phrase_keeps_voices_strengths_and_feet(tmp_path: Path) -> None:
    linear = {
        SNARE: "x.....>.",
        48: "..x.....",
        BASS: "....x...",
        CLOSED: ".x...x..",
        43: "...x...x",
    }
    path = by_mido(tmp_path / "a.mid", strokes(linear, 4, 8, 2), 480, 90, (2, 4))
    found = import_groove(path, kind="phrase")
    content = tomllib.loads(found.text)
    assert "feet" not in content
    assert "K" in content["sticking"]
    own = [(at, KIT.voice(note) or "") for at, note, _ in strokes(linear, 4, 1, 2)]
    assert same(heard(drill_of(found)), own, 0)


# Bad input


def refused(path: Path, **given: object) -> str:
    with pytest.raises(MidiforgeError) as error:
        import_groove(path, **given)  # type: ignore[arg-type]
    text = str(error.value)
    assert "\n" not in text
    assert str(path) in text
    return text


def test_files_without_a_groove_are_refused_in_one_line(tmp_path: Path) -> None:
    empty = tmp_path / "empty.mid"
    empty.write_bytes(b"")
    assert "the file is empty" in refused(empty)
    garbage = tmp_path / "garbage.mid"
    garbage.write_bytes(random.Random(1).randbytes(4000).replace(b"MThd", b""))
    assert "is no MIDI file" in refused(garbage)
    silent = by_mido(tmp_path / "silent.mid", [], 480, 100)
    assert "there is no note in it" in refused(silent)
    other = by_mido(tmp_path / "other.mid", [(0, 60, 90), (1, 62, 90)], channel=0)
    said = refused(other)
    assert "channel 10 has no notes" in said
    assert "channel says which" in said
    assert "1 (2)" in said
    strange = by_mido(tmp_path / "strange.mid", [(0, 3, 90), (1, 120, 90)])
    assert "3, 120" in refused(strange)
    missing = tmp_path / "nothing.mid"
    assert "no such file" in refused(missing)
    few = in_seconds(tmp_path / "few.mid", [(0.31, BASS, 90), (0.873, SNARE, 90)])
    assert "too few to find a tempo" in refused(few)
    assert "tempo says it" in refused(few)


def test_strokes_that_never_come_round_are_refused(tmp_path: Path) -> None:
    far = [(0.2, BASS, 90), (5000.1, SNARE, 90), (5001.3, 49, 90), (5002.7, OPEN, 90)]
    said = refused(in_seconds(tmp_path / "far.mid", [*far, (5004.1, 51, 90)]))
    assert "nothing in it comes round" in said
    assert "bars says how long" in said


def test_noise_is_said_to_be_noise(tmp_path: Path) -> None:
    chance = random.Random(3)
    noise = [(chance.uniform(0, 90), chance.choice([36, 38, 42, 49]), 90) for _ in range(400)]
    path = in_seconds(tmp_path / "noise.mid", noise)
    with pytest.raises(MidiforgeError, match="as if they had no beat"):
        import_groove(path)
    found = import_groove(path, anyway=True)
    assert any("Much of it does not come round" in each for each in summary(found))
    assert found.strokes == found.explained + sum(
        1 for each in found.wrong if each.what in ("extra", "off the grid")
    ) + sum(1 for each in found.wrong if each.what == "two on one step") + sum(
        1 for each in found.wrong if each.what == "double trigger"
    ) - (found.doubles - found.bounces)


def test_a_file_that_counts_frames_has_no_beats_and_is_heard(tmp_path: Path) -> None:
    # Standard MIDI Files 1.0: -25 frames of 40 ticks are milliseconds.
    events = played("rock", 97, 8, random.Random(2), 0.006)
    path = by_hand(tmp_path / "f.mid", [(at * 1000 / 480, *rest) for at, *rest in events], False)
    data = bytearray(path.read_bytes())
    data[12:14] = bytes((256 - 25, 40))
    path.write_bytes(bytes(data))
    found = import_groove(path)
    assert found.tempo_from == "found"
    assert found.tempo == pytest.approx(97, rel=0.01)
    assert recovered(found, "rock")


def test_a_fill_takes_one_line(tmp_path: Path) -> None:
    fill = strokes({48: "xxxxxxxx........", 43: "........xxxxxxxx"}, 4)
    events = [*strokes(ROCK, 4, 19), *((at + 76, *rest) for at, *rest in fill)]
    path = by_mido(tmp_path / "a.mid", events, 480, 100, (4, 4))
    found = import_groove(path, kind="ostinato")
    assert found.bars == 1
    assert len(found.wrong) > 16
    assert [each for each in details(found) if "bar 20" in each] == details(found)
    assert len(details(found)) == 1


def test_another_channel_can_be_named(tmp_path: Path) -> None:
    path = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 4), 480, 100, (4, 4), channel=2)
    assert import_groove(path, channel=3).bars == 1


def test_half_a_file_gives_what_is_there_or_one_line(tmp_path: Path) -> None:
    data = by_mido(tmp_path / "a.mid", strokes(ROCK, 4, 8), 480, 100, (4, 4)).read_bytes()
    path = tmp_path / "half.mid"
    whole = 0
    for cut in range(0, len(data), 23):
        path.write_bytes(data[:cut])
        try:
            found = import_groove(path)
        except MidiforgeError as error:
            assert "\n" not in str(error)
            continue
        whole += 1
        assert found.remarks
    assert whole > 20


@pytest.mark.parametrize("seed", range(100))
def test_damaged_files_never_crash(seed: int, tmp_path: Path) -> None:
    chance = random.Random(seed)
    events = played("funk", 100, 4, chance, 0.01) if seed % 2 else strokes(FUNK, 4, 2)
    path = by_mido(tmp_path / "a.mid", events, chance.choice([96, 480]), 100, (4, 4))
    data = bytearray(path.read_bytes())
    for _ in range(chance.randint(1, 12)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(bytes(data))
    try:
        found = import_groove(path)
    except MidiforgeError as error:
        assert "\n" not in str(error)
        return
    assert drill_of(found).hits


@pytest.mark.parametrize("recorded", [False, True])
def test_a_hundred_thousand_notes_are_quick(recorded: bool, tmp_path: Path) -> None:
    # Against a peer in the same run: about what pretty_midi takes only to read as many.
    chance = random.Random(1)
    few = strokes(FUNK, 4, 420)
    many = [(at + 420 * 4 * turn, *rest) for turn in range(16) for at, *rest in few]
    if recorded:
        few = [(at + 1 + chance.gauss(0, 0.012), *rest) for at, *rest in few]
        many = [(at + 1 + chance.gauss(0, 0.012), *rest) for at, *rest in many]
    path = by_hand(tmp_path / "many.mid", many)
    part = by_hand(tmp_path / "few.mid", few)
    start = time.process_time()
    pretty_midi.PrettyMIDI(str(part))
    theirs = len(many) / len(few) * (time.process_time() - start)
    start = time.process_time()
    found = import_groove(path)
    ours = time.process_time() - start
    assert found.strokes >= 100_000
    assert found.bars == 1
    assert ours < 1.5 * theirs


# The command

app = typer.Typer()
app.command("import")(import_command)
app.command("other")(lambda: None)


def command(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["import", *arguments])
    if isinstance(result.exception, MidiforgeError):
        return failed(str(result.exception)), str(result.exception)
    return result.exit_code, result.output


@pytest.fixture
def groove(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return by_mido(tmp_path / "groove.mid", strokes(FUNK, 4, 4), 480, 93, (4, 4))


def test_the_command_writes_a_drill_that_builds(groove: Path, tmp_path: Path) -> None:
    code, said = command("groove.mid", "--out", "groove.toml")
    assert code == 0
    assert "93 quarter notes a minute, as the file says" in said
    drill = midiforge.read_drill(tmp_path / "groove.toml")
    report = midiforge.build_lesson(drill, tmp_path / "lesson")
    assert report.built.files == 3
    assert groove.exists()


def test_without_a_file_the_command_prints_the_drill(groove: Path) -> None:
    code, said = command("groove.mid")
    assert code == 0
    assert tomllib.loads(said)["tempos"] == [93]
    assert groove.exists()


def test_json_says_everything(groove: Path) -> None:
    code, said = command("groove.mid", "--json")
    facts = json.loads(said)
    assert code == 0
    assert (facts["tempo"], facts["steps"], facts["bars"], facts["exact"]) == (93, 4, 1, True)
    assert tomllib.loads(facts["drill"])["title"] == "groove"
    assert groove.exists()


def test_a_drill_that_was_changed_is_not_replaced(groove: Path, tmp_path: Path) -> None:
    target = tmp_path / "groove.toml"
    assert command("groove.mid", "--out", "groove.toml")[0] == 0
    assert command("groove.mid", "--out", "groove.toml")[0] == 0  # ours, and as we wrote it
    target.write_text(target.read_text() + "repeats = 2\n")
    before = target.read_text()
    code, said = command("groove.mid", "--out", "groove.toml")
    assert code == 2
    assert "changed since" in said
    assert target.read_text() == before
    assert groove.exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--as", "ostinat"), "did you mean 'ostinato'"),
        (("--tempo", "fast"), "--tempo: 'fast' is not a tempo"),
        (("--steps", "13"), "--steps: 13 is not a whole number from 1 to 12"),
        (("--bars", "0"), "--bars"),
        (("--meter", "4/3"), "--meter"),
        (("--channel", "17"), "--channel"),
        (("--kit", "generl-midi-1"), "did you mean 'general-midi-1'"),
        (("--out", "groove.mid"), "no drill file"),
        (("--out", "nowhere/groove.toml"), "no such folder"),
        (("--steps", "4", "--meter", "7/8", "--bars", "60"), "grid steps"),
    ],
)
def test_wrong_flags_are_said_in_one_line(
    arguments: tuple[str, ...], said: str, groove: Path
) -> None:
    code, text = command(str(groove.name), *arguments)
    assert code == 2
    assert said in text
    assert "\n" not in text


def test_a_kit_file_is_named_from_the_drill_s_folder(groove: Path, tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text('starts_from = "general-midi-1"\nchannel = 10\n')
    (tmp_path / "drills").mkdir()
    assert command("groove.mid", "--kit", "my.toml", "--out", "drills/groove.toml")[0] == 0
    assert midiforge.read_drill(tmp_path / "drills" / "groove.toml").kit.name == "my"
    assert groove.exists()


def test_a_loop_without_a_drummer_is_said_to_be_one(tmp_path: Path) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR", "percussion": "clave, congas, guiro, campana", "stages": "full"}
    )
    shape = Shape(("without-drums",))
    report = midiforge.write_loops(drill, tmp_path, shape)
    found = import_groove(tmp_path / report.written[0].file)
    assert "hands or feet: add a sticking" in " ".join(summary(found))


def test_a_drill_s_first_line_holds_the_checksum_of_the_rest(tmp_path: Path) -> None:
    """As every version has written it; files of earlier ones must stay replaceable."""
    body = b'title = "a"\n'
    path = tmp_path / "groove.toml"
    mark = f"# Made by midiforge import, {hashlib.sha256(body).hexdigest()[:16]}\n".encode()
    path.write_bytes(mark + body)
    MADE.check(path)
    path.write_bytes(mark + body + b"\n")
    with pytest.raises(MidiforgeError, match="changed since"):
        MADE.check(path)


@pytest.mark.parametrize("remark", ["# made, {}\n", "# made, {}\n\n"])
def test_a_heading_is_known_by_what_is_below_it(remark: str, tmp_path: Path) -> None:
    path, heading = tmp_path / "mine.toml", Seal(remark, on_top=True)
    for body in (b"", b"a = 1\n", b"a = 1\r\n\n\nb = 2"):
        path.write_bytes(heading.sealed(body))
        heading.check(path)
        path.write_bytes(heading.sealed(body) + b"c = 3\n")
        with pytest.raises(MidiforgeError, match="changed since"):
            heading.check(path)
