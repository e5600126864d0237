"""What a MIDI file holds, whoever read it: strokes with the moment they came, tempos, marks."""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from operator import itemgetter
from typing import NamedTuple

from midiforge.errors import MidiforgeError

# More than any take has: a day of strokes, or an hour of a new tempo every hundredth of a second.
MOST_EVENTS, MOST_MARKS = 500_000, 500_000
USUAL_TEMPO = 500_000  # microseconds to a quarter note, where a file says nothing
_AROUND = 0.02  # s that a pedal may tell later than the stroke how far it is down


class TimedNote(NamedTuple):
    """A note that began.

    time: seconds from the start of the file. quarter: quarter notes from there, by the file's own
        beats; the time in seconds where it has none.
    pedal: where the hi-hat pedal stood; None if it had not sent yet.
    """

    tick: int
    time: float
    quarter: float
    channel: int
    number: int
    velocity: int
    pedal: int | None


@dataclass(slots=True)
class MidiContent:
    """All tracks together, in order of time.

    division: ticks to a quarter note; 0 where the file counts frames and not beats.
    ticks_a_second: of a file that counts frames; else 0.
    note_ons: (tick, channel from 1, number, velocity above 0). pedals: (tick, channel, value) of
        the hi-hat pedal's controller.
    tempos: (tick, microseconds to a quarter note). meters: (tick, numerator, note value).
    markers: (tick, text). names: of tracks.
    remarks: what was wrong with the file, one sentence each.
    """

    division: int
    ticks_a_second: float = 0.0
    note_ons: list[tuple[int, int, int, int]] = field(default_factory=list)
    pedals: list[tuple[int, int, int]] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    meters: list[tuple[int, int, int]] = field(default_factory=list)
    markers: list[tuple[int, str]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    last_tick: int = 0

    @classmethod
    def of_division(cls, division: int) -> "MidiContent":
        """Nothing yet, in ticks as the two bytes of a header say (Standard MIDI Files 1.0)."""
        if not division & 0x8000:
            content = cls(division)
        else:
            frames, ticks = 256 - (division >> 8), division & 0xFF
            content = cls(0, {29: 29.97}.get(frames, float(frames)) * ticks)
        if not content.division and not content.ticks_a_second:
            raise MidiforgeError("the file's ticks have no length")
        return content

    def in_order(self) -> "MidiContent":
        """All of it by its ticks; a note twice at one tick is once. Raises MidiforgeError if there
        is more of anything than a take or a groove has."""
        self.check_size()
        for events in (self.note_ons, self.pedals, self.tempos, self.meters, self.markers):
            events.sort(key=itemgetter(0))
        self.note_ons[:] = dict.fromkeys(self.note_ons)
        return self

    def check_size(self) -> None:
        """Raises MidiforgeError if there is more of anything than a take or a groove has."""
        events = len(self.note_ons) + len(self.pedals)
        for many, most, what in (
            (events, MOST_EVENTS, "strokes and movements of the pedal"),
            (len(self.tempos), MOST_MARKS, "changes of tempo"),
            (len(self.markers), MOST_MARKS, "markers"),
        ):
            if many > most:
                raise MidiforgeError(f"the file has more than {most:,} {what}: no take, no groove")

    def clock(self) -> "TickClock":
        """Turns ticks into seconds, through all changes of tempo."""
        return TickClock(self)

    def notes(self) -> Iterator[TimedNote]:
        """Every note that began, with its moment and where the pedal stood."""
        seconds, division = self.clock().seconds, self.division
        new = tuple.__new__  # what TimedNote() comes to, without a call
        pedals: dict[int, list[tuple[float, int]]] = {}  # by channel
        for tick, channel, value in self.pedals:
            pedals.setdefault(channel, []).append((seconds(tick), value))
        last_tick, time = -1, 0.0
        for tick, channel, number, velocity in self.note_ons:
            if tick != last_tick:
                last_tick, time = tick, seconds(tick)
            quarter, pedal = tick / division if division else time, None
            if channel in pedals:
                sent = bisect_right(pedals[channel], time + _AROUND, key=itemgetter(0))
                pedal = pedals[channel][sent - 1][1] if sent else None
            yield new(TimedNote, (tick, time, quarter, channel, number, velocity, pedal))


class TickClock:
    """Seconds from the start of a file, by tick."""

    def __init__(self, content: MidiContent) -> None:
        changes = {0: USUAL_TEMPO} | dict(content.tempos)
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
