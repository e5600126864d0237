"""What is sent: notes and how each ends, programs, beat clock, and silence.

When anything is due is the player's to know.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from heapq import heapify, heappop, heappush
from typing import NamedTuple

from midiforge.live.clock.beat_clock import song_position
from midiforge.live.clock.timing import MS
from midiforge.live.playing.bars import Moment
from midiforge.live.playing.layers import BAND, Levels
from midiforge.live.ports.output import Output
from midiforge.midi.message import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    CLOCK,
    CONTINUE,
    START,
    STOP,
    control_change,
    note_off,
    note_on,
    program_change,
)
from midiforge.model.band import Member
from midiforge.performance.notes import part_layer

NOTE = 60 * MS  # how long a note lasts; drum sounds do not listen
PERCUSSION = 10  # General MIDI's channel for it
_SAME = 1e-6  # quarter notes that are no difference


@dataclass(slots=True, eq=False)
class OutputChannel:
    """One channel of an output, and what it was sent.

    sounding: notes to the stroke that began them. struck: all that ever sounded.
    program: what it was told last.
    """

    output: Output
    number: int
    sounding: dict[int, int] = field(default_factory=dict)
    struck: set[int] = field(default_factory=set)
    program: int | None = None

    def end_stroke(self, note: int, stroke: int) -> None:
        """Sends a note off, unless the note was struck again since."""
        if self.sounding.get(note) == stroke:
            self.output.send(self.off(note))
            self.sounding.pop(note, None)

    def off(self, note: int) -> bytes:
        return note_off(self.number, note)

    def send_program(self, program: int) -> None:
        """Sends a program, from 1, if it is another than the last."""
        if program != self.program:
            self.output.send(program_change(self.number, program))
            self.program = program


class HeldNote(NamedTuple):
    """A note that is held.

    end: when it ends, in quarter notes from the beginning of the bar that is played.
    """

    end: float
    stroke: int
    note: int
    channel: OutputChannel
    layer: str


class Sender:
    """Sends to one output, or to two.

    channel: the kit's, 1 to 16; program: the kit's, from 1.
    band: the output of all who play with the drummer, if it is another one; percussion is on
        channel 10 there.
    muted: layers that stay silent. levels: how loud each layer is.
    clock_runs: whether a beat clock was started that has not been stopped.
    """

    def __init__(
        self,
        output: Output,
        band: Output | None = None,
        channel: int = 10,
        program: int | None = None,
        muted: Iterable[str] = (),
        levels: Levels | None = None,
    ) -> None:
        self.output = output
        self.outputs = (output,) if band is None else (output, band)
        self.muted = set(muted)
        self.levels = levels or Levels()
        self._band = band
        self._program = program
        self._channels: list[OutputChannel] = []
        self._ways: dict[tuple[str, int], OutputChannel] = {}
        self._kit = self._channel(output, channel)
        self._strokes = 0
        # Both are heaps: when, stroke, note, channel; the times of held notes are in quarter notes.
        self._offs: list[tuple[int, int, int, OutputChannel]] = []
        self._held: list[HeldNote] = []
        self.clock_runs = False

    # Notes

    def send(self, moment: Moment, deadline: int, last_time: bool) -> None:
        """Sends the notes of a moment that is due at `deadline`.

        last_time: whether the seam does not lead back any more.
        """
        muted, ways, velocities = self.muted, self._ways, self.levels.velocities
        for note in moment.notes:
            layer, number = note.layer, note.number
            if layer in muted or (note.seam and last_time):
                continue
            channel = ways.get((layer, note.channel)) or self._way(layer, note.channel)
            if number in channel.sounding:
                channel.output.send(channel.off(number))
            # Noted down first: whatever comes between must find it to end it.
            self._strokes = stroke = self._strokes + 1
            channel.sounding[number] = stroke
            channel.struck.add(number)
            if note.hold is None:
                heappush(self._offs, (deadline + NOTE, stroke, number, channel))
            else:
                end = moment.at + note.hold
                heappush(self._held, HeldNote(end, stroke, number, channel, layer))
            velocity = velocities[layer][note.velocity]
            channel.output.send(note_on(channel.number, number, velocity))

    def end_drums(self, now: int) -> None:
        """Ends the drum notes that are over."""
        offs = self._offs
        while offs and offs[0][0] <= now:
            _, stroke, number, channel = heappop(offs)
            channel.end_stroke(number, stroke)

    def next_drum_end(self, until: int) -> int:
        """When the next drum note is over, at most `until`."""
        return min(until, self._offs[0][0]) if self._offs else until

    @property
    def next_held_end(self) -> float | None:
        """When the next held note ends, in quarter notes from the bar line; None for none."""
        return self._held[0].end if self._held else None

    def end_held_until(self, at: float) -> None:
        """Ends the held notes that end by a moment of the bar."""
        held = self._held
        while held and held[0].end <= at + _SAME:
            _, stroke, number, channel, _ = heappop(held)
            channel.end_stroke(number, stroke)

    def end_held(self, layers: Collection[str] | None = None) -> None:
        """Ends held notes before their time; of these layers only."""
        ended = [held for held in self._held if layers is None or held.layer in layers]
        for held in ended:
            held.channel.end_stroke(held.note, held.stroke)
        self._held = [held for held in self._held if held not in ended]
        heapify(self._held)

    def leave_bar(self, length: float) -> None:
        """What is held is held from the next bar's beginning."""
        self._held = [held._replace(end=held.end - length) for held in self._held]

    def mute(self, layer: str) -> None:
        """Silences a layer at once, or lets it sound again."""
        self.muted ^= {layer}
        self.end_held(self.muted)

    # Programs

    def send_programs(self, band: Iterable[Member]) -> None:
        """Sends the kit's program and those of the band where they are others than before."""
        if self._program is not None:
            self._kit.send_program(self._program)
        for member in band:
            if member.program:
                self._way(part_layer(member.kind), member.channel).send_program(member.program)

    # Beat clock

    def send_clock(self, position: Fraction) -> None:
        """Sends a clock; before the first a start, or a continue at the place in the song."""
        if not self.clock_runs:
            if position:
                self.output.send(song_position(position))
            self.output.send(CONTINUE if position else START)
            self.clock_runs = True
        self.output.send(CLOCK)

    def stop_clock(self) -> None:
        if self.clock_runs:
            self.output.send(STOP)
            self.clock_runs = False

    # Silence

    def silence(self, outputs: Collection[Output] | None = None) -> None:
        """Ends every sounding note, then all sound, then the beat clock; of these outputs only.

        Everything is sent whatever is raised meanwhile; the first of that is raised in the end.
        """
        outputs = self.outputs if outputs is None else outputs
        channels = [channel for channel in self._channels if among(channel.output, outputs)]
        stops = self.clock_runs and among(self.output, outputs)
        messages = [(it.output, it.off(note)) for it in channels for note in it.sounding]
        messages += [
            (channel.output, control_change(channel.number, controller))
            for channel in channels
            for controller in (ALL_SOUND_OFF, ALL_NOTES_OFF)
        ]
        if stops:
            messages.append((self.output, STOP))
        raised: BaseException | None = None
        for output, message in messages:
            for _ in range(2):  # once more if something came in between
                try:
                    output.send(message)
                    break
                except BaseException as error:
                    raised = raised or error
        for channel in channels:
            channel.sounding.clear()
        self._offs.clear()
        self._held.clear()
        self.clock_runs = self.clock_runs and not stops
        if raised is not None:
            raise raised

    def silence_anew(self) -> None:
        """Silences what may still sound in modules that were unplugged and kept their power, and
        forgets what programs they were told."""
        for channel in self._channels:
            channel.sounding |= dict.fromkeys(channel.struck, 0)
            channel.program = None
        self.silence()

    # Where it goes

    def _channel(self, output: Output, number: int) -> OutputChannel:
        for channel in self._channels:
            if channel.output is output and channel.number == number:
                return channel
        self._channels.append(OutputChannel(output, number))
        return self._channels[-1]

    def _way(self, layer: str, number: int) -> OutputChannel:
        """Where a layer's notes of a channel go; channel 0 is the kit's."""
        if self._band is not None and layer in BAND:
            channel = self._channel(self._band, number or PERCUSSION)
        else:
            channel = self._channel(self.output, number or self._kit.number)
        self._ways[layer, number] = channel
        return channel


def among(output: Output, outputs: Collection[Output]) -> bool:
    """Whether an output is one of these, and not just like one."""
    return any(one is output for one in outputs)
