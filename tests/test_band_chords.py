"""Chord symbols against music21, and how progressions are written."""

from fractions import Fraction

import pytest

from midiforge.band.chart import Chart
from midiforge.band.chord import read_chord, read_progression
from midiforge.errors import MidiforgeError
from midiforge.model.meter import Meter

ROOTS = (
    "C",
    "C#",
    "Db",
    "D",
    "D#",
    "Eb",
    "E",
    "F",
    "F#",
    "Gb",
    "G",
    "G#",
    "Ab",
    "A",
    "A#",
    "Bb",
    "B",
)

# What a musician types -> the kind that MusicXML 4.0 calls it (kind-value), which music21 reads.
KINDS = {
    "": "major",
    "m": "minor",
    "aug": "augmented",
    "dim": "diminished",
    "7": "dominant-seventh",
    "maj7": "major-seventh",
    "m7": "minor-seventh",
    "dim7": "diminished-seventh",
    "aug7": "augmented-seventh",
    "m7b5": "half-diminished-seventh",
    "mM7": "minor-major-seventh",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "9": "dominant-ninth",
    "maj9": "major-ninth",
    "m9": "minor-ninth",
    "11": "dominant-11th",
    "maj11": "major-11th",
    "m11": "minor-11th",
    "13": "dominant-13th",
    "maj13": "major-13th",
    "m13": "minor-13th",
    "sus2": "suspended-second",
    "sus4": "suspended-fourth",
    "5": "power",
}
# Figures that music21 reads as they are typed, but for flat roots.
FIGURES = ("7b9", "7#9", "7b5", "7#5", "7#11", "7b13", "maj7#11", "add9", "7sus4", "m7b5")

MEANT = {
    "m7": ("-7", "mi7", "min7", "minor7"),
    "maj7": ("7M", "M7", "ma7", "Maj7", "major7", "Δ", "Δ7", "^7"),
    "m7b5": ("ø", "ø7", "m7-5", "min7b5", "-7b5", "m7(b5)"),
    "dim7": ("o7", "°7", "º7"),
    "dim": ("o", "°", "º"),
    "dimmaj7": ("°Δ7", "oM7"),
    "aug": ("+",),
    "aug7": ("7+", "+7", "7#5", "7+5", "7aug"),
    "augmaj7": ("+Δ7", "+maj7", "augM7"),
    "mM7": ("m(maj7)", "-Δ7", "mmaj7", "minMaj7", "m/maj7", "m#7"),
    "m#5": ("m+", "-(#5)"),
    "7b9b13": ("7(b9b13)", "7(b9,b13)", "7b13b9"),
    "13b9": ("13(b9)", "7(b9,13)"),
    "7add9add13": ("7(9,13)",),
    "9sus4": ("sus9",),
    "69": ("6/9",),
    "7b9": ("7(b9)", "7♭9", "7-9"),
    "7#5#9": ("7alt", "alt", "7alt.", "7(#9,#5)", "7#9#5"),
    "add9": ("(add9)",),
    "madd9": ("m(add9)", "-add9"),
    "m9b5": ("ø9",),
    "7sus4": ("7sus",),
}


def music21_classes(root: str, quality: str) -> frozenset[int]:
    harmony = pytest.importorskip("music21.harmony")
    flat = root.replace("b", "-")
    if quality in KINDS:
        symbol = harmony.ChordSymbol(root=flat, kind=KINDS[quality])
    else:
        symbol = harmony.ChordSymbol(flat + quality)
    return frozenset(pitch.pitchClass for pitch in symbol.pitches)


@pytest.mark.parametrize("quality", [*KINDS, *FIGURES])
def test_a_symbol_has_the_pitch_classes_that_music21_gives_it(quality: str) -> None:
    """music21's harmony module: 35 qualities on 17 roots, 595 symbols."""
    for root in ROOTS:
        chord = read_chord(root + quality)
        assert chord is not None
        assert chord.pitch_classes == music21_classes(root, quality), root + quality


@pytest.mark.parametrize("root", ["C", "Eb", "F#"])
def test_a_slash_chord_has_its_bass_below(root: str) -> None:
    """music21's harmony module."""
    harmony = pytest.importorskip("music21.harmony")
    for bass in ("C", "D", "E", "G", "A", "Bb"):
        chord = read_chord(f"{root}7/{bass}")
        assert chord is not None
        theirs = harmony.ChordSymbol(f"{root.replace('b', '-')}7/{bass.replace('b', '-')}")
        assert chord.bass == theirs.bass().pitchClass
        assert chord.root == theirs.root().pitchClass


@pytest.mark.parametrize(("quality", "others"), MEANT.items())
def test_other_spellings_mean_the_same_chord(quality: str, others: tuple[str, ...]) -> None:
    """Common practice."""
    wanted = read_chord("C" + quality)
    assert wanted is not None
    for other in others:
        found = read_chord("C" + other)
        assert found is not None and found.tones == wanted.tones, other


@pytest.mark.parametrize(
    "text", ["H7", "Cmaj77", "dm7", "C/", "C//E", "Cx", "7", "", "C E", "Cm7b"]
)
def test_what_is_no_chord_is_told_in_one_line(text: str) -> None:
    with pytest.raises(MidiforgeError) as caught:
        read_chord(text)
    assert "\n" not in str(caught.value)


def test_a_slip_is_told_the_nearest_right_symbol() -> None:
    with pytest.raises(MidiforgeError, match="did you mean 'Dm7'"):
        read_chord("dm7")
    with pytest.raises(MidiforgeError, match="did you mean Cmaj7"):
        read_chord("Cmaj77")


@pytest.mark.parametrize(
    ("quality", "tones"),
    [
        ("7b9b13", {0, 4, 7, 10, 1, 8}),
        ("7#9b13", {0, 4, 7, 10, 3, 8}),
        ("13b9", {0, 4, 7, 10, 1, 9}),
        ("13#9", {0, 4, 7, 10, 3, 9}),
    ],
)
def test_an_altered_dominant_has_no_natural_eleventh(quality: str, tones: set[int]) -> None:
    """Common practice: it would lie a semitone above the third."""
    chord = read_chord("C" + quality)
    assert chord is not None and set(chord.pitch_classes) == tones


COMMON = Meter.parse("4/4")


def test_chords_of_a_bar_share_its_beats() -> None:
    progression = read_progression("Dm7 G7 | Cmaj7 A7 D7 | C", COMMON)
    assert [(float(c.time), c.symbol) for c in progression.changes] == [
        (0, "Dm7"),
        (2, "G7"),
        (4, "Cmaj7"),
        (6, "A7"),
        (7, "D7"),
        (8, "C"),
    ]


@pytest.mark.parametrize("text", ["Dm7 / / G7", "Dm7 % % G7"])
def test_a_slash_in_a_bar_is_a_beat_of_the_chord_before(text: str) -> None:
    """Common practice in lead sheets."""
    found = read_progression(text + " | / / C /", COMMON).changes
    assert [(float(c.time), c.symbol) for c in found] == [(0, "Dm7"), (3, "G7"), (6, "C")]


def test_a_repeated_bar_has_the_chords_of_the_bar_before() -> None:
    progression = read_progression("| Dm7 G7 | % | N.C. |", COMMON)
    assert [c.symbol for c in progression.changes] == ["Dm7", "G7", "Dm7", "G7", ""]
    assert progression.bars == 3
    chart = Chart(progression, COMMON, progression.length, progression.length)
    assert chart.chord(Fraction(11)) is None
    assert chart.chord(Fraction(-1)) is None  # it goes round


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "there are no chords"),
        (" | ", "there are no chords"),
        ("% | C", "bar 1: there is no bar before"),
        ("C | | G", "bar 2: the bar is empty"),
        ("|: C :|", "repeat signs are not read"),
        ("/ C", "bar 1: '/' is no chord"),
        ("C D E F G", "bar 1: 5 chords in a bar of 4 beats"),
        ("C | Gq7", "bar 2: 'Gq7' is no chord"),
        # In some countries B is called H, and B flat is called B.
        ("C | Hm7", "bar 2: 'Hm7' is no chord .did you mean 'Bm7'. H is written B here"),
        ("C | " * 300, "bars"),
    ],
)
def test_a_wrong_progression_is_told_with_its_bar(text: str, said: str) -> None:
    with pytest.raises(MidiforgeError, match="^" + said if said != "bars" else said):
        read_progression(text, COMMON)
