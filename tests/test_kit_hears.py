"""Notes from the pads back to voices."""

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


@pytest.mark.parametrize(
    ("pedal", "voice"),
    [(0, "hihat-open"), (42, "hihat-open"), (43, "hihat-half"), (86, "hihat-half"),
     (87, "hihat-closed"), (127, "hihat-closed")],
)  # fmt: skip
@pytest.mark.parametrize("number", [22, 26, 42, 46])
def test_the_pedal_tells_how_open_a_struck_hihat_is(number: int, pedal: int, voice: str) -> None:
    """Controller 4 is the foot controller (MIDI 1.0); bow and edge send notes of their own."""
    assert KIT.voice(number, pedal) == voice


def test_the_pedal_changes_nothing_but_a_struck_hihat() -> None:
    assert KIT.voice(44, 0) == "hihat-pedal"
    assert KIT.voice(38, 0) == "snare"


def test_without_a_pedal_s_value_the_note_decides() -> None:
    assert (KIT.voice(42), KIT.voice(46)) == ("hihat-closed", "hihat-open")


def test_a_note_that_the_kit_does_not_know_is_nothing() -> None:
    assert KIT.voice(3) is None


def test_a_kit_without_a_pedal_table_goes_by_the_note() -> None:
    assert midiforge.read_kit("general-midi-1").voice(46, 127) == "hihat-open"
