"""The bytes of every file against the Standard MIDI Files 1.0 specification (RP-001, 1988).

The files are walked by a small reader of the test's own, which is first shown to read the
example file in the specification's appendix (from memory).
"""

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import midiforge
from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.midi import smf
from midiforge.midi.exercise_file import exercise_bytes

# "Some numbers represented as variable-length quantities", in hexadecimal.
QUANTITIES = {
    "00000000": "00",
    "00000040": "40",
    "0000007F": "7F",
    "00000080": "81 00",
    "00002000": "C0 00",
    "00003FFF": "FF 7F",
    "00004000": "81 80 00",
    "00100000": "C0 80 00",
    "001FFFFF": "FF FF 7F",
    "00200000": "81 80 80 00",
    "08000000": "C0 80 80 00",
    "0FFFFFFF": "FF FF FF 7F",
}

# The appendix's example: four notes on three channels, format 0, 96 ticks to the quarter note.
EXAMPLE = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B"
    "00 FF5804 04021808 00 FF5103 07A120 00 C005 00 C12E 00 C246 00 923060 00 3C60"
    "60 914340 60 904C20 8140 823040 00 3C40 00 814340 00 804C40 00 FF2F00"
)

META = 0xFF
TEMPO, METER, NAME, END = 0x51, 0x58, 0x03, 0x2F
DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}


class Event(NamedTuple):
    """tick, status byte, kind of meta event (-1 for none), data."""

    tick: int
    status: int
    kind: int
    data: bytes


class Walk(NamedTuple):
    """A file walked: its header's three numbers and the events of each track."""

    format: int
    division: int
    tracks: list[list[Event]]


def quantity(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length quantity and where it ends; at most four bytes, and none too many."""
    value, start = 0, at
    while True:
        value = value << 7 | data[at] & 0x7F
        at += 1
        if data[at - 1] < 0x80:
            break
    assert at - start <= 4, "a quantity of more than four bytes"
    assert data[start] != 0x80, "a quantity longer than it need be"
    return value, at


def events(data: bytes) -> Iterator[Event]:
    """The events of a track chunk, which must fill it exactly."""
    at = tick = running = 0
    while at < len(data):
        delta, at = quantity(data, at)
        tick += delta
        status = data[at]
        if status >= 0x80:
            at += 1
        else:
            status = running
        assert status >= 0x80, "data without a status byte"
        if status == META:
            kind, running = data[at], 0
            size, at = quantity(data, at + 1)
        else:
            assert status < 0xF0, f"status {status:02X} in a file of channel events"
            kind, running = -1, status
            size = DATA_BYTES[status >> 4]
        content = data[at : at + size]
        assert len(content) == size, "an event longer than its chunk"
        assert kind >= 0 or max(content) < 0x80, "a data byte above 7F"
        at += size
        yield Event(tick, status, kind, content)


def walk(data: bytes) -> Walk:
    """The chunks of a file: one header of six bytes, then tracks to the very last byte."""
    assert data[:4] == b"MThd"
    assert int.from_bytes(data[4:8]) == 6
    form, count, division = (int.from_bytes(data[i : i + 2]) for i in (8, 10, 12))
    tracks, at = [], 14
    while at < len(data):
        assert data[at : at + 4] == b"MTrk"
        size = int.from_bytes(data[at + 4 : at + 8])
        at += 8
        assert at + size <= len(data), "a chunk longer than the file"
        tracks.append(list(events(data[at : at + size])))
        at += size
    assert count == len(tracks)
    return Walk(form, division, tracks)


DRILLS: dict[str, dict[str, Any]] = {
    "plain": {"sticking": "RLRR LRLL", "feet": "tumbao"},
    "format 0": {"sticking": "RLRR LRLL", "feet": "tumbao", "format": 0},
    "ornaments": {"sticking": "lR L rrL R Rz L lllR L", "steps": 2, "tempos": 50},
    "six-eight": {"sticking": "RLL", "meter": "6/8", "tempos": 60, "feet": "1 2"},
    "mixed": {
        "sticking": "RLRLRLL",
        "meter": "2+2+3/8",
        "steps": 2,
        "layers": "x.x.x.. as cowbell",
    },
    "ramp": {"sticking": "RL", "ramp": "60 to 70 by 5 every 1 bars", "format": 0},
    "long": {"sticking": "R" + "-" * 510 + "L", "steps": 1, "click": "off", "count_in": 0},
    "many": {"sticking": "RLRLR", "steps": "4,6", "layers": "son-clave-3-2", "swing": "2:1"},
    "humanised": {"sticking": "RL", "humanise": {"timing": 6, "velocity": 9}},
}


def files(name: str) -> list[bytes]:
    drill = check_drill(DRILLS[name])
    return [exercise_bytes(each, drill.kit, drill.file_format) for each in exercises(drill)]


def lesson(name: str, folder: Path) -> bytes:
    midiforge.build_lesson(check_drill(DRILLS[name]), folder)
    return (folder / "lesson.mid").read_bytes()


@pytest.fixture(params=DRILLS, scope="module")
def written(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Walk]:
    """Every file of a drill's lesson, the whole lesson's last, walked."""
    folder = tmp_path_factory.mktemp("lesson")
    contents = [*files(request.param), lesson(request.param, folder)]
    return [walk(content) for content in contents]


def test_the_reader_of_this_test_reads_the_example_of_the_specification() -> None:
    found = walk(EXAMPLE)
    assert (found.format, found.division, len(found.tracks)) == (0, 96, 1)
    ons = [(e.tick, e.status & 15, e.data[0]) for e in found.tracks[0] if e.status >> 4 == 9]
    assert ons == [(0, 2, 48), (0, 2, 60), (96, 1, 67), (192, 0, 76)]
    assert found.tracks[0][-1] == Event(384, META, END, b"")


@pytest.mark.parametrize(("number", "written_as"), QUANTITIES.items(), ids=QUANTITIES)
def test_quantities_are_written_as_in_the_specification(number: str, written_as: str) -> None:
    assert smf.quantity(int(number, 16)) == bytes.fromhex(written_as)


def test_quantities_of_every_length_come_back_and_need_no_byte_too_many() -> None:
    numbers = {max(0, (1 << bits) + more) for bits in range(28) for more in (-1, 0, 1)}
    for number in numbers | {0x0FFFFFFF}:
        data = smf.quantity(number)
        assert quantity(data, 0) == (number, len(data))


def test_a_quantity_above_the_largest_of_the_specification_is_refused() -> None:
    with pytest.raises(ValueError, match="268435456"):
        smf.quantity(0x10000000)


def test_a_header_says_as_many_tracks_as_there_are_and_format_0_has_one(
    written: list[Walk],
) -> None:
    for file in written:  # that the count is right, `walk` has seen
        assert file.format in (0, 1)
        assert (len(file.tracks) == 1) == (file.format == 0)


def test_time_is_counted_in_ticks_to_a_quarter_note(written: list[Walk]) -> None:
    # Bit 15 of the division would mean frames of a film.
    assert all(0 < file.division < 0x8000 for file in written)


def test_end_of_track_is_the_last_event_of_every_track_and_nowhere_else(
    written: list[Walk],
) -> None:
    for file in written:
        for track in file.tracks:
            ends = [place for place, event in enumerate(track) if event.kind == END]
            assert ends == [len(track) - 1]
            assert track[-1].data == b""


def test_all_tracks_of_a_file_end_together(written: list[Walk]) -> None:
    for file in written:
        assert len({track[-1].tick for track in file.tracks}) == 1


def test_tempo_and_meter_are_in_the_first_track_from_the_start(written: list[Walk]) -> None:
    # The specification: in format 1 the tempo map is in the first track; files should say tempo
    # and time signature at their beginning.
    for file in written:
        for kind, size in ((TEMPO, 3), (METER, 4)):
            found = [[e for e in track if e.kind == kind] for track in file.tracks]
            assert found[0][0].tick == 0
            assert all(len(event.data) == size for event in found[0])
            assert not any(found[1:])


def test_every_track_begins_with_its_name(written: list[Walk]) -> None:
    for file in written:
        for track in file.tracks:
            assert [e.tick for e in track if e.kind == NAME] == [0]
            assert track[0].kind == NAME


def test_text_is_text_of_seven_bits_when_the_drill_is(written: list[Walk]) -> None:
    for file in written:
        texts = [e.data for track in file.tracks for e in track if 0x01 <= e.kind <= 0x0F]
        assert texts
        assert all(text and all(0x20 <= byte < 0x7F for byte in text) for text in texts)


def test_note_on_with_velocity_0_is_never_used_for_an_end(written: list[Walk]) -> None:
    for file in written:
        for track in file.tracks:
            assert all(event.data[1] for event in track if event.status >> 4 == 9)


# Numerator, exponent of the denominator, MIDI clocks (24 to a quarter note) to a pulse, thirty-
# seconds to a quarter note. 6/8 is the example of the specification; the rest follows its rule.
METERS = {
    "6/8": "06 03 24 08",
    "4/4": "04 02 18 08",
    "12/8": "0C 03 24 08",
    "7/8": "07 03 0C 08",
    "2+2+3/8": "07 03 18 08",
    "3/4": "03 02 18 08",
    "2/2": "02 01 30 08",
    "5/16": "05 04 06 08",
}


@pytest.mark.parametrize(("meter", "content"), METERS.items(), ids=METERS)
def test_time_signatures_are_written_as_the_specification_says(meter: str, content: str) -> None:
    drill = check_drill({"sticking": "RL", "meter": meter, "steps": 2, "tempos": 120})
    data = exercise_bytes(next(iter(exercises(drill))), drill.kit)
    assert bytes.fromhex("FF 58 04" + content) in data
    found = [event.data for event in walk(data).tracks[0] if event.kind == METER]
    assert found == [bytes.fromhex(content)]


# A quarter note in microseconds, three bytes. 120 quarters a minute is the specification's own
# example: 07 A1 20. The rest is 60,000,000 divided by quarter notes a minute.
TEMPOS = [
    ("4/4", 120, "07 A1 20"),
    ("4/4", 60, "0F 42 40"),
    ("4/4", 100, "09 27 C0"),
    ("4/4", 92, "09 F3 8E"),  # 652,173.9
    ("6/8", 60, "0A 2C 2B"),  # dotted quarters: 90 quarter notes a minute, 666,666.7
    ("2/2", 60, "07 A1 20"),  # half notes
    ("7/8", 240, "07 A1 20"),  # eighths
    ("4/4", 10, "5B 8D 80"),
    ("4/4", 500, "01 D4 C0"),
]


@pytest.mark.parametrize(("meter", "tempo", "content"), TEMPOS)
def test_tempos_are_written_as_microseconds_to_a_quarter_note(
    meter: str, tempo: int, content: str
) -> None:
    drill = check_drill({"sticking": "RL", "meter": meter, "steps": 2, "tempos": tempo})
    data = exercise_bytes(next(iter(exercises(drill))), drill.kit)
    assert bytes.fromhex("00 FF 51 03" + content) in data
    found = [event.data for event in walk(data).tracks[0] if event.kind == TEMPO]
    assert found == [bytes.fromhex(content)]


def test_a_tempo_too_slow_for_three_bytes_is_refused_and_not_written_faster() -> None:
    # Sixteenths at 10 a minute: a quarter note of 24 seconds, but FF FF FF is 16.8.
    try:
        drill = check_drill({"sticking": "RL", "meter": "5/16", "steps": 1, "tempos": 10})
    except midiforge.MidiforgeError:
        return
    exercise = next(iter(exercises(drill)))
    found = [e for e in walk(exercise_bytes(exercise, drill.kit)).tracks[0] if e.kind == TEMPO]
    assert int.from_bytes(found[0].data) == 60_000_000 / (10 * Fraction(1, 4))


def test_a_long_delta_time_takes_more_than_two_bytes_and_is_exact() -> None:
    # 510 rests of a quarter note: the sticking's second stroke is 511 quarter notes after the
    # first, which at 480 ticks is above 3FFF.
    last = walk(files("long")[0])
    ons = [e.tick for track in last.tracks for e in track if e.status >> 4 == 9]
    assert sorted(ons) == [0, 511 * last.division]


def test_a_title_that_is_no_unicode_is_still_written() -> None:
    """A command line in another encoding leaves halves of letters in its arguments."""
    assert b"a?" in smf.text(smf.TRACK_NAME, "a\udcff")


def test_no_event_comes_before_the_one_that_it_follows() -> None:
    with pytest.raises(ValueError, match="before"):
        smf.wait(-1)
