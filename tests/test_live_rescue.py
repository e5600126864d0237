"""What becomes of sound, takes and terminal when the player or the server dies in the midst of it.

The player is killed as no program can prevent (SIGKILL), or its JACK server is killed and started
again, which libjack does not get over while a client of the dead server is still open. The same
faults, three hundred of them, are in live_faults.py.
"""

import ctypes
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import pytest
from jack import PATIENCE, Receiver, Server
from test_live_jack import CLOCK, STOP, hanging

import midiforge
from midiforge.hear.take import read_take
from midiforge.live.playing.bars import playable
from midiforge.live.playing.route import Place
from midiforge.live.playing.signals import quitting
from midiforge.live.recording import journal
from midiforge.live.recording.recorder import Recorder
from midiforge.live.recording.recording import rescued
from midiforge.live.recording.waiting import journals_wait

FUNK = str(Path(__file__).parent.parent / "examples" / "07-harbour-lights-funk.toml")
SNARE = 38

# A kit: what it sends, twenty strokes a second, it tells.
STICKS = """
import sys, time, rtmidi
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="sticks")
out.open_virtual_port("out")
print("ready", flush=True)
while True:
    out.send_message([0x99, 38, 100]); out.send_message([0x89, 38, 0])
    print("stroke", flush=True)
    time.sleep(0.05)
"""


@contextmanager
def sticks(server: Server) -> Iterator[list[str]]:
    """Somebody drums; gives the strokes so far."""
    process = subprocess.Popen(
        [sys.executable, "-c", STICKS], env=server.environment, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout and process.stdout.readline() == "ready\n"
    strokes: list[str] = []
    threading.Thread(target=lambda: strokes.extend(process.stdout or ()), daemon=True).start()
    try:
        yield strokes
    finally:
        process.kill()
        process.wait()


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "midiforge", *arguments]


def playing(server: Server, home: Path, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        command("play", FUNK, "--only", "7a", "--times", "0", *arguments),
        env=server.environment | {"XDG_DATA_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def until(is_so: object, patience: float = PATIENCE) -> None:
    end = time.monotonic() + patience
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_killed_player_leaves_silence_and_the_next_command_has_its_take(
    jack: Server, module: Receiver, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    with sticks(jack) as struck:
        process = playing(
            jack, tmp_path, "--port", "module", "--input", "sticks", "--record", str(path),
            "--send-clock",
        )  # fmt: skip
        module.until(lambda m: len(m.ons()) > 20 and hanging(m.messages))
        until(lambda: len(struck) > 30)
        process.kill()
        process.communicate()
        module.until(lambda m: STOP in m.messages and not hanging(m.messages), 2.5)
    assert CLOCK in module.messages
    assert not path.exists()
    done = subprocess.run(
        command("list", "kits", "--json"),
        env=os.environ | {"XDG_DATA_HOME": str(tmp_path)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    json.loads(done.stdout)
    assert "cut short" in done.stderr and str(path) in done.stderr
    take = read_take(path)
    assert 15 <= len(take.strokes) <= len(struck)
    assert take.start is not None and str(take.exercise) == "7a"
    assert not list((tmp_path / "midiforge" / "recordings").iterdir())


def test_a_server_that_is_started_again_takes_neither_the_player_nor_its_take_along(
    own_jack: Server, tmp_path: Path
) -> None:
    path = tmp_path / "take.mid"
    module = Receiver(own_jack)
    flags = ("--port", "module", "--input", "sticks", "--record", str(path))
    with sticks(own_jack):
        process = playing(own_jack, tmp_path, *flags)
        module.until(lambda m: len(m.ons()) > 20)
        time.sleep(0.5)
        own_jack.end(signal.SIGKILL)
        module.kill()
    time.sleep(0.6)
    own_jack.start()
    module = Receiver(own_jack)
    with sticks(own_jack) as struck:
        try:
            module.until(lambda m: len(m.ons()) > 20)
            until(lambda: len(struck) > 60)
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=PATIENCE)
            assert (process.returncode, said) == (130, "midiforge: interrupted\n")
        finally:
            process.kill()
            process.wait()
            module.unplug()
    takes = sorted(tmp_path.glob("take*.mid"))
    assert len(takes) == 2  # before, and after
    assert all(len(read_take(take).strokes) >= 5 for take in takes)


# The journal itself


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def journalled(path: Path, strokes: int) -> Recorder:
    """Two bars with strokes, on disk; by a process that has ended."""
    drill = midiforge.check_drill({"sticking": "RLRL", "tempos": "100", "count_in": 1})
    (exercise,) = [each for each in midiforge.exercises(drill) if each.stage == "hands"]
    head = {"path": str(path), "several": False, "digits": 2, "begin": 10**12, "alone": None}
    recorder = Recorder(10**12)
    recorder.journal = journal.Journal(head)
    made = playable(exercise, drill.kit)
    at, beat = 10**12 + 10**9, 600_000_000
    for number in (-1, 0):
        place = Place(0, made, made.bar(number), 1, 1, number < 0, False)
        recorder.began(place, at + 4 * beat * (number + 1), number == 0)
    for i in range(strokes):
        recorder.heard(bytes((0x99, SNARE, 90)), at + 4 * beat + i * beat // 4)
    recorder.journal._file.close()  # type: ignore[attr-defined]  # as if the process had ended
    return recorder


def test_a_take_made_of_its_journal_is_the_take_that_would_have_been_written(home: Path) -> None:
    recorder = journalled(home / "take.mid", 16)
    assert journals_wait()
    [kept] = rescued()
    assert [take.path for take in kept.takes] == [home / "take.mid"]
    take = read_take(home / "take.mid")
    [straight] = recorder.takes(recorder.end + 1)
    assert len(take.strokes) == straight.strokes == 16
    times = [stroke.time for stroke in take.strokes]
    assert [round(b - a, 3) for a, b in pairwise(times)] == [0.15] * 15
    assert not journals_wait() and rescued() == []


def test_of_a_torn_journal_all_that_is_whole_is_kept(home: Path) -> None:
    journalled(home / "take.mid", 16)
    [path] = (home / "data" / "midiforge" / "recordings").iterdir()
    whole = path.read_bytes()
    for cut in (5, 12, 25, 60, 200):
        path.write_bytes(whole[:-cut])
        [kept] = rescued()
        assert 1 <= kept.takes[0].strokes < 16
        kept.takes[0].path.unlink()


@pytest.mark.parametrize("content", [b"", b"{}", b"nothing\n", b"\x00" * 5000, b"[1]\nm 1 99\n"])
def test_what_is_no_journal_is_let_lie_and_not_taken_up_again(home: Path, content: bytes) -> None:
    folder = home / "data" / "midiforge" / "recordings"
    folder.mkdir(parents=True)
    (folder / "2026.journal").write_bytes(content)
    assert rescued() == []
    assert not journals_wait()


def test_the_journal_of_a_recording_that_runs_is_left_alone(home: Path) -> None:
    running = journal.begin(
        {"path": str(home / "t.mid"), "several": False, "digits": 2, "begin": 1, "alone": None}
    )
    assert running is not None
    running.message(5, bytes((0x99, SNARE, 90)))
    code = "from midiforge.live.recording.recording import rescued; print(rescued())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
    assert journals_wait()
    running.remove()
    assert not journals_wait()


def test_a_take_that_can_be_written_nowhere_waits_for_the_next_command(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tempfile

    journalled(home / "gone" / "take.mid", 16)
    monkeypatch.setattr(tempfile, "tempdir", str(home / "gone"))
    assert rescued() == []
    assert journals_wait()
    (home / "gone").mkdir()
    [kept] = rescued()
    assert kept.takes[0].strokes == 16


@pytest.mark.parametrize("number", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_when_the_terminal_is_closed_ends_as_always(
    jack: Server, module: Receiver, tmp_path: Path, number: str
) -> None:
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        command("play", FUNK, "--only", "7a", "--times", "0", "--port", "module"),
        env=jack.environment | {"XDG_DATA_HOME": str(tmp_path), "TERM": "xterm"},
        stdin=theirs, stdout=theirs, stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    try:
        module.until(lambda m: len(m.ons()) > 20)
        os.close(ours)
        process.send_signal(getattr(signal, number))
        assert process.wait(3) == 128 + getattr(signal, number)
    finally:
        process.kill()
        process.wait()
    module.until(lambda m: not hanging(m.messages), 2)


def test_a_call_of_the_system_goes_on_after_a_signal_that_only_asks() -> None:
    """As libjack needs it, which takes an interrupted read for one that failed (POSIX, read)."""
    libc = ctypes.CDLL(None, use_errno=True)
    ours, theirs = os.pipe()
    asked: list[str] = []
    timers = [
        threading.Timer(0.1, os.kill, [os.getpid(), signal.SIGINT]),
        threading.Timer(0.3, os.write, [theirs, b"x"]),
    ]
    with pytest.raises(KeyboardInterrupt), quitting(lambda: asked.append("quit")):
        for timer in timers:
            timer.start()
        assert libc.read(ours, ctypes.create_string_buffer(1), 1) == 1
        assert asked
    os.close(ours)
    os.close(theirs)
