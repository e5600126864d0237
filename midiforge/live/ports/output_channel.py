"""A channel of an output: what it was sent, so that all of it can be ended."""

from dataclasses import dataclass, field
from typing import NamedTuple

from midiforge.live.ports.output import Output
from midiforge.midi.message import control_change, note_off, program_change


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

    def end(self, note: int) -> None:
        """Sends a note off."""
        self.output.send(self.off(note))
        self.sounding.pop(note, None)

    def end_stroke(self, note: int, stroke: int) -> None:
        """Sends a note off, unless the note was struck again since."""
        if self.sounding.get(note) == stroke:
            self.end(note)

    def off(self, note: int) -> bytes:
        return note_off(self.number, note)

    def control(self, controller: int) -> bytes:
        return control_change(self.number, controller)

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
