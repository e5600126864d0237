"""Notes from the pads back to voices."""

from dataclasses import replace

import pytest

import midiforge

KIT = midiforge.read_kit("electronic")


@pytest.mark.parametrize(
    ("number", "voice"),
    [(36, "bass-drum"), (38, "snare"), (37, "side-stick"), (51, "ride"), (53, "ride-bell")],
)
def test_a_pad_s_note_is_its_voice(number: int, voice: str) -> None:
    """General MIDI level 1 percussion map."""
    assert KIT.voice(number) == voice


@pytest.mark.parametrize("pedal", [0, 42, 43, 86, 87, 127])
@pytest.mark.parametrize(
    ("number", "voice"),
    [(22, "hihat-closed"), (42, "hihat-closed"), (26, "hihat-open"), (46, "hihat-open")],
)
def test_the_note_tells_how_open_a_struck_hihat_is_and_the_pedal_whether_half(
    number: int, voice: str, pedal: int
) -> None:
    """Controller 4 is the foot controller (MIDI 1.0); bow and edge send notes of their own."""
    assert KIT.voice(number, pedal) == ("hihat-half" if 43 <= pedal <= 86 else voice)


@pytest.mark.parametrize(
    ("pedal", "voice"),
    [(0, "hihat-open"), (42, "hihat-open"), (43, "hihat-half"), (87, "hihat-closed")],
)
def test_where_one_note_is_all_the_pedal_alone_tells(pedal: int, voice: str) -> None:
    one = {number: v for number, v in KIT.heard.items() if v != "hihat-open"}
    assert replace(KIT, heard=one).voice(42, pedal) == voice


def test_the_pedal_changes_nothing_but_a_struck_hihat() -> None:
    assert KIT.voice(44, 0) == "hihat-pedal"
    assert KIT.voice(38, 0) == "snare"


def test_without_a_pedal_s_value_the_note_decides() -> None:
    assert (KIT.voice(42), KIT.voice(46)) == ("hihat-closed", "hihat-open")


def test_a_note_that_the_kit_does_not_know_is_nothing() -> None:
    assert KIT.voice(3) is None


def test_a_kit_without_a_pedal_table_goes_by_the_note() -> None:
    assert midiforge.read_kit("general-midi-1").voice(46, 127) == "hihat-open"
