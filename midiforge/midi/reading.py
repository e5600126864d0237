"""Standard MIDI Files read back, as far as they can be.

The Standard MIDI Files 1.0 specification, read tolerantly: a file that stops in the middle, or
has bytes that mean nothing, gives what came before. Takes are hours long and come from anywhere,
so this is ours: it keeps what a strict reader throws away, and is several times as fast.
"""

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import cache
from itertools import accumulate
from operator import itemgetter
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import read_file

LARGEST = 64 * 1024 * 1024  # bytes; ten hours of the densest playing are a tenth of it
NAME, MARKER, TEMPO, METER, END = 0x03, 0x06, 0x51, 0x58, 0x2F
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_NOTE_ON, _CONTROLLER = 0x90, 0xB0
PEDAL = 4  # foot controller, MIDI 1.0; what hi-hat pedals send
# Events that say nothing: after so many the rest is skipped at once, so many at a time.
_MANY_IDLE, _LONGEST_RUN = 16, 4096
# More than any take has: a day of strokes, or an hour of a new tempo every hundredth of a second.
MOST_EVENTS, MOST_MARKS = 500_000, 500_000
_LONGEST_WAIT = 0x0FFFFFFF  # ticks; four bytes
_USUAL_TEMPO = 500_000  # microseconds to a quarter note, where a file says nothing

Event = tuple[int, int, int, int]  # tick, status with channel, first and second data byte


@dataclass(slots=True)
class MidiContent:
    """What is in a file, all tracks together, in order of time.

    division: ticks to a quarter note; 0 where the file counts frames and not beats.
    ticks_a_second: of a file that counts frames; else 0.
    events: what is struck (note on, of a velocity above 0), and what the pedal sends.
    tempos: (tick, microseconds to a quarter note). meters: (tick, numerator, note value).
    markers: (tick, text). names: of tracks.
    remarks: what was wrong with the file, one sentence each.
    """

    division: int
    ticks_a_second: float
    events: list[Event] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    meters: list[tuple[int, int, int]] = field(default_factory=list)
    markers: list[tuple[int, str]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    last_tick: int = 0

    def clock(self) -> "TickClock":
        """Turns ticks into seconds, through all changes of tempo."""
        return TickClock(self)


class TickClock:
    """Seconds from the start of a file, by tick."""

    def __init__(self, content: MidiContent) -> None:
        changes = {0: _USUAL_TEMPO} | dict(content.tempos)
        self._ticks = sorted(changes)
        if content.division:
            self._rates = [changes[tick] / 1e6 / content.division for tick in self._ticks]
        else:
            self._rates = [1 / content.ticks_a_second] * len(self._ticks)
        spans = (
            (later - tick) * rate
            for tick, later, rate in zip(self._ticks, self._ticks[1:], self._rates, strict=False)
        )
        self._starts = [0.0, *accumulate(spans)]

    def seconds(self, tick: int) -> float:
        """Seconds from the start of the file to a tick."""
        i = bisect_right(self._ticks, tick) - 1
        return self._starts[i] + (tick - self._ticks[i]) * self._rates[i]


AROUND = 0.02  # s that a pedal may tell later than the stroke how far it is down


class PedalLine:
    """Where a controller stands, by channel; number: the controller's."""

    def __init__(self, content: MidiContent, number: int) -> None:
        seconds = content.clock().seconds
        self._times: dict[int, list[float]] = {}
        self._values: dict[int, list[int]] = {}
        for tick, status, first, second in content.events:
            if status & 0xF0 == 0xB0 and first == number:
                self._times.setdefault(status & 0x0F, []).append(seconds(tick))
                self._values.setdefault(status & 0x0F, []).append(second)

    def __bool__(self) -> bool:
        """Whether it says anything."""
        return bool(self._times)

    def at(self, status: int, time: float) -> int | None:
        """Its value at a stroke of the channel of `status`; None if it has none yet."""
        times = self._times.get(status & 0x0F, [])
        i = bisect_right(times, time + AROUND)
        return self._values[status & 0x0F][i - 1] if i else None


def read_midi(path: Path, pedal: int = PEDAL) -> MidiContent:
    """The content of a Standard MIDI File of any format.

    pedal: the number of the hi-hat pedal's controller.
    Raises MidiforgeError where nothing of it can be understood.
    """
    data = read_file(path, LARGEST, "the file is too large for a take")
    try:
        return parse(data, pedal)
    except MidiforgeError as error:
        raise error.within(str(path)) from None


def parse(data: bytes, pedal: int = PEDAL) -> MidiContent:
    """The content of a file's bytes."""
    if not data:
        raise MidiforgeError("the file is empty")
    start = data.find(b"MThd")
    if start < 0 or len(data) < start + 14:
        raise MidiforgeError("not a Standard MIDI File", hint="one begins with MThd")
    division = int.from_bytes(data[start + 12 : start + 14])
    content = _of_division(division)
    at = start + 8 + int.from_bytes(data[start + 4 : start + 8])
    tracks = int.from_bytes(data[start + 10 : start + 12])
    one_after_another = int.from_bytes(data[start + 8 : start + 10]) == 2
    found = base = 0
    while at + 8 <= len(data) and found < max(tracks, 1):
        size = int.from_bytes(data[at + 4 : at + 8])
        end = at + 8 + size
        if data[at : at + 4] == b"MTrk":
            found += 1
            if end > len(data):
                content.remarks.append("the file ends in the middle of a track; the rest is lost")
            last = _read_track(data, at + 8, min(end, len(data)), base, content, pedal)
            content.last_tick = max(content.last_tick, last)
            base = last if one_after_another else 0
        at = end
    if not found:
        raise MidiforgeError("the file has no track")
    if found < tracks:
        content.remarks.append(f"the file says {tracks} tracks and has {found}")
    by_tick = itemgetter(0)
    content.events.sort(key=by_tick)
    content.events[:] = dict.fromkeys(content.events)  # twice at one tick is once
    content.tempos.sort(key=by_tick)
    content.meters.sort(key=by_tick)
    content.markers.sort(key=by_tick)
    return content


def _of_division(division: int) -> MidiContent:
    if division & 0x8000:
        frames, ticks = 256 - (division >> 8), division & 0xFF
        rate = {29: 29.97}.get(frames, float(frames)) * ticks
        if not rate:
            raise MidiforgeError("the file's ticks have no length")
        return MidiContent(0, rate)
    if not division:
        raise MidiforgeError("the file's ticks have no length")
    return MidiContent(division, 0.0)


def _read_track(data: bytes, at: int, end: int, tick: int, content: MidiContent, pedal: int) -> int:
    """Reads a track's events into `content`; gives its last tick."""
    events, sizes = content.events, _DATA_BYTES
    status = idle = 0  # events that say nothing, one after another
    try:
        while at < end:
            wait, at = (data[at], at + 1) if data[at] < 0x80 else _number(data, at)
            if wait > _LONGEST_WAIT:
                raise ValueError
            tick += wait
            byte = data[at]
            if byte >= 0xF0:
                status = 0
                at = _read_other(data, at, end, tick, content)
                if at < 0:
                    return tick
                continue
            if byte >= 0x80:
                status = byte
                at += 1
            elif not status:
                raise ValueError
            kind = status & 0xF0
            size = sizes[kind]
            first, second = data[at], data[at + 1] if size == 2 else 0
            at += size
            if at > end or first > 0x7F or second > 0x7F:
                raise ValueError
            if (kind == _NOTE_ON and second) or (kind == _CONTROLLER and first == pedal):
                events.append((tick, status, first, second))
                idle = 0
                if len(events) > MOST_EVENTS:
                    raise _too_many(MOST_EVENTS, "strokes and movements of the pedal")
                continue
            idle += 1
            if idle > _MANY_IDLE:
                stop, size = _idle_until(data, at, end, kind, pedal)
                if stop == at:
                    idle = 0
                    continue
                tick += sum(data[at:stop:size])
                at, last = stop, data[stop - size + 1]
                status = last if last >= 0x80 else status
    except (IndexError, ValueError):
        _remark_on_a_break(content, is_inside=end < len(data))
    return tick


def _idle_until(data: bytes, at: int, end: int, kind: int, pedal: int) -> tuple[int, int]:
    """Where a run of equally long events that say nothing ends, and how long each is.

    kind: of the event before. Only those are seen that wait up to 127 ticks, one byte.
    """
    for pattern, size in _idle_runs(kind, pedal):
        found = pattern.match(data, at, end)
        if found:
            return found.end(), size
    return at, 1


@cache
def _idle_runs(kind: int, pedal: int) -> list[tuple[re.Pattern[bytes], int]]:
    """Runs of events behind one of a kind, and how long each event is: without a status of their
    own, or with it."""
    any_byte = rb"[\x00-\x7f]"
    no_pedal = b"[%b]" % re.escape(bytes({*range(0x80)} - {pedal}))
    releases, controls = rb"[\x80-\x8f\xa0-\xaf\xe0-\xef]" + any_byte, rb"[\xb0-\xbf]" + no_pedal
    events = {b"(?:%b|%b)" % (releases, controls) + any_byte: 3, rb"[\xc0-\xdf]" + any_byte: 2}
    if kind != _NOTE_ON:
        size = _DATA_BYTES[kind]
        first = no_pedal if kind == _CONTROLLER else any_byte
        events = {first + any_byte * (size - 1): size, **events}
    return [
        (re.compile(rb"(?:%b%b){1,%d}" % (any_byte, event, _LONGEST_RUN)), 1 + size)
        for event, size in events.items()
    ]


def _remark_on_a_break(content: MidiContent, is_inside: bool) -> None:
    """Says that a track could not be read to its end; `is_inside` if the file goes on after it."""
    said = "a track has bytes that mean nothing; what comes after them is left out"
    if is_inside and said not in content.remarks:
        content.remarks.append(said)
    elif not is_inside and not content.remarks:
        content.remarks.append("the file ends in the middle of an event")


def _number(data: bytes, at: int) -> tuple[int, int]:
    """A number of up to four bytes, seven bits in each, and where the next begins; ValueError for
    a longer one (Standard MIDI Files 1.0, variable-length quantities)."""
    value = 0
    for place in range(at, at + 4):
        byte = data[place]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + 1
    raise ValueError


def _read_other(data: bytes, at: int, end: int, tick: int, content: MidiContent) -> int:
    """Reads a meta or system exclusive event; gives where the next begins, -1 at the end."""
    kind = data[at]
    at += 1
    meta = -1
    if kind == 0xFF:
        meta = data[at]
        at += 1
    elif kind not in (0xF0, 0xF7):
        raise ValueError
    size, at = _number(data, at)
    body = data[at : at + size]
    if at + size > end:
        raise ValueError
    if meta == TEMPO and size == 3 and any(body):
        content.tempos.append((tick, int.from_bytes(body)))
        if len(content.tempos) > MOST_MARKS:
            raise _too_many(MOST_MARKS, "changes of tempo")
    elif meta == METER and size >= 2 and body[0] and body[1] <= 6:
        content.meters.append((tick, body[0], 1 << body[1]))
    elif meta == MARKER:
        content.markers.append((tick, body.decode("utf-8", "replace")))
        if len(content.markers) > MOST_MARKS:
            raise _too_many(MOST_MARKS, "markers")
    elif meta == NAME:
        content.names.append(body.decode("utf-8", "replace"))
    elif meta == END:
        return -1
    return at + size


def _too_many(most: int, what: str) -> MidiforgeError:
    return MidiforgeError(f"the file has more than {most:,} {what}: no take and no groove")
