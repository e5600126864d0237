"""MIDI messages (MIDI 1.0 Detailed Specification): made for an output, read from a kit.

Channels count from 1. Messages are bytes as they go over the wire: a player sends them and a
driver's thread hears them within microseconds, and whoever waits for the first click waits for no
library that knows all of MIDI.
"""

from typing import NamedTuple

NOTE_OFF, NOTE_ON, KEY_PRESSURE, CONTROL_CHANGE = 0x80, 0x90, 0xA0, 0xB0
PROGRAM_CHANGE, CHANNEL_PRESSURE, SYSTEM = 0xC0, 0xD0, 0xF0
SONG_POSITION, CLOCK, START, CONTINUE, STOP = b"\xf2", b"\xf8", b"\xfa", b"\xfb", b"\xfc"
ONE_BYTE = (PROGRAM_CHANGE, CHANNEL_PRESSURE)  # kinds with one data byte

NOTE, CONTROLLER, PROGRAM = "note", "controller", "program"
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123
MODE_MESSAGES = 120  # controllers from here on are channel mode messages
PEDAL = 4  # foot controller; what hi-hat pedals send
_DOWN = 64  # from this value on a pedal is down (switch controllers)
_RELEASE = 64  # velocity of a note off where nobody measures it

Trigger = tuple[str, int]  # "note", "controller" or "program", and its number


def note_on(channel: int, number: int, velocity: int) -> bytes:
    """A note begins."""
    return bytes((NOTE_ON | channel - 1, number, velocity))


def note_off(channel: int, number: int) -> bytes:
    """A note ends."""
    return bytes((NOTE_OFF | channel - 1, number, _RELEASE))


def control_change(channel: int, controller: int, value: int = 0) -> bytes:
    """A controller moves; channel mode messages are some, too."""
    return bytes((CONTROL_CHANGE | channel - 1, controller, value))


def program_change(channel: int, program: int) -> bytes:
    """Another sound, counted from 1, as musicians do."""
    return bytes((PROGRAM_CHANGE | channel - 1, program - 1))


class ChannelMessage(NamedTuple):
    """What a pad, a pedal or a kit's own buttons send.

    kind: "note" (struck), "controller" or "program" (from 1).
    value: velocity or controller value.
    """

    kind: str
    number: int
    value: int
    channel: int

    @property
    def trigger(self) -> Trigger:
        return self.kind, self.number


def read_message(message: bytes) -> ChannelMessage | None:
    """What a MIDI message says; None for all that is not a stroke, a controller or a program,
    a message cut short, or one with a status byte where data should be."""
    if len(message) < 2 or max(message[1:3]) > 127:
        return None
    kind, channel = message[0] & 0xF0, (message[0] & 0x0F) + 1
    if kind == PROGRAM_CHANGE:
        return ChannelMessage(PROGRAM, message[1] + 1, 127, channel)
    if len(message) < 3:
        return None
    if kind == NOTE_ON and message[2]:
        return ChannelMessage(NOTE, message[1], message[2], channel)
    if kind == CONTROL_CHANGE:
        return ChannelMessage(CONTROLLER, message[1], message[2], channel)
    return None


def is_stroke(message: bytes) -> bool:
    """Whether a whole channel message is a note on that is no note off."""
    return message[0] & 0xF0 == NOTE_ON and message[2] > 0


class Pedals:
    """Which pedals are down, so that each asks once on its way."""

    def __init__(self) -> None:
        self._down: set[int] = set()

    def goes_down(self, message: ChannelMessage) -> bool:
        """Whether a pedal goes down with this controller message."""
        was_down = message.number in self._down
        if message.value < _DOWN:
            self._down.discard(message.number)
            return False
        self._down.add(message.number)
        return not was_down
