"""MIDI ports through python-rtmidi: found by part of their name or number, lost and found again."""

import re
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from midiforge.errors import MidiforgeError, quoted
from midiforge.frozen import frozen
from midiforge.live.clock.timing import Arrivals
from midiforge.live.ports.rtmidi_system import (
    CLIENT,
    IN,
    OUT,
    close_client,
    drops_silently,
    here,
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
    choose([port.name for port in ports() if port.direction == IN], wanted, IN)


def input_named(wanted: str) -> str:
    """The whole name of the input that is wanted, or of the only one; "" if none is wanted and
    there is none. MidiforgeError as for `check_input`."""
    names = [port.name for port in ports() if port.direction == IN]
    if not wanted and all(is_ours(name) for name in names):
        return ""
    return names[choose(names, wanted, IN)]


# Which port a name or a number means

_OURS = re.compile(rf"{CLIENT}(-[0-9]+)?:")  # JACK numbers clients of one name


def is_ours(name: str) -> bool:
    """Whether a port is one of midiforge's own."""
    return bool(_OURS.match(name))


# What to do on this system where there are no ports.
_GET_PORTS = {
    "linux": "switch on the module, or start a synthesiser; midiforge ports lists what is there",
    "darwin": "plug in the module, or enable the IAC driver in Audio MIDI Setup",
    "": "plug in the module and install its driver; midiforge ports lists what is there",
}


def choose(names: list[str], wanted: str, direction: str) -> int:
    """The index of the port that `wanted` names: its number, its name or part of it; the only one
    there is if nothing is wanted. MidiforgeError says what else there is."""
    others = [name for name in names if not is_ours(name)]
    if direction == OUT:
        others = others or names
    if not names or not (wanted or others):  # our own output is nobody's kit
        raise MidiforgeError(f"there is no MIDI {direction}", hint=here(_GET_PORTS))
    there_are = _listed(names, direction)
    if not wanted:
        if len(others) == 1:
            return names.index(others[0])
        raise MidiforgeError(f"there are {len(others)} MIDI {direction}s", hint=there_are)
    if wanted.isascii() and wanted.isdigit():
        if len(wanted) <= 4 and 1 <= int(wanted) <= len(names):
            return int(wanted) - 1
        raise MidiforgeError(f"there is no MIDI {direction} {wanted}", hint=there_are)
    exact = [i for i, name in enumerate(names) if name.lower() == wanted.lower()]
    like = exact or [i for i, name in enumerate(names) if wanted.lower() in name.lower()]
    if len(like) == 1:
        return like[0]
    if like:
        several = _listed([names[i] for i in like], direction)
        raise MidiforgeError(f"{quoted(wanted)} is part of {len(like)} {direction}s", hint=several)
    raise MidiforgeError(f"no MIDI {direction} is called {quoted(wanted)}", hint=there_are)


def index_of(names: list[str], had: str, wanted: str, direction: str) -> int:
    """Which of the ports is ours: the one we had, or the one like it under a new number."""
    if had not in names and had:
        like = re.sub(r"\s*[0-9]+:[0-9]+$", "", had)  # as ALSA numbers its clients
        with suppress(MidiforgeError):
            return choose(names, like, direction)
    return choose(names, had or wanted, direction)


def _listed(names: Sequence[str], direction: str) -> str:
    """What there is, with its numbers; our own output is not offered as anybody's kit."""
    numbered = enumerate(names, start=1)
    shown = [f"{i} {name}" for i, name in numbered if direction == OUT or not is_ours(name)]
    return "there are: " + ", ".join(shown) if shown else here(_GET_PORTS)


# One thread at a time opens clients or lets go of them. Where a JACK server died, all its clients
# are let go of before the next is opened: libjack crashes if one of them is still there then.
_ALONE = threading.RLock()
_OPEN: "set[_RtPort]" = set()


class _RtPort:
    """What outputs and inputs have in common: a client, its server, and the port it is connected
    to.

    wanted: part of the port's name, or its number. virtual: whether it is one of our own.
    name: the port's own name at the moment; "" for a virtual one.
    """

    direction: str

    def __init__(self, wanted: str, virtual: bool = False) -> None:
        self.wanted = wanted
        self.virtual = virtual
        self.name = ""
        self._midi: Any = None
        self._server: str | None = None
        self._run: tuple[int, int] | None = None
        self._error = rtmidi_error()
        with _ALONE:
            self._open()

    def alive(self) -> bool:
        """Whether the port is still there, and still connected to us as far as can be told."""
        midi = self._midi
        if midi is None or self.server_died():
            return False
        if self.virtual:
            return True
        with suppress(self._error):
            return self.name in midi.get_ports() and port_run(midi, self.name) == self._run
        return False

    def server_died(self) -> bool:
        """Whether the client is open still, and its JACK server is not."""
        return self._midi is not None and jack_server(self._midi) != self._server

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        with _ALONE, suppress(MidiforgeError, self._error):
            if self.direction == IN and self._midi is not None and not self.server_died():
                # JACK now and then never calls a client that takes the place of one just closed.
                self._connect_again()
            else:
                self.close()
                self._open()
            return True
        return False

    def close(self) -> None:
        """Lets go of the port."""
        raise NotImplementedError

    def _open(self) -> None:
        self._let_go_of_dead()
        midi = new_client(self.direction)
        try:
            self._connect(midi)
        except BaseException:
            close_client(midi)
            raise
        self._midi = midi
        self._server = jack_server(midi)
        _OPEN.add(self)

    def _connect(self, midi: Any) -> None:
        """Connects a client to the port that is meant."""
        if self.virtual:
            open_virtual_port(midi, self.direction.removesuffix("put"))
            return
        names = midi.get_ports()
        index = index_of(names, self.name, self.wanted, self.direction)
        self._run = open_port(midi, index, names[index])
        self.name = names[index]

    def _connect_again(self) -> None:
        self._midi.close_port()
        self._connect(self._midi)

    def _let_go_of_dead(self) -> None:
        """Lets go of every client whose server died; raises MidiforgeError where another thread may
        be sending through one of them, which then does this itself."""
        dead = [port for port in _OPEN if port is not self and port.server_died()]
        if self.direction == IN and any(port.direction == OUT for port in dead):
            raise MidiforgeError("the MIDI server has to be left first")
        for port in dead:
            port.close()


class RtOutput(_RtPort):
    """An output port that can vanish and come back."""

    direction = OUT
    _sent = False

    def send(self, message: bytes) -> None:
        """Sends a message; nothing happens while the port is gone."""
        if self._midi is not None:
            self._sent = True
            with suppress(self._error):
                self._midi.send_message(message)

    def connect_anew(self) -> bool:
        """Connects to the port once more; whether there was reason to, and it worked.

        A port that went and came back in between has its name still, but is not connected to us
        any more, and JACK and ALSA tell nobody.
        """
        with _ALONE, suppress(MidiforgeError, self._error):
            there = self._midi is not None and not self.virtual and not self.server_died()
            if there and drops_silently(self._midi):
                self._connect_again()
                return True
        return False

    def close(self) -> None:
        """Lets go of the port, after what was sent last has had time to leave."""
        with _ALONE:
            waits = self._sent and not self.server_died()
            midi, self._midi = self._midi, None
            _OPEN.discard(self)
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
    """

    direction = IN

    def __init__(
        self,
        wanted: str,
        heard: Callable[[bytes, int], None],
        virtual: bool = False,
        clock: bool = False,
    ) -> None:
        self._calls = _Calls(heard, _HEARD.union(CLOCK) if clock else _HEARD)
        super().__init__(wanted, virtual)

    def _connect(self, midi: Any) -> None:
        # What the driver ignores is missing in its deltas; so it ignores nothing, and we do.
        midi.ignore_types(sysex=False, timing=False, active_sense=False)
        self._calls.begin()
        midi.set_callback(self._calls.called)
        super()._connect(midi)

    def close(self) -> None:
        """Lets go of the port; nothing is heard any more when it is back."""
        with _ALONE:
            midi, self._midi = self._midi, None
            _OPEN.discard(self)
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
