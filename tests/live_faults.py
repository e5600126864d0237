"""Faults in the midst of playing: the real command on a real JACK server, three hundred times.

    python tests/live_faults.py                        # all kinds in turn, 300 sessions
    python tests/live_faults.py --sessions 20 stall    # only these
    python tests/live_faults.py --sessions 1 --seed 17 killed   # one session again

In each session somebody drums, a module listens, and one thing goes wrong at a moment that chance
chooses. Afterwards: no note sounds that has no end, no beat clock was started without a stop,
every stroke is in one take (its own, or the one that the next command makes of the journal), the
terminal is as it was, the exit code is the documented one, within two seconds and said in one line
at most, and no process is left. Fails with a line for each that is not so. Needs a JACK server (see
jack.py) and Linux.
"""

import argparse
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from fcntl import ioctl
from pathlib import Path
from queue import Empty, SimpleQueue

from jack import Receiver, Server, missing

from midiforge.hear.take import Stroke, read_take

FUNK = str(Path(__file__).parent.parent / "examples" / "07-harbour-lights-funk.toml")
PATIENCE = 15.0  # seconds until music begins, on a busy machine
ENDS_WITHIN = 3.5  # seconds: two that are promised, and what a busy machine adds
SILENT_WITHIN = 8.0  # seconds after the end: six of the guard's, and its start
MARGIN = 0.15  # seconds about a moment within which a stroke may or may not have come
OPEN, CLOSE = b"\x1b[?1049h", b"\x1b[?1049l"
FIRST_NOTE, STROKES_A_NOTE = 36, 100  # a stroke's note and velocity say which stroke it is

# A kit. Strokes are numbered from argv[1]; SIGUSR1 begins and ends a flood of pedal movements,
# about ten thousand a second.
STICKS = """
import signal, sys, time, rtmidi
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="sticks")
out.open_virtual_port("out")
number, flood = int(sys.argv[1]), False
def turn(*_):
    global flood
    flood = not flood
signal.signal(signal.SIGUSR1, turn)
print("ready", flush=True)
while True:
    note, velocity = 36 + number // 100, 1 + number % 100
    out.send_message([0x99, note, velocity]); out.send_message([0x89, note, 0])
    sys.stdout.write(f"{number} {time.monotonic()}\\n"); sys.stdout.flush()
    number += 1
    end = time.monotonic() + 0.05
    while flood and time.monotonic() < end:
        for value in range(20):
            out.send_message([0xB9, 4, value])
        time.sleep(0.002)
    time.sleep(max(end - time.monotonic(), 0))
"""


class Sticks:
    """Somebody who drums, twenty strokes a second; sent: each stroke and when."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self.sent: list[tuple[int, float]] = []
        self._process: subprocess.Popen[str] | None = None

    def plug(self) -> None:
        begin = self.sent[-1][0] + 1 if self.sent else 0
        self._process = subprocess.Popen(
            [sys.executable, "-c", STICKS, str(begin)],
            env=self._server.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self._process.stdout and self._process.stdout.readline() == "ready\n"
        self._reader = threading.Thread(target=self._read, args=(self._process,), daemon=True)
        self._reader.start()

    def _read(self, process: "subprocess.Popen[str]") -> None:
        for line in process.stdout or ():
            number, at = line.split()
            self.sent.append((int(number), float(at)))

    def turn_flood(self) -> None:
        assert self._process
        self._process.send_signal(signal.SIGUSR1)

    def kill(self) -> None:
        process, self._process = self._process, None
        if process and process.stdout:
            process.kill()
            process.wait()
            self._reader.join(5)
            process.stdout.close()


class Session:
    """The command while something happens to it.

    away: from when to when strokes need not be in a take, in seconds of the monotonic clock.
    codes: the exit codes that are right. wrong: what was not as it should be.
    """

    def __init__(self, server: Server, seed: int, home: Path) -> None:
        self.chance = random.Random(seed)
        self.server, self.home = server, home
        self.module = Receiver(server)
        self.sticks = Sticks(server)
        self.away: list[tuple[float, float]] = []
        self.codes: set[int] = {0}
        self.wrong: list[str] = []
        self.begun = self.asked = self.lasted = 0.0
        self.takes = home / "takes"
        self.takes.mkdir()
        (home / "tmp").mkdir()
        self.environment = server.environment | {
            "XDG_DATA_HOME": str(home),
            "TMPDIR": str(home / "tmp"),
            "TERM": "xterm",
            "PYTHONFAULTHANDLER": "1",  # says where it was when a driver crashes
        }
        self._terminal: int | None = None
        self._kept_open: int | None = None
        self._shown = bytearray()
        self._said = ""

    # The command

    def play(self, *flags: str, terminal: bool | None = None, wait: bool = True) -> None:
        """Plays and records; in a terminal, through pipes, or as chance says."""
        flags = ("--port", "module", "--input", "sticks", *flags)
        if self.chance.random() < 0.5:
            flags += ("--send-clock",)
        self.start(
            "play", FUNK, "--only", "7a", "--times", "0",
            "--record", str(self.takes / "take.mid"), *flags, terminal=terminal,
        )  # fmt: skip
        if wait:
            self.until(lambda: self.journals() and len(self.module.ons()) > 12, "music")
            self.begun = time.monotonic()
            self.sleep(0.2, 1.5)

    def start(self, *arguments: str, terminal: bool | None = None) -> None:
        command = [sys.executable, "-m", "midiforge", *arguments]
        if terminal is None:
            terminal = self.chance.random() < 0.5
        if not terminal:
            self.process = subprocess.Popen(
                command, env=self.environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                stderr=subprocess.PIPE, start_new_session=True,
            )  # fmt: skip
            stream = self.process.stdout
            assert stream
            threading.Thread(target=stream.read, daemon=True).start()
        else:
            ours, theirs = os.openpty()
            self._terminal = ours
            self._before = termios.tcgetattr(theirs)
            self.process = subprocess.Popen(
                command, env=self.environment, stdin=theirs, stdout=theirs,
                stderr=subprocess.PIPE, start_new_session=True,
                preexec_fn=lambda: ioctl(0, termios.TIOCSCTTY, 0),
            )  # fmt: skip
            self._kept_open = theirs
            threading.Thread(target=self._show, args=(ours,), daemon=True).start()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _show(self, terminal: int) -> None:
        with suppress(OSError):
            while shown := os.read(terminal, 65536):
                self._shown += shown

    def _listen(self) -> None:
        assert self.process.stderr
        self._said = self.process.stderr.read().decode(errors="replace")

    def sleep(self, least: float, most: float) -> None:
        time.sleep(self.chance.uniform(least, most))

    def until(self, so: Callable[[], object], what: str, patience: float = PATIENCE) -> bool:
        end = time.monotonic() + patience
        while not so():
            if time.monotonic() > end or self.process.poll() is not None:
                self.wrong.append(f"no {what}")
                return False
            time.sleep(0.01)
        return True

    def resumes(self) -> None:
        """Waits until music is heard again."""
        before = len(self.module.ons())
        self.until(lambda: len(self.module.ons()) > before + 12, "music again")
        time.sleep(0.2)

    def is_away(self, begin: float, more: float = 0.0) -> None:
        self.away.append((begin, time.monotonic() + more))

    # How it ends

    def signal(self, *names: str) -> None:
        """Signals, and what the command ends with then."""
        self.asked = self.asked or time.monotonic()
        codes = {"SIGINT": 130, "SIGTERM": 143, "SIGHUP": 129, "SIGKILL": -9}
        self.codes = {codes[name] for name in names}
        for name in names:
            with suppress(ProcessLookupError):
                self.process.send_signal(getattr(signal, name))

    def any_signal(self) -> None:
        self.signal(self.chance.choice(("SIGINT", "SIGTERM", "SIGHUP")))

    def key(self, letter: bytes) -> None:
        assert self._terminal is not None
        os.write(self._terminal, letter)

    def close_terminal(self) -> None:
        """As a person closes its window: the system then sends SIGHUP."""
        assert self._terminal is not None and self._kept_open is not None
        self.asked = self.asked or time.monotonic()
        self.codes = {129}
        os.close(self._kept_open)
        os.close(self._terminal)
        self._terminal = self._kept_open = None

    # What must be so then

    def check(self, heard: bool = True, recorded: bool = True) -> None:
        """heard: whether the module could hear the end."""
        self._ends()
        if heard:
            self._silent()
        self._terminal_as_before()
        self._nobody_left()
        lines = self._said.splitlines()
        early = "KeyboardInterrupt" in self._said and "__main__.py" not in self._said
        if lines and (early or "midiforge" not in self._said):  # Python had not come to us yet
            lines = []
            self._said = ""
        if len(lines) > 1 or "Traceback" in self._said or "a fault of" in self._said:
            self.wrong.append(f"said: {self._said[-800:]!r}")
        self._next_command(recorded)

    def _ends(self) -> None:
        asked = self.asked or time.monotonic()
        try:
            code = self.process.wait(max(asked + ENDS_WITHIN - time.monotonic(), 0.1))
        except subprocess.TimeoutExpired:
            self.wrong.append("does not end")
            self.process.kill()
            code = self.process.wait()
        else:
            if code not in self.codes:
                self.wrong.append(f"exit code {code}, not {sorted(self.codes)}")
                self._listener.join(5)
                self.wrong.append(f"said: {self._said[-800:]!r}")
        self.lasted = time.monotonic() - asked
        self._listener.join(5)

    def _silent(self) -> None:
        end = time.monotonic() + SILENT_WITHIN
        left, runs = sounding(self.module.messages), self._clock_runs()
        while (left or runs) and time.monotonic() < end:
            time.sleep(0.02)
            left, runs = sounding(self.module.messages), self._clock_runs()
        self.wrong += [f"sounds on: {sorted(left)}"] if left else []
        self.wrong += ["the beat clock has no stop"] if runs else []

    def _clock_runs(self) -> bool:
        clock = [m for m in self.module.messages if m[0] in (0xFA, 0xFB, 0xFC)]
        return bool(clock) and clock[-1] != b"\xfc"

    def _terminal_as_before(self) -> None:
        if self._terminal is None or self._kept_open is None:
            return
        end = time.monotonic() + SILENT_WITHIN

        def as_before() -> bool:
            assert self._kept_open is not None
            same = termios.tcgetattr(self._kept_open) == self._before
            return same and self._shown.rfind(CLOSE) >= self._shown.rfind(OPEN)

        while not as_before():
            if time.monotonic() > end:
                now = termios.tcgetattr(self._kept_open)
                self.wrong.append(f"the terminal is not as it was: {now[:4]}, {self._before[:4]}")
                return
            time.sleep(0.02)

    def _nobody_left(self) -> None:
        end = time.monotonic() + SILENT_WITHIN
        while left := of_session(self.process.pid):
            if time.monotonic() > end:
                self.wrong.append(f"a process is left: {left}")
                for process in left:
                    with suppress(ProcessLookupError):
                        os.kill(process, signal.SIGKILL)
                return
            time.sleep(0.05)

    def _next_command(self, recorded: bool) -> None:
        self.sticks.kill()
        done = subprocess.run(
            [sys.executable, "-m", "midiforge", "list", "kits", "--json"],
            env=self.environment, capture_output=True, text=True, check=False, timeout=30,
        )  # fmt: skip
        try:
            json.loads(done.stdout)
        except ValueError:
            self.wrong.append("what the next command prints is no JSON")
        if len(done.stderr.splitlines()) > 2 or "Traceback" in done.stderr:
            self.wrong.append(f"the next command said: {done.stderr!r}")
        if self.journals():
            self.wrong.append("a journal is left")
        if recorded:
            self._no_stroke_lost()

    def _no_stroke_lost(self) -> None:
        found = Counter[int]()
        for path in self.home.rglob("*.mid"):
            found.update({stroke_of(each) for each in read_take(path).strokes})
        due = [n for n, at in self.sticks.sent if self._must_be_there(at)]
        lost = [n for n in due if not found[n]]
        if lost:
            self.wrong.append(f"{len(lost)} strokes of {len(due)} lost: {lost[:5]} ...")
        if double := [n for n, times in found.items() if times > 1]:
            self.wrong.append(f"{len(double)} strokes are in two takes: {double[:5]} ...")
        self.strokes = len(due)

    def _must_be_there(self, at: float) -> bool:
        if not self.begun + MARGIN < at < self.asked - MARGIN:
            return False
        return not any(begin - MARGIN < at < end + MARGIN for begin, end in self.away)

    def journals(self) -> list[Path]:
        return list((self.home / "midiforge" / "recordings").glob("*.journal"))

    def close(self) -> None:
        if hasattr(self, "process") and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.sticks.kill()
        self.module.unplug()
        for opened in (self._terminal, self._kept_open):
            if opened is not None:
                with suppress(OSError):
                    os.close(opened)


def stroke_of(stroke: Stroke) -> int:
    """Which stroke of the sticks it was. A server that hangs gives one of them several times."""
    return (stroke.number - FIRST_NOTE) * STROKES_A_NOTE + stroke.velocity - 1


def sounding(messages: Sequence[bytes]) -> set[tuple[int, int]]:
    """Channel and note of what sounds after the messages, controllers 120 and 123 left out of
    account: some modules take no notice of them."""
    found: set[tuple[int, int]] = set()
    for message in messages:
        kind = message[0] & 0xF0
        if kind == 0x90 and message[2]:
            found.add((message[0] & 0x0F, message[1]))
        elif kind in (0x80, 0x90):
            found.discard((message[0] & 0x0F, message[1]))
    return found


def of_session(number: int) -> list[int]:
    """The processes of a session (proc(5): the sixth value of stat), zombies left out."""
    found = []
    for path in Path("/proc").iterdir():
        with suppress(OSError, IndexError):
            if path.name.isdigit():
                values = (path / "stat").read_text().rpartition(")")[2].split()
                if int(values[3]) == number and values[0] != "Z":
                    found.append(int(path.name))
    return found


# What goes wrong

EVERY_BAR = 3.0  # seconds: longer than a bar of what is played


def killed(s: Session) -> None:
    """The player is killed (SIGKILL)."""
    s.play()
    s.signal("SIGKILL")
    s.check()


def told_to_end(s: Session) -> None:
    """A signal that ends programs."""
    s.play()
    s.any_signal()
    s.check()


def told_twice(s: Session) -> None:
    """Two signals at nearly the same time."""
    s.play()
    first, second = s.chance.sample(("SIGINT", "SIGTERM", "SIGHUP"), 2)
    s.signal(first)
    s.sleep(0, 0.05)
    s.signal(second)
    s.codes |= {130, 143, 129}
    s.check()


def told_early(s: Session) -> None:
    """A signal while the command is still starting."""
    s.play(wait=False)
    s.sleep(0, 2.0)
    s.any_signal()
    s.codes |= {-code + 128 for code in s.codes}  # before Python has come to us
    s.begun = s.asked
    s.check()


def killed_early(s: Session) -> None:
    """Killed while the command is still starting."""
    s.play(wait=False)
    s.sleep(0.3, 2.0)
    s.signal("SIGKILL")
    s.begun = s.asked
    s.check()


def quit_by_key(s: Session) -> None:
    """q in a terminal, after other keys."""
    s.play(terminal=True)
    s.key(s.chance.choice((b"h", b"+", b"hcb", b"ll.,")))
    s.sleep(0, 0.3)
    s.asked = time.monotonic()
    s.key(b"q")
    s.check()


def window_closed(s: Session) -> None:
    """The terminal's window is closed."""
    s.play(terminal=True)
    s.close_terminal()
    s.check()


def window_closed_and_told(s: Session) -> None:
    """The window is closed, and the session's end sends its own signal."""
    s.play(terminal=True)
    s.close_terminal()
    s.sleep(0, 0.02)
    s.signal("SIGTERM")
    s.codes = {129, 143}
    s.check()


def module_returns(s: Session) -> None:
    """The module's cable is pulled and put back."""
    s.play()
    gone = time.monotonic()
    s.module.kill()
    s.sleep(0.5, 1.5)  # quicker than the player looks it is not noticed
    s.module.plug()
    s.resumes()
    s.is_away(gone, EVERY_BAR)
    s.sleep(0, 1)
    s.any_signal()
    s.check()


def quit_at_return(s: Session) -> None:
    """Quit in the moment about which the module returns."""
    s.play()
    gone = time.monotonic()
    s.module.kill()
    s.sleep(0.0, 1.2)
    s.module.plug()
    s.sleep(0, 0.6)
    s.is_away(gone)
    s.any_signal()
    s.codes |= {-9}  # its guard's last means, where the driver holds up all of Python
    s.check()


def kit_returns(s: Session) -> None:
    """The kit's cable is pulled and put back; the music goes on."""
    s.play()
    gone = time.monotonic()
    s.sticks.kill()
    s.sleep(0.1, 2)
    s.sticks.plug()
    before = len(s.module.ons())
    time.sleep(3.0)
    if len(s.module.ons()) == before:
        s.wrong.append("the music stopped")
    s.is_away(gone)
    s.sleep(0, 0.5)
    s.any_signal()
    s.check()


def flood(s: Session) -> None:
    """Ten thousand messages a second come in, and it has to end meanwhile."""
    s.play()
    s.sticks.turn_flood()
    s.sleep(0.5, 1.5)
    s.signal(s.chance.choice(("SIGINT", "SIGTERM", "SIGKILL")))
    s.check()


def server_returns(s: Session) -> None:
    """The server is killed and started again."""
    s.play()
    gone = time.monotonic()
    _server_dies(s)
    s.sleep(0, 1)
    _server_comes(s)
    s.resumes()
    time.sleep(1.5)
    s.is_away(gone, EVERY_BAR)
    s.sleep(0, 1)
    s.any_signal()
    s.check()


def server_returns_and_killed(s: Session) -> None:
    """The server is killed and started again, the player killed some time after."""
    s.play()
    gone = time.monotonic()
    _server_dies(s)
    _server_comes(s)
    s.sleep(0, 3)
    s.is_away(gone, EVERY_BAR)
    s.signal("SIGKILL")
    s.check()


def server_dies(s: Session) -> None:
    """The server is killed, and soon after the player told to end."""
    s.play()
    s.is_away(time.monotonic(), ENDS_WITHIN)
    _server_dies(s)
    s.sleep(0, 1)
    s.any_signal()
    s.check(heard=False)
    s.server.start()
    s.module.plug()


def disk_full(s: Session) -> None:
    """No file grows any more; the take is what the next command finds room for."""
    s.play()
    full = time.monotonic()
    resource.prlimit(s.process.pid, resource.RLIMIT_FSIZE, (0, 0))
    s.sleep(0.1, 1)
    s.is_away(full)
    s.any_signal()
    s.codes |= {2}
    s.check()


def folder_gone(s: Session) -> None:
    """The folder of the take is removed."""
    s.play()
    s.takes.rmdir()
    s.sleep(0.1, 1)
    s.any_signal()
    s.check()


def stall(s: Session) -> None:
    """The module hangs for a while, and with it the server that waits for it."""
    s.play()
    gone = time.monotonic()
    s.module._process.send_signal(signal.SIGSTOP)
    s.sleep(0.2, 1.5)
    s.module._process.send_signal(signal.SIGCONT)
    s.is_away(gone, 0.3)
    s.sleep(0.3, 1)
    s.any_signal()
    s.check()


def asleep(s: Session) -> None:
    """The player gets no time for a while, as when the machine slept."""
    s.play()
    gone = time.monotonic()
    s.process.send_signal(signal.SIGSTOP)
    s.sleep(0.2, 1.5)
    s.process.send_signal(signal.SIGCONT)
    s.is_away(gone, EVERY_BAR)
    s.sleep(0, 1)
    s.any_signal()
    s.check()


def learning(s: Session) -> None:
    """`kit learn` is ended or killed; in a terminal."""
    s.start("kit", "learn", "--out", str(s.home / "kit.toml"), "--port", "sticks", terminal=True)
    s.until(lambda: OPEN in s._shown, "screen")
    s.sleep(0, 1)
    s.signal(s.chance.choice(("SIGINT", "SIGTERM", "SIGHUP", "SIGKILL")))
    s.check(recorded=False)


def learning_as_server_returns(s: Session) -> None:
    """`kit learn`, while the server is killed and started again."""
    s.start("kit", "learn", "--out", str(s.home / "kit.toml"), "--port", "sticks", terminal=True)
    s.until(lambda: OPEN in s._shown, "screen")
    _server_dies(s)
    _server_comes(s)
    s.sleep(0, 3)
    s.any_signal()
    s.check(recorded=False)


def _server_dies(s: Session) -> None:
    s.server.end(signal.SIGKILL)
    s.module.kill()
    s.sticks.kill()


def _server_comes(s: Session) -> None:
    s.server.start()
    s.module.plug()
    s.sticks.plug()


KINDS: dict[str, Callable[[Session], None]] = {
    each.__name__: each
    for each in (
        killed, told_to_end, told_twice, told_early, killed_early, quit_by_key, window_closed,
        window_closed_and_told, module_returns, quit_at_return, kit_returns, flood,
        server_returns, server_returns_and_killed, server_dies, disk_full, folder_gone, stall,
        asleep, learning, learning_as_server_returns,
    )
}  # fmt: skip


def session(kind: str, seed: int, server: Server) -> tuple[list[str], float]:
    """One session; gives what was wrong, nothing if all is well, and how many seconds the command
    took to end."""
    home = Path(tempfile.mkdtemp(prefix="midiforge-faults-"))
    s = Session(server, seed, home)
    try:
        s.sticks.plug()
        KINDS[kind](s)
    except (AssertionError, OSError, subprocess.TimeoutExpired) as error:
        s.wrong.append(f"the session itself: {type(error).__name__}: {error}")
    finally:
        s.close()
        if not s.wrong:
            shutil.rmtree(home, ignore_errors=True)
    return [*s.wrong, f"left in {home}"] if s.wrong else [], s.lasted


def _work(name: str, jobs: "SimpleQueue[tuple[str, int]]", done: "SimpleQueue[object]") -> None:
    """Sessions, each on a server that knows nothing of those before."""
    server = Server(name)
    with suppress(Empty):
        while True:
            kind, seed = jobs.get_nowait()
            try:
                server.start()
                result = session(kind, seed, server)
            except Exception as error:  # a server that does not start is no reason to wait for ever
                result = [f"the session itself: {type(error).__name__}: {error}"], 0.0
            finally:
                server.end()
            done.put((kind, seed, *result))
    done.put(None)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("kinds", nargs="*", default=list(KINDS), help=", ".join(KINDS))
    parser.add_argument("--sessions", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1, help="of the first; each next has one more")
    parser.add_argument("--servers", type=int, default=3, help="sessions at once")
    options = parser.parse_args()
    if why := missing():
        print(why)
        return 2
    jobs: SimpleQueue[tuple[str, int]] = SimpleQueue()
    done: SimpleQueue[object] = SimpleQueue()
    for i in range(options.sessions):
        jobs.put((options.kinds[i % len(options.kinds)], options.seed + i))
    for i in range(options.servers):
        threading.Thread(target=_work, args=(f"midiforge-faults{i}", jobs, done)).start()
    count, bad, working = Counter[str](), Counter[str](), options.servers
    longest = dict.fromkeys(options.kinds, 0.0)
    while working:
        result = done.get()
        if not isinstance(result, tuple):
            working -= 1
            continue
        kind, seed, wrong, lasted = result
        count[kind] += 1
        longest[kind] = max(longest[kind], lasted)
        bad[kind] += bool(wrong)
        if wrong:
            print(f"{kind}, seed {seed}: {'; '.join(wrong)}", flush=True)
    print()
    for kind in options.kinds:
        does = (KINDS[kind].__doc__ or "").strip()
        figures = f"{count[kind]:4} sessions{bad[kind]:4} wrong, ended in {longest[kind]:.1f} s"
        print(f"{kind:28}{figures}   {does}")
    print(f"{'':28}{count.total():4} sessions{bad.total():4} wrong")
    return int(bad.total() > 0)


if __name__ == "__main__":
    sys.exit(main())
