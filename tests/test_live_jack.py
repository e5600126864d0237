"""The command played through real ports into another program, and what becomes of faults.

Needs a JACK server (see jack.py). Times are JACK's own at the receiving port; it hands messages
on once a period, here every 1.3 ms, so that is how exact they can be. On a machine that is busy
with other things some come later, and the tests allow for that; benchmark_live.py measures it.

MIDI bytes: MIDI 1.0 Detailed Specification.
"""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from jack import PATIENCE, Receiver, Server

import midiforge

MS = 1_000_000
CLICKS = (76, 77)  # General MIDI: high and low woodblock
SILENCE = [b"\xb9\x78\x00", b"\xb9\x7b\x00"]  # controllers 120 and 123 on channel 10
CLOCK, START, STOP = b"\xf8", b"\xfa", b"\xfc"


FAST = ("--sticking", "RLRL", "--stages", "full", "--tempos", "300", "--count-in", "1")
LONG = (*FAST, "--times", "0")


@contextmanager
def playing(
    server: Server, *arguments: str, port: str = "module", **keys: Any
) -> Iterator["subprocess.Popen[str]"]:
    """The command, ended whatever happens."""
    keys = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True} | keys
    command = [sys.executable, "-m", "midiforge", "play", *arguments]
    command += ["--port", port] if port else []
    process = subprocess.Popen(command, env=server.environment, **keys)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream:
                with suppress(OSError):
                    stream.close()


def ended(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """Exit code, what was printed, and what was said on standard error."""
    out, said = process.communicate(timeout=PATIENCE)
    return process.returncode, out or "", said or ""


def hanging(messages: Sequence[bytes]) -> set[int]:
    """The notes that sound after the messages, controllers 120 and 123 not counted."""
    sounding: set[int] = set()
    for message in messages:
        if message[0] & 0xF0 == 0x90 and message[2]:
            sounding.add(message[1])
        elif message[0] & 0xE0 == 0x80:
            sounding.discard(message[1])
    return sounding


def clicks(module: Receiver) -> list[int]:
    """The clicks that were heard."""
    return [number for _, number in module.ons() if number in CLICKS]


def exactly(times: Sequence[float], expected: Sequence[float]) -> None:
    """Half within 5 ms of where they belong, nine of ten within 15 ms; none is off by 200 ms.

    Counted from where most of them say that the beginning is: the first may itself be late.
    """
    assert len(times) == len(expected)
    off = [(at - due) / MS for at, due in zip(times, expected, strict=True)]
    begin = median(off)
    wrong = sorted(abs(each - begin) for each in off)
    assert wrong[len(wrong) // 2] <= 5
    assert wrong[len(wrong) * 9 // 10] <= 15
    assert wrong[-1] <= 200


def test_every_note_arrives_in_order_where_the_exercise_says(
    jack: Server, module: Receiver
) -> None:
    keys = {"sticking": "RLRR LRLL", "feet": "tumbao", "tempos": "200", "stages": "full"}
    flags = [text for key, value in keys.items() for text in (f"--{key}", value)]
    drill = midiforge.check_drill({**keys, "count_in": 1})
    (exercise,) = midiforge.exercises(drill)
    with playing(jack, *flags, "--count-in", "1", "--times", "1") as process:
        code, out, said = ended(process)
    assert (code, said) == (0, "")
    module.until(lambda m: m.messages[-2:] == SILENCE)
    quarter = Fraction(60_000 * MS, 200)
    due = sorted((hit.time * quarter, drill.kit.note(hit.voice)) for hit in exercise.hits)
    ons = module.ons()
    assert len(ons) == len(due)
    heard = iter(ons)
    for at, moment in groupby(due, key=lambda each: each[0]):
        numbers = sorted(number for _, number in moment)
        assert sorted(next(heard)[1] for _ in numbers) == numbers, f"{float(at / MS)} ms"
    exactly([at for at, _ in ons], [float(at) for at, _ in due])
    assert hanging(module.messages) == set()
    assert exercise.title in out
    assert f"{len({at for at, _ in due})} events" in out.splitlines()[-1]


def test_python_plays_as_the_command_does(jack: Server, module: Receiver) -> None:
    code = (
        "import midiforge;"
        "keys = {'sticking': 'RLRL', 'stages': 'full', 'tempos': '300, 280', 'count_in': 1};"
        "drill = midiforge.check_drill(keys);"
        "print(midiforge.play(drill, port='module', only='1a', times=2).events)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=jack.environment, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    module.until(lambda m: m.messages[-2:] == SILENCE)
    beats = [at for at, number in module.ons() if number in CLICKS]
    exactly(beats, [i * 200 * MS for i in range(12)])
    assert int(done.stdout) > 0


def test_velocities_are_the_kits(jack: Server, module: Receiver) -> None:
    drill = midiforge.check_drill({"sticking": "R>L(R)L", "tempos": "300", "stages": "full"})
    with playing(jack, "--sticking", "R>L(R)L", "--stages", "full", "--tempos", "300") as process:
        assert ended(process)[0] == 0
    module.until(lambda m: m.messages[-2:] == SILENCE)
    heard = {m[2] for m in module.messages if m[0] == 0x99 and m[1] not in CLICKS}
    assert heard == {drill.kit.velocities[name] for name in ("accent", "tap", "ghost")}


def test_the_loop_has_no_seam_to_hear(jack: Server, module: Receiver) -> None:
    with playing(jack, *FAST, "--times", "2") as process:
        assert ended(process)[0] == 0
    module.until(lambda m: m.messages[-2:] == SILENCE)
    beats = [at for at, number in module.ons() if number in CLICKS]
    exactly(beats, [i * 200 * MS for i in range(12)])


@pytest.mark.parametrize(("number", "code"), [("SIGTERM", 143), ("SIGINT", 130), ("SIGHUP", 129)])
def test_a_signal_in_mid_bar_leaves_nothing_sounding(
    jack: Server, module: Receiver, number: str, code: int
) -> None:
    # 128 + n is how a shell says which signal ended a program (POSIX, 2.8.2 Exit Status).
    with playing(jack, *LONG, "--feet", "1 2 3 4", "--send-clock") as process:
        module.until(lambda m: len(m.ons()) > 8 and m.messages[-1][0] == 0x99)
        process.send_signal(getattr(signal, number))
        ends = ended(process)
    module.until(lambda m: m.messages[-1] == STOP)
    assert module.messages[-3:] == [*SILENCE, STOP]
    assert hanging(module.messages) == set()
    assert ends[0] == code
    assert "Traceback" not in ends[2]


def test_nobody_who_reads_is_no_reason_to_hang(jack: Server, module: Receiver) -> None:
    with playing(jack, *FAST, "--placements", "beat", "--times", "1") as process:
        module.until(lambda m: len(m.ons()) > 1)
        assert process.stdout
        process.stdout.close()
        process.stdout = None
        assert process.wait(PATIENCE) == 0
    module.until(lambda m: m.messages[-2:] == SILENCE)
    assert hanging(module.messages) == set()


def test_a_module_that_goes_and_comes_back_is_played_on(jack: Server) -> None:
    module = Receiver(jack, "lantern")
    try:
        with playing(jack, *LONG, port="lantern", bufsize=1) as process:
            said = _lines(process)
            module.until(lambda m: len(m.ons()) > 8)
            module.kill()
            _until(lambda: any("gone" in line for line in said))
            module.heard.clear()
            module.plug()
            _until(lambda: any("back" in line for line in said))
            module.until(lambda m: len(clicks(m)) > 4)
            assert process.poll() is None
            process.terminate()
            assert process.wait(PATIENCE) == 143
        module.until(lambda m: m.messages[-2:] == SILENCE)
        assert hanging(module.messages) == set()
        # A whole bar from its beginning: the first click of a bar is the high one.
        assert clicks(module)[:4] == [76, 77, 77, 77]
    finally:
        module.kill()


def test_a_program_that_was_started_again_is_told_from_the_one_before(jack: Server) -> None:
    # By its name alone its port is the same one; but nobody is connected to it any more.
    asked = (
        "import rtmidi, sys\n"
        "from midiforge.live.ports.rtmidi_system import close_client, new_client, port_run\n"
        "midi = new_client('output')\n"
        "name = next(each for each in midi.get_ports() if 'module' in each)\n"
        "print(port_run(midi, name), port_run(midi, 'nobody:in'))\n"
        "close_client(midi)\n"
    )

    def runs() -> str:
        module = Receiver(jack)
        done = subprocess.run(
            [sys.executable, "-c", asked], env=jack.environment, capture_output=True, check=True
        )
        module.unplug()
        return done.stdout.decode()

    first, second = runs(), runs()
    assert first != second
    for each in (first, second):
        assert each.startswith("(")
        assert each.endswith(" None\n")


def test_a_server_that_is_killed_and_started_again_is_found_again(own_jack: Server) -> None:
    module = Receiver(own_jack)
    try:
        with playing(own_jack, *LONG) as process:
            said = _lines(process)
            module.until(lambda m: len(m.ons()) > 8)
            own_jack.end(signal.SIGKILL)
            _until(lambda: any("gone" in line for line in said), 4)
            module.kill()
            module.heard.clear()
            own_jack.start()
            module.plug()
            _until(lambda: any("back" in line for line in said))
            module.until(lambda m: len(m.ons()) > 8)
            process.terminate()
            assert process.wait(PATIENCE) == 143
        module.until(lambda m: m.messages[-2:] == SILENCE)
        assert hanging(module.messages) == set()
    finally:
        module.kill()


def test_one_can_interrupt_while_the_module_is_gone(jack: Server) -> None:
    module = Receiver(jack, "buoy")
    with playing(jack, *LONG, port="buoy") as process:
        said = _lines(process)
        module.until(lambda m: len(m.ons()) > 4)
        module.kill()
        _until(lambda: any("gone" in line for line in said))
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE) == 130


def test_two_players_on_one_port_do_not_disturb_each_other(jack: Server, module: Receiver) -> None:
    # The second has another channel by its kit, so that they can be told apart.
    with playing(jack, *FAST, "--times", "3") as one:
        module.until(lambda m: m.ons())
        with playing(jack, *FAST, "--times", "1", "--kit", _kit_on(3)) as two:
            assert ended(two)[0] == 0
        assert ended(one)[0] == 0
    # Whichever ends last.
    module.until(lambda m: {SILENCE[1], b"\xb2\x7b\x00"} <= set(m.messages))
    module.rest()
    for channel, beats in ((9, 16), (2, 8)):
        mine = [m for m in module.messages if m[0] & 0x0F == channel]
        assert len([m for m in mine if m[0] & 0xF0 == 0x90 and m[1] in CLICKS]) == beats
        assert hanging(mine) == set()


_FOLDERS: list[Path] = []


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path) -> Iterator[None]:
    _FOLDERS.append(tmp_path)
    yield
    _FOLDERS.pop()


def _kit(content: str) -> str:
    path = _FOLDERS[-1] / "mine.toml"
    path.write_text(f"starts_from = 'general-midi-1'\n{content}", encoding="utf-8")
    return str(path)


def _kit_on(channel: int) -> str:
    return _kit(f"channel = {channel}\n")


CONTROLS = "[controls]\nnext = 'note 49'\nquit = 'controller 64'\nhands = 'program 5'\n"


@pytest.fixture
def pad(jack: Server) -> Iterator[Any]:
    """A pad of the kit, as `pad:out`."""
    import rtmidi

    assert jack
    midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="pad")
    midi.open_virtual_port("out")
    yield midi
    midi.close_port()
    midi.delete()


def test_a_pad_moves_on_to_the_next_exercise_and_a_pedal_quits(
    jack: Server, module: Receiver, pad: Any
) -> None:
    flags = (*LONG, "--placements", "0, 1", "--kit", _kit(CONTROLS), "--input", "pad")
    with playing(jack, *flags) as process:
        said = _lines(process)
        module.until(lambda m: len(m.ons()) > 5)
        # What a kit sends besides: active sensing, clock, a note-on of velocity 0, sysex.
        for message in ([0xFE], [0xF8], [0x99, 49, 0], [0xF0, 0x7E, 0x7F, 9, 1, 0xF7]):
            pad.send_message(message)
        time.sleep(0.3)
        assert not any(line.startswith("2.") for line in said)
        pad.send_message([0x99, 49, 100])
        pad.send_message([0x99, 49, 0])
        pad.send_message([0x99, 49, 30])  # a double trigger is one stroke
        _until(lambda: any(line.startswith("2.") for line in said))
        pad.send_message([0xB9, 64, 127])
        assert process.wait(PATIENCE) == 0
    module.until(lambda m: m.messages[-2:] == SILENCE)
    assert hanging(module.messages) == set()
    assert len([line for line in said if line.startswith(("1.", "2."))]) == 2


def test_a_flood_from_the_kit_does_not_hold_up_the_music(
    jack: Server, module: Receiver, pad: Any
) -> None:
    flags = (*FAST, "--times", "3", "--kit", _kit(CONTROLS), "--input", "pad")
    with playing(jack, *flags) as process:
        module.until(lambda m: len(m.ons()) > 2)
        for i in range(1000):
            pad.send_message([0xB9, 4, i % 128])  # a hi-hat pedal that never rests
            if i % 20 == 0:
                time.sleep(0.005)
        assert ended(process)[0] == 0
    module.until(lambda m: m.messages[-2:] == SILENCE)
    beats = [at for at, number in module.ons() if number in CLICKS]
    assert len(beats) == 16
    off = [abs(b - a - 200 * MS) / MS for a, b in pairwise(beats)]
    assert sorted(off)[len(off) // 2] <= 5


def test_beat_clock_arrives_24_to_a_quarter(jack: Server, module: Receiver) -> None:
    with playing(jack, *FAST, "--times", "1", "--send-clock") as process:
        assert ended(process)[0] == 0
    module.until(lambda m: m.messages[-1] == STOP)
    messages = module.messages
    assert messages[:2] == [START, CLOCK]
    sent = [at for at, _, m in module.heard if m == CLOCK]
    assert len(sent) == 24 * 8
    exactly(sent, [float(Fraction(i * 200 * MS, 24)) for i in range(len(sent))])


SLOW = """
import sys, time
import midiforge.live.playing.bars as bars
playable = bars.playable
def slow(exercise, *others):
    time.sleep(3600 if exercise.number.piece == 2 else 0)
    return playable(exercise, *others)
bars.playable = slow
from midiforge.command.run import run
sys.exit(run(["play", *sys.argv[1:]]))
"""


def test_quitting_does_not_wait_for_an_exercise_that_is_being_made(
    jack: Server, module: Receiver
) -> None:
    command = [sys.executable, "-c", SLOW, *LONG, "--placements", "0, 1", "--port", "module"]
    process = subprocess.Popen(command, env=jack.environment, stdout=subprocess.DEVNULL)
    try:
        module.until(lambda m: len(m.ons()) > 4)
        process.terminate()
        assert process.wait(PATIENCE) == 143
    finally:
        process.kill()
        process.wait()
    module.until(lambda m: m.messages[-2:] == SILENCE)


class Master:
    """A sequencer, `master:out`, that can be pulled and plugged in again."""

    def __init__(self) -> None:
        self.plug()

    def plug(self) -> None:
        import rtmidi

        self._midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="master")
        self._midi.open_virtual_port("out")

    def pull(self) -> None:
        self._midi.close_port()
        self._midi.delete()

    def run(self, enough: Any) -> None:
        """Sends start and beat clock at 300 until there is enough."""
        self._midi.send_message(START)
        end = time.monotonic() + PATIENCE
        while not enough():
            assert time.monotonic() < end, "it did not happen in time"
            self._midi.send_message(CLOCK)
            time.sleep(0.2 / 24)


def test_a_master_that_goes_and_comes_back_is_followed_again(
    jack: Server, module: Receiver
) -> None:
    master = Master()
    try:
        with playing(jack, *LONG, "--follow", "master") as process:
            said = _lines(process)
            _until(lambda: any("waiting for start" in line for line in said))
            time.sleep(0.3)  # the connection does not carry at once
            master.run(lambda: len(clicks(module)) > 4)
            master.pull()
            _until(lambda: "the master's input is gone; waiting for it to come back\n" in said)
            master.plug()
            _until(lambda: "the master's input is back\n" in said)
            module.rest()
            module.heard.clear()
            time.sleep(0.3)
            master.run(lambda: len(clicks(module)) > 4)
            process.terminate()
            assert process.wait(PATIENCE) == 143
    finally:
        master.pull()
    module.until(lambda m: m.messages[-2:] == SILENCE)
    assert clicks(module)[:4] == [76, 77, 77, 77]


def test_ports_are_listed_by_number_and_name(jack: Server, module: Receiver) -> None:
    import json

    def ports(*flags: str) -> str:
        command = [sys.executable, "-m", "midiforge", "ports", *flags]
        return subprocess.run(
            command, env=jack.environment, check=True, capture_output=True, text=True
        ).stdout

    assert module
    outputs = [row for row in json.loads(ports("--json")) if row["direction"] == "output"]
    (mine,) = [row for row in outputs if row["name"] == "module:in"]
    assert any(
        line.split() == ["output", str(mine["number"]), "module:in"]
        for line in ports().splitlines()
    )


def test_a_port_is_found_by_number_and_alone_without_a_name(jack: Server, module: Receiver) -> None:
    for port in ("1", ""):
        module.heard.clear()
        with playing(jack, *FAST, port=port) as process:
            module.until(lambda m: m.ons())
            process.terminate()
            assert process.wait(PATIENCE) == 143
        module.rest()


def test_a_name_that_is_nobodys_says_who_there_is(jack: Server, module: Receiver) -> None:
    assert module
    with playing(jack, *FAST, port="modul3") as process:
        code, _, said = ended(process)
    assert code == 2
    assert said.count("\n") == 1
    assert "'modul3'" in said and "module:in" in said


def test_no_server_is_one_line_that_says_what_to_do(jack: Server) -> None:
    environment = {**jack.environment, "JACK_DEFAULT_SERVER": "nobody-is-here"}
    command = [sys.executable, "-m", "midiforge", "play", *FAST]
    done = subprocess.run(
        command, env=environment, check=False, capture_output=True, text=True, timeout=PATIENCE
    )
    if "/dev/snd/seq" in done.stderr or Path("/dev/snd/seq").exists():
        pytest.skip("this machine has ALSA's sequencer, which is used then")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "jackd" in done.stderr


def test_a_virtual_port_can_be_connected_to(jack: Server) -> None:
    import rtmidi

    heard: list[bytes] = []
    with playing(jack, *LONG, "--virtual", port="") as process:
        midi = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="listener")
        midi.set_callback(lambda event, _: heard.append(bytes(event[0])))
        try:
            _until(lambda: "midiforge:out" in midi.get_ports())
            midi.open_port(midi.get_ports().index("midiforge:out"))
            _until(lambda: len(heard) > 6)
            process.terminate()
            assert process.wait(PATIENCE) == 143
        finally:
            midi.close_port()
            midi.delete()
    assert heard[0][0] in (0x99, 0x89)


# Under a terminal

pty = pytest.importorskip("pty", reason="this system has no pseudo terminals")


class Terminal:
    """A terminal of 80 by 24, and what it was shown."""

    def __init__(self) -> None:
        import fcntl
        import struct
        import termios

        self.keyboard, self.line = pty.openpty()
        fcntl.ioctl(self.line, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self.line)
        self.shown = ""
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        with suppress(OSError):
            while data := os.read(self.keyboard, 65536):
                self.shown += data.decode("utf-8", "replace")

    def press(self, keys: str) -> None:
        os.write(self.keyboard, keys.encode())

    @property
    def settings(self) -> list[Any]:
        import termios

        return termios.tcgetattr(self.line)

    def close(self) -> None:
        os.close(self.line)
        os.close(self.keyboard)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    found = Terminal()
    yield found
    found.close()


def _own_terminal() -> None:
    """Makes standard input the terminal that signals come from."""
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@contextmanager
def on_terminal(
    server: Server, terminal: Terminal, *arguments: str
) -> Iterator["subprocess.Popen[str]"]:
    line = terminal.line
    with playing(
        server,
        *arguments,
        stdin=line,
        stdout=line,
        stderr=line,
        start_new_session=True,
        preexec_fn=_own_terminal,
    ) as process:
        yield process


def restored(terminal: Terminal) -> None:
    assert terminal.settings == terminal.before
    assert terminal.shown.count("\x1b[?1049h") == terminal.shown.count("\x1b[?1049l") == 1
    assert terminal.shown.rindex("\x1b[?25h") > terminal.shown.rindex("\x1b[?25l")


def test_keys_under_a_terminal(jack: Server, module: Receiver, terminal: Terminal) -> None:
    with on_terminal(jack, terminal, *LONG, "--placements", "0, 1") as process:
        module.until(lambda m: len(m.ons()) > 4)
        assert terminal.settings != terminal.before
        terminal.press("+")
        _until(lambda: "302" in terminal.shown)
        terminal.press("n")
        _until(lambda: "next: the end" in terminal.shown)
        terminal.press(" ")
        _until(lambda: "PAUSED" in terminal.shown)
        module.rest(0.4)
        count = len(module.heard)
        assert hanging(module.messages) == set()
        assert module.messages[-2:] == SILENCE
        terminal.press(" ")
        module.until(lambda m: len(m.heard) > count + 8)
        terminal.press("q")
        assert process.wait(PATIENCE) == 0
        _until(lambda: "99th percentile" in " ".join(terminal.shown.split()))
    module.until(lambda m: m.messages[-2:] == SILENCE)
    restored(terminal)
    assert hanging(module.messages) == set()
    assert "Traceback" not in terminal.shown


def test_lines_instead_of_a_screen_take_the_same_keys(
    jack: Server, module: Receiver, terminal: Terminal
) -> None:
    flags = (*LONG, "--placements", "+0, +1", "--plain")
    with on_terminal(jack, terminal, *flags) as process:
        module.until(lambda m: len(m.ons()) > 4)
        terminal.press("n")
        _until(lambda: "from 1e" in terminal.shown or "2 of 2" in terminal.shown)
        terminal.press("q")
        assert process.wait(PATIENCE) == 0
    assert terminal.settings == terminal.before
    assert "\x1b" not in terminal.shown
    assert hanging(module.messages) == set()


@pytest.mark.parametrize(("how", "code"), [("SIGTERM", 143), ("SIGHUP", 129), ("\x03", 130)])
def test_the_terminal_is_put_back_however_it_ends(
    jack: Server, module: Receiver, terminal: Terminal, how: str, code: int
) -> None:
    with on_terminal(jack, terminal, *LONG) as process:
        module.until(lambda m: len(m.ons()) > 4)
        if how.startswith("SIG"):
            process.send_signal(getattr(signal, how))
        else:
            terminal.press(how)
        assert process.wait(PATIENCE) == code
        _until(lambda: "\x1b[?1049l" in terminal.shown)
    module.until(lambda m: m.messages[-2:] == SILENCE)
    restored(terminal)
    assert hanging(module.messages) == set()


def test_arrow_keys_ask_for_nothing(jack: Server, module: Receiver, terminal: Terminal) -> None:
    # A terminal sends ESC [ A to ESC [ H for arrows, End and Home (ECMA-48 cursor keys).
    with on_terminal(jack, terminal, *LONG) as process:
        module.until(lambda m: len(m.ons()) > 4)
        for key in "BCFH":
            terminal.press(f"\x1b[{key}")
        time.sleep(0.5)
        terminal.press("q")
        assert process.wait(PATIENCE) == 0
    assert "silent:" not in terminal.shown


def test_ctrl_z_does_not_stop_the_music(jack: Server, module: Receiver) -> None:
    # A stopped program could not end what sounds.
    with playing(jack, *LONG, process_group=0) as process:
        module.until(lambda m: len(m.ons()) > 2)
        process.send_signal(signal.SIGTSTP)
        count = len(module.ons())
        module.until(lambda m: len(m.ons()) > count + 4)


def _lines(process: "subprocess.Popen[str]") -> list[str]:
    """What a program prints, as it comes."""
    lines: list[str] = []

    def read() -> None:
        assert process.stdout
        with suppress(ValueError, OSError):
            for line in process.stdout:
                lines.append(line)

    threading.Thread(target=read, daemon=True).start()
    return lines


def _until(true: Any, patience: float = PATIENCE) -> None:
    end = time.monotonic() + patience
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.01)
