"""The system's MIDI by way of python-rtmidi: its clients, and what is said where there is none."""

import os
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError

CLIENT = "midiforge"
OUT, IN = "output", "input"

_LISTENING = "00010000"  # a socket's flags in /proc/net/unix: it accepts connections


def jack_server(midi: Any) -> str | None:
    """What tells one run of the JACK server from the next; None where nothing does.

    A client of a server that died is told of it by nobody, and goes on seeing its ports. On Linux
    the server listens on a socket named after it, whose inode is new with each start.
    """
    if not _on_jack(midi):
        return None
    ending = f"/jack_{_server_name()}_{os.getuid()}_0"
    with suppress(OSError), Path("/proc/net/unix").open(encoding="utf-8") as sockets:
        for line in sockets:
            words = line.split()
            if words[-1].endswith(ending) and words[3] == _LISTENING:
                return words[6]
    return None


def port_run(midi: Any, name: str) -> tuple[int, int] | None:
    """What tells one run of the program behind a JACK port from the next; None where nothing does.

    A program that went and came back in between has its port's name still, but is not connected to
    us any more. Its semaphore is made anew with each start (JACK 2 on Linux).
    """
    if not _on_jack(midi):
        return None
    client = name.partition(":")[0]
    with suppress(OSError):
        semaphore = Path(f"/dev/shm/jack_sem.{os.getuid()}_{_server_name()}_{client}").stat()
        return semaphore.st_ino, semaphore.st_mtime_ns
    return None


def _on_jack(midi: Any) -> bool:
    """Whether a client is one of JACK's on Linux, whose runs can be told apart."""
    if not sys.platform.startswith("linux"):
        return False
    return bool(midi.get_current_api() == _rtmidi().API_UNIX_JACK)


def _server_name() -> str:
    return os.environ.get("JACK_DEFAULT_SERVER", "default")


def drops_silently(midi: Any) -> bool:
    """Whether the system of a client disconnects ports without telling."""
    rtmidi = _rtmidi()
    return midi.get_current_api() in (rtmidi.API_UNIX_JACK, rtmidi.API_LINUX_ALSA)


def _rtmidi() -> Any:
    try:
        import rtmidi
    except ImportError:
        raise MidiforgeError(
            "live MIDI needs python-rtmidi, which is not installed", hint=_how_to_install()
        ) from None
    return rtmidi


def rtmidi_error() -> type[Exception]:
    """What the library raises."""
    error: type[Exception] = _rtmidi().RtMidiError
    return error


def new_client(direction: str) -> Any:
    """A MIDI client of the first system that runs here."""
    rtmidi = _rtmidi()
    _hush_jack()
    kind = rtmidi.MidiOut if direction == OUT else rtmidi.MidiIn
    why = ""
    with quiet():
        for api in _apis(rtmidi):
            try:
                return kind(api, name=CLIENT)
            except rtmidi.RtMidiError as error:
                why = str(error)
    raise MidiforgeError("there is no MIDI system here", hint=why and here(_START))


def _apis(rtmidi: Any) -> Iterator[int]:
    """The compiled systems, in the order to try; RtMidi's dummy never."""
    known = rtmidi.get_compiled_api()
    if sys.platform.startswith("linux") and rtmidi.API_UNIX_JACK in known:
        # Where somebody started a JACK server for us, it is meant.
        if "JACK_DEFAULT_SERVER" in os.environ or not Path("/dev/snd/seq").exists():
            known = sorted(known, key=lambda api: api != rtmidi.API_UNIX_JACK)
    yield from (api for api in known if api != rtmidi.API_RTMIDI_DUMMY)


def open_port(midi: Any, index: int, name: str) -> tuple[int, int] | None:
    """Opens a port by its index; gives its `port_run`. MidiforgeError by its name if that fails."""
    run = port_run(midi, name)
    try:
        midi.open_port(index, "play")
    except Exception as error:
        raise MidiforgeError(
            f"{name!r} cannot be opened: {str(error).strip() or type(error).__name__}",
            hint="another program may hold it; close that one, or plug the cable in again",
        ) from None
    return run


def open_virtual_port(midi: Any, name: str) -> None:
    """Opens a port that others connect to."""
    try:
        midi.open_virtual_port(name)
    except Exception:
        raise MidiforgeError(
            "this system has no virtual ports",
            hint="install a MIDI loopback driver and name its port",
        ) from None


def close_client(midi: Any) -> None:
    """Closes and deletes a client, if there is one, whatever the library thinks of it."""
    if midi is not None:
        with suppress(Exception):
            midi.close_port()
        with suppress(Exception):
            midi.delete()


def keep_client(midi: Any) -> None:
    """Never deletes a client that its driver is busy with, not even when Python ends: the driver's
    thread would come to what is gone."""
    import ctypes

    ctypes.pythonapi.Py_IncRef(ctypes.py_object(midi))


@cache
def _hush_jack() -> None:
    """libjack says nothing on standard error when its server dies; that is noticed and said here.

    Its messages go to a function of C's that does nothing with them, since some come from threads
    that Python does not know (JACK API, jack_set_error_function, jack_set_info_function).
    """
    with suppress(ImportError, OSError, AttributeError, TypeError):
        import ctypes

        from rtmidi import _rtmidi as compiled

        nothing = ctypes.cast(ctypes.CDLL(None).strlen, ctypes.c_void_p)
        library = ctypes.CDLL(compiled.__file__)
        for name in ("jack_set_error_function", "jack_set_info_function"):
            takes = getattr(library, name)
            takes.argtypes, takes.restype = [ctypes.c_void_p], None
            takes(nothing)


_ONE_AT_A_TIME = threading.Lock()  # standard error is the whole process's


@contextmanager
def quiet() -> Iterator[None]:
    """What MIDI systems print of their own is not ours to show: where they are not running, or are
    behind while they end."""
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


def _how_to_install() -> str:
    if sys.version_info >= (3, 13):
        return (
            "pip install 'midiforge[live]' compiles it and needs a C++ compiler and, on Linux, "
            "the headers of ALSA and JACK; or use Python 3.12, where it comes ready-made"
        )
    return "pip install python-rtmidi"


# What to do where no MIDI system runs.
_START = {
    "linux": "load ALSA's sequencer (modprobe snd-seq), or start a JACK server (jackd)",
    "darwin": "open Audio MIDI Setup once",
    "": "check the MIDI driver in the Device Manager",
}


def here(hints: Mapping[str, str]) -> str:
    """The hint for this system; that of "" for any other."""
    return hints.get(sys.platform, hints[""])
