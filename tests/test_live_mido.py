"""Playing through outputs of mido's, and others that take its messages.

What arrives and when, by a clock that is not real, and that all is silent at the end. Controllers
120 (all sound off) and 123 (all notes off): MIDI 1.0 Detailed Specification, Channel Mode Messages.
"""

import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mido
import pytest
from mido.ports import BaseInput, BaseOutput, IOPort
from test_live_player import FakeClock

import midiforge
from midiforge import MidiforgeError, Session
from midiforge.live.playing import play

FAST = {"sticking": "RLRR LRLL", "feet": "tumbao", "tempos": 400, "stages": "full"}


class Notebook(BaseOutput):  # type: ignore[misc]
    """An output of mido's that writes down what it is sent.

    before: what happens before a message is written down.
    """

    def _open(self, **_: Any) -> None:
        self.came: list[mido.Message] = []
        self.before: Callable[[mido.Message], object] = lambda _: None

    def _send(self, message: mido.Message) -> None:
        self.before(message)
        self.came.append(message)


class Pipe:
    """Takes messages, and is nothing of mido's."""

    def __init__(self) -> None:
        self.came: list[mido.Message] = []

    def send(self, message: mido.Message) -> None:
        self.came.append(message)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> FakeClock:
    """The time that the player has."""
    time = FakeClock()
    monkeypatch.setattr(play, "SystemClock", lambda: time)
    return time


@pytest.fixture(autouse=True)
def without_rtmidi(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where python-rtmidi has no wheel: importing it raises ImportError."""
    monkeypatch.setitem(sys.modules, "rtmidi", None)


def session(**keys: Any) -> Session:
    return Session(midiforge.check_drill({**FAST, **keys}), log=None)


def struck(messages: list[mido.Message]) -> Counter[tuple[int, int, int]]:
    """Channel, note and velocity of each note that began."""
    return Counter(
        (each.channel, each.note, each.velocity)
        for each in messages
        if each.type == "note_on" and each.velocity
    )


def sounding(messages: list[mido.Message]) -> set[tuple[int, int]]:
    """The notes that nobody ended, all sound off not counted."""
    notes = set()
    for each in messages:
        if each.type == "note_on" and each.velocity:
            notes.add((each.channel, each.note))
        elif each.type in ("note_on", "note_off"):
            notes.discard((each.channel, each.note))
    return notes


def is_silent(messages: list[mido.Message]) -> bool:
    """Whether every note is ended, and every channel is told so besides."""
    used = {each.channel for each in messages if each.type == "note_on"}
    told = {
        control: {e.channel for e in messages[-40:] if e.is_cc(control)} for control in (120, 123)
    }
    return bool(used) and not sounding(messages) and told == {120: used, 123: used}


def test_an_output_of_mido_s_gets_what_the_file_holds() -> None:
    of, port = session(), Notebook("notebook")
    figures = of.play(port, only="1", times=1)
    assert figures.events > 8
    file = of.midi_file("1")
    assert struck(port.came) == struck([each for each in file if not each.is_meta])
    assert is_silent(port.came)
    assert not port.closed, "it is its owner's"
    port.send(mido.Message("note_on"))


def test_each_note_is_sent_when_it_is_due(clock: FakeClock) -> None:
    of, port, at = session(feet="", count_in=0, click="off", tempos=97), Notebook(), list[int]()
    port.before = lambda message: at.append(clock.at) if message.type == "note_on" else None
    of.play(port, only="1", times=1)
    sixteenth = 60e9 / 97 / 4
    assert [when - at[0] for when in at] == pytest.approx(
        [i * sixteenth for i in range(len(at))], abs=clock.step
    )
    assert len(at) == len(of.lesson["1"].hits)


def test_a_band_is_on_its_own_channels_and_silent_at_the_end() -> None:
    port = Notebook()
    session(style="bossa-nova", chords="Dm7 | G7").play(port, only="1", times=1)
    channels = {each.channel for each in port.came if each.type == "note_on"}
    assert len(channels) > 1 and 9 in channels
    assert {each.channel for each in port.came if each.type == "program_change"} == channels - {9}
    assert is_silent(port.came)


@pytest.mark.parametrize("wraps", [lambda port: port, lambda port: IOPort(BaseInput(), port)])
def test_ports_of_any_kind_will_do(wraps: Callable[[Notebook], Any]) -> None:
    port = Notebook()
    midiforge.play(session().drill, wraps(port), only="1", times=1)
    assert is_silent(port.came)


def test_so_will_whatever_takes_messages() -> None:
    pipe = Pipe()
    session().play(pipe, only="1", times=1)
    assert is_silent(pipe.came)


def test_a_kit_s_own_buttons_are_not_looked_for_in_the_system(tmp_path: Path) -> None:
    kit = 'starts_from = "general-midi-1"\ntitle = "Buttons"\n[controls]\nnext = "note 40"\n'
    (tmp_path / "buttons.toml").write_text(kit)
    (tmp_path / "drill.toml").write_text(
        'sticking = "RLRR"\ntempos = 400\nstages = "full"\nkit = "buttons.toml"\n'
    )
    pipe, of = Pipe(), Session(tmp_path / "drill.toml", log=None)
    assert of.drill.kit.controls
    of.play(pipe, only="1", times=1)
    assert is_silent(pipe.came)


def closes(port: Notebook) -> Callable[[mido.Message], None]:
    """Its owner closes it at the fifth message, once what sounds has been ended."""

    def before(_: mido.Message) -> None:
        if len(port.came) == 4:
            port.closed = True

    return before


def test_an_output_that_is_closed_meanwhile_ends_the_playing() -> None:
    port = Notebook()
    port.before = closes(port)
    with pytest.raises(MidiforgeError, match="the output was closed while it was played through"):
        session(repeats=50).play(port, only="1", times=0)
    assert len(port.came) == 5


def test_an_output_that_fails_once_is_silenced_all_the_same() -> None:
    port, left = Notebook(), [6]

    def fails(message: mido.Message) -> None:
        left[0] -= message.type == "note_on"
        if message.type == "note_on" and not left[0]:
            raise OSError("the cable is out")

    port.before = fails
    with pytest.raises(MidiforgeError, match="took no message: the cable is out") as caught:
        session().play(port, only="1", times=0)
    assert isinstance(caught.value.__cause__, OSError)
    assert is_silent(port.came)


def test_what_is_no_open_output_is_refused_before_anything_sounds() -> None:
    port = Notebook()
    port.close()
    for wrong, said in (
        (port, "port: the output is closed"),
        (BaseInput(), "port: BaseInput is no output (a port's name, or an open output of mido's)"),
        (3, "port: int is no output"),
    ):
        with pytest.raises(MidiforgeError) as caught:
            session().play(wrong)  # type: ignore[arg-type]
        assert str(caught.value).startswith(said)
    assert not port.came


def test_a_name_is_still_a_port_of_the_system() -> None:
    with pytest.raises(MidiforgeError, match="needs python-rtmidi"):
        session().play("module")
