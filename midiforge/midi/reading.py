"""Standard MIDI Files read back, as far as they can be.

The Standard MIDI Files 1.0 specification, read tolerantly: a file that stops in the middle, or
has bytes that mean nothing, gives what came before. Takes are hours long and come from anywhere,
so this is ours: it keeps what a strict reader throws away, and is several times as fast.
"""

import re
from functools import cache
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Union

from midiforge.errors import MidiforgeError
from midiforge.files.disk import read_file
from midiforge.midi import smf
from midiforge.midi.content import MidiContent
from midiforge.midi.message import CONTROL_CHANGE, NOTE_ON, ONE_BYTE, PEDAL, SYSTEM

if TYPE_CHECKING:
    import mido

# Where MIDI is read from: a file, or one that mido read or somebody made of its messages.
MidiSource = Union[Path, str, "mido.MidiFile"]

LARGEST = 64 * 1024 * 1024  # bytes; ten hours of the densest playing are a tenth of it
_DATA_BYTES = {kind: 1 if kind in ONE_BYTE else 2 for kind in range(0x80, SYSTEM, 0x10)}
# Events that say nothing: after so many the rest is skipped at once, so many at a time.
_MANY_IDLE, _LONGEST_RUN = 16, 4096


def read_midi(source: MidiSource, pedal: int = PEDAL) -> MidiContent:
    """The content of a Standard MIDI File of any format.

    pedal: the number of the hi-hat pedal's controller.
    Raises MidiforgeError where nothing of it can be understood.
    """
    is_path = isinstance(source, (str, PathLike))
    data = read_file(Path(source), LARGEST, "the file is too large for a take") if is_path else b""
    try:
        if is_path:
            return parse(data, pedal)
        from midiforge.midi.mido_file import content_of

        return content_of(source, pedal)
    except MidiforgeError as error:
        raise error.within(file_name(source)) from None


def file_name(source: MidiSource) -> str:
    """The file's name; "" for one that was made in memory."""
    if isinstance(source, (str, PathLike)):
        return str(source)
    return str(getattr(source, "filename", None) or "")


def parse(data: bytes, pedal: int = PEDAL) -> MidiContent:
    """The content of a file's bytes."""
    if not data:
        raise MidiforgeError("the file is empty")
    start = data.find(b"MThd")
    if start < 0 or len(data) < start + 14:
        raise MidiforgeError("is no MIDI file", hint="a Standard MIDI File begins with MThd")
    division = int.from_bytes(data[start + 12 : start + 14])
    content = MidiContent.of_division(division)
    at = start + 8 + int.from_bytes(data[start + 4 : start + 8])
    tracks = int.from_bytes(data[start + 10 : start + 12])
    one_after_another = int.from_bytes(data[start + 8 : start + 10]) == 2
    read = base = 0
    while at + 8 <= len(data) and read < max(tracks, 1):
        size = int.from_bytes(data[at + 4 : at + 8])
        end = at + 8 + size
        if data[at : at + 4] == b"MTrk":
            read += 1
            if end > len(data):
                content.remarks.append("the file ends in the middle of a track; the rest is lost")
            last = _read_track(data, at + 8, min(end, len(data)), base, content, pedal)
            content.last_tick = max(content.last_tick, last)
            base = last if one_after_another else 0
        at = end
    if not read:
        raise MidiforgeError("the file has no track")
    if read < tracks:
        content.remarks.append(f"the file says {tracks} tracks and has {read}")
    return content.in_order()


def _read_track(data: bytes, at: int, end: int, tick: int, content: MidiContent, pedal: int) -> int:
    """Reads a track's events into `content`; gives its last tick."""
    note_ons, pedals, sizes = content.note_ons, content.pedals, _DATA_BYTES
    status = idle = 0  # events that say nothing, one after another
    try:
        while at < end:
            wait, at = (data[at], at + 1) if data[at] < 0x80 else _number(data, at)
            tick += wait
            byte = data[at]
            if byte >= SYSTEM:
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
            if kind == NOTE_ON and second:
                note_ons.append((tick, (status & 0x0F) + 1, first, second))
            elif kind == CONTROL_CHANGE and first == pedal:
                pedals.append((tick, (status & 0x0F) + 1, second))
            else:
                idle += 1
                if idle <= _MANY_IDLE:
                    continue
                stop, size = _idle_until(data, at, end, kind, pedal)
                if stop > at:
                    tick += sum(data[at:stop:size])
                    at, last = stop, data[stop - size + 1]
                    status = last if last >= 0x80 else status
                    continue
            idle = 0
            if not (len(note_ons) + len(pedals)) % _LONGEST_RUN:
                content.check_size()
    except (IndexError, ValueError):
        _remark_on_a_break(content, is_inside=end < len(data))
    return tick


def _idle_until(data: bytes, at: int, end: int, kind: int, pedal: int) -> tuple[int, int]:
    """Where a run of equally long events that say nothing ends, and how long each is.

    kind: of the event before. Only those are seen that wait up to 127 ticks, one byte.
    """
    for pattern, size in _idle_runs(kind, pedal):
        if run := pattern.match(data, at, end):
            return run.end(), size
    return at, 1


@cache
def _idle_runs(kind: int, pedal: int) -> list[tuple[re.Pattern[bytes], int]]:
    """Runs of events behind one of a kind, and how long each event is: without a status of their
    own, or with it."""
    any_byte = rb"[\x00-\x7f]"
    no_pedal = b"[%b]" % re.escape(bytes({*range(0x80)} - {pedal}))
    releases, controls = rb"[\x80-\x8f\xa0-\xaf\xe0-\xef]" + any_byte, rb"[\xb0-\xbf]" + no_pedal
    events = {b"(?:%b|%b)" % (releases, controls) + any_byte: 3, rb"[\xc0-\xdf]" + any_byte: 2}
    if kind != NOTE_ON:
        size = _DATA_BYTES[kind]
        first = no_pedal if kind == CONTROL_CHANGE else any_byte
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
    kind, meta = data[at], -1
    if kind == 0xFF:
        meta = data[at + 1]
    elif kind not in (0xF0, 0xF7):
        raise ValueError
    size, at = _number(data, at + (1 if meta < 0 else 2))
    body = data[at : at + size]
    if at + size > end:
        raise ValueError
    if meta == smf.TEMPO and size == 3 and any(body):
        content.tempos.append((tick, int.from_bytes(body)))
        content.check_size()
    elif meta == smf.TIME_SIGNATURE and size >= 2 and body[0] and body[1] <= 6:
        content.meters.append((tick, body[0], 1 << body[1]))
    elif meta == smf.MARKER:
        content.markers.append((tick, body.decode("utf-8", "replace")))
        content.check_size()
    elif meta == smf.TRACK_NAME:
        content.names.append(body.decode("utf-8", "replace"))
    elif meta == smf.END:
        return -1
    return at + size
