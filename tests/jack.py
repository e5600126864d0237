"""A JACK server of our own, and programs that listen on it: real ports without a sound card.

`jackd -r -d dummy` is an ordinary process. Clients find it by its name, in JACK_DEFAULT_SERVER.
"""

import ctypes
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field

import pytest

PATIENCE = 10.0  # seconds that a test waits for what must come

_LISTEN = """
import sys, time, rtmidi
name = sys.argv[1]
midi = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=name)
midi.ignore_types(sysex=False, timing=False, active_sense=False)
at = 0
def heard(event, _):
    global at
    message, since = event
    # JACK's own time of arrival, to which this program's being busy adds nothing.
    at += round(since * 1e9)
    sys.stdout.write(f"{at} {time.monotonic_ns()} {bytes(message).hex()}\\n")
    sys.stdout.flush()
midi.set_callback(heard)
midi.open_virtual_port("in")
print("ready", flush=True)
sys.stdin.read()
midi.close_port()
midi.delete()
"""


def missing() -> str:
    """What this machine lacks for tests with JACK; "" if nothing."""
    if shutil.which("jackd") is None:
        return "jackd is not installed (Debian's jackd2)"
    try:
        import rtmidi
    except ImportError:
        return "python-rtmidi is not installed"
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        return "python-rtmidi is without JACK here"
    return ""


def _ends_with_us() -> None:
    """A server does not outlive a test run that was killed (Linux, prctl(2), PR_SET_PDEATHSIG)."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(1, signal.SIGTERM)


class Server:
    """A JACK server that can be killed and started again.

    A machine has room for eight names of servers, and one that is killed keeps its place until a
    server of that name is started again. So names are used again, and the end is a gentle one.
    """

    def __init__(self, name: str) -> None:
        self._names = [f"{name}-{i}" for i in range(1, 4)]
        self.name = ""
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def environment(self) -> dict[str, str]:
        """For programs that shall find it."""
        return {
            **os.environ,
            "JACK_DEFAULT_SERVER": self.name,
            "JACK_NO_START_SERVER": "1",
            "PYTHONUNBUFFERED": "1",
        }

    def start(self) -> None:
        """Raises AssertionError if it does not run in time."""
        for name in [self.name] if self.name else self._names:
            self.name = name
            if self._start():
                return
        raise AssertionError("jackd does not start")

    def _start(self) -> bool:
        # -S: the server waits for its clients, so that on a busy machine nothing is lost;
        # -t: but not long (ms) for those that were killed.
        command = ["jackd", "-r", "-S", "-t", "100", "-n", self.name]
        command += ["-d", "dummy", "-r", "48000", "-p", "64"]
        null = subprocess.DEVNULL
        self._process = subprocess.Popen(
            command, stdin=null, stdout=null, stderr=null, preexec_fn=_ends_with_us
        )
        ask = "import rtmidi; rtmidi.MidiOut(rtmidi.API_UNIX_JACK).delete()"
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            time.sleep(0.1)
            if self._process.poll() is not None:  # such as: the name is taken
                return False
            asked = subprocess.run(
                [sys.executable, "-c", ask], env=self.environment, capture_output=True, check=False
            )
            if asked.returncode == 0:
                return True
        return False

    def end(self, number: int = signal.SIGTERM) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.send_signal(number)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@dataclass
class Receiver:
    """A sound module: a program with an input, `name:in`.

    heard: (JACK's time, monotonic time, message); JACK's counts from the first message.
    """

    server: Server
    name: str = "module"
    heard: list[tuple[int, int, bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.plug()

    def plug(self) -> None:
        for _ in range(5):  # a busy machine's server may not answer at once
            self._process = subprocess.Popen(
                [sys.executable, "-c", _LISTEN, self.name],
                env=self.server.environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
            )
            assert self._process.stdout
            if self._process.stdout.readline() == "ready\n":
                break
            self._process.kill()
            self._process.wait()
            time.sleep(0.5)
        else:
            raise AssertionError("the server takes no module")
        self._reader = threading.Thread(target=self._read, args=(self._process,), daemon=True)
        self._reader.start()

    def _read(self, process: "subprocess.Popen[str]") -> None:
        assert process.stdout
        for line in process.stdout:
            at, now, message = line.split()
            self.heard.append((int(at), int(now), bytes.fromhex(message)))

    def kill(self) -> None:
        """The cable is pulled, as it were."""
        self._process.kill()
        self._gone()

    def unplug(self) -> None:
        """Ends as programs do."""
        assert self._process.stdin
        with suppress(OSError):
            self._process.stdin.close()
        try:
            self._process.wait(3)
        except subprocess.TimeoutExpired:
            self._process.kill()
        self._gone()

    def _gone(self) -> None:
        self._process.wait()
        self._reader.join(5)
        for stream in (self._process.stdin, self._process.stdout):
            if stream:
                with suppress(OSError):
                    stream.close()

    @property
    def messages(self) -> list[bytes]:
        return [message for _, _, message in self.heard]

    def ons(self) -> list[tuple[int, int]]:
        """JACK's time and number of each note that began."""
        return [(at, m[1]) for at, _, m in self.heard if m[0] & 0xF0 == 0x90 and m[2]]

    def until(self, enough: Callable[["Receiver"], object], patience: float = PATIENCE) -> None:
        """Waits until enough was heard."""
        end = time.monotonic() + patience
        while not enough(self):
            assert time.monotonic() < end, f"not heard in time; only {self.messages[-8:]}"
            time.sleep(0.005)

    def rest(self, quiet: float = 0.1) -> None:
        """Waits until nothing more comes."""
        before = -1
        while len(self.heard) != before:
            before = len(self.heard)
            time.sleep(quiet)


@pytest.fixture(scope="session")
def jack() -> Iterator[Server]:
    """A server for all tests that do not hurt it; the test's own process finds it too."""
    if why := missing():
        pytest.skip(why)
    server = Server("midiforge-test")
    server.start()
    before = {
        name: os.environ.get(name) for name in ("JACK_DEFAULT_SERVER", "JACK_NO_START_SERVER")
    }
    os.environ.update({name: server.environment[name] for name in before})
    yield server
    for name, value in before.items():
        if value is None:
            del os.environ[name]
        else:
            os.environ[name] = value
    server.end()


@pytest.fixture
def module(jack: Server) -> Iterator[Receiver]:
    """A sound module on the server."""
    receiver = Receiver(jack)
    yield receiver
    receiver.unplug()


@pytest.fixture
def own_jack() -> Iterator[Server]:
    """A server that the test may kill."""
    if why := missing():
        pytest.skip(why)
    server = Server("midiforge-killed")
    server.start()
    yield server
    server.end()
