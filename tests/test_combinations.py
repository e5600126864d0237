"""Every rudiment and every ostinato, in every output; `combinations.py` tries each with each."""

from itertools import cycle
from pathlib import Path

import pytest
from combinations import drill_of, everywhere

from midiforge.library import shelf

pytest.importorskip("verovio")
pytest.importorskip("typst")

# Each ostinato under some rudiment, and so each rudiment over some ostinato.
MET = [*zip(cycle(shelf.rudiments()), shelf.ostinatos(), strict=False)]


@pytest.mark.parametrize(("rudiment", "ostinato"), MET)
def test_a_rudiment_over_an_ostinato_comes_out_everywhere(
    tmp_path: Path, rudiment: str, ostinato: str
) -> None:
    everywhere(drill_of(rudiment, ostinato), tmp_path / "own.mid")


@pytest.mark.parametrize("feet", ["samba", "tumbao", "hihat-quarters", "bass-drum-eighths"])
def test_a_buzz_over_feet_comes_out_everywhere(tmp_path: Path, feet: str) -> None:
    everywhere(drill_of("multiple-bounce-roll", feet), tmp_path / "own.mid")
