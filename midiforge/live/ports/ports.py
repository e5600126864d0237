"""MIDI ports through python-rtmidi: found by part of their name or number, lost and found again."""

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.live.ports.arrivals import Arrivals
from midiforge.live.ports.port_names import choose, index_of
from midiforge.live.ports.rtmidi_system import (
    IN,
    OUT,
    close_client,
    drops_silently,
    jack_server,
    keep_client,
    new_client,
    open_port,
    open_virtual_port,
    port_run,
    quiet,
    rtmidi_error,
)
from midiforge.midi.message import CLOCK, CONTINUE, SONG_POSITION, START, STOP, SYSTEM

# JACK takes messages once a period; a port that is closed before takes them along.
_LEAVING = 0.1  # seconds
_PATIENCE = 1.0  # seconds that the end of an input waits for a driver to come to its own

_HEARD = frozenset(SONG_POSITION + START + CONTINUE + STOP)


@frozen
class Port:
    """A port of the system; numbers count from 1."""

    number: int
    name: str
    direction: str


# One thread at a time opens clients or lets go of them. Where a JACK server died, all its clients
# are let go of before the next is opened: libjack crashes if one of them is still there then.
_ALONE = threading.RLock()
_OPEN: "list[RtOutput | RtInput]" = []


def _let_go_of_dead(opening: "RtOutput | RtInput") -> None:
    """Lets go of every client whose server died; raises MidiforgeError where another thread may be
    sending through one of them, which then does this itself."""
    dead = [port for port in _OPEN if port is not opening and port.server_died()]
    if isinstance(opening, RtInput) and any(isinstance(port, RtOutput) for port in dead):
        raise MidiforgeError("the MIDI server has to be left first")
    for port in dead:
        port.close()


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


class _RtPort:
    """What outputs and inputs have in common: a client, its server, and the port it is connected
    to."""

    virtual: bool
    name = ""
    _midi: Any = None
    _server: str | None = None
    _run: tuple[int, int] | None = None

    def alive(self) -> bool:
        """Whether the port is still there, and still connected to us as far as can be told."""
        there = self._midi is not None and not self.server_died()
        return there and (self.virtual or _is_there(self._midi, self.name, self._run))

    def server_died(self) -> bool:
        """Whether the client is open still, and its JACK server is not."""
        return self._midi is not None and jack_server(self._midi) != self._server


class RtOutput(_RtPort):
    """An output port that can vanish and come back.

    name: the port's own name at the moment; "" for a virtual one.
    """

    def __init__(self, wanted: str, virtual: bool = False) -> None:
        self.wanted = wanted
        self.virtual = virtual
        self._sent = False
        self._error = rtmidi_error()
        with _ALONE:
            self._open()

    def _open(self) -> None:
        _let_go_of_dead(self)
        midi = new_client(OUT)
        try:
            if self.virtual:
                open_virtual_port(midi, "out")
            else:
                names = midi.get_ports()
                index = index_of(names, self.name, self.wanted, OUT)
                self._run = open_port(midi, index, names[index])
                self.name = names[index]
        except BaseException:
            close_client(midi)
            raise
        self._midi = midi
        self._server = jack_server(midi)
        _OPEN.append(self)

    def send(self, message: bytes) -> None:
        """Sends a message; nothing happens while the port is gone."""
        if self._midi is not None:
            self._sent = True
            with suppress(self._error):
                self._midi.send_message(message)

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        with _ALONE:
            self.close()
            try:
                self._open()
            except (MidiforgeError, self._error):
                return False
        return True

    def connect_anew(self) -> bool:
        """Connects to the port once more; whether there was reason to, and it worked.

        A port that went and came back in between has its name still, but is not connected to us
        any more, and JACK and ALSA tell nobody.
        """
        with _ALONE:
            if self._midi is None or self.virtual or self.server_died():
                return False
            if not drops_silently(self._midi):
                return False
            try:
                self._midi.close_port()
                names = self._midi.get_ports()
                index = index_of(names, self.name, self.wanted, OUT)
                self._run = open_port(self._midi, index, names[index])
            except (MidiforgeError, self._error):
                return False
        return True

    def close(self) -> None:
        """Lets go of the port, after what was sent last has had time to leave."""
        with _ALONE:
            waits = self._sent and not self.server_died()
            midi, self._midi = self._midi, None
            _forget(self)
            try:
                if midi is not None and waits:
                    time.sleep(_LEAVING)
            finally:
                self._sent = False
                close_client(midi)


class RtInput(_RtPort):
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
        self._calls = _Calls(heard, _HEARD.union(CLOCK) if clock else _HEARD)
        with _ALONE:
            self._open()

    def _open(self) -> None:
        _let_go_of_dead(self)
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
        _OPEN.append(self)

    def _connect(self, midi: Any) -> None:
        self._calls.begin()
        if self.virtual:
            midi.set_callback(self._calls.called)
            open_virtual_port(midi, "in")
            return
        names = midi.get_ports()
        index = index_of(names, self.name, self.wanted, IN)
        midi.set_callback(self._calls.called)
        self._run = open_port(midi, index, names[index])
        self.name = names[index]

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        with _ALONE:
            midi = self._midi
            try:
                if midi is None or self.server_died():
                    self.close()
                    self._open()
                else:  # JACK now and then never calls a client that takes one's place just closed
                    midi.close_port()
                    self._connect(midi)
            except (MidiforgeError, rtmidi_error()):
                return False
        return True

    def close(self) -> None:
        """Lets go of the port; nothing is heard any more when it is back."""
        with _ALONE:
            midi, self._midi = self._midi, None
            _forget(self)
            if midi is None:
                return
            # The driver's thread may be about to call us, and with many messages it may be behind:
            # to take the callback away under its hands crashes it. Closed first, it comes to
            # nothing new, and ends what it is at; a driver that does not end is left as it is.
            with quiet():  # about messages that nobody takes any more
                with suppress(Exception):
                    midi.close_port()
                if self._calls.end():
                    with suppress(Exception):
                        midi.cancel_callback()
                    close_client(midi)
                else:
                    keep_client(midi)


class _Calls:
    """What the driver calls: works out when a message came and hands on what is wanted."""

    def __init__(self, heard: Callable[[bytes, int], None], system: frozenset[int]) -> None:
        self._heard, self._system = heard, system
        self._when = Arrivals().when
        self._open = False
        self._last = 0

    def begin(self) -> None:
        """The port is about to be opened."""
        self._when, self._open = Arrivals().when, True

    def called(self, event: tuple[list[int], float], _: object) -> None:
        now = time.monotonic_ns()
        self._last = now
        if not self._open:
            return
        message, delta = event
        at = self._when(delta, now)
        if message and (message[0] < SYSTEM or message[0] in self._system):
            self._heard(bytes(message), at)

    def end(self) -> bool:
        """Hears nothing more; whether the driver has stopped calling."""
        self._open = False
        patience = time.monotonic() + _PATIENCE
        while time.monotonic() < patience:
            time.sleep(_LEAVING)
            if time.monotonic_ns() - self._last > _LEAVING * 1e9:
                return True
        return False


def _forget(port: RtOutput | RtInput) -> None:
    if port in _OPEN:
        _OPEN.remove(port)


def _is_there(midi: Any, name: str, run: tuple[int, int] | None) -> bool:
    """Whether a port is there, and has been since its program was this run."""
    with suppress(rtmidi_error()):
        return name in midi.get_ports() and port_run(midi, name) == run
    return False
