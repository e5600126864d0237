"""MIDI files read back: against mido, and as far as broken ones can be.

Standard MIDI Files 1.0 (MIDI Association): chunks, variable-length quantities, running status.
"""

import io
import random
from pathlib import Path
from typing import Any

import mido
import pytest

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.hear.take import read_take
from midiforge.live.recording.recorder import Recorded, Recorder
from midiforge.live.recording.take_file import take_bytes
from midiforge.midi.reading import parse
from midiforge.midi.smf import as_written


def _random_file(seed: int) -> mido.MidiFile:
    chance = random.Random(seed)
    midi = mido.MidiFile(
        type=chance.choice([0, 1]), ticks_per_beat=chance.choice([24, 96, 480, 960, 30000])
    )
    for _ in range(1 if midi.type == 0 else chance.randint(1, 4)):
        track = mido.MidiTrack()
        midi.tracks.append(track)
        for _ in range(chance.randint(0, 60)):
            wait = chance.choice([0, 1, 127, 128, 16383, 16384, chance.randint(0, 3000)])
            kind = chance.randint(0, 7)
            channel, one, two = (
                chance.randint(0, 15),
                chance.randint(0, 127),
                chance.randint(0, 127),
            )
            track.append(_message(chance, kind, channel, one, two).copy(time=wait))
    return midi


def _message(chance: random.Random, kind: int, channel: int, one: int, two: int) -> Any:
    if kind == 5:
        return mido.MetaMessage("set_tempo", tempo=chance.randint(200_000, 900_000))
    if kind == 6:
        return mido.MetaMessage("text", text="x" * chance.randint(0, 200))
    if kind == 7:
        return mido.Message("sysex", data=[1] * chance.randint(0, 200))
    name, values = [
        ("note_on", {"note": one, "velocity": two}),
        ("note_off", {"note": one, "velocity": two}),
        ("control_change", {"control": 4, "value": two}),
        ("program_change", {"program": one}),
        ("pitchwheel", {"pitch": one * 60 - 4000}),
    ][kind]
    return mido.Message(name, channel=channel, **values)


def _bytes(midi: mido.MidiFile) -> bytes:
    stream = io.BytesIO()
    midi.save(file=stream)
    return stream.getvalue()


@pytest.mark.parametrize("seed", range(150))
def test_strokes_and_their_times_are_mido_s(seed: int, tmp_path: Path) -> None:
    midi = _random_file(seed)
    path = tmp_path / "any.mid"
    path.write_bytes(_bytes(midi))
    wanted = []
    now = 0.0
    for message in midi:
        now += message.time
        if message.type == "note_on" and message.velocity:
            wanted.append((round(now, 6), message.note, message.velocity, message.channel + 1))
    if not wanted:
        with pytest.raises(MidiforgeError, match="there is no stroke in it"):
            read_take(path)
        return
    found = [(round(s.time, 6), s.number, s.velocity, s.channel) for s in read_take(path).strokes]
    assert [each[1:] for each in sorted(found)] == [each[1:] for each in sorted(wanted)]
    times = [each[0] for each in sorted(wanted)]
    assert [each[0] for each in sorted(found)] == pytest.approx(times, abs=2e-6)


def test_the_pedal_s_last_value_goes_with_a_note() -> None:
    midi = mido.MidiFile()
    track = mido.MidiTrack()
    midi.tracks.append(track)
    for value in (0, 90, 127):
        track.append(mido.Message("control_change", channel=9, control=4, value=value, time=10))
        track.append(mido.Message("note_on", channel=9, note=42, velocity=70, time=10))
    content = parse(_bytes(midi))
    assert [value for _, _, value in content.pedals] == [0, 90, 127]


@pytest.mark.parametrize("seed", range(60))
def test_half_a_file_gives_what_came_before(seed: int) -> None:
    data = _bytes(_random_file(seed))
    whole = parse(data)
    for cut in range(14, len(data), 7):
        try:
            content = parse(data[:cut])
        except MidiforgeError:
            continue
        assert len(content.note_ons) <= len(whole.note_ons)
        assert len(content.pedals) <= len(whole.pedals)
        assert content.remarks


@pytest.mark.parametrize("seed", range(200))
def test_garbage_is_an_error_or_a_remark_never_a_crash(seed: int) -> None:
    chance = random.Random(seed)
    data = bytearray(_bytes(_random_file(seed)))
    for _ in range(chance.randint(1, 30)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    try:
        parse(bytes(data)).clock().seconds(1000)
    except MidiforgeError as error:
        assert "\n" not in str(error)
    with pytest.raises(MidiforgeError):
        parse(chance.randbytes(chance.randint(0, 500)).replace(b"MThd", b""))


@pytest.mark.parametrize("seed", range(40))
def test_runs_that_say_nothing_take_their_time_all_the_same(seed: int) -> None:
    """Long runs of releases, pressure and controllers, with a status of their own and without."""
    chance = random.Random(seed)
    track, tick, struck, pedals, status = bytearray(), 0, [], [], 0
    for _ in range(30):
        kind = chance.choice([0x80, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0])
        for _ in range(chance.choice([1, 15, 40, 300])):
            wait, own = chance.choice([0, 1, 127, 128, 300]), kind | chance.randint(0, 15)
            tick += wait
            track += bytes([0x80 | wait >> 7, wait & 0x7F] if wait > 127 else [wait])
            if chance.random() < 0.5 or status & 0xF0 != kind:
                status = own
                track.append(own)
            first = chance.choice([0, 3, 5, 127, *[4] * (chance.random() < 0.05)])
            track += bytes([first, 90][: 1 if kind in (0xC0, 0xD0) else 2])
            if kind == 0xB0 and first == 4:
                pedals.append((tick, (status & 0x0F) + 1, 90))
        track += bytes([7, 0x99, 38, 80])
        tick, status = tick + 7, 0x99
        struck.append((tick, 10, 38, 80))
    head = b"MThd" + bytes([0, 0, 0, 6, 0, 0, 0, 1, 1, 0xE0])
    content = parse(head + b"MTrk" + len(track).to_bytes(4) + track)
    assert content.note_ons == [*dict.fromkeys(struck)]
    assert content.pedals == pedals
    assert content.last_tick == tick and not content.remarks


def test_running_status_and_frames_are_understood() -> None:
    body = bytes([0, 0x99, 38, 100, 96, 38, 0, 0, 42, 80])  # three events, one status byte
    header = b"MThd" + (6).to_bytes(4) + (0).to_bytes(2) + (1).to_bytes(2)
    track = b"MTrk" + len(body).to_bytes(4) + body
    content = parse(header + (96).to_bytes(2) + track)
    assert content.note_ons == [(0, 10, 38, 100), (96, 10, 42, 80)]
    assert content.clock().seconds(96) == 0.5  # 120 to the minute where nothing is said
    frames = parse(header + bytes([256 - 25, 40]) + track)  # 25 frames of 40 ticks: milliseconds
    assert frames.clock().seconds(96) == pytest.approx(0.096)


@pytest.mark.parametrize(
    "keys",
    [
        {"tempos": "58"},
        {"tempos": "92.5"},
        {"ramp": "60 to 90 by 10 every 2 bars"},
        {"accents": "1 2& 4", "feet": "bossa-nova", "stages": "full"},
    ],
)
def test_a_recorded_take_says_the_title_of_its_exercise(
    keys: dict[str, str], tmp_path: Path
) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "hands", **keys})
    exercise = next(midiforge.exercises(drill))
    recorder = Recorder(0)
    recorder.heard(bytes((0x99, 38, 100)), 5)
    path = tmp_path / "take.mid"
    path.write_bytes(take_bytes(Recorded(recorder, 0, 10**9, exercise, ())))
    take = read_take(path)
    assert (str(take.exercise), take.title) == (str(exercise.number), as_written(exercise.title))
