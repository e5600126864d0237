"""Swing, shuffle, 6/8, 12/8, 5/4 and 7/8 brought in: the library's ostinatos, as unevenly as real
playing. Recordings as in test_groove_recordings."""

from pathlib import Path

import feels
import pytest
from feels import FEELS, Feel
from test_groove_recordings import recordings

import midiforge

pytestmark = pytest.mark.skipif(not recordings(), reason="no recordings beside the repository")
ODD = ("5/4", "7/8", "7/8, three first")


def played(feel: Feel, tempo: int) -> feels.Take:
    path, click = feels.straight([(path, float(at)) for path, at in recordings()], 1)[0]
    return feels.take(feel, tempo, feels.read_source(path, None, 0).strokes, click)


@pytest.mark.parametrize("feel", FEELS[::2], ids=lambda feel: feel.name)
def test_a_feel_comes_back_as_it_was_played(feel: Feel, tmp_path: Path) -> None:
    take = played(feel, feel.tempos[0])
    groove = midiforge.import_groove(feels.written(tmp_path / "take.mid", take, True))
    assert feels.back(take, groove) == (True, True, True)
    assert groove.explained >= 0.9 * groove.strokes


@pytest.mark.parametrize("feel", [feel for feel in FEELS if feel.name in ODD], ids=ODD)
def test_an_odd_bar_is_heard(feel: Feel, tmp_path: Path) -> None:
    take = played(feel, feel.tempos[0])
    bare = feels.written(tmp_path / "take.mid", take, False)
    assert str(midiforge.import_groove(bare).meter) == feel.meter
    given = midiforge.import_groove(bare, meter=midiforge.Meter.parse(feel.meter))
    assert feels.back(take, given) == (True, True, True)
