"""Takes recorded while playing: what is kept, at which tick, in which file, however it ends.

Where a stroke must lie is worked out here, from the drill's own numbers (a quarter note at 97 lasts
60/97 s). Files are read back by mido, which is not ours, and by `read_take`. MIDI bytes: MIDI 1.0
Detailed Specification (note off 8n, note on 9n, pressure An, controller Bn, program Cn, channel
pressure Dn, bend En; F8 clock, FE active sensing). Files: Standard MIDI Files 1.0 (format 0, one
track; Set Tempo in whole microseconds to a quarter note; 120 where none is set).
"""

import random
import re
import signal
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator, Sequence
from fractions import Fraction
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from statistics import median
from types import SimpleNamespace
from typing import Any

import mido
import pytest
from jack import PATIENCE, Receiver, Server
from test_live_jack import (
    CLICKS,
    FAST,
    LONG,
    SILENCE,
    Terminal,
    _lines,
    _until,
    ended,
    on_terminal,
    playing,
    restored,
)
from test_live_player import Concert

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.hear.take import EXERCISE_MARK, START_MARK, Take, read_take
from midiforge.live.clock.timing import Arrivals
from midiforge.live.playing.bars import playable
from midiforge.live.playing.controls import Command
from midiforge.live.playing.player import LEAD
from midiforge.live.playing.route import Place
from midiforge.live.ports import ports
from midiforge.live.recording.recorder import Recorded, Recorder
from midiforge.live.recording.take_file import check_free, free, take_bytes, write_take
from midiforge.model.number import Number

SECOND, MS, US = 1_000_000_000, 1_000_000, 1_000
SNARE, BASS, HIHAT, CRASH = 38, 36, 42, 49  # General MIDI percussion key map
PEDAL = 4  # foot controller, MIDI 1.0


def on(number: int = SNARE, velocity: int = 100, channel: int = 10) -> bytes:
    return bytes((0x90 | channel - 1, number, velocity))


def off(number: int = SNARE, channel: int = 10) -> bytes:
    return bytes((0x80 | channel - 1, number, 64))


def controller(number: int, value: int) -> bytes:
    return bytes((0xB9, number, value))


# When messages came


def late_by(
    arrivals: Arrivals,
    came: Sequence[int],
    waits: Sequence[int],
    speed: float = 1.0,
) -> list[int]:
    """By how many ns each is told later than it came; the driver's clock runs at `speed`, and its
    deltas are whole microseconds, as JACK's and ALSA's are."""
    told, before = [], None
    for at, wait in zip(came, waits, strict=True):
        stamp = round(at * speed / US)
        delta = 0.0 if before is None else (stamp - before) / 1e6
        before = stamp
        told.append(arrivals.when(delta, at + wait) - at)
    return told


def strokes_at_random(count: int, chance: random.Random) -> list[int]:
    """Strokes 20 to 300 ms apart."""
    at, found = 10**12, []
    for _ in range(count):
        at += chance.randrange(20 * MS, 300 * MS)
        found.append(at)
    return found


def test_calls_that_come_late_move_nothing() -> None:
    chance = random.Random(7)
    came = strokes_at_random(2000, chance)
    # One call in three is prompt; the others wait for up to 30 ms.
    waits = [chance.choice((20 * US, 30 * MS, 5 * MS)) for _ in came]
    waits[0] = 20 * US
    late = late_by(Arrivals(), came, waits)
    # The window of 2 s holds about twelve strokes; now and then all of them waited 5 ms.
    assert sorted(late)[len(late) * 98 // 100] < 25 * US
    assert min(late) >= -2 * US
    assert sorted(waits)[len(waits) // 2] > 4 * MS


@pytest.mark.parametrize("speed", [1 - 1e-4, 1 + 1e-4])
def test_a_drivers_clock_that_runs_wrong_does_not_lead_away(speed: float) -> None:
    # 100 parts in a million for 20 minutes would be 120 ms.
    chance = random.Random(8)
    came = strokes_at_random(7500, chance)
    assert came[-1] - came[0] > 1100 * SECOND
    late = late_by(Arrivals(), came, [20 * US] * len(came), speed)
    assert max(abs(each) for each in late) < 250 * US


def test_no_message_comes_before_the_one_before_it_or_after_its_call() -> None:
    chance = random.Random(9)
    arrivals, now, last = Arrivals(), 10**12, 0
    for _ in range(5000):
        now += chance.randrange(200 * MS)
        told = arrivals.when(chance.choice((0.0, 0.0001, 0.05, 0.2, -1.0, 3.0)), now)
        assert last <= told
        last = told
    came = strokes_at_random(500, chance)
    waits = [chance.randrange(MS) for _ in came]
    late = late_by(Arrivals(), came, waits)
    assert all(each <= wait for each, wait in zip(late, waits, strict=True))


def test_deltas_that_do_not_count_everything_are_found_out() -> None:
    arrivals = Arrivals()
    assert arrivals.when(0.0, 10 * SECOND) == 10 * SECOND
    # The driver left 400 ms out of its account.
    assert arrivals.when(0.1, 10 * SECOND + 500 * MS) == 10 * SECOND + 500 * MS


class Driver:
    """As python-rtmidi's input looks from outside.

    names: the ports there are; opened: those that were opened.
    """

    API_UNIX_JACK, API_LINUX_ALSA, API_RTMIDI_DUMMY = 3, 2, 5
    RtMidiError = RuntimeError

    def __init__(self) -> None:
        driver = self
        self.names = ["Pads:out"]
        self.opened: list[Any] = []

        class MidiIn:
            def __init__(self, *_: object, **__: object) -> None:
                self.ignored: dict[str, bool] = {}
                self.call: Any = None

            def get_current_api(self) -> int:
                return 0

            def get_ports(self) -> list[str]:
                return list(driver.names)

            def ignore_types(self, **kinds: bool) -> None:
                self.ignored = kinds

            def set_callback(self, call: Any) -> None:
                self.call = call

            def cancel_callback(self) -> None:
                self.call = None

            def open_port(self, *_: object) -> None:
                driver.opened.append(self)

            def close_port(self) -> None: ...

            def delete(self) -> None: ...

        self.MidiIn = MidiIn

    def get_compiled_api(self) -> list[int]:
        return [2]

    def send(self, message: bytes, delta: float) -> None:
        self.opened[-1].call((list(message), delta), None)


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Driver:
    found = Driver()
    monkeypatch.setitem(sys.modules, "rtmidi", found)
    return found


def test_an_input_tells_the_drivers_time_and_not_that_of_the_call(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [SECOND]
    monkeypatch.setattr(ports, "time", SimpleNamespace(monotonic_ns=lambda: now[0]))
    heard: list[tuple[bytes, int]] = []
    ports.RtInput("pads", lambda message, at: heard.append((message, at)))
    driver.send(on(), 0.0)
    now[0] += 130 * MS  # the call comes 30 ms late
    driver.send(off(), 0.1)
    assert heard == [(on(), SECOND), (off(), SECOND + 100 * MS)]


def test_what_is_not_wanted_still_counts_in_the_drivers_account(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    # RtMidi counts a delta from the message before, those included that it was told to ignore.
    now = [SECOND]
    monkeypatch.setattr(ports, "time", SimpleNamespace(monotonic_ns=lambda: now[0]))
    heard: list[tuple[bytes, int]] = []
    ports.RtInput("pads", lambda message, at: heard.append((message, at)))
    assert not any(driver.opened[-1].ignored.values())
    for message in (on(), b"\xfe", b"\xf8", b"\xf0\x7e\x7f\x09\x01\xf7", on()):
        driver.send(message, 0.01)
        now[0] += 10 * MS
    assert heard == [(on(), SECOND), (on(), SECOND + 40 * MS)]


# What is kept


def place(number: int = 0, **drill: Any) -> Place:
    """A bar of the first exercise of a drill."""
    checked = midiforge.check_drill(
        {"sticking": "RLRL", "stages": "full", "count_in": 1, "tempos": "120", **drill}
    )
    made = playable(next(iter(midiforge.exercises(checked))), checked.kit)
    return Place(0, made, made.bar(number), 1, 1, begins=False, ends=False)


def one(takes: Iterator[Recorded]) -> Recorded:
    (take,) = takes
    return take


def read(content: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=BytesIO(content))


def taken(content: bytes, folder: Path) -> Take:
    path = folder / "read.mid"
    path.write_bytes(content)
    return read_take(path)


def ticks(content: bytes, *kinds: str) -> list[int]:
    """The ticks of events of some kinds."""
    at, found = 0, []
    for message in read(content).tracks[0]:
        at += message.time
        if message.type in kinds:
            found.append(at)
    return found


def test_every_channel_message_is_kept_as_it_came() -> None:
    came = [
        on(channel=1), on(BASS, 1, 16), controller(PEDAL, 90), off(channel=1), on(BASS, 0, 16),
        bytes((0xA9, 49, 80)), bytes((0xC9, 5)), bytes((0xD9, 33)), bytes((0xE9, 0, 64)),
    ]  # fmt: skip
    recorder = Recorder(SECOND)
    for i, message in enumerate(came):
        recorder.heard(message, SECOND + i * MS)
    content = take_bytes(one(recorder.takes(2 * SECOND)))
    kept = [bytes(each.bytes()) for each in read(content).tracks[0] if not each.is_meta]
    assert kept == came


def test_what_is_no_channel_message_is_not_kept() -> None:
    recorder = Recorder(0)
    for message in (b"", b"\x99", b"\x99\x26", b"\x26\x40", b"\xfe", b"\xf8", b"\xf0\x01\xf7"):
        recorder.heard(message, 5)
    assert len(recorder) == 0


def test_pads_bound_to_commands_are_no_strokes() -> None:
    bound = {("note", CRASH): "next", ("controller", 64): "pause", ("program", 5): "quit"}
    recorder = Recorder(0, bound)
    for message in (
        on(CRASH), off(CRASH), bytes((0xA9, CRASH, 3)), controller(64, 127), b"\xc9\x04",
    ):  # fmt: skip
        recorder.heard(message, 5)
    assert len(recorder) == 0
    # Numbers of something else are.
    for message in (on(64), controller(CRASH, 1), b"\xc9\x05"):
        recorder.heard(message, 6)
    assert len(recorder) == 3


@pytest.mark.parametrize("tempo", ["10", "40", "97", "133.7", "500"])
def test_a_tick_is_short_enough(tempo: str) -> None:
    recorder = Recorder(0)
    recorder.began(place(tempos=tempo), SECOND, False)
    recorder.heard(on(), SECOND)
    file = read(take_bytes(one(recorder.takes(2 * SECOND))))
    assert file.type == 0
    assert 60 / float(tempo) / file.ticks_per_beat <= 0.000_2
    assert file.ticks_per_beat <= 0x7FFF


def test_each_stroke_lies_where_the_exercises_tempo_has_it() -> None:
    # 20 minutes at 97: nothing adds up. Each tick is held against its own exact place.
    tempo, chance = Fraction(97), random.Random(1)
    recorder, begin = Recorder(SECOND), 5 * SECOND
    quarter = 60 * SECOND / tempo
    bar = 4 * quarter
    bars = round(1200 * SECOND / bar)
    for i in range(-1, bars):
        number = i if i < 0 else i % (place(tempos="97").playable.last + 1)
        recorder.began(place(number, tempos="97"), round(begin + i * bar), i >= 0)
    offsets = sorted(chance.randrange(-4 * SECOND, 1200 * SECOND) for _ in range(3000))
    for offset in offsets:
        recorder.heard(on(), begin + offset)
    content = take_bytes(one(recorder.takes(begin + 1201 * SECOND)))
    division = read(content).ticks_per_beat
    struck = ticks(content, "note_on")
    (downbeat,) = [
        tick
        for tick, each in zip(ticks(content, "marker"), _texts(content), strict=True)
        if each == START_MARK
    ]
    assert downbeat % (4 * division) == 0  # a bar line
    assert len(struck) == len(offsets)
    exact = [downbeat + offset / quarter * division for offset in offsets]
    assert max(abs(tick - each) for tick, each in zip(struck, exact, strict=True)) <= 0.501
    assert len(ticks(content, "set_tempo")) == 1


def _texts(content: bytes) -> list[str]:
    return [each.text for each in read(content).tracks[0] if each.type == "marker"]


def test_the_file_says_meter_tempo_name_and_number(tmp_path: Path) -> None:
    recorder = Recorder(SECOND)
    keys = {"sticking": "RLRLRL", "meter": "6/8", "tempos": "80"}
    for number in (-1, 0):
        recorder.began(place(number, **keys), 3 * SECOND + (number + 1) * 1500 * MS, True)
    recorder.heard(on(), SECOND + 200 * MS)  # before the count-in
    recorder.heard(on(), 4500 * MS + 7 * MS)
    content = take_bytes(one(recorder.takes(9 * SECOND)))
    track = read(content).tracks[0]
    (meter,) = [each for each in track if each.type == "time_signature"]
    assert (meter.numerator, meter.denominator, meter.clocks_per_click) == (6, 8, 36)
    assert "RLRLRL" in track.name and "80 bpm" in track.name
    take = taken(content, tmp_path)
    assert str(take.exercise) == "1"
    assert take.meter == (6, 8)
    (tempo,) = take.tempos
    assert tempo[1] == pytest.approx(120)  # quarters: a dotted quarter at 80
    assert take.start is not None
    early, stroke = take.strokes
    assert early.time - take.start == pytest.approx(-3.3, abs=0.000_1)
    assert stroke.time - take.start == pytest.approx(0.007, abs=0.000_1)
    assert early.time >= 0
    assert take.remarks == ()


def test_a_ramps_tempos_are_the_files() -> None:
    concert = Concert({"sticking": "RLRL", "ramp": "100 to 120 by 10 every 1 bars"})
    content = _recorded(concert)[0]
    played = [60e6 / each.tempo for each in read(content).tracks[0] if each.type == "set_tempo"]
    assert [round(each, 2) for each in played] == [100, 110, 120]
    division = read(content).ticks_per_beat
    changed = ticks(content, "set_tempo")
    assert [b - a for a, b in pairwise(changed[1:])] == [4 * division]


def test_notes_and_pedal_go_into_the_take_with_velocity_and_channel(tmp_path: Path) -> None:
    recorder = Recorder(0)
    recorder.began(place(), 0, False)
    recorder.heard(controller(PEDAL, 90), MS)
    recorder.heard(on(HIHAT, 77), 2 * MS)
    recorder.heard(on(HIHAT, 78, 3), 3 * MS)
    take = taken(take_bytes(one(recorder.takes(SECOND))), tmp_path)
    assert [(s.number, s.velocity, s.channel, s.pedal) for s in take.strokes] == [
        (HIHAT, 77, 10, 90),
        (HIHAT, 78, 3, None),
    ]


def test_every_note_of_a_file_is_ended_once() -> None:
    recorder = Recorder(0)
    recorder.heard(off(BASS), MS)  # of one that began before
    recorder.heard(on(SNARE), 2 * MS)
    recorder.heard(off(SNARE), 3 * MS)
    recorder.heard(on(BASS), 4 * MS)
    file = read(take_bytes(one(recorder.takes(SECOND))))
    kept = [(e.type, e.note) for e in file.tracks[0] if e.type.startswith("note")]
    assert kept == [
        ("note_on", SNARE), ("note_off", SNARE), ("note_on", BASS), ("note_off", BASS),
    ]  # fmt: skip


def test_twenty_minutes_of_dense_playing_stay_small() -> None:
    # 20 strokes a second with their note offs, and a pedal that never rests: 140 messages a second.
    recorder = Recorder(0)
    seconds = 1200
    messages = [on(), off()] * 20 + [controller(PEDAL, i) for i in range(100)]
    tracemalloc.start()
    try:
        for second in range(seconds):
            for i, message in enumerate(messages):
                recorder.heard(message, second * SECOND + i * 7 * MS)
        held, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len(recorder) == 140 * seconds
    assert held < 16 * len(recorder)  # bytes; 2.7 MB
    content = take_bytes(one(recorder.takes(seconds * SECOND)))
    assert len(content) < 6 * len(recorder)
    assert len([1 for each in read(content).tracks[0] if each.type == "note_on"]) == 20 * seconds


def test_more_than_it_holds_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("midiforge.live.recording.recorder.MOST", 3)
    recorder = Recorder(0)
    for i in range(3):
        recorder.heard(on(), i)
    assert not recorder.full
    recorder.heard(on(), 9)
    assert recorder.full
    assert len(recorder) == 3


# Which exercise, which take: the player against a clock that is not real


def _recorded(concert: Concert, strokes: Sequence[float] = (0.5,), **keys: Any) -> list[bytes]:
    """The takes of a concert at which somebody strikes so many seconds after the first event."""
    return [take_bytes(take) for take in _takes(concert, strokes, **keys)]


def _takes(concert: Concert, strokes: Sequence[float] = (0.5,), **keys: Any) -> list[Recorded]:
    recorder = Recorder(concert.clock.at)
    for seconds in strokes:
        concert.at(seconds, lambda: recorder.heard(on(), concert.clock.at))
    player = concert.player(**keys)
    player.watcher.began = recorder.began
    player.play()
    return list(recorder.takes(concert.clock.at))


# One bar of four at 120: a bar lasts 2 s, the count-in comes first.
FOUR = {"sticking": "RLRL"}
TWO = {"sticking": "RLRL", "placements": "0, 1"}


def where(content: bytes, folder: Path) -> list[float]:
    """When each stroke came after the first downbeat, to the ms."""
    take = taken(content, folder)
    assert take.start is not None
    return [round((each.time - take.start) * 1000) for each in take.strokes]


def test_the_mark_is_where_the_first_downbeat_was_due(tmp_path: Path) -> None:
    concert = Concert(FOUR)
    (content,) = _recorded(concert, (1.0, 2.0, 2.53))
    assert where(content, tmp_path) == [-1000, 0, 530]
    # And that is when the first downbeat's click went out.
    clicks = concert.wire.only(76)
    assert clicks[1] - clicks[0] == pytest.approx(2 * SECOND, abs=MS)


def test_all_rounds_are_one_take(tmp_path: Path) -> None:
    concert = Concert(FOUR, times=5)
    (content,) = _recorded(concert, (2.0, 4.0, 11.5))
    assert where(content, tmp_path) == [0, 2000, 9500]
    assert _texts(content).count(START_MARK) == 1


def test_each_exercise_is_a_take_of_its_own(tmp_path: Path) -> None:
    # Downbeats: of the first at 2 s, of the second, after its count-in, at 6 s.
    concert = Concert(TWO)
    first, second = _recorded(concert, (2.0, 3.99, 4.2, 6.01))
    assert where(first, tmp_path) == [0]
    assert where(second, tmp_path) == [-2010, -1800, 10]
    assert [read_number(each) for each in (first, second)] == [1, 2]


def test_a_stroke_just_ahead_of_the_bar_line_belongs_to_what_follows(tmp_path: Path) -> None:
    # Quarter notes at 120: half a grid step is 250 ms.
    concert = Concert({**TWO, "count_in": 0})
    first, second = _recorded(concert, (0.0, 1.74, 1.97))
    assert where(first, tmp_path) == [0, 1740]
    assert where(second, tmp_path) == [-30]


def test_no_stroke_is_lost_or_kept_twice_between_exercises() -> None:
    concert = Concert({"sticking": "RLRR", "placements": "0, 1, 2"})
    strokes = [i * 0.05 for i in range(230)]
    takes = _takes(concert, strokes, rest=SECOND // 2)
    assert len(takes) == 3
    assert sum(take.strokes for take in takes) == len(strokes)


def read_number(content: bytes) -> int:
    (number,) = [int(t.removeprefix(EXERCISE_MARK)) for t in _texts(content) if t != START_MARK]
    return number


def test_a_pause_ends_a_take_and_what_is_played_in_it_is_in_none(tmp_path: Path) -> None:
    # Two bars an exercise; paused in the second (from 4 s), gone on with from its beginning.
    concert = Concert({"sticking": "RLRLRRLL"})
    concert.at(4.6, Command.PAUSE)
    concert.at(30.0, Command.PAUSE)
    first, second = _takes(concert, (2.0, 4.5, 20.0, 31.0, 33.0))
    assert where(take_bytes(first), tmp_path) == [0, 2500]
    assert first.downbeat is not None and second.downbeat is None
    assert second.strokes == 1
    assert START_MARK not in _texts(take_bytes(second))
    assert read_number(take_bytes(second)) == 1


def test_what_goes_on_after_a_pause_lies_on_the_files_beats() -> None:
    concert = Concert({"sticking": "RLRLRRLL"})
    concert.at(4.6, Command.PAUSE)
    concert.at(30.0, Command.PAUSE)
    takes = _takes(concert, (2.0, 33.0))
    resumed = concert.bars[-1][0] + LEAD - concert.start - LEAD
    content = take_bytes(takes[1])
    (tick,) = ticks(content, "note_on")
    beats = tick / read(content).ticks_per_beat
    # The bar began after its count-in; the stroke came 33 s after the first event.
    came = (33 * SECOND + LEAD - resumed) / SECOND * 2
    assert (beats - came) % 4 == pytest.approx(0, abs=0.1) or (beats - came) % 4 > 3.9


def test_again_begins_a_new_take(tmp_path: Path) -> None:
    concert = Concert(FOUR, times=4)
    concert.at(2.5, Command.AGAIN)
    first, second, *more = _recorded(concert, (2.0, 6.0))
    assert not more
    assert where(first, tmp_path) == [0]
    assert where(second, tmp_path) == [0]


def test_a_change_of_tempo_begins_a_new_take(tmp_path: Path) -> None:
    concert = Concert(FOUR, times=4)
    concert.at(2.5, Command.FASTER)  # from 4 s on: 122, counted in
    second = 4 + 4 * 60 / 122
    takes = _recorded(concert, (2.0, second, second + 1))
    tempos = [
        round(60e6 / event.tempo)
        for content in takes
        for event in read(content).tracks[0]
        if event.type == "set_tempo"
    ]
    assert tempos == [120, 122]
    assert [where(content, tmp_path) for content in takes] == [[0], [0, 1000]]


def test_a_skipped_exercise_keeps_what_came_up_to_then(tmp_path: Path) -> None:
    concert = Concert(TWO, times=4)
    concert.at(4.5, Command.NEXT)
    concert.at(9.0, Command.QUIT)
    first, second = _recorded(concert, (2.0, 5.0, 8.0))
    assert where(first, tmp_path) == [0, 3000]
    assert where(second, tmp_path) == [0]


def test_another_masters_tempo_is_the_files(tmp_path: Path) -> None:
    # A master at 100 while the exercise says 120: bars begin 2.4 s apart.
    recorder = Recorder(0)
    for i in range(4):
        recorder.began(place(0, tempos="120"), SECOND + i * 2400 * MS, i > 0)
        recorder.heard(on(), SECOND + i * 2400 * MS + 600 * MS)
    content = take_bytes(one(recorder.takes(20 * SECOND)))
    (tempo,) = [each.tempo for each in read(content).tracks[0] if each.type == "set_tempo"]
    assert tempo == 600_000
    assert where(content, tmp_path) == [600, 3000, 5400, 7800]


def test_a_pedal_held_since_the_exercise_before_is_still_held(tmp_path: Path) -> None:
    recorder = Recorder(0)
    one_bar = place(0)
    recorder.began(one_bar, SECOND, False)
    recorder.heard(controller(PEDAL, 100), SECOND)
    recorder.heard(controller(PEDAL, 90), SECOND + 1)
    recorder.began(
        Place(1, place(0, tempos="90").playable, one_bar.bar, 1, 1, True, False), 9 * SECOND, False
    )
    second = list(recorder.takes(10 * SECOND))[-1]
    assert second.standing == (controller(PEDAL, 90),)
    recorder.heard(on(HIHAT), 9 * SECOND + 1)
    second = list(recorder.takes(10 * SECOND))[-1]
    (stroke,) = taken(take_bytes(second), tmp_path).strokes
    assert stroke.pedal == 90


def test_what_was_recorded_without_an_exercise_has_no_tempo(tmp_path: Path) -> None:
    # A tempo that nobody played to would be taken for a click.
    recorder = Recorder(SECOND)
    recorder.heard(on(), SECOND + 1234 * MS)
    content = take_bytes(one(recorder.takes(5 * SECOND)))
    take = taken(content, tmp_path)
    assert (take.start, take.exercise, take.tempos, take.meter) == (None, None, (), None)
    assert take.strokes[0].time == pytest.approx(1.234, abs=0.000_1)
    assert read(content).length == pytest.approx(4, abs=0.001)


# Files


def test_a_file_that_is_there_is_refused_with_the_nearest_free_name(tmp_path: Path) -> None:
    path = tmp_path / "take.mid"
    path.write_bytes(b"precious")
    (tmp_path / "take-2.mid").touch()
    with pytest.raises(MidiforgeError, match=r"take\.mid: is there already") as caught:
        check_free(path, (), 2)
    assert caught.value.hint.endswith("take-3.mid")
    assert path.read_bytes() == b"precious"


def test_of_several_exercises_none_may_be_there(tmp_path: Path) -> None:
    (tmp_path / "take-07.mid").touch()
    (tmp_path / "take-2-06.mid").touch()
    with pytest.raises(MidiforgeError, match=r"take-07\.mid: is there already") as caught:
        check_free(tmp_path / "take.mid", (Number(6), Number(7)), 2)
    assert caught.value.hint.endswith("take-3.mid")
    assert check_free(tmp_path / "take.mid", (Number(8), Number(9)), 2) == tmp_path / "take.mid"


@pytest.mark.parametrize(
    ("name", "words"),
    [("take.wav", "MIDI file"), ("nowhere/take.mid", "no such folder"), ("folder", "already")],
)
def test_where_no_take_can_be_written_is_said_at_the_start(
    tmp_path: Path, name: str, words: str
) -> None:
    (tmp_path / "folder.mid").mkdir()
    with pytest.raises(MidiforgeError, match=words) as caught:
        check_free(tmp_path / name, (), 2)
    assert "\n" not in str(caught.value)


def test_a_name_without_an_ending_gets_one(tmp_path: Path) -> None:
    assert check_free(tmp_path / "take", (), 2).name == "take.mid"


def _some_take() -> Recorded:
    recorder = Recorder(0)
    recorder.heard(on(), MS)
    return one(recorder.takes(SECOND))


def test_what_came_there_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    path = tmp_path / "take.mid"
    path.write_bytes(b"precious")
    assert (
        write_take(path, take_bytes(_some_take()))
        == tmp_path / "take-2.mid"
        == free(path).with_stem("take-2")
    )
    assert path.read_bytes() == b"precious"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["take-2.mid", "take.mid"]


def test_a_take_is_not_lost_with_its_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path))
    found = write_take(tmp_path / "gone" / "take.mid", take_bytes(_some_take()))
    assert found == tmp_path / "take.mid"
    assert len(read_take(found).strokes) == 1


# The command, through real ports


class Sticks:
    """A kit's output, `sticks:out`, that can be pulled and plugged."""

    def __init__(self) -> None:
        self._midi: Any = None
        self.plug()

    def plug(self) -> None:
        import rtmidi

        self._midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="sticks")
        self._midi.open_virtual_port("out")

    def pull(self) -> None:
        midi, self._midi = self._midi, None
        if midi is not None:
            midi.close_port()
            midi.delete()

    def strike(self, *numbers: int, velocity: int = 100) -> None:
        for number in numbers:
            self._midi.send_message(on(number, velocity))
            time.sleep(0.01)
            self._midi.send_message(off(number))

    def send(self, message: bytes) -> None:
        self._midi.send_message(message)


@pytest.fixture
def sticks(jack: Server) -> Iterator[Sticks]:
    assert jack
    found = Sticks()
    yield found
    found.pull()


def in_(folder: Path) -> list[str]:
    """What is in a folder, hidden files too."""
    return sorted(each.name for each in folder.iterdir())


def test_strokes_that_are_sent_at_known_times_lie_there_in_the_take(
    jack: Server,
    module: Receiver,
    sticks: Sticks,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    # JACK's dummy hands messages on once a period, 64 frames at 48 kHz: 1.33 ms. A click waits
    # that long at most to get to the module, a stroke that long to get to the recorder.
    chance = random.Random(5)
    path = tmp_path / "take.mid"
    flags = ("--sticking", "RLRL", "--stages", "full", "--tempos", "120", "--count-in", "1")
    sent = []
    with playing(jack, *flags, "--times", "3", "--record", str(path)) as process:
        module.until(lambda m: len(m.ons()) >= 5)
        for i in range(60):
            time.sleep(chance.uniform(0.02, 0.12))
            sent.append(time.monotonic_ns())
            sticks.send(on(velocity=i + 1))
        code, _, said = ended(process)
    assert (code, said) == (0, "")
    # The module's own clock, as JACK tells it, laid on ours.
    ahead = min(now - at for at, now, _ in module.heard)
    downbeat = [at + ahead for at, _ in module.ons()][4]
    take = read_take(path)
    assert take.start is not None
    assert [each.velocity for each in take.strokes] == list(range(1, 61))
    both_ways = sorted(
        ((each.time - take.start) * 1000 + (downbeat - at) / MS)
        for each, at in zip(take.strokes, sent, strict=True)
    )
    middle = median(both_ways)
    with capsys.disabled():
        print(
            f"\nto the module and back, JACK at 1.33 ms a period: median {middle:.2f} ms, "
            f"{both_ways[0]:.2f} to {both_ways[-1]:.2f}"
        )
    assert -0.2 < middle < 4
    assert both_ways[0] > -1
    assert both_ways[len(both_ways) * 9 // 10] < 8


def test_a_take_is_written_and_said(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    with playing(
        jack, *FAST, "--times", "2", "--record", str(path), "--input", "sticks"
    ) as process:
        module.until(lambda m: len(m.ons()) >= 6)
        sticks.strike(SNARE, BASS, HIHAT)
        code, out, said = ended(process)
    assert (code, said) == (0, "")
    assert f"{path}: 3 strokes, " in out
    assert f"midiforge review {path} --exercise 01, with the flags of this drill" in out
    assert in_(tmp_path) == ["take.mid"]
    take = read_take(path)
    assert [each.number for each in take.strokes] == [SNARE, BASS, HIHAT]
    assert str(take.exercise) == "1"
    assert take.start is not None and take.tempos == ((0, 300),)
    # What we play ourselves is not in it.
    assert not {each.number for each in take.strokes} & set(CLICKS)


def test_the_line_that_says_how_to_review_it_names_the_drill(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    drill = tmp_path / "my drill.toml"
    drill.write_text("sticking = 'RLRL'\ntempos = '300'\ncount_in = 1\n", encoding="utf-8")
    path = tmp_path / "take.mid"
    with playing(jack, str(drill), "--only", "2", "--record", str(path)) as process:
        module.until(lambda m: len(m.ons()) >= 5)
        sticks.strike(SNARE)
        out = ended(process)[1]
    assert f"midiforge review {path} '{drill}' --exercise 02\n" in out
    assert str(read_take(path).exercise) == "2"


@pytest.mark.parametrize(("name", "code"), [("SIGTERM", 143), ("SIGINT", 130), ("SIGHUP", 129)])
def test_a_signal_keeps_what_was_played_up_to_then(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path, name: str, code: int
) -> None:
    path = tmp_path / "take.mid"
    with playing(jack, *LONG, "--record", str(path)) as process:
        module.until(lambda m: len(m.ons()) >= 6)
        sticks.strike(SNARE, BASS)
        time.sleep(0.05)
        process.send_signal(getattr(signal, name))
        process.send_signal(getattr(signal, name))
        ends = ended(process)
    assert ends[0] == code
    assert "Traceback" not in ends[2]
    assert f"{path}: 2 strokes" in ends[1]
    assert in_(tmp_path) == ["take.mid"]
    take = read_take(path)
    assert len(take.strokes) == 2 and take.start is not None and take.remarks == ()
    module.until(lambda m: m.messages[-2:] == SILENCE)


def test_a_pad_that_quits_is_no_stroke_and_ends_the_take(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    kit = tmp_path / "mine.toml"
    kit.write_text("starts_from = 'general-midi-1'\n[controls]\nquit = 'note 49'\n", "utf-8")
    folder = tmp_path / "takes"
    folder.mkdir()
    flags = (*LONG, "--kit", str(kit), "--record", str(folder / "take.mid"))
    with playing(jack, *flags) as process:
        module.until(lambda m: len(m.ons()) >= 6)
        sticks.strike(SNARE, CRASH)
        assert ended(process)[0] == 0
    assert [each.number for each in read_take(folder / "take.mid").strokes] == [SNARE]


def test_several_exercises_are_several_files(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    flags = ("--sticking", "RLRR", *FAST[2:], "--placements", "0, 1, 2")
    flags += ("--record", str(tmp_path / "take.mid"))
    assert module
    with playing(jack, *flags) as process:
        said = _lines(process)
        for i in (1, 3):
            _until(lambda i=i: any(line.startswith(f"{i}.") for line in said))
            time.sleep(1.0)  # a count-in of 0.8 s
            sticks.strike(*[SNARE] * i)
        assert process.wait(PATIENCE) == 0
    assert in_(tmp_path) == ["take-01.mid", "take-03.mid"]
    takes = [read_take(tmp_path / name) for name in in_(tmp_path)]
    assert [(str(each.exercise), len(each.strokes)) for each in takes] == [("1", 1), ("3", 3)]
    for take in takes:
        assert take.start is not None
        assert all(0 < each.time - take.start < 0.8 for each in take.strokes)
    assert "exercise 2: nothing was struck\n" in said
    hints = [line.split() for line in said if line.startswith("review: ")]
    for words, name in zip(hints, in_(tmp_path), strict=True):
        assert words[3] == str(tmp_path / name) and words[4] == "--exercise"


def test_nothing_struck_is_no_file(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    assert sticks
    with playing(jack, *FAST, "--record", str(tmp_path / "take.mid")) as process:
        module.until(lambda m: len(m.ons()) >= 2)
        sticks.send(controller(PEDAL, 3))
        code, out, _ = ended(process)
    assert code == 0
    assert "nothing was struck; no take is written\n" in out
    assert in_(tmp_path) == []


def test_a_file_that_is_there_stops_before_anything_sounds(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    assert sticks
    path = tmp_path / "take.mid"
    path.write_bytes(b"precious")
    with playing(jack, *FAST, "--record", str(path)) as process:
        code, out, said = ended(process)
    assert (code, out) == (2, "")
    assert "is there already" in said and "take-2.mid" in said and said.count("\n") == 1
    assert path.read_bytes() == b"precious"
    assert not module.heard


def test_without_an_input_nothing_is_played(jack: Server, module: Receiver, tmp_path: Path) -> None:
    # Our own output, which JACK lists among the inputs, is nobody's kit.
    with playing(jack, *FAST, "--record", str(tmp_path / "take.mid")) as process:
        code, out, said = ended(process)
    assert (code, out) == (2, "")
    assert "there is no MIDI input" in said and said.count("\n") == 1
    assert not module.ons()


def test_of_two_inputs_one_must_be_named(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    import rtmidi

    assert sticks and module
    other = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="keys")
    other.open_virtual_port("out")
    try:
        with playing(jack, *FAST, "--record", str(tmp_path / "take.mid")) as process:
            code, _, said = ended(process)
    finally:
        other.close_port()
        other.delete()
    assert code == 2
    assert "sticks:out" in said and "keys:out" in said


def test_a_kit_that_goes_and_comes_back_goes_on_in_the_same_take(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    with playing(jack, *LONG, "--record", str(path)) as process:
        said = _lines(process)
        module.until(lambda m: len(m.ons()) >= 6)
        sticks.strike(SNARE)
        time.sleep(0.1)
        sticks.pull()
        _until(lambda: any("input is gone" in line for line in said))
        sticks.plug()
        _until(lambda: any("input is back" in line for line in said))
        for _ in range(8):  # the first may come before JACK has joined the two ports
            sticks.strike(BASS)
            time.sleep(0.1)
        process.terminate()
        assert process.wait(PATIENCE) == 143
    first, *others = [each.number for each in read_take(path).strokes]
    assert first == SNARE
    assert set(others) == {BASS}


def test_a_module_that_goes_ends_a_take_and_the_next_begins_when_it_is_back(
    jack: Server, sticks: Sticks, tmp_path: Path
) -> None:
    module = Receiver(jack, "buoy")
    try:
        path = tmp_path / "take.mid"
        with playing(jack, *LONG, "--record", str(path), port="buoy") as process:
            said = _lines(process)
            module.until(lambda m: len(m.ons()) >= 6)
            sticks.strike(SNARE)
            module.kill()
            _until(lambda: any("port is gone" in line for line in said))
            module.heard.clear()
            module.plug()
            module.until(lambda m: len(m.ons()) >= 6)
            sticks.strike(BASS)
            time.sleep(0.1)
            process.terminate()
            assert process.wait(PATIENCE) == 143
    finally:
        module.kill()
    assert in_(tmp_path) == ["take-2.mid", "take.mid"]
    found = [[each.number for each in read_take(tmp_path / name).strokes] for name in in_(tmp_path)]
    assert found == [[BASS], [SNARE]]


@pytest.mark.parametrize("how", ["Ctrl-C", "pad", "SIGTERM"])
def test_listening_records_without_an_output(
    jack: Server, sticks: Sticks, tmp_path: Path, how: str
) -> None:
    kit = tmp_path / "mine.toml"
    kit.write_text("starts_from = 'general-midi-1'\n[controls]\nquit = 'note 49'\n", "utf-8")
    path = tmp_path / "take.mid"
    flags = (*FAST, "--kit", str(kit), "--listen", "--record", str(path))
    with playing(jack, *flags, port="") as process:
        said = _lines(process)
        _until(lambda: any("recording sticks:out" in line for line in said))
        sticks.strike(SNARE, BASS)
        time.sleep(0.1)
        if how == "pad":
            sticks.strike(CRASH)
        else:
            process.send_signal(signal.SIGINT if how == "Ctrl-C" else signal.SIGTERM)
        assert process.wait(PATIENCE) == (143 if how == "SIGTERM" else 0)
    take = read_take(path)
    assert [each.number for each in take.strokes] == [SNARE, BASS]
    assert (take.start, str(take.exercise), take.tempos) == (None, "1", ())


def test_listening_ends_with_a_key(
    jack: Server, sticks: Sticks, terminal: Terminal, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    command = [sys.executable, "-m", "midiforge", "play", *FAST, "--listen", "--record", str(path)]
    line = terminal.line
    process = subprocess.Popen(
        command, env=jack.environment, stdin=line, stdout=line, stderr=line, start_new_session=True
    )
    try:
        _until(lambda: "recording sticks:out" in terminal.shown)
        sticks.strike(SNARE)
        time.sleep(0.1)
        terminal.press("q")
        assert process.wait(PATIENCE) == 0
        _until(lambda: "1 stroke," in terminal.shown)
    finally:
        process.kill()
        process.wait()
    assert terminal.settings == terminal.before
    assert len(read_take(path).strokes) == 1


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    found = Terminal()
    yield found
    found.close()


def test_the_screen_says_that_it_records_and_a_pause_begins_a_new_take(
    jack: Server, module: Receiver, sticks: Sticks, terminal: Terminal, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    with on_terminal(jack, terminal, *LONG, "--record", str(path)) as process:
        module.until(lambda m: len(m.ons()) >= 6)
        assert "recording sticks:out" in terminal.shown
        sticks.strike(SNARE)
        terminal.press(" ")
        _until(lambda: "PAUSED" in terminal.shown)
        count = len(module.ons())
        terminal.press(" ")
        module.until(lambda m: len(m.ons()) > count + 8)
        sticks.strike(BASS)
        time.sleep(0.1)
        terminal.press("q")
        assert process.wait(PATIENCE) == 0
        _until(lambda: "review: " in terminal.shown)
    restored(terminal)
    assert in_(tmp_path) == ["take-2.mid", "take.mid"]


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("--listen",), "--record take.mid"),
        (("--listen", "--record", "x.mid", "--port", "a", "--input", "b"), "plays nothing"),
        (("--listen", "--record", "x.mid", "--send-clock"), "plays nothing"),
    ],
)
def test_what_does_not_go_with_listening_is_said(flags: tuple[str, ...], words: str) -> None:
    command = [sys.executable, "-m", "midiforge", "play", *FAST, *flags]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=PATIENCE)
    assert done.returncode == 2
    assert words in done.stderr and done.stderr.count("\n") == 1


def test_a_port_that_is_an_input_too_is_where_to_listen(
    jack: Server, module: Receiver, sticks: Sticks, tmp_path: Path
) -> None:
    assert module
    flags = (*FAST, "--listen", "--record", str(tmp_path / "take.mid"))
    with playing(jack, *flags, port="sticks") as process:
        heard = _lines(process)
        _until(lambda: any("recording sticks:out" in line for line in heard))
        sticks.strike(SNARE)
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE) == 0
    assert len(read_take(tmp_path / "take.mid").strokes) == 1
    flags = (*flags[:-1], str(tmp_path / "other.mid"))
    with playing(jack, *flags, port="module") as process:
        code, _, said = ended(process)
    assert code == 2 and "plays nothing" in said
    assert "name --input; there are: 1 sticks:out" in said and said.count("\n") == 1


def test_recording_does_not_make_playing_late(
    jack: Server,
    module: Receiver,
    sticks: Sticks,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    # With it the kit sends 140 messages a second, as with both hands, feet and a restless pedal.
    assert module

    def played(*flags: str) -> list[float]:
        """Median, 99th percentile and worst lateness, in ms."""
        with playing(jack, *FAST, "--times", "2", *flags) as process:
            i = 0
            while flags and process.poll() is None:
                sticks.send(on(velocity=i % 127 + 1) if i % 7 == 0 else controller(PEDAL, i % 128))
                i += 1
                time.sleep(1 / 140)
            code, out, said = ended(process)
        assert (code, said) == (0, "")
        (line,) = [line for line in out.splitlines() if line.startswith("Timing:")]
        return [float(each) for each in re.findall(r"([0-9.]+) ms", line)]

    runs = [
        (played(), played("--record", str(tmp_path / f"take-{chr(97 + i)}.mid"))) for i in range(2)
    ]
    without, recording = (
        [min(run[side][figure] for run in runs) for figure in range(3)] for side in (0, 1)
    )
    with capsys.disabled():
        for name, figures in (("playing", without), ("and recording", recording)):
            print(
                f"\nlate by, {name}: {figures[0]:.3f} ms in the median, {figures[1]:.3f} at the "
                f"99th percentile, {figures[2]:.3f} at worst (the better of 2 runs)",
                end="",
            )
        print()
    assert recording[0] < without[0] + 0.1
    assert recording[1] < without[1] + 1.0
    assert len(read_take(tmp_path / "take-a.mid").strokes) > 50
