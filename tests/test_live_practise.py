"""A session at the kit through real ports: the command, and a robot that learns by ear what it is
shown and plays it, a program of its own (JACK's dummy server)."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import jack
import pytest

from midiforge.practice.log import Log

pytestmark = pytest.mark.skipif(bool(jack.missing()), reason=jack.missing())

INTERRUPTED = 130  # 128 and the signal's number, as shells have it
ROBOT = Path(__file__).parent / "robot_by_ear.py"
DRILL = """
title = "Harbour stairs"
sticking = "RLLR LRRL"
meter = "2/4"
placements = "1, 1&"
feet = "1 2"
stages = "full"
tempos = "76, 96"
"""


@pytest.fixture
def own_jack() -> Iterator[jack.Server]:
    server = jack.Server("practise")
    server.start()
    yield server
    server.end()


class Run:
    """The command and the robot; lines: what the command said so far."""

    def __init__(self, server: jack.Server, home: Path, *flags: str) -> None:
        (home / "drill.toml").write_text(DRILL)
        self.home, self.log, self.takes = home, home / "log.sqlite", home / "takes"
        environment = {**server.environment, "XDG_DATA_HOME": str(home / "data")}
        self.lines: list[str] = []
        self.robot = subprocess.Popen(
            [sys.executable, str(ROBOT), "robot", "6", "0.0", "4"],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.robot.stdout and self.robot.stdout.readline() == "ready\n"
        command = [sys.executable, "-m", "midiforge", "practise", str(home / "drill.toml")]
        command += ["--minutes", "5", "--plain", "--log", str(self.log)]
        command += ["--takes", str(self.takes), "--port", "robot:sounds"]
        self.command = subprocess.Popen(
            [*command, "--input", "hands:pads", *flags],
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        threading.Thread(target=self._hand_on, daemon=True).start()

    def _hand_on(self) -> None:
        assert self.command.stdout and self.robot.stdin
        for line in self.command.stdout:
            self.lines.append(line.rstrip())
            try:
                self.robot.stdin.write(line)
                self.robot.stdin.flush()
            except OSError:
                return

    def wait_for(self, pattern: str, seconds: float) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            for line in self.lines:
                if re.search(pattern, line):
                    return line
            time.sleep(0.1)
        raise AssertionError(f"no {pattern!r} in {self.lines}")

    def end(self, number: int = signal.SIGINT) -> int:
        self.command.send_signal(number)
        code = self.command.wait(20)
        time.sleep(0.2)
        self.robot.kill()
        self.robot.wait()
        return code


def test_a_robot_that_was_shown_an_exercise_plays_it_and_is_heard(
    own_jack: jack.Server, tmp_path: Path
) -> None:
    run = Run(own_jack, tmp_path)
    try:
        run.wait_for(r"^\d:\d\d RLLR LRRL from 1, .*at 76", 45)
        said = run.wait_for(r"^    (good|not yet):", 60)
    finally:
        code = run.end()
    assert code == INTERRUPTED
    takes = sorted(run.takes.glob("*.mid"))
    entries = Log(run.log).entries()
    assert takes
    assert len(entries) == len(takes)
    first = entries[0]
    assert first.exercise.startswith("RLLR LRRL from 1")
    assert first.clean > 0.9, said
    assert (run.takes / "day.html").exists()
    delay = next(line for line in run.lines if line.startswith("Delay of"))
    measured = re.search(r": (-?\d+) ms", delay)
    assert measured is not None and -5 <= int(measured[1]) <= 30


def test_a_kit_that_goes_is_said_and_the_session_goes_on_by_the_clock(
    own_jack: jack.Server, tmp_path: Path
) -> None:
    run = Run(own_jack, tmp_path, "--delay", "5", "--unheard")
    try:
        run.wait_for(r"^\d:\d\d RLLR", 30)
        os.kill(run.robot.pid, signal.SIGKILL)
        run.wait_for("is gone; waiting", 20)
        time.sleep(1)
        assert run.command.poll() is None
    finally:
        code = run.end()
    assert code == INTERRUPTED
    assert not any("Traceback" in line for line in run.lines)


def test_without_a_kit_it_says_that_nothing_is_heard(own_jack: jack.Server, tmp_path: Path) -> None:
    receiver = jack.Receiver(own_jack)
    (tmp_path / "drill.toml").write_text(DRILL)
    command = [sys.executable, "-m", "midiforge", "practise", str(tmp_path / "drill.toml")]
    process = subprocess.Popen(
        [*command, "--minutes", "5", "--plain", "--log", str(tmp_path / "log.sqlite")],
        env={**own_jack.environment, "XDG_DATA_HOME": str(tmp_path)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout
    line = process.stdout.readline()
    process.send_signal(signal.SIGINT)
    assert "goes by the clock" in line
    assert process.wait(15) == INTERRUPTED
    receiver.unplug()
