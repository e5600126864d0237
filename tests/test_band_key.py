"""The band knows the key, and what rubs; and where no style fits, nobody plays.

Common practice: over the dominant of a minor key the sixth of its scale is the minor one; a natural
eleventh takes the place of a major third.
"""

import pytest

import midiforge
from midiforge.band.chord import Chord, read_chord
from midiforge.band.comp import minor_key, scale
from midiforge.band.voicing import chosen

E_NATURAL, E_FLAT, B = 4, 3, 11


def chord(symbol: str) -> Chord:
    found = read_chord(symbol)
    assert found is not None
    return found


def keyed(*symbols: str) -> int | None:
    return minor_key(map(chord, symbols))


def test_a_dominant_of_a_minor_key_has_no_major_third_of_it_to_pass_through() -> None:
    key = keyed("Cm7", "Fm7", "G7")
    assert key == 0
    assert E_NATURAL not in scale(chord("G7"), key)
    assert {E_FLAT, B} <= scale(chord("G7"), key)
    assert E_NATURAL in scale(chord("G7"), keyed("Dm7", "G7", "Cmaj7"))


@pytest.mark.parametrize(
    ("symbols", "key"),
    [(("Am7", "D9", "Gmaj7"), None), (("Em7", "A7", "Dm7"), 2), (("C", "F"), None)],
)
def test_a_minor_key_is_told_by_its_dominant(symbols: tuple[str, ...], key: int | None) -> None:
    assert keyed(*symbols) == key


@pytest.mark.parametrize("symbol", ["C11", "Cmaj11", "G11"])
def test_third_and_natural_eleventh_do_not_sound_together(symbol: str) -> None:
    of = chord(symbol)
    for count in (3, 4, 5):
        classes = chosen(of, count, rootless=True)
        assert (of.root + 4) % 12 not in classes
        assert (of.root + 5) % 12 in classes


@pytest.mark.parametrize("feet", ["one-drop", "baiao", "twelve-eight-bass-drum"])
def test_where_no_style_goes_with_the_feet_nobody_plays_and_it_is_said(feet: str) -> None:
    meter = "12/8" if "twelve" in feet else "4/4"
    keys = {"sticking": "RLRL", "feet": feet, "meter": meter, "chords": "Am7 | Dm7"}
    drill = midiforge.check_drill(keys)
    assert not drill.band.members
    assert any("no style goes with" in note for note in drill.notes)
    named = midiforge.check_drill({**keys, "style": "rock" if meter == "4/4" else "twelve-eight"})
    assert named.band.members and not named.notes
