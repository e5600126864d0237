"""Commands from pads, pedals and keys.

MIDI bytes: MIDI 1.0 Detailed Specification (note on 9n, controller Bn, program Cn; a note on of
velocity 0 is a note off). Programs are counted from 1, as musicians do.
"""

import io
import random
from pathlib import Path

import pytest

from midiforge.kits.kit import COMMANDS, read_kit
from midiforge.live.playing import controls
from midiforge.live.playing.controls import Command, Controls

MS = 1_000_000
BOUND = {("note", 49): "next", ("controller", 64): "pause", ("program", 5): "quit"}
PAD, PEDAL_DOWN, PEDAL_UP = bytes((0x99, 49, 100)), bytes((0xB9, 64, 127)), bytes((0xB9, 64, 0))
PROGRAM = bytes((0xC9, 4))


def wishes(*messages: tuple[int, bytes]) -> list[Command]:
    """What is wished for when these come, at so many ms."""
    found: list[Command] = []
    controls = Controls(BOUND, found.append)
    for at, message in messages:
        controls.heard(message, at * MS)
    return found


@pytest.mark.parametrize(
    ("message", "command"),
    [(PAD, Command.NEXT), (PEDAL_DOWN, Command.PAUSE), (PROGRAM, Command.QUIT)],
)
def test_a_pad_a_pedal_and_a_program_ask_for_what_they_are_bound_to(
    message: bytes, command: Command
) -> None:
    assert wishes((0, message)) == [command]


@pytest.mark.parametrize("channel", range(16))
def test_any_channel_will_do(channel: int) -> None:
    assert wishes((0, bytes((0x90 | channel, 49, 1)))) == [Command.NEXT]


def test_a_pad_that_bounces_is_one_stroke() -> None:
    assert wishes((0, PAD), (8, PAD), (40, PAD), (150, PAD)) == [Command.NEXT]


def test_two_strokes_are_two() -> None:
    assert wishes((0, PAD), (400, PAD), (800, PAD)) == [Command.NEXT] * 3


def test_a_bounce_of_one_pad_is_not_one_of_another() -> None:
    assert wishes((0, PAD), (10, PEDAL_DOWN)) == [Command.NEXT, Command.PAUSE]


def test_a_pedal_asks_once_however_slowly_it_goes_down_and_not_on_its_way_up() -> None:
    down = [(i * 30, bytes((0xB9, 64, i))) for i in range(0, 128, 5)]
    up = [(8000 + i * 30, bytes((0xB9, 64, 127 - i))) for i in range(0, 128, 5)]
    assert wishes(*down, *up) == [Command.PAUSE]
    assert wishes(*down, *up, (20_000, PEDAL_DOWN)) == [Command.PAUSE] * 2


def test_a_pedal_held_down_does_not_ask_again() -> None:
    assert wishes(*[(i * 1000, PEDAL_DOWN) for i in range(9)]) == [Command.PAUSE]


def test_a_note_on_of_velocity_0_and_a_note_off_ask_for_nothing() -> None:
    assert wishes((0, bytes((0x99, 49, 0))), (300, bytes((0x89, 49, 64)))) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "99",
        "99 31",
        "b9 40",
        "c9",
        "31",
        "31 64",
        "31 64 00",
        "fe",
        "f8",
        "f7",
        "ff ff ff",
        "f0 7e 7f 09 01 f7",
        "f2 31 64",
        "a9 31 64",
        "d9 31",
        "e9 31 64",
    ],
)
def test_what_is_short_or_something_else_asks_for_nothing(text: str) -> None:
    message = bytes.fromhex(text)
    assert wishes((0, message)) == []
    assert wishes((0, message), (1000, PAD)) == [Command.NEXT]


def test_a_flood_of_anything_is_never_fatal() -> None:
    chance = random.Random(3)
    flood = [
        (i, bytes(chance.randrange(256) for _ in range(chance.randrange(6)))) for i in range(20_000)
    ]
    assert set(wishes(*flood)) <= {Command.NEXT, Command.PAUSE, Command.QUIT}


def test_controls_come_from_a_kit_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    bound = "next = 'note 49'\npause = 'controller 64'\nquit = 'program 5'\n"
    path.write_text(f"starts_from = 'general-midi-1'\n[controls]\n{bound}", encoding="utf-8")
    assert dict(read_kit(str(path)).controls) == BOUND


# Keys


def typed(text: str, monkeypatch: pytest.MonkeyPatch) -> list[Command]:
    monkeypatch.setattr(controls, "_letters", lambda: text)
    return list(controls.pressed())


@pytest.mark.parametrize(
    ("keys", "command"),
    [
        (" ", "pause"),
        ("nN", "next"),
        ("pP", "previous"),
        ("aA", "again"),
        ("-", "slower"),
        ("+=", "faster"),
        ("hH", "hands"),
        ("fF", "feet"),
        ("cC", "click"),
        ("bB", "percussion"),
        ("sS", "bass"),
        ("mM", "chords"),
        ("lL", "layer"),
        (",", "softer"),
        (".", "louder"),
        ("qQ", "quit"),
    ],
)
def test_every_command_has_its_key(
    keys: str, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert typed(keys, monkeypatch) == [Command(command)] * len(keys)


def test_every_command_of_a_kit_file_has_a_key_too() -> None:
    assert set(controls.KEYS.values()) == {Command(name) for name in COMMANDS} == set(Command)


def test_other_keys_ask_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert typed("vyz12\r\n\t\x00\x7f é", monkeypatch) == [Command.PAUSE]  # the space


def test_keys_that_come_together_are_all_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    assert typed("++q", monkeypatch) == [Command.FASTER, Command.FASTER, Command.QUIT]


def test_without_a_terminal_there_are_no_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    for stream in (None, io.StringIO("q")):
        monkeypatch.setattr("sys.stdin", stream)
        with controls.single_keys():
            assert list(controls.pressed()) == []
