"""Learning a kit: from what pads send to a kit file.

Published sources: MIDI 1.0 (note on with velocity 0 is a note off; controller 4 is the foot
controller; status bytes), MIDI CA-031 (controller 88, the fine part of a velocity), General MIDI
level 1 percussion map. The notes of the pads are made up, or those of that map. That a rim shot
triggers the head too, and that strong strokes make other pads tremble, is common practice.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import midiforge
from midiforge.command.kit import kit_app
from midiforge.errors import MidiforgeError
from midiforge.files.own_file import KIT
from midiforge.kits.learn.hihat_pedal import openness
from midiforge.kits.learn.kit_file import kit_file
from midiforge.kits.learn.learn import Learning
from midiforge.kits.learn.steps import controls_asked, voices_asked
from midiforge.kits.learn.strokes import Strokes, StruckNote

MS = 1_000_000
BASE = midiforge.read_kit("general-midi-1")


class Player:
    """Plays into a learning, with a clock of its own."""

    def __init__(self, voices: str = "", controls: str = "") -> None:
        self.learning = Learning.of(voices_asked(voices), controls_asked(controls))
        self.now = 5_000 * MS

    def send(self, *message: int, after: int = 0) -> None:
        self.now += after * MS
        self.learning.heard(bytes(message), self.now)

    def wait(self, ms: int) -> None:
        for _ in range(0, ms, 20):
            self.now += 20 * MS
            self.learning.until(self.now)

    def hit(self, *notes: int, times: int = 3, velocity: int = 100, every: int = 400) -> None:
        for _ in range(times):
            for note in notes:
                self.send(0x99, note, velocity)
                self.send(0x89, note, 64)
            self.wait(every)

    def teach(self, *notes: int) -> None:
        """Hits a pad and waits a little, as one does."""
        self.hit(*notes)
        self.wait(1200)

    @property
    def asked(self) -> str:
        return self.learning.step.name

    def notes(self) -> dict[str, tuple[int, ...]]:
        return {voice: found.notes for voice, found in self.learning.pads.items()}

    def kit(self, folder: Path, base: str = "general-midi-1") -> midiforge.Kit:
        text = kit_file(self.learning, midiforge.read_kit(base), base, "mine", 'my "kit"')
        (folder / "mine.toml").write_text(text, encoding="utf-8")
        return midiforge.read_kit(str(folder / "mine.toml"))


def test_three_strokes_of_a_pad_take_a_voice() -> None:
    player = Player()
    player.hit(36, times=2)
    assert (player.asked, player.learning.strokes) == ("bass-drum", 2)
    player.hit(36, times=1)
    assert (player.asked, player.notes()) == ("snare", {"bass-drum": (36,)})


def test_silence_skips_nothing_and_forgets_nothing() -> None:
    player = Player()
    player.hit(36, times=2)
    player.wait(60_000)
    player.hit(36, times=1)
    assert player.notes() == {"bass-drum": (36,)}


def test_strokes_that_go_on_after_the_third_belong_to_no_voice() -> None:
    player = Player("snare,tom-high")
    player.hit(38, times=6)
    assert (player.asked, player.learning.strokes) == ("tom-high", 0)


def test_a_slip_is_not_learnt() -> None:
    player = Player("snare,tom-high")
    player.hit(38, times=2)
    player.hit(48, times=1)
    player.hit(38, times=1)
    assert player.notes() == {"snare": (38,)}


def test_the_zones_of_one_voice_hit_in_turn_are_all_learnt() -> None:
    player = Player("crash,china")
    for note in (49, 55, 49, 55, 49):
        player.hit(note, times=1)
    assert player.notes() == {"crash": (49, 55)}


def test_notes_that_always_come_together_are_all_learnt() -> None:
    player = Player("snare,china")
    player.hit(38, 71)
    assert player.notes() == {"snare": (38, 71)}


def test_a_pad_that_trembles_along_is_not_learnt() -> None:
    """Told by strength, whether it comes a little before or after."""
    player = Player("snare,tom-high")
    for before in (True, False, True):
        if before:
            player.send(0x99, 48, 20)
        player.send(0x99, 38, 110, after=3)
        player.send(0x99, 48, 30, after=6)
        player.wait(400)
    assert player.notes() == {"snare": (38,)}


def test_a_double_trigger_is_one_stroke() -> None:
    player = Player("snare,tom-high")
    for _ in range(2):
        player.send(0x99, 38, 100)
        player.send(0x99, 38, 90, after=25)
        player.wait(400)
    assert player.learning.strokes == 2


def test_a_weaker_bounce_of_the_same_pad_is_no_stroke() -> None:
    strokes = Strokes()
    found = []
    for ms, velocity in ((0, 100), (90, 30), (500, 100), (590, 90)):
        found += list(strokes.add(StruckNote(38, velocity, 10, ms * MS)))
    found += list(strokes.until(10_000 * MS))
    assert [stroke.time // MS for stroke in found] == [0, 500, 590]


def test_notes_within_40_ms_are_one_stroke_and_later_ones_another() -> None:
    """The window is the project's own."""
    for gap, count in ((39, 1), (41, 2)):
        strokes = Strokes()
        found = []
        for ms, number in ((0, 38), (gap, 40)):
            found += list(strokes.add(StruckNote(number, 100, 10, ms * MS)))
        found += list(strokes.until(1000 * MS))
        assert len(found) == count


def test_a_rim_shot_that_triggers_the_head_too_is_the_rim() -> None:
    player = Player("snare,snare-rim,china")
    player.teach(38)
    player.teach(38, 40)
    assert player.notes() == {"snare": (38,), "snare-rim": (40,)}


def test_a_rim_that_sends_the_head_s_note_is_said_and_not_learnt() -> None:
    player = Player("snare,snare-rim")
    player.teach(38)
    player.teach(38)
    assert player.asked == "snare-rim"
    assert "note 38 is Snare drum already" in player.learning.message


def test_crosstalk_taken_for_a_zone_is_given_back_when_its_own_pad_is_struck() -> None:
    player = Player("snare,tom-high,china")
    player.teach(38, 48)
    assert player.notes() == {"snare": (38, 48)}
    player.teach(48)
    assert player.notes() == {"snare": (38,), "tom-high": (48,)}


def test_three_strokes_of_the_bass_drum_skip_a_voice() -> None:
    player = Player("bass-drum,china,splash")
    player.teach(36)
    player.hit(36, times=2)
    assert player.asked == "china"
    player.hit(36, times=1)
    assert player.asked == "splash"
    player.wait(1000)
    player.hit(36, times=1)
    assert (player.asked, player.learning.message) == ("splash", "bass drum 1 of 3: skip this one")


def test_a_pause_begins_the_strokes_that_skip_anew() -> None:
    player = Player("bass-drum,china,splash")
    player.teach(36)
    player.hit(36, times=2)
    player.wait(5000)
    player.hit(36, times=2)
    assert player.asked == "china"


def test_a_drum_that_is_skipped_takes_its_zones_with_it() -> None:
    player = Player()
    player.teach(36)
    player.teach(36)
    assert player.asked == "hihat-closed"


def test_twelve_strokes_of_the_bass_drum_go_to_the_end_and_three_of_any_pad_finish() -> None:
    player = Player()
    player.teach(36)
    player.hit(36, times=12)
    assert player.learning.step.kind == "end"
    player.hit(36, times=5)
    assert not player.learning.done
    player.wait(1500)
    player.hit(36, times=3)
    assert player.learning.done


def test_twelve_strokes_of_the_bass_drum_skip_the_voices_not_the_controls() -> None:
    player = Player("", "pause,next")
    player.teach(36)
    player.hit(36, times=12)
    assert player.asked == "pause"


def test_a_roll_asks_for_the_one_before_again() -> None:
    player = Player("snare,tom-high,tom-mid")
    player.teach(45)
    assert player.asked == "tom-high"
    player.hit(45, times=12, every=100)
    player.wait(600)
    assert (player.asked, player.notes()) == ("snare", {})
    player.teach(38)
    assert player.notes() == {"snare": (38,)}


def test_the_last_voice_can_be_redone_before_the_file_is_written() -> None:
    player = Player("snare")
    player.teach(45)
    player.hit(45, times=10, every=100)
    player.wait(600)
    assert (player.asked, player.learning.done) == ("snare", False)


def test_a_drum_skipped_with_its_zones_is_asked_again_as_a_whole() -> None:
    player = Player("snare,snare-rim,side-stick,ride")
    player.learning.skip()
    assert player.asked == "ride"
    player.learning.back()
    assert player.asked == "snare"


def test_quick_strokes_are_not_taken_for_three_single_ones() -> None:
    player = Player("snare,tom-high")
    player.hit(38, times=7, every=100)
    player.wait(1000)
    assert player.asked == "snare"


def hihat(player: Player, note: int, pedal: int) -> None:
    """A module that sends the foot controller as it moves, and before each stroke."""
    for value in (0, 64, pedal):
        player.send(0xB9, 4, value, after=30)
    for _ in range(3):
        player.send(0xB9, 4, pedal)
        player.hit(note, times=1)
    player.wait(1200)


def test_the_hihat_s_openness_is_learnt_from_the_pedal_alone(tmp_path: Path) -> None:
    """One note for all; controller 4 is the foot controller (MIDI 1.0)."""
    player = Player("hihat-closed,hihat-open,hihat-half,hihat-pedal")
    for note, pedal in ((42, 120), (42, 4), (42, 60), (44, 127)):
        hihat(player, note, pedal)
    assert player.learning.step.kind == "end"
    kit = player.kit(tmp_path)
    heard = [kit.voice(42, pedal) for pedal in (0, 4, 60, 120, 127)]
    assert heard == ["hihat-open", "hihat-open", "hihat-half", "hihat-closed", "hihat-closed"]
    assert kit.voice(44, 127) == "hihat-pedal"


def test_the_thresholds_lie_halfway_between_what_was_heard() -> None:
    player = Player("hihat-closed,hihat-open,hihat-half")
    for note, pedal in ((42, 120), (46, 0), (46, 60)):
        hihat(player, note, pedal)
    assert openness(player.learning.pads) == {
        "controller": 4,
        "open_below": 30,
        "closed_above": 90,
    }


def test_without_a_half_open_stroke_the_thresholds_part_the_way_in_three() -> None:
    player = Player("hihat-closed,hihat-open")
    for note, pedal in ((42, 120), (46, 0)):
        hihat(player, note, pedal)
    assert openness(player.learning.pads) == {
        "controller": 4,
        "open_below": 40,
        "closed_above": 80,
    }


def test_an_open_hihat_with_the_foot_down_is_the_closed_one() -> None:
    player = Player("hihat-closed,hihat-open")
    hihat(player, 42, 120)
    hihat(player, 42, 118)
    assert player.asked == "hihat-open"


def test_the_fine_part_of_a_velocity_is_no_pedal() -> None:
    """Controller 88 comes before each note (MIDI CA-031)."""
    player = Player("hihat-closed,hihat-open")
    for note, fine in ((42, 120), (42, 3)):
        for _ in range(3):
            player.send(0xB9, 88, fine)
            player.hit(note, times=1)
        player.wait(1200)
    assert (player.asked, openness(player.learning.pads)) == ("hihat-open", {})


def test_controls_take_a_spare_pad_a_pedal_and_a_program() -> None:
    player = Player("snare", "pause,next,quit")
    player.teach(38)
    player.teach(38)  # plays the snare drum
    assert player.asked == "pause"
    player.teach(75)
    for _ in range(3):
        player.send(0xB9, 64, 127, after=400)
        player.send(0xB9, 64, 0, after=100)
    for _ in range(3):
        player.send(0xC9, 4, after=400)
    assert player.learning.bound == {
        "pause": ("note", 75),
        "next": ("controller", 64),
        "quit": ("program", 5),
    }


def test_neither_the_hihat_s_pedal_nor_a_mode_message_is_bound() -> None:
    """Controllers 120 to 127 are channel mode messages (MIDI 1.0)."""
    player = Player("hihat-closed,hihat-open", "pause")
    for note, pedal in ((42, 120), (46, 0)):
        hihat(player, note, pedal)
    assert player.asked == "pause"
    for _ in range(4):
        for number in (4, 126):
            player.send(0xB9, number, 0, after=400)
            player.send(0xB9, number, 127, after=400)
    assert player.learning.bound == {}


def test_one_pad_is_not_bound_twice() -> None:
    player = Player("snare", "pause,next")
    player.learning.skip()
    player.teach(75)
    player.teach(75)
    assert player.asked == "next"


def test_what_is_no_stroke_is_never_fatal_and_never_learnt() -> None:
    """Note on with velocity 0 is a note off; 0xF8 and above are real time, 0xF0 sysex (MIDI 1.0).
    A keyboard's aftertouch, wheels and cut-off messages are let go by too."""
    player = Player("snare")
    messages = [b"", b"\x99", b"\x99\x26", b"\x99\x26\x00", b"\x26\x64", b"\xf0\x7e\x01\xf7"]
    messages += [b"\xfe", b"\xf8", b"\xff", b"\xa9\x26\x40", b"\xe9\x00\x40", b"\xd9\x40"]
    messages += [b"\x99\xff\xff", b"\xb9\x7b\x00", b"\x89\x26\x40"]
    for _ in range(4):
        for message in messages:
            player.learning.heard(message, player.now)
            player.wait(400)
    assert (player.asked, player.learning.strokes) == ("snare", 0)
    chance = random.Random(7)
    for _ in range(20_000):
        player.now += chance.randrange(90) * MS
        player.learning.heard(chance.randbytes(chance.randrange(5)), player.now)
        player.learning.until(player.now)
    kit_file(player.learning, BASE, "general-midi-1", "x", "x")


# The file


def test_the_note_heard_is_sent_and_further_ones_are_heard(tmp_path: Path) -> None:
    player = Player("crash,china")
    for note in (16, 17, 16, 17, 16):
        player.hit(note, times=1)
    kit = player.kit(tmp_path)
    assert (kit.note("crash"), kit.voice(16), kit.voice(17)) == (16, "crash", "crash")


@pytest.mark.parametrize("base", ["general-midi-1", "general-midi-2", "electronic"])
def test_every_voice_learnt_is_heard_as_itself_whatever_the_notes(
    tmp_path: Path, base: str
) -> None:
    """Notes on purpose those of other voices in General MIDI level 1."""
    chance = random.Random(3)
    for _ in range(12):
        voices = [voice for voice in voices_asked("") if voice not in ("hihat-half",)]
        player = Player(",".join(voices))
        notes = chance.sample(range(22, 88), len(voices))
        for note in notes:
            player.teach(note)
        kit = player.kit(tmp_path, base)
        assert [kit.note(voice) for voice in voices] == notes
        assert [kit.voice(note) for note in notes] == voices


def test_a_voice_without_a_pad_never_sounds_as_another_pad(tmp_path: Path) -> None:
    """In General MIDI level 1 the side stick is 37; here 37 is the floor tom."""
    player = Player("snare,floor-tom")
    player.teach(38)
    player.teach(37)
    kit = player.kit(tmp_path)
    assert (kit.note("side-stick"), kit.voice(38), kit.voice(37)) == (38, "snare", "floor-tom")


def test_the_channel_of_the_strokes_is_the_kit_s(tmp_path: Path) -> None:
    player = Player("snare")
    for _ in range(3):
        player.send(0x93, 38, 100)
        player.wait(400)
    assert player.kit(tmp_path).channel == 4


def test_a_file_changed_by_hand_is_no_longer_ours() -> None:
    player = Player("snare")
    player.teach(38)
    text = kit_file(player.learning, BASE, "general-midi-1", "x", "x").encode()
    assert KIT.is_on(text)
    assert not KIT.is_on(text.replace(b"= 38", b"= 39"))
    assert not KIT.is_on(b"")


# The command


def run_learn(*arguments: str) -> None:
    kit_app(["learn", *arguments], standalone_mode=False)


def test_a_file_that_midiforge_did_not_make_stays(tmp_path: Path) -> None:
    out = tmp_path / "mine.toml"
    out.write_text("name = 'mine'\n", encoding="utf-8")
    with pytest.raises(MidiforgeError, match="not written by midiforge"):
        run_learn("--out", str(out))
    assert out.read_text(encoding="utf-8") == "name = 'mine'\n"


def test_a_kit_never_starts_from_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    player = Player("snare")
    player.teach(38)
    player.kit(tmp_path)
    Path("second.toml").write_text("starts_from = 'mine'\n", encoding="utf-8")
    for base in ("mine", "mine.toml", "second"):
        with pytest.raises(MidiforgeError, match="start from itself"):
            run_learn("--out", "mine.toml", "--starts-from", base)


# Through real ports

SERVER = f"mf-learn-{os.getpid()}"


@pytest.fixture(scope="module")
def jack() -> Iterator[dict[str, str]]:
    """A JACK server of our own without a sound card; the environment of its clients."""
    rtmidi = pytest.importorskip("rtmidi", reason="python-rtmidi is not installed")
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("this python-rtmidi has no JACK")
    jackd = shutil.which("jackd")
    if jackd is None:
        pytest.skip("jackd is not installed (Debian: jackd2)")
    environment = {**os.environ, "JACK_DEFAULT_SERVER": SERVER, "JACK_NO_START_SERVER": "1"}
    server = subprocess.Popen(
        [jackd, "-r", "-n", SERVER, "-d", "dummy", "-r", "48000", "-p", "64"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        code = (
            "import rtmidi; "
            "rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name='probe').open_virtual_port('out')"
        )
        for _ in range(50):
            if server.poll() is not None:
                pytest.skip("jackd does not start here")
            time.sleep(0.1)
            probe = subprocess.run(
                [sys.executable, "-c", code], env=environment, capture_output=True, check=False
            )
            if probe.returncode == 0:
                break
        else:
            pytest.skip("jackd does not answer here")
        yield environment
    finally:
        # A server that is killed keeps its entry in JACK's table of eight for ever.
        server.terminate()
        try:
            server.wait(30)
        except subprocess.TimeoutExpired:
            server.kill()


FAKE_KIT = """
import sys, time, rtmidi
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="pads")
out.open_virtual_port("out")
print("ready", flush=True)
for line in sys.stdin:
    for part in line.split(";"):
        out.send_message([int(byte, 16) for byte in part.split()])
    print("sent", flush=True)
"""


class FakeKit:
    """Another process with a virtual output."""

    def __init__(self, environment: dict[str, str]) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", FAKE_KIT],
            env=environment,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._answer()

    def _answer(self) -> None:
        assert self.process.stdout is not None
        assert self.process.stdout.readline()

    def send(self, messages: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(messages + "\n")
        self.process.stdin.flush()
        self._answer()

    def teach(self, note: int) -> None:
        for _ in range(4):  # one more, should a busy machine bring two too close together
            # With a trembling neighbour, a note on with velocity 0, and a sysex between.
            self.send(f"99 {note:x} 64;99 63 8;99 {note:x} 00;f0 7e 7f 06 01 f7")
            time.sleep(0.3)
        time.sleep(1.1)

    def close(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()


@pytest.fixture
def pads(jack: dict[str, str]) -> Iterator[FakeKit]:
    kit = FakeKit(jack)
    yield kit
    kit.close()


def begin(environment: dict[str, str], *arguments: str) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-m", "midiforge", "kit", "learn", "--port", "pads", *arguments],
        env=environment,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    assert process.stdout is not None
    assert "Snare drum" in process.stdout.readline()
    time.sleep(0.3)  # it asks before the connection carries
    return process


def test_a_kit_is_learnt_through_real_ports(
    jack: dict[str, str], pads: FakeKit, tmp_path: Path
) -> None:
    out = tmp_path / "my-kit.toml"
    learner = begin(jack, "--out", str(out), "--voices", "snare,ride", "--controls", "pause")
    try:
        for note in (31, 60, 99, 60):  # the last: any pad, at the end
            pads.teach(note)
        said, _ = learner.communicate(timeout=10)
    finally:
        learner.kill()
    assert learner.returncode == 0, said
    kit = midiforge.read_kit(str(out))
    assert (kit.note("snare"), kit.note("ride")) == (31, 60)
    assert (kit.voice(31), kit.voice(60), kit.channel) == ("snare", "ride", 10)
    assert dict(kit.controls) == {("note", 99): "pause"}


def test_a_kit_that_is_pulled_and_plugged_in_again_is_learnt_on(
    jack: dict[str, str], tmp_path: Path
) -> None:
    out = tmp_path / "my-kit.toml"
    pads = FakeKit(jack)
    learner = begin(jack, "--out", str(out), "--voices", "snare,ride")
    try:
        pads.teach(31)
        pads.close()
        assert learner.stdout is not None
        told = iter(learner.stdout.readline, "")
        assert any("pads:out is gone; plug it in again" in line for line in told)
        pads = FakeKit(jack)
        time.sleep(3)  # it looks once a second
        for note in (60, 60):  # the last: any pad, at the end
            pads.teach(note)
        said, _ = learner.communicate(timeout=10)
    finally:
        learner.kill()
        pads.close()
    assert learner.returncode == 0, said
    kit = midiforge.read_kit(str(out))
    assert (kit.note("snare"), kit.note("ride")) == (31, 60)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_what_was_learnt_is_kept_when_interrupted(
    jack: dict[str, str], pads: FakeKit, tmp_path: Path, number: signal.Signals
) -> None:
    out = tmp_path / "my-kit.toml"
    learner = begin(jack, "--out", str(out), "--voices", "snare,ride")
    try:
        pads.teach(31)
        learner.send_signal(number)
        said, _ = learner.communicate(timeout=10)
    finally:
        learner.kill()
    assert learner.returncode == 128 + number
    assert "what was learnt until then is kept" in said
    assert "Traceback" not in said
    assert midiforge.read_kit(str(out)).note("snare") == 31
    assert [path.name for path in tmp_path.iterdir()] == ["my-kit.toml"]
