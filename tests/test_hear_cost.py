"""What a file costs follows its strokes, never how long it is silent, nor how strange it is.

Variable-length quantities have four bytes at most, the longest wait is 0x0FFFFFFF ticks (Standard
MIDI Files 1.0). The seconds here are generous: before, each of these files took minutes, or
gigabytes.
"""

import struct
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from time import process_time

import pytest

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.groove import settled
from midiforge.groove.groove import import_groove
from midiforge.hear.expected import expected
from midiforge.midi import content as midi_content
from midiforge.midi.content import MidiContent
from midiforge.midi.reading import parse

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="memory as Linux tells it")

LIMIT, MEGABYTES = 20.0, 400
DRILL = """
sticking = ">RLR >RLL"
feet = "four-on-the-floor"
tempos = [90]
"""
MEASURED = """
import contextlib, io, re, sys
from midiforge.command.run import run
with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
    code = run(sys.argv[1:])
status = open("/proc/self/status").read()  # its own peak, not that of whoever began it
print(code, int(re.search(r"VmHWM:\\s+([0-9]+)", status)[1]) // 1024)
"""


def quantity(number: int) -> bytes:
    parts = [number & 0x7F]
    while number := number >> 7:
        parts.append(0x80 | number & 0x7F)
    return bytes(reversed(parts))


def file(body: bytes) -> bytes:
    body += b"\x00\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480)
    return head + b"MTrk" + struct.pack(">I", len(body)) + body


def struck(strokes: Sequence[tuple[int, int]]) -> bytes:
    """Strokes: so many ticks after the one before, and its note."""
    return b"".join(quantity(wait) + bytes((0x99, note, 90)) for wait, note in strokes)


PADS = (38, 36, 42, 46, 49, 51)
FILES = {
    "a number of a megabyte": struck([(120, 38)] * 8) + b"\x80" * 1_000_000 + b"\x01\x99\x26\x40",
    "the longest waits": struck([(0x0FFFFFFF, 38)] * 64),
    "60,000 notes on one tick": struck([(0, PADS[i % 6]) for i in range(60_000)]),
    "days between": struck([(120, 38)] * 40 + [(480 * 2 * 3600 * 24, 38)] + [(120, 38)] * 40),
}


@pytest.mark.parametrize("command", ["review", "import"])
@pytest.mark.parametrize("name", FILES)
def test_a_strange_file_costs_little(tmp_path: Path, name: str, command: str) -> None:
    take, drill = tmp_path / "take.mid", tmp_path / "drill.toml"
    take.write_bytes(file(FILES[name]))
    drill.write_text(DRILL)
    flags = [str(drill), "--no-log"] if command == "review" else []
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, command, str(take), *flags],
        capture_output=True, text=True, timeout=LIMIT, check=True,
    )  # fmt: skip
    code, megabytes = map(int, done.stdout.split())
    assert code in (0, 2)
    assert megabytes < MEGABYTES


def rubato(events: int) -> bytes:
    """So many changes of tempo, a stroke on each."""
    changes = (
        quantity(60)
        + b"\xff\x51\x03"
        + (500_000 + i * 7919 % 50_000).to_bytes(3)
        + struck([(0, 38)])
        for i in range(events)
    )
    return file(b"".join(changes))


def test_changes_of_tempo_cost_no_more_than_they_are_many(tmp_path: Path) -> None:
    spent = []
    for many in (5_000, 20_000):
        path = tmp_path / f"{many}.mid"
        path.write_bytes(rubato(many))
        begun = process_time()
        found = import_groove(path)
        spent.append(process_time() - begun)
        assert any("the tempo changes on the way" in each for each in found.remarks)
    assert spent[1] < 10 * spent[0]


def test_tempos_that_are_not_told_are_not_put_into_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[float] = []
    said = settled.tempo_text
    monkeypatch.setattr(settled, "tempo_text", lambda each: told.append(each) or said(each))
    counts = []
    for many in (500, 2_000):
        (tmp_path / "rubato.mid").write_bytes(rubato(many))
        import_groove(tmp_path / "rubato.mid")
        counts.append(len(told))
        told.clear()
    assert 0 < counts[1] <= counts[0]


def test_a_number_longer_than_four_bytes_is_the_end_of_what_means_something() -> None:
    body = struck([(120, 38)] * 3) + b"\x81\x80\x80\x80\x00" + bytes((0x99, 38, 90))
    content = parse(file(body))
    assert len(content.note_ons) == 3 and content.remarks


def test_a_note_twice_at_one_tick_is_one() -> None:
    content = parse(file(struck([(0, 38)] * 5 + [(0, 36), (1, 38)])))
    assert [(tick, note) for tick, _, note, _ in content.note_ons] == [(0, 38), (0, 36), (1, 38)]


@pytest.mark.parametrize(
    ("event", "what"),
    [
        (b"\x01\xb9\x04\x10", "strokes and movements of the pedal"),
        (b"\x01\x99\x26\x40", "strokes and movements of the pedal"),
        (b"\x01\xff\x51\x03\x07\xa1\x20", "changes of tempo"),
        (b"\x01\xff\x06\x01a", "markers"),
    ],
)
def test_a_file_of_more_than_anybody_plays_is_refused_soon(
    monkeypatch: pytest.MonkeyPatch, event: bytes, what: str
) -> None:
    monkeypatch.setattr(midi_content, "MOST_EVENTS", 1000)
    monkeypatch.setattr(midi_content, "MOST_MARKS", 1000)
    assert parse(file(event * 1000)).last_tick == 1000
    with pytest.raises(MidiforgeError, match=f"more than 1,000 {what}"):
        parse(file(event * 1001))
    read_to_its_end: list[object] = []
    monkeypatch.setattr(MidiContent, "in_order", read_to_its_end.append)
    with pytest.raises(MidiforgeError):
        parse(file(event * 10_000))
    assert not read_to_its_end


def test_what_is_due_of_a_ramp_costs_no_more_than_it_is_long() -> None:
    def cost(most: int) -> float:
        drill = midiforge.check_drill(
            {"sticking": "RLRR", "stages": "full", "ramp": f"60 to {most} by 0.5 every 1 bars"}
        )
        (ramp,) = midiforge.exercises(drill)
        start = process_time()
        assert len(expected(ramp, drill.kit, 1e6)) > 32 * (most - 60)
        return process_time() - start

    few = min(cost(90) for _ in range(3))
    assert cost(330) < 25 * few  # nine times as long; by squares it would be eighty
