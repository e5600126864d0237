"""Play-along loops as sound, from the command's own call: every style measured.

Lengths follow from the tempo; loudness is that of ITU-R BS.1770 by pyloudnorm; onsets are found
with SciPy. That nobody is buried or covers the rest is common practice of mixing; the limits are
ours.
"""

import csv
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import find_peaks

import midiforge
from midiforge.folders.loops import INDEX, write_loops
from midiforge.library.band import styles
from midiforge.loops import Shape, loops

soundfile = pytest.importorskip("soundfile")
pyloudnorm = pytest.importorskip("pyloudnorm")

from test_sound import _sound, assert_smooth  # noqa: E402  # needs the packages above

from midiforge.sound.level import PEAK  # noqa: E402
from midiforge.sound.render import rendered  # noqa: E402

FEET = {
    "son": "tumbao",
    "samba": "samba",
    "bossa-nova": "bossa-nova",
    "funk": "rock-and-of-two",
    "swing": "jazz-feathered-quarters",
    "jazz-waltz": "jazz-waltz-bass-drum",
    "twelve-eight": "twelve-eight-bass-drum",
    "rock": "four-on-the-floor",
}


def keys_of(style: str, **keys: Any) -> dict[str, Any]:
    meter = str(styles()[style].meter)
    content = {
        "sticking": ">RLRR >LRLL",
        "feet": FEET[style],
        "meter": meter,
        "style": style,
        "stages": "full",
    }
    return {**content, "chords": "Dm7 | G7 | Cmaj7 | A7b9", "tempos": "91.7", **keys}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Loops of every style, each in a folder by its name."""
    sound = _sound()
    where = tmp_path_factory.mktemp("loops")
    for style in styles():
        drill = midiforge.check_drill(keys_of(style))
        shape = Shape(("everything", "without-drums", "click-and-clave"))
        report = write_loops(drill, where / style, shape, "", "wav", sound.soundfont)
        assert not report.missing
    return where


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / INDEX).open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.parametrize("style", styles())
def test_a_loop_of_every_style_is_exact_level_and_smooth_at_its_seam(
    style: str, folder: Path
) -> None:
    found = rows(folder / style)
    assert found[0]["kind"] == "everything"
    for row in found:
        samples, rate = soundfile.read(folder / style / row["audio"])
        assert len(samples) == int(row["samples"]) == round(float(row["seconds"]) * rate)
        assert np.abs(samples).max() <= PEAK + 1e-6
        loudness = pyloudnorm.Meter(rate).integrated_loudness(samples)
        if row["kind"] == "everything":
            at_peak = np.abs(samples).max() > PEAK - 0.01
            assert loudness == pytest.approx(-16, abs=0.1) or (at_peak and loudness < -16)
        # What is left out makes it softer, never the rest louder.
        assert float(row["gain_db"]) <= float(found[0]["gain_db"])
        joined = np.concatenate([samples, samples[:rate]])
        assert_smooth(joined, len(samples))


@pytest.mark.parametrize("style", ["son", "samba", "bossa-nova", "funk", "twelve-eight"])
def test_the_strokes_found_in_a_loop_are_those_of_the_exercise(style: str, folder: Path) -> None:
    """Click and clave, found by SciPy's peaks in the rise of the level, which know no exercise:
    every stroke that comes a moment after the one before is found, and nothing else is."""
    [loop] = loops(midiforge.check_drill(keys_of(style)), Shape(("click-and-clave",)))
    exercise = loop.exercise
    times = sorted({hit.time for hit in exercise.hits})
    expected = [float(exercise.tempo.seconds(Fraction(0), time)) for time in times]
    row = rows(folder / style)[-1]
    assert row["kind"] == "click-and-clave"
    samples, rate = soundfile.read(folder / style / row["audio"])
    hop = 44
    level = np.abs(samples).max(axis=1)
    level = level[: len(level) // hop * hop].reshape(-1, hop).max(axis=1)
    level = np.concatenate([np.full(40, level[-1]), level])
    rise = level[8:] - level[:-8]
    peaks, _ = find_peaks(rise, height=0.08 * level.max(), distance=60)
    found = (peaks + 8 - 40) * hop / rate
    missed = [at for at in expected if min(abs(found - at)) > 0.012]
    extra = [at for at in found if min(abs(np.array(expected) - at)) > 0.012]
    assert not missed and not extra


@pytest.mark.parametrize("style", styles())
def test_nobody_is_buried_and_nobody_covers_the_rest(style: str) -> None:
    sound = _sound()
    drill = midiforge.check_drill(keys_of(style))
    [loop] = loops(drill, Shape(("everything",)))
    whole = loop.exercise

    def loud(exercise: midiforge.Exercise) -> float:
        made = rendered(exercise, drill.kit, sound)
        return float(pyloudnorm.Meter(made.rate).integrated_loudness(made.samples))

    everything = loud(whole)
    for member in whole.band:
        alone = whole.changed(
            hits=tuple(hit for hit in whole.hits if hit.layer == member.name),
            tones=tuple(tone for tone in whole.tones if tone.member == member.name),
        )
        assert -24 < loud(alone) - everything < -2.5, member.name
