"""A small process beside the player that ends what sounds if the player can't: killed, or crashed
with its driver. It also stops the beat clock and puts the terminal back.

The player tells it the outputs and channels that it plays on, a line of JSON for all, and its last
word is a line more. If the pipe ends without that, the player is gone. Signals that ask the player
to end are bytes in the same pipe, written by the system's own handler: a driver that holds up all
of Python cannot hold them up. A player that is not gone soon after one is killed; and one that
keeps the processor for too long loses its real-time priority.
"""

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import IO, Any

from midiforge.live.clock.priority import ordinary
from midiforge.live.playing.signals import ENDING, RUNNING_TOO_LONG, SOON, ignored, signals_to

_LAST_WORD = b"all is silent\n"
_PATIENCE = 6.0  # seconds that a MIDI system gets to get over a client that was killed
_TRY_EVERY = 0.2
_MORE = 0.2  # seconds that a player gets to end by itself when its time is up
_DEAF_TO = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP", "SIGTTIN", "SIGTTOU")
_SIGNALS = bytes(getattr(signal, name) for name in ENDING if hasattr(signal, name))


@contextmanager
def guarded(outputs: Mapping[str, frozenset[int]], send_clock: bool, screen: str) -> Iterator[None]:
    """While the context lasts, somebody ends what sounds if this process can't.

    outputs: names of ports to the channels used there, 1 to 16. send_clock: whether a beat clock
        may have to be stopped. screen: what gives the terminal its first page back; "" if nothing
        is shown on another.
    """
    terminal = _terminal()
    told = {
        "outputs": {name: sorted(channels) for name, channels in outputs.items()},
        "clock": send_clock,
        "terminal": terminal,
        "settings": _settings(terminal),
        "screen": screen,
    }
    path = "import sys; sys.path[:0] = {!r}; from midiforge.live.playing.guard import main; main()"
    guard: subprocess.Popen[bytes] | None = None
    with suppress(OSError):
        guard = subprocess.Popen(
            [sys.executable, "-c", path.format(sys.path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=() if terminal is None else (terminal,),
            # What is sent to the player's group does not reach it, not even while it starts.
            start_new_session=True,
        )
    if terminal is not None:
        os.close(terminal)
    pipe = guard.stdin if guard else None
    _say(pipe, json.dumps(told).encode() + b"\n")
    try:
        with signals_to(pipe):
            yield
    finally:
        _say(pipe, _LAST_WORD)
        if guard and pipe:
            with suppress(OSError):
                pipe.close()
            with suppress(subprocess.TimeoutExpired):
                guard.wait(0.5)


def _say(pipe: IO[bytes] | None, line: bytes) -> None:
    with suppress(OSError):
        if pipe:
            pipe.write(line)
            pipe.flush()


def main() -> None:
    """The guard's own way: waits, and does what is left to do."""
    with ignored(*_DEAF_TO), suppress(ValueError):
        said = _listen(os.getppid())
        if not said or said.endswith(_LAST_WORD):
            return
        told = json.loads(said.partition(b"\n")[0])
        _put_back(told["terminal"], told["settings"], told["screen"])
        _silence(told["outputs"], told["clock"])


def _listen(player: int) -> bytes:
    """What the player said until it was gone; it is killed if it does not end when it was told."""
    if sys.platform == "win32":  # a pipe cannot be waited for there
        return sys.stdin.buffer.read()
    said, end = b"", None
    while True:
        left = None if end is None else max(end - time.monotonic(), 0)
        if not select.select([0], [], [], left)[0]:
            with suppress(OSError):
                os.kill(player, signal.SIGKILL)
            return said
        more = os.read(0, 65536)
        if not more:
            return said
        said += more
        if getattr(signal, RUNNING_TOO_LONG) in more:
            ordinary(player)
        if end is None and any(number in more for number in _SIGNALS):
            end = time.monotonic() + SOON + _MORE


def _silence(outputs: dict[str, list[int]], clock: bool) -> None:
    from midiforge.errors import MidiforgeError
    from midiforge.live.ports.ports import RtOutput
    from midiforge.midi.message import ALL_NOTES_OFF, ALL_SOUND_OFF, STOP, control_change, note_off

    left, end = dict(outputs), time.monotonic() + _PATIENCE
    while left and time.monotonic() < end:
        for name, numbers in list(left.items()):
            try:
                output = RtOutput(name)
            except MidiforgeError:
                continue
            for number in numbers:
                output.send(control_change(number, ALL_SOUND_OFF))
                output.send(control_change(number, ALL_NOTES_OFF))
            if clock:
                output.send(STOP)
            for number in numbers:  # for modules that take no notice of the two
                for note in range(128):
                    output.send(note_off(number, note))
            output.close()
            del left[name]
        time.sleep(_TRY_EVERY if left else 0)


def _terminal() -> int | None:
    """The terminal, opened for the guard; None where there is none.

    By its name it cannot be opened any more once the player that led its session is gone.
    """
    if sys.platform == "win32":
        return None
    try:
        return os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY)
    except OSError:
        return None


def _settings(terminal: int | None) -> list[Any] | None:
    """The terminal's, in a form for JSON; None where there are none."""
    with suppress(Exception):
        import termios

        from midiforge.live.playing.controls import settings_before

        now = termios.tcgetattr(terminal)  # type: ignore[arg-type]
        *flags, letters = settings_before[0] if settings_before else now
        return [*flags, [c if isinstance(c, int) else c.decode("latin-1") for c in letters]]
    return None


def _put_back(terminal: int | None, settings: list[Any] | None, screen: str) -> None:
    if terminal is None or settings is None:
        return
    with suppress(Exception):
        import termios

        *flags, letters = settings
        known = [c if isinstance(c, int) else c.encode("latin-1") for c in letters]
        termios.tcsetattr(terminal, termios.TCSADRAIN, [*flags, known])
        os.write(terminal, screen.encode())
