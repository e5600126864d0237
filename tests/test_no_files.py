"""What is no file is refused at once, wherever a file is read: opening a pipe that nobody writes
to waits for ever, and some devices never end.

No published source: the rules are the project's own.
"""

import os
import signal
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from midiforge.command.run import run

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pipes in the file system")

DRILL = 'sticking = "RLRR LRLL"\ntempos = [90]\n'
KINDS = {"pipe": "a pipe", "folder": "a folder", "device": "a device", "socket": "a socket"}
READING = {
    "review, the take": ["review", "{}", "drill.toml", "--no-log"],
    "review, the drill": ["review", "take.mid", "{}", "--no-log"],
    "import": ["import", "{}"],
    "build": ["build", "{}", "--out", "out"],
    "sheet": ["sheet", "{}", "--out", "out.html"],
    "show": ["show", "{}"],
    "play": ["play", "{}"],
    "loop": ["loop", "{}", "--out", "out"],
    "plan": ["plan", "{}"],
    "log": ["log", "--log", "{}"],
    "next": ["next", "drill.toml", "--log", "{}"],
}


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.chdir(tmp_path)
    Path("drill.toml").write_text(DRILL)
    Path("folder").mkdir()
    os.mkfifo("pipe")
    Path("device").symlink_to("/dev/zero")

    def waits(*_: object) -> None:
        raise TimeoutError("it was opened, and waits")

    before = signal.signal(signal.SIGALRM, waits)
    signal.alarm(20)
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind("socket")
        yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("command", READING)
def test_what_is_no_file_is_not_opened(
    capsys: pytest.CaptureFixture[str], command: str, kind: str
) -> None:
    there = {*Path().iterdir()}
    assert run([each.format(kind) for each in READING[command]]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
    assert kind in said.err and KINDS[kind] in said.err
    assert {*Path().iterdir()} == there


@pytest.mark.parametrize("kind", KINDS)
def test_a_kit_is_a_file(capsys: pytest.CaptureFixture[str], kind: str) -> None:
    assert run(["show", "drill.toml", "--kit", kind]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_nothing_can_be_read_of_what_is_empty(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["import", os.devnull]) == 2
    assert "a device" in capsys.readouterr().err
