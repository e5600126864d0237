"""MIDI ports through python-rtmidi: found by part of their name or number, lost and found again."""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.live.arrivals import Arrivals
from midiforge.live.message import SYSTEM
from midiforge.live.port_names import choose, index_of
from midiforge.live.rtmidi_system import (
    IN,
    OUT,
    close_client,
    jack_server,
    new_client,
    open_port,
    open_virtual_port,
    rtmidi_error,
)

# JACK takes messages once a period; a port that is closed before takes them along.
_LEAVING = 0.1  # seconds

_HEARD = frozenset((0xF2, 0xFA, 0xFB, 0xFC))  # song position, start, continue, stop
_CLOCK = 0xF8


@dataclass(frozen=True, slots=True)
class Port:
    """A port of the system; numbers count from 1."""

    number: int
    name: str
    direction: str


def ports() -> list[Port]:
    """Every port there is, outputs first."""
    found = []
    for direction in (OUT, IN):
        midi = new_client(direction)
        try:
            names = midi.get_ports()
        finally:
            close_client(midi)
        found += [Port(i, name, direction) for i, name in enumerate(names, start=1)]
    return found


def check_input(wanted: str) -> None:
    """Raises MidiforgeError if no input is called so, or several are."""
    choose([each.name for each in ports() if each.direction == IN], wanted, IN)


class RtOutput:
    """An output port that can vanish and come back.

    name: the port's own name at the moment; "" for a virtual one.
    """

    def __init__(self, wanted: str, virtual: bool = False) -> None:
        self.wanted = wanted
        self.virtual = virtual
        self.name = ""
        self._midi: Any = None
        self._server: str | None = None
        self._sent = False
        self._error = rtmidi_error()
        self._open()

    def _open(self) -> None:
        midi = new_client(OUT)
        try:
            if self.virtual:
                open_virtual_port(midi, "out")
            else:
                names = midi.get_ports()
                index = index_of(names, self.name, self.wanted, OUT)
                open_port(midi, index, names[index])
                self.name = names[index]
        except BaseException:
            close_client(midi)
            raise
        self._midi = midi
        self._server = jack_server(midi)

    def send(self, message: bytes) -> None:
        """Sends a message; nothing happens while the port is gone."""
        if self._midi is not None:
            self._sent = True
            with suppress(self._error):
                self._midi.send_message(message)

    def alive(self) -> bool:
        """Whether the port is still there."""
        return _alive(self._midi, self._server, self.name, self.virtual)

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        self.close()
        try:
            self._open()
        except (MidiforgeError, self._error):
            return False
        return True

    def close(self) -> None:
        """Lets go of the port, after what was sent last has had time to leave."""
        midi, self._midi = self._midi, None
        try:
            if midi is not None and self._sent:
                time.sleep(_LEAVING)
        finally:
            self._sent = False
            close_client(midi)


class RtInput:
    """An input port; `heard` gets each message and when it came, in nanoseconds of the monotonic
    clock by the driver's own account (see `Arrivals`).

    It is called from the driver's own thread. System messages are left out, but for song position,
    start, continue and stop, and with `clock` the beat clock.

    name: the port's own name; "" for a virtual one.
    """

    def __init__(
        self,
        wanted: str,
        heard: Callable[[bytes, int], None],
        virtual: bool = False,
        clock: bool = False,
    ) -> None:
        self.wanted = wanted
        self.virtual = virtual
        self.name = ""
        self._heard = heard
        self._system = _HEARD | {_CLOCK} if clock else _HEARD
        self._midi: Any = None
        self._server: str | None = None
        self._open()

    def _open(self) -> None:
        midi = new_client(IN)
        try:
            # What the driver ignores is missing in its deltas; so it ignores nothing, and we do.
            midi.ignore_types(sysex=False, timing=False, active_sense=False)
            self._connect(midi)
        except BaseException:
            close_client(midi)
            raise
        self._midi = midi
        self._server = jack_server(midi)

    def _connect(self, midi: Any) -> None:
        if self.virtual:
            midi.set_callback(_caller(self._heard, self._system))
            open_virtual_port(midi, "in")
            return
        names = midi.get_ports()
        index = index_of(names, self.name, self.wanted, IN)
        midi.set_callback(_caller(self._heard, self._system))
        open_port(midi, index, names[index])
        self.name = names[index]

    def alive(self) -> bool:
        """Whether the port is still there."""
        return _alive(self._midi, self._server, self.name, self.virtual)

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        midi = self._midi
        try:
            if midi is None or jack_server(midi) != self._server:
                self.close()
                self._open()
            else:  # JACK now and then never calls a client that takes the place of one just closed
                midi.close_port()
                self._connect(midi)
        except (MidiforgeError, rtmidi_error()):
            return False
        return True

    def close(self) -> None:
        """Lets go of the port; nothing is heard any more when it is back."""
        midi, self._midi = self._midi, None
        if midi is None:
            return
        # The driver's thread may be about to call us: to take the callback away under its hands
        # crashes it now and then. Closed first, it comes to nothing new, and ends what it is at.
        with suppress(Exception):
            midi.close_port()
        time.sleep(_LEAVING)
        with suppress(Exception):
            midi.cancel_callback()
        close_client(midi)


def _caller(
    heard: Callable[[bytes, int], None], system: frozenset[int]
) -> Callable[[tuple[list[int], float], object], None]:
    """What the driver calls: works out when a message came and hands on what is wanted."""
    when, now = Arrivals().when, time.monotonic_ns

    def called(event: tuple[list[int], float], _: object) -> None:
        message, delta = event
        at = when(delta, now())
        if message and (message[0] < SYSTEM or message[0] in system):
            heard(bytes(message), at)

    return called


def _alive(midi: Any, server: str | None, name: str, virtual: bool) -> bool:
    """Whether an open port is still there."""
    if midi is None or jack_server(midi) != server:
        return False
    if virtual:
        return True
    with suppress(rtmidi_error()):
        return name in midi.get_ports()
    return False
