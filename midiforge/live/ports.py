"""MIDI ports through python-rtmidi: found by part of their name or number, lost and found again."""

import re
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from midiforge.errors import MidiforgeError, quoted
from midiforge.live.arrivals import Arrivals

CLIENT = "midiforge"
OUT, IN = "output", "input"

# JACK takes messages once a period; a port that is closed before takes them along.
_LISTENING = "00010000"  # a socket's flags in /proc/net/unix: it accepts connections
_LEAVING = 0.1  # seconds

_OURS = re.compile(rf"{CLIENT}(-[0-9]+)?:")  # JACK numbers clients of one name
_SYSTEM = 0xF0  # from here on messages are of no channel
_HEARD = frozenset((0xF2, 0xFA, 0xFB, 0xFC))  # song position, start, continue, stop
_CLOCK = 0xF8


class Midi(Protocol):
    """What is used of an rtmidi MidiOut or MidiIn."""

    def get_ports(self) -> list[str]: ...

    def open_port(self, port: int, name: str) -> object: ...

    def open_virtual_port(self, name: str) -> object: ...

    def close_port(self) -> None: ...


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
        midi = _new(direction)
        try:
            names = midi.get_ports()
        finally:
            _close(midi)
        found += [Port(i, name, direction) for i, name in enumerate(names, start=1)]
    return found


def choose(names: list[str], wanted: str, direction: str) -> int:
    """The index of the port that `wanted` names: its number, its name or part of it; the only one
    there is if nothing is wanted. MidiforgeError says what else there is."""
    others = [name for name in names if not _OURS.match(name)]
    if direction == OUT:
        others = others or names
    if not names or not (wanted or others):  # our own output is nobody's kit
        raise MidiforgeError(f"there is no MIDI {direction}", hint=_here(_GET_PORTS))
    if not wanted:
        if len(others) == 1:
            return names.index(others[0])
        raise MidiforgeError(f"there are {len(others)} MIDI {direction}s", hint=_listed(names))
    if wanted.isascii() and wanted.isdigit():
        if len(wanted) <= 4 and 1 <= int(wanted) <= len(names):
            return int(wanted) - 1
        raise MidiforgeError(f"there is no MIDI {direction} {wanted}", hint=_listed(names))
    exact = [i for i, name in enumerate(names) if name.lower() == wanted.lower()]
    found = exact or [i for i, name in enumerate(names) if wanted.lower() in name.lower()]
    if len(found) == 1:
        return found[0]
    if found:
        several = _listed([names[i] for i in found])
        raise MidiforgeError(f"{quoted(wanted)} is part of {len(found)} {direction}s", hint=several)
    raise MidiforgeError(f"no MIDI {direction} is called {quoted(wanted)}", hint=_listed(names))


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
        self._error = _rtmidi_error()
        self._open()

    def _open(self) -> None:
        midi = _new(OUT)
        try:
            if self.virtual:
                _virtual(midi, "out")
            else:
                names = midi.get_ports()
                index = _index(names, self.name, self.wanted, OUT)
                _open_port(midi, index, names[index])
                self.name = names[index]
        except BaseException:
            _close(midi)
            raise
        self._midi = midi
        self._server = _jack_server(midi)

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
            _close(midi)


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
        midi = _new(IN)
        try:
            # What the driver ignores is missing in its deltas; so it ignores nothing, and we do.
            midi.ignore_types(sysex=False, timing=False, active_sense=False)
            self._connect(midi)
        except BaseException:
            _close(midi)
            raise
        self._midi = midi
        self._server = _jack_server(midi)

    def _connect(self, midi: Any) -> None:
        if self.virtual:
            midi.set_callback(_caller(self._heard, self._system))
            _virtual(midi, "in")
            return
        names = midi.get_ports()
        index = _index(names, self.name, self.wanted, IN)
        midi.set_callback(_caller(self._heard, self._system))
        _open_port(midi, index, names[index])
        self.name = names[index]

    def alive(self) -> bool:
        """Whether the port is still there."""
        return _alive(self._midi, self._server, self.name, self.virtual)

    def reopen(self) -> bool:
        """Tries to open the port again; whether it worked."""
        midi = self._midi
        try:
            if midi is None or _jack_server(midi) != self._server:
                self.close()
                self._open()
            else:  # JACK now and then never calls a client that takes the place of one just closed
                midi.close_port()
                self._connect(midi)
        except (MidiforgeError, _rtmidi_error()):
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
        _close(midi)


def _caller(
    heard: Callable[[bytes, int], None], system: frozenset[int]
) -> Callable[[tuple[list[int], float], object], None]:
    """What the driver calls: works out when a message came and hands on what is wanted."""
    when, now = Arrivals().when, time.monotonic_ns

    def called(event: tuple[list[int], float], _: object) -> None:
        message, delta = event
        at = when(delta, now())
        if message and (message[0] < _SYSTEM or message[0] in system):
            heard(bytes(message), at)

    return called


def _index(names: list[str], had: str, wanted: str, direction: str) -> int:
    """Which of the ports is ours: the one we had, or the one like it under a new number."""
    if had not in names and had:
        like = re.sub(r"\s*[0-9]+:[0-9]+$", "", had)  # as ALSA numbers its clients
        with suppress(MidiforgeError):
            return choose(names, like, direction)
    return choose(names, had or wanted, direction)


def _alive(midi: Any, server: str | None, name: str, virtual: bool) -> bool:
    """Whether an open port is still there."""
    if midi is None or _jack_server(midi) != server:
        return False
    if virtual:
        return True
    with suppress(_rtmidi_error()):
        return name in midi.get_ports()
    return False


def _jack_server(midi: Any) -> str | None:
    """What tells one run of the JACK server from the next; None where nothing does.

    A client of a server that died is told of it by nobody, and goes on seeing its ports. On Linux
    the server listens on a socket named after it, whose inode is new with each start.
    """
    import os

    if midi.get_current_api() != _rtmidi().API_UNIX_JACK or not sys.platform.startswith("linux"):
        return None
    name = os.environ.get("JACK_DEFAULT_SERVER", "default")
    ending = f"/jack_{name}_{os.getuid()}_0"
    with suppress(OSError), Path("/proc/net/unix").open(encoding="utf-8") as sockets:
        for line in sockets:
            words = line.split()
            if words[-1].endswith(ending) and words[3] == _LISTENING:
                return words[6]
    return None


def _rtmidi() -> Any:
    try:
        import rtmidi
    except ImportError:
        raise MidiforgeError(
            "live MIDI needs python-rtmidi, which is not installed", hint=_how_to_install()
        ) from None
    return rtmidi


def _rtmidi_error() -> type[Exception]:
    found: type[Exception] = _rtmidi().RtMidiError
    return found


def _new(direction: str) -> Any:
    """A MIDI client of the first system that runs here."""
    rtmidi = _rtmidi()
    kind = rtmidi.MidiOut if direction == OUT else rtmidi.MidiIn
    why = ""
    with _quiet():
        for api in _apis(rtmidi):
            try:
                return kind(api, name=CLIENT)
            except rtmidi.RtMidiError as error:
                why = str(error)
    raise MidiforgeError("there is no MIDI system here", hint=why and _here(_START))


def _apis(rtmidi: Any) -> Iterator[int]:
    """The compiled systems, in the order to try; RtMidi's dummy never."""
    known = rtmidi.get_compiled_api()
    if sys.platform.startswith("linux") and rtmidi.API_UNIX_JACK in known:
        import os

        # Where somebody started a JACK server for us, it is meant.
        if "JACK_DEFAULT_SERVER" in os.environ or not Path("/dev/snd/seq").exists():
            known = sorted(known, key=lambda api: api != rtmidi.API_UNIX_JACK)
    yield from (api for api in known if api != rtmidi.API_RTMIDI_DUMMY)


def _open_port(midi: Midi, index: int, name: str) -> None:
    try:
        midi.open_port(index, "play")
    except Exception as error:
        raise MidiforgeError(
            f"{name!r} cannot be opened: {str(error).strip() or type(error).__name__}",
            hint="another program may hold it; close that one, or plug the cable in again",
        ) from None


def _virtual(midi: Midi, name: str) -> None:
    try:
        midi.open_virtual_port(name)
    except (NotImplementedError, Exception):
        raise MidiforgeError(
            "this system has no virtual ports",
            hint="install a MIDI loopback driver and name its port",
        ) from None


def _close(midi: Any) -> None:
    if midi is not None:
        with suppress(Exception):
            midi.close_port()
        with suppress(Exception):
            midi.delete()


_ONE_AT_A_TIME = threading.Lock()  # standard error is the whole process's


@contextmanager
def _quiet() -> Iterator[None]:
    """MIDI systems print of their own where they are not running; that is not ours to show."""
    import os

    with _ONE_AT_A_TIME:
        try:
            saved = os.dup(2)
        except OSError:
            yield
            return
        null = os.open(os.devnull, os.O_WRONLY)
        try:
            sys.stderr.flush()
            os.dup2(null, 2)
            yield
        finally:
            os.dup2(saved, 2)
            os.close(saved)
            os.close(null)


def _listed(names: list[str]) -> str:
    return "there are: " + ", ".join(f"{i} {name}" for i, name in enumerate(names, start=1))


def _how_to_install() -> str:
    if sys.version_info >= (3, 13):
        return (
            "pip install 'midiforge[live]' compiles it and needs a C++ compiler and, on Linux, "
            "the headers of ALSA and JACK; or use Python 3.12, where it comes ready-made"
        )
    return "pip install python-rtmidi"


# What to do on this system where there is no MIDI system, and where it has no ports.
_START = {
    "linux": "load ALSA's sequencer (modprobe snd-seq), or start a JACK server (jackd)",
    "darwin": "open Audio MIDI Setup once",
    "": "check the MIDI driver in the Device Manager",
}
_GET_PORTS = {
    "linux": "switch on the module, or start a synthesiser; midiforge ports lists what is there",
    "darwin": "plug in the module, or enable the IAC driver in Audio MIDI Setup",
    "": "plug in the module and install its driver; midiforge ports lists what is there",
}


def _here(hints: dict[str, str]) -> str:
    """The hint for this system; that of "" for any other."""
    return hints.get(sys.platform, hints[""])
