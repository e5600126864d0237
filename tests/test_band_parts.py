"""Bass lines, comping and percussion: what every style must keep to."""

import re
from fractions import Fraction
from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from midiforge import check_drill, exercises
from midiforge.band import voicing as band_voicing
from midiforge.band.chart import Chart
from midiforge.band.chord import Chord, read_chord
from midiforge.band.comp import minor_key, scale
from midiforge.band.voicing import HANDS, chosen, enriched, led, placements, voiced
from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.lesson.remarks import remarks
from midiforge.library.band import instruments, percussion, pitch, styles
from midiforge.library.shelf import ostinatos
from midiforge.model.band import Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb

PROGRESSION = "Dm7 | G7 | Cmaj7 | A7b9 | F#m7b5 B7 | Em7 A13 | Ab7/C Db6/9 | Gsus4 G7"
SYMBOLS = [
    root + quality
    for root in ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    for quality in ("", "m", "7", "maj7", "m7", "m7b5", "dim7", "9", "13", "7#9", "6", "sus4", "5")
]


def drill_of(style: str, **keys: Any) -> Drill:
    meter = str(styles()[style].meter)
    content = {"sticking": "RLRR LRLL", "stages": "full", "meter": meter, "style": style}
    return check_drill({**content, "chords": PROGRESSION, **keys})


def only(drill: Drill) -> Exercise:
    return next(iter(exercises(drill)))


def chart_of(drill: Drill, length: Fraction | None = None) -> Chart:
    """The drill's chords over a length, or once round."""
    progression = drill.band.progression
    assert progression is not None
    length = length or progression.length
    return Chart(progression, drill.meter, length, length)


def line(exercise: Exercise, track: str) -> list[Tone]:
    return [tone for tone in exercise.tones if tone.member == track]


# Instruments


def test_programs_are_those_of_general_midi() -> None:
    """General MIDI level 1 sound set, by pretty_midi's table of it."""
    pretty_midi = pytest.importorskip("pretty_midi")
    names = {
        "acoustic-bass": "Acoustic Bass",
        "electric-bass": "Electric Bass (finger)",
        "picked-bass": "Electric Bass (pick)",
        "fretless-bass": "Fretless Bass",
        "slap-bass": "Slap Bass 1",
        "piano": "Acoustic Grand Piano",
        "electric-piano": "Electric Piano 1",
        "clavinet": "Clavinet",
        "vibraphone": "Vibraphone",
        "marimba": "Marimba",
        "organ": "Drawbar Organ",
        "nylon-guitar": "Acoustic Guitar (nylon)",
        "steel-guitar": "Acoustic Guitar (steel)",
        "jazz-guitar": "Electric Guitar (jazz)",
        "clean-guitar": "Electric Guitar (clean)",
        "muted-guitar": "Electric Guitar (muted)",
    }
    assert names.keys() == instruments().keys()
    for name, theirs in names.items():
        assert pretty_midi.program_to_instrument_name(instruments()[name].program - 1) == theirs


@pytest.mark.parametrize(
    ("name", "theirs"),
    [
        ("acoustic-bass", "AcousticBass"),
        ("electric-bass", "ElectricBass"),
        ("fretless-bass", "FretlessBass"),
        ("nylon-guitar", "AcousticGuitar"),
        ("jazz-guitar", "ElectricGuitar"),
        ("piano", "Piano"),
        ("organ", "ElectricOrgan"),
    ],
)
def test_an_instrument_goes_no_lower_than_music21_says(name: str, theirs: str) -> None:
    """music21's instrument module: lowest notes, the strings' from their open strings."""
    found = getattr(pytest.importorskip("music21.instrument"), theirs)()
    assert instruments()[name].lowest == found.lowestNote.midi
    if theirs == "Piano":
        assert instruments()[name].highest == found.highestNote.midi


def test_the_vibraphone_has_three_octaves() -> None:
    """F3 to F6: published pitch ranges of tuned percussion, trpercussion.com."""
    found = instruments()["vibraphone"]
    assert (found.lowest, found.highest) == (pitch("F3"), pitch("F6"))


# Every style


@pytest.mark.parametrize("name", styles())
def test_a_style_stays_within_what_its_instruments_have(name: str) -> None:
    for bass, comp in (("usual", "usual"), ("electric-bass", "vibraphone")):
        drill = drill_of(name, bass=bass, comp=comp)
        exercise = only(drill)
        for player in (drill.band.bass, drill.band.comp):
            assert player is not None
            tones = line(exercise, player.member.name)
            assert tones
            for tone in tones:
                assert player.instrument.lowest <= tone.pitch <= player.instrument.highest
                assert 1 <= tone.velocity <= 127


@pytest.mark.parametrize("name", styles())
def test_every_tone_ends_within_the_loop(name: str) -> None:
    exercise = only(drill_of(name))
    for tone in exercise.tones:
        assert 0 <= tone.time < tone.time + tone.length <= exercise.length


@pytest.mark.parametrize("name", styles())
def test_a_bass_plays_one_note_at_a_time(name: str) -> None:
    for before, after in pairwise(line(only(drill_of(name)), "bass")):
        assert before.time + before.length <= after.time


@pytest.mark.parametrize("name", styles())
def test_the_bass_of_each_chord_sounds_when_it_begins(name: str) -> None:
    """Struck with the chord, or anticipated and held into it; common practice."""
    drill = drill_of(name)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    tones = line(exercise, "bass")
    for change in chart.changes:
        assert change.chord is not None
        heard = [t for t in tones if t.time <= change.time < t.time + t.length]
        silent = not heard
        if silent:  # a style may leave the moment empty, but not put a wrong note there
            continue
        assert {tone.pitch % 12 for tone in heard} == {change.chord.bass}, (name, change)


def struck(tones: list[Tone]) -> dict[Fraction, list[int]]:
    """The pitches of each stroke, rising."""
    found: dict[Fraction, list[int]] = {}
    for tone in tones:
        found.setdefault(tone.time, []).append(tone.pitch)
    return {time: sorted(pitches) for time, pitches in found.items()}


def belongs(pitches: list[int], chord: Chord | None, style: str, minor: int | None = None) -> bool:
    """Whether a stroke is of a chord, as the style's hand plays it; minor: the key, if it is one.

    Common practice: a pianist beside a bass adds ninth and thirteenth to plain sevenths; the
    octaves of a montuno pass through the scale.
    """
    if chord is None:
        return False
    allowed = set(chord.pitch_classes)
    if styles()[style].comp.hand == "shells" and chord.fifth == 7 and chord.third in (3, 4):
        allowed |= {(chord.root + tension) % 12 for tension in (2, 9)}
    if len(pitches) == 2 and pitches[1] - pitches[0] == 12:
        allowed |= scale(chord) | scale(chord, minor)
    return {each % 12 for each in pitches} <= allowed


@pytest.mark.parametrize("name", styles())
def test_comping_has_only_tones_of_the_chord_it_belongs_to(name: str) -> None:
    """Of the chord that sounds, or of the next if it is anticipated within a beat of it."""
    drill = drill_of(name)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    for time, pitches in struck(line(exercise, "comp")).items():
        now = chart.chord(time)
        soon = chart.chord((time + drill.meter.beat) % exercise.length)
        assert belongs(pitches, now, name) or belongs(pitches, soon, name)


@pytest.mark.parametrize("name", styles())
def test_the_third_and_the_seventh_of_a_chord_are_heard(name: str) -> None:
    """They say which chord it is; common practice."""
    exercise = only(drill_of(name, chords="G7"))
    assert {11, 5} <= {tone.pitch % 12 for tone in line(exercise, "comp")}


@pytest.mark.parametrize("name", styles())
def test_no_chord_is_silence(name: str) -> None:
    exercise = only(drill_of(name, chords="N.C. | N.C."))
    assert not exercise.tones
    assert {mark.symbol for mark in exercise.chords} == {""}


@pytest.mark.parametrize("name", styles())
def test_the_bass_does_not_go_on_into_a_beat_without_a_chord(name: str) -> None:
    """N.C.: none is played until the next symbol, though it may be heard a bit before that."""
    exercise = only(drill_of(name, chords="Dm7 N.C. G7 | N.C. C | Dm7 N.C. | N.C."))
    silent = {mark.time for mark in exercise.chords if not mark.symbol}
    assert silent and line(exercise, "bass")
    assert not silent & {tone.time for tone in line(exercise, "bass")}


BARS = st.lists(
    st.lists(st.sampled_from([*SYMBOLS, "N.C."]), min_size=1, max_size=2), min_size=1, max_size=5
)


@settings(max_examples=60, deadline=None)
@example("son", [["C"], ["Db7", "F#m7"]], "3-2", 0)  # a minor key, whose scale passes over C
@given(st.sampled_from([*styles()]), BARS, st.sampled_from(["3-2", "2-3"]), st.integers(0, 3))
def test_any_progression_is_played_rightly_in_any_style(
    style: str, bars: list[list[str]], clave: str, late: int
) -> None:
    """What every part keeps to whatever is asked: within the loop and the range, one bass note at a
    time, the bass of each chord where it begins, silence where there is none."""
    chords = " | ".join(" ".join(bar) for bar in bars)
    keys = {"clave": clave, "feet": "...x ..x.", "feet_placements": f"+{late}"}
    if styles()[style].meter.is_compound:
        keys = {"clave": clave}
    drill = drill_of(style, chords=chords, **keys)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    for tone in exercise.tones:
        assert 0 <= tone.time < tone.time + tone.length <= exercise.length
    bass = line(exercise, "bass")
    for before, after in pairwise(bass):
        assert before.time + before.length <= after.time
    for time in chart.turns:
        chord = chart.chord(time)
        heard = {t.pitch % 12 for t in bass if t.time <= time < t.time + t.length}
        assert heard <= ({chord.bass} if chord else set())
    beat = max(drill.meter.beat_lengths)
    minor = minor_key(filter(None, (each.chord for each in chart.progression.changes)))
    for time, pitches in struck(line(exercise, "comp")).items():
        here = (chart.chord(time), chart.chord((time + beat) % exercise.length))
        assert any(belongs(pitches, chord, style, minor) for chord in here)


# Each style its own


def places(tones: list[Tone], unit: Fraction) -> set[Fraction]:
    return {tone.time % unit for tone in tones}


def test_a_tumbao_bass_plays_bombo_and_ponche() -> None:
    """Common practice: in cut time on the and of two and on four, here in sixteenths of 2/4."""
    tones = line(only(drill_of("son")), "bass")
    assert places(tones, Fraction(2)) == {Fraction(3, 4), Fraction(3, 2)}


def test_a_tumbao_bass_has_the_next_chord_before_its_bar() -> None:
    exercise = only(drill_of("son", chords="Dm7 | G7"))
    ahead = [t for t in line(exercise, "bass") if t.time == Fraction(7, 2)]
    assert [tone.pitch % 12 for tone in ahead] == [7]
    assert ahead[0].time + ahead[0].length == 4 + Fraction(3, 4)  # held over the bar line


def test_a_montuno_is_on_the_beat_on_the_two_side_only() -> None:
    """Common practice: the two-side begins on the beat, all else of the three-side is off it."""
    for clave, two_side in (("2-3", 0), ("3-2", 2)):
        tones = line(only(drill_of("son", clave=clave)), "comp")
        within = places(tones, Fraction(4))
        assert Fraction(two_side) in within
        other = Fraction(2) - two_side
        three = {place for place in within if other <= place < other + 2}
        assert all((place * 2).denominator == 2 for place in three)


def test_tamborim_and_agogo_have_the_published_rhythm_and_the_guitar_is_on_strokes_of_it() -> None:
    """G. Toussaint, BRIDGES 2005: E(9,16) started on its fourth onset; that the guitar leaves
    some of it to the tamborim, and every other bar answers it: common practice."""
    steps = bjorklund(9, 16)
    onsets = [i for i, struck in enumerate(steps) if struck]
    fourth = onsets[3]
    rotated = {Fraction((each - fourth) % 16, 4) for each in onsets}
    tones = line(only(drill_of("samba", chords="C")), "comp")
    assert {tone.time for tone in tones if tone.time < 4} < rotated
    answering = {tone.time - 4 for tone in tones if 4 <= tone.time < 8}
    assert answering & rotated and answering - rotated
    agogo = percussion()["agogo"].patterns()
    assert {time for each in agogo.values() for time, _ in each.strokes} == rotated
    tamborim = percussion()["tamborim"].patterns()
    assert {time for each in tamborim.values() for time, _ in each.strokes} == rotated


def bjorklund(onsets: int, steps: int) -> list[bool]:
    """Bjorklund's algorithm as Toussaint describes it: groups of 1 and of 0 paired off."""
    groups, rest = [[True]] * onsets, [[False]] * (steps - onsets)
    while len(rest) > 1:
        paired = min(len(groups), len(rest))
        joined = [a + b for a, b in zip(groups, rest, strict=False)]
        groups, rest = joined, (groups[paired:] or rest[paired:])
    return [mark for group in groups + rest for mark in group]


def test_the_clave_of_a_bossa_nova_is_the_published_one() -> None:
    """BRIDGES 2002: [3 3 4 3 3], here in eighths over two bars, percussion and guitar alike."""
    onsets = {Fraction(each, 2) for each in (0, 3, 6, 10, 13)}
    [pattern] = percussion()["bossa-rim"].patterns().values()
    assert {time for time, _ in pattern.strokes} == onsets
    tones = line(only(drill_of("bossa-nova", chords="C")), "comp")
    struck = places(tones, Fraction(8)) - {Fraction(0), Fraction(15, 2)}  # the anticipated one
    assert struck == onsets - {Fraction(0)}


@pytest.mark.parametrize(
    "feet", ["one-and-three", "rock-and-of-two", "...x ..x.", "x..x ..x. .x.. x..."]
)
def test_a_funk_bass_strikes_with_every_stroke_of_the_bass_drum(feet: str) -> None:
    exercise = only(drill_of("funk", feet=feet, feet_placements="0"))
    drum = {hit.time for hit in exercise.hits if hit.limb is Limb.RIGHT_FOOT}
    assert drum
    loud = {tone.time for tone in line(exercise, "bass") if tone.velocity > 60}
    assert drum <= loud


def test_a_walking_bass_goes_to_the_next_root_by_step() -> None:
    """Common practice."""
    drill = drill_of("swing", steps="3", sticking="RLRLRL", chords="Dm7 | G7 | Cmaj7 | A7")
    tones = line(only(drill), "bass")
    assert [tone.length for tone in tones] == [1] * 32
    for last, first in zip(tones[3::4], [*tones[4::4], tones[0]], strict=True):
        assert (
            1 <= abs(last.pitch - first.pitch) % 12 <= 2 or abs(last.pitch - first.pitch) % 12 >= 10
        )


@pytest.mark.parametrize("clave", ["2-3", "3-2"])
def test_a_montuno_has_the_next_chord_an_eighth_before_it(clave: str) -> None:
    """Common practice: the and of four in cut time belongs to what follows, either way round."""
    drill = drill_of("son", chords="Dm7 G7 | Cmaj7 A7", clave=clave)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    for change in chart.changes:
        before = (change.time - Fraction(1, 4)) % exercise.length
        struck = {t.pitch % 12 for t in line(exercise, "comp") if t.time == before}
        assert struck and change.chord is not None
        assert struck <= change.chord.pitch_classes


def test_a_montuno_in_twelve_eight_is_on_the_strokes_of_the_bell() -> None:
    """The bell after G. Toussaint, BRIDGES 2005: [2 2 1 2 2 2 1]; that the piano is on it: common
    practice."""
    bell = {Fraction(each, 2) for each in (0, 2, 4, 5, 7, 9, 11)}
    assert places(line(only(drill_of("twelve-eight")), "comp"), Fraction(6)) == bell


def test_a_samba_bass_is_heavier_on_the_second_beat() -> None:
    """Common practice: root on one, fifth on two, where the surdo is open and loudest."""
    tones = line(only(drill_of("samba", chords="C")), "bass")
    for first in (0, 2):
        one, two = (next(t for t in tones if t.time == first + each) for each in (0, 1))
        assert (one.pitch % 12, two.pitch % 12) == (0, 7)
        assert two.velocity > one.velocity and two.length > one.length
    surdo = percussion()["surdo"].patterns()
    assert {time % 2 for time, _ in surdo["surdo"].strokes} == {1}


def test_a_jazz_waltz_is_comped_on_the_swung_and_of_two() -> None:
    """Common practice: the dotted quarter against the beat, where a swung ride has it too."""
    tones = line(only(drill_of("jazz-waltz", chords="C | % | % | %")), "comp")
    assert Fraction(5, 3) in places(tones, Fraction(6))
    assert {(time * 3).denominator for time in places(tones, Fraction(3))} == {1}
    ride = ostinatos()["jazz-waltz-ride"].pattern.strokes
    assert Fraction(5, 3) in {time for time, _ in ride}


def test_a_funk_bass_has_its_roots_as_low_as_they_go() -> None:
    """Common practice: with the bass drum the root on the lowest string that has it, the octave
    above between; dead notes and octaves are no louder than it."""
    exercise = only(drill_of("funk", chords="E7#9 | Ab7", feet="one-and-three"))
    tones = line(exercise, "bass")
    drum = {hit.time for hit in exercise.hits if hit.limb is Limb.RIGHT_FOOT}
    for low, first in ((pitch("E1"), 0), (pitch("Ab1"), 4)):
        bar = [tone for tone in tones if first <= tone.time < first + 4]
        assert {tone.pitch for tone in bar if tone.time in drum} == {low}
        assert low + 12 in {tone.pitch for tone in bar}
        assert max(tone.velocity for tone in bar) == bar[0].velocity


@pytest.mark.parametrize(
    "keys",
    [{}, {"feet": "one-and-three"}, {"feet": "..x. .x.x"}],
    ids=["no feet", "beats", "off beats"],
)
def test_a_funk_bass_says_the_root_of_every_chord_first(keys: dict[str, Any]) -> None:
    """Common practice: whatever the bass drum leaves empty, a change is heard in the bass."""
    drill = drill_of("funk", chords="Am7 D9 | Gm7 C13", **keys)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    for mark in exercise.chords:
        chord = chart.chord(mark.time)
        assert chord is not None
        heard = [
            tone
            for tone in line(exercise, "bass")
            if mark.time <= tone.time < mark.time + mark.length and tone.velocity > 60
        ]
        assert heard[0].pitch % 12 == chord.bass


def test_ghosts_of_a_clavinet_are_single_short_and_soft() -> None:
    """Common practice: muted single notes between the chords of a sixteenth part."""
    tones = line(only(drill_of("funk", chords="E9")), "comp")
    by_time = {at: [t for t in tones if t.time == at] for at in {t.time for t in tones}}
    ghosts = [each[0] for each in by_time.values() if len(each) == 1]
    chords = [tone for each in by_time.values() if len(each) > 1 for tone in each]
    assert ghosts and chords
    assert max(t.velocity for t in ghosts) < min(t.velocity for t in chords)
    assert max(t.length for t in ghosts) < min(t.length for t in chords)


@pytest.mark.parametrize("chords", ["C", "C | C | C | C"])
def test_the_last_of_eight_bars_differs_over_one_chord_too(chords: str) -> None:
    """Common practice: eight bars end with something that leads back, vamp or not."""

    def bars() -> list[set[tuple[Fraction, int, int]]]:
        tones = line(only(drill_of("rock", chords=chords, percussion="none")), "bass")
        ends = range(8)
        return [
            {(t.time % 4, t.pitch, t.velocity) for t in tones if t.time // 4 == bar} for bar in ends
        ]

    found = bars()
    assert found[0] == found[1] == found[2] == found[4] != found[7]
    assert found[3] != found[7]
    assert {pitch % 12 for _, pitch, _ in found[0]} == {0}


def test_the_last_bar_leads_back_to_the_top() -> None:
    """Common practice: the line before a form's top rises or falls into it by a fifth at most."""
    for name in ("son", "bossa-nova", "funk", "rock", "samba"):
        tones = line(only(drill_of(name, chords="C | F | G | Am")), "bass")
        assert 0 <= abs(tones[-1].pitch - tones[0].pitch) <= 7, name


def test_what_is_off_the_beat_and_unaccented_is_softer() -> None:
    """Common practice: eighths on one note are played strong, weak."""
    tones = [t for t in line(only(drill_of("rock", chords="C")), "bass") if t.time < 12]
    off = [tone.velocity for tone in tones if tone.time % 1]
    assert off and max(off) < min(tone.velocity for tone in tones if not tone.time % 1)


def test_a_foreign_bass_stays_below_the_chord() -> None:
    """Common practice: of D/C the bass plays C only, its fifth would be against the chord."""
    for name in ("son", "bossa-nova", "rock"):
        assert {t.pitch % 12 for t in line(only(drill_of(name, chords="D/C")), "bass")} == {0}
    over_third = line(only(drill_of("bossa-nova", chords="C/E")), "bass")
    assert {tone.pitch % 12 for tone in over_third} == {4, 7}


# Walking

BLUES = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | Am7b5 D7b9 | Gm7 | C7alt | F7 D7 | Gm7 C7"
FORMS = [
    BLUES,
    "Dm7b5 | G7b9 | Cm6 | %",
    "Cmaj7 Am7 | Dm7 G7",
    "Dm7",
    "Fmaj7/G | C6/9 | Ebmaj7#11/Bb | E7alt",
    "C | N.C. | G7sus4 G7",
    PROGRESSION,
]


def walking(chords: str) -> tuple[Drill, Exercise, list[Tone]]:
    drill = drill_of("swing", steps="3", sticking="RLRLRL", chords=chords)
    exercise = only(drill)
    return drill, exercise, line(exercise, "bass")


@pytest.mark.parametrize("chords", FORMS)
def test_a_walking_bass_has_tones_of_the_chord_on_the_strong_beats(chords: str) -> None:
    """Common practice: on one and three."""
    drill, _, tones = walking(chords)
    chart = chart_of(drill)
    for tone in tones:
        chord = chart.chord(tone.time)
        assert chord is not None
        if tone.time % 2 == 0:
            assert tone.pitch % 12 in chord.pitch_classes
        if tone.time in chart.turns:
            assert tone.pitch % 12 == chord.bass


@pytest.mark.parametrize("chords", FORMS)
def test_a_walking_bass_leaps_no_further_than_a_hand_does(chords: str) -> None:
    """Common practice: steps and thirds, a fourth or fifth at times, an octave at most; no
    sixths and sevenths, and into a chord by a step round the seam too."""
    drill, _, tones = walking(chords)
    chart = chart_of(drill)
    turns = set(chart.turns)
    moves = []
    for before, after in zip(tones, [*tones[1:], tones[0]], strict=True):
        if before.time + 1 not in (after.time, only(drill).length):
            continue  # there was no chord between
        move = abs(after.pitch - before.pitch)
        assert move <= 7 or move == 12
        if after.time % 4 == 0 and before.time not in turns:
            assert move <= 2
        moves.append(move)
    assert sum(move <= 4 for move in moves) >= 0.8 * len(moves)
    assert all(pitch("E1") <= tone.pitch <= pitch("G3") for tone in tones)


def test_a_walking_bass_does_not_say_the_same_thing_twice_over_one_chord() -> None:
    _, _, tones = walking("Cm7 | % | F7 | %")
    bars = [tuple(tone.pitch for tone in tones[i : i + 4]) for i in range(0, 16, 4)]
    assert len(set(bars)) == 4


# Voice leading


def test_in_a_two_five_one_the_seventh_falls_to_the_third_and_the_third_stays() -> None:
    """Common practice."""
    chords = [read_chord(each) for each in ("Dm7", "G7", "Cmaj7")]
    found = [each for each in chords if each]
    options = [placements(tuple(sorted(chosen(each, 2))), 53, 76) for each in found]
    way = led(found, options, 64)
    for before, after in pairwise(way):
        moved = sorted(abs(a - b) for a, b in zip(before, after, strict=True))
        assert moved[0] == 0 and moved[1] <= 2


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(SYMBOLS), min_size=2, max_size=4, unique=True))
def test_voices_are_led_as_well_as_can_be_round_the_loop(symbols: list[str]) -> None:
    """Against every way round there is."""
    chords = [chord for chord in map(read_chord, symbols) if chord]
    options = [placements(tuple(sorted(chosen(each, 3))), 55, 70) for each in chords]

    def cost(way: tuple[tuple[int, ...], ...]) -> float:
        moving = sum(
            band_voicing._moving(a, b) for a, b in zip(way, (*way[1:], way[0]), strict=True)
        )
        return moving + sum(
            band_voicing._standing(each, 62, chord) for each, chord in zip(way, chords, strict=True)
        )

    best = min(cost(way) for way in product(*options))
    assert cost(tuple(led(chords, options, 62))) == pytest.approx(best)


@given(st.sampled_from(SYMBOLS), st.sampled_from([*HANDS]))
def test_a_chord_lies_in_the_hand(symbol: str, hand: str) -> None:
    chord = read_chord(symbol)
    assert chord is not None
    how = HANDS[hand]
    classes = tuple(sorted(chosen(chord, how.voices)))
    assert len(classes) <= how.voices
    for voicing in placements(classes, 48, 76, how.open_position):
        assert list(voicing) == sorted(set(voicing))
        assert {each % 12 for each in voicing} == set(classes)
        assert voicing[-1] - voicing[0] <= (24 if how.open_position else 11)


@pytest.mark.parametrize(
    ("style", "chords"),
    [
        ("funk", "E7#9 | Am7 | D7#9 | Gmaj7"),
        ("swing", "Dm7b5 | G7alt | Cm6/9 | C7alt"),
        ("swing", "Fmaj7 | G7alt/B | Cm7 | A7#9"),
        ("bossa-nova", "D7#9 | G7alt | Cmaj7 | B7#9"),
    ],
)
def test_a_sharp_ninth_lies_above_the_third(style: str, chords: str) -> None:
    """Common practice: a major seventh above it, never a semitone or a ninth below."""
    keys = {"steps": "3", "sticking": "RLRLRL"} if style == "swing" else {}
    drill = drill_of(style, chords=chords, **keys)
    progression = drill.band.progression
    assert progression is not None and drill.band.style is not None
    figure = drill.band.style.comp
    low = figure.lowest
    found = voiced(progression, HANDS[figure.hand], low, figure.highest, low)
    seen = 0
    for change, voicing in zip(progression.changes, found, strict=True):
        chord = change.chord
        assert chord is not None
        where = {(each - chord.root) % 12: each for each in voicing}
        if chord.third == 4 and 15 in chord.tones and 3 in where:
            seen += 1
            assert where[3] > where[4], (change.symbol, voicing)
    assert seen


def test_a_piano_beside_a_walking_bass_leaves_the_root_to_it() -> None:
    """Common practice: rootless voicings."""
    for symbol in ("Dm7", "G13", "Cmaj9", "Bm7b5", "A7b9", "F7alt"):
        keys = {"steps": "3", "sticking": "RLRLRL"}
        tones = line(only(drill_of("swing", chords=symbol, **keys)), "comp")
        chord = read_chord(symbol)
        assert chord is not None
        played = {(tone.pitch - chord.root) % 12 for tone in tones}
        assert 0 not in played and {chord.third, chord.seventh} <= played and len(played) >= 3


def voicings(chords: str, style: str) -> list[tuple[Chord, tuple[int, ...]]]:
    drill = drill_of(style, chords=chords)
    progression, style_of = drill.band.progression, drill.band.style
    assert progression is not None and style_of is not None
    figure = style_of.comp
    found = voiced(progression, HANDS[figure.hand], figure.lowest, figure.highest, pitch("E2"))
    chords_of = [change.chord for change in progression.changes]
    return [(chord, each) for chord, each in zip(chords_of, found, strict=True) if chord]


def test_a_power_chord_has_its_root_below_the_fifth() -> None:
    """Common practice: root, fifth, octave; a fourth would be heard as another chord."""
    for chord, voicing in voicings("E5 | D5 | A5 | C5 | F#5", "rock"):
        assert voicing[0] % 12 == chord.root
        assert [each - voicing[0] for each in voicing] == [0, 7, 12]


@pytest.mark.parametrize("chords", ["Em7 | A13", "B7#9 | Em7 | Bb13", "Cmaj7 | G13 | F#m7 | B13"])
def test_a_thirteenth_never_rubs_on_the_seventh_below_it(chords: str) -> None:
    """Common practice: the seventh below, the thirteenth a major seventh above it."""
    for chord, voicing in voicings(chords, "funk"):
        where = {(each - chord.root) % 12: each for each in voicing}
        if chord.symbol.endswith("13"):
            assert where[9] - where[10] == 11


@pytest.mark.parametrize(
    ("symbol", "following", "added"),
    [
        ("G7", "Cmaj7", {2, 9}),
        ("G7", "Cm7", set()),  # a natural ninth and thirteenth are not in the key of C minor
        ("Dm7", "G7", {2}),
        ("Em7", "Am7", set()),  # a third degree: its ninth is not in the key
        ("Cmaj7", "Am7", {2}),
        ("Bm7b5", "E7", set()),
        ("G7b9", "Cmaj7", set()),
    ],
)
def test_tensions_are_added_where_the_key_has_them(
    symbol: str, following: str, added: set[int]
) -> None:
    """Common practice."""
    chord, after = read_chord(symbol), read_chord(following)
    assert chord is not None and after is not None
    more = enriched(chord, after).pitch_classes - chord.pitch_classes
    assert {(each - chord.root) % 12 for each in more} == added


# What a whole band keeps to

TWO_A_BAR = "Dm7 G7 | Em7 A7 | Cm7 F7 | Bbmaj7 Eb7"


@pytest.mark.parametrize("name", styles())
@pytest.mark.parametrize("chords", [TWO_A_BAR, "F7 | Bb7 | F7 | Cm7 F7"])
@pytest.mark.parametrize("clave", ["3-2", "2-3"])
def test_every_chord_is_heard(name: str, chords: str, clave: str) -> None:
    """While it lasts, or anticipated by less than a beat; its third and more of it."""
    drill = drill_of(name, chords=chords, clave=clave)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    strokes = struck(line(exercise, "comp"))
    changes = chart.changes
    for change, after in pairwise([*changes, changes[0]._replace(time=exercise.length)]):
        chord = change.chord
        assert chord is not None
        heard = {
            each % 12
            for time, pitches in strokes.items()
            if 0 < change.time - time < drill.meter.beat or change.time <= time < after.time
            if belongs(pitches, chord, name)
            for each in pitches
        }
        assert (chord.root + chord.third) % 12 in heard, (change.symbol, change.time)
        assert len(heard) > 1


@pytest.mark.parametrize("name", styles())
def test_what_sounds_at_the_top_of_the_loop_is_of_the_first_chord(name: str) -> None:
    drill = drill_of(name, chords="Dm7 G7 | Cmaj7 A7")
    exercise = only(drill)
    first = read_chord("Dm7")
    assert first is not None
    bass = [tone.pitch % 12 for tone in line(exercise, "bass") if tone.time == 0]
    assert bass in ([first.root], [])
    comp = [tone.pitch for tone in line(exercise, "comp") if tone.time == 0]
    assert belongs(sorted(comp), first, name)


@pytest.mark.parametrize("clave", ["2-3", "3-2"])
def test_a_tumbao_bass_is_never_on_one(clave: str) -> None:
    """Common practice: not at the top of the form either; that is what one learns to play with."""
    for chords in ("Cm7", "Dm7 | G7 | Cmaj7 | A7"):
        tones = line(only(drill_of("son", chords=chords, clave=clave)), "bass")
        assert not [tone for tone in tones if tone.time % 4 == 0]


@pytest.mark.parametrize("clave", ["2-3", "3-2"])
def test_bass_and_guitar_of_a_bossa_nova_change_together(clave: str) -> None:
    """Common practice: the bass anticipates a chord only where the guitar does."""
    drill = drill_of("bossa-nova", chords="Am7 | D7 | Gmaj7 | Db7 | F#m7b5 | B7", clave=clave)
    exercise = only(drill)
    chart = chart_of(drill, exercise.length)
    guitar = struck(line(exercise, "comp"))
    ahead = 0
    for change in chart.changes:
        time, chord = change.time - Fraction(1, 2), change.chord
        [bass] = [t for t in line(exercise, "bass") if t.time == time] or [None]
        if bass and chord and bass.pitch % 12 == chord.bass:
            ahead += 1
            assert belongs(guitar.get(time, [0, 1]), chord, "bossa-nova")
    assert ahead


def test_all_of_a_twelve_eight_band_turns_with_the_clave() -> None:
    """The bell after BRIDGES 2005, which begins its two-side with its second half."""
    bell = {Fraction(each, 2) for each in (0, 2, 4, 5, 7, 9, 11)}
    turned = {(time + 3) % 6 for time in bell}
    for clave, strokes in (("3-2", bell), ("2-3", turned)):
        keys = {"percussion": "six-eight-son-clave, bembe", "clave": clave}
        drill = drill_of("twelve-eight", chords="Fm7 | Bb7", **keys)
        exercise = only(drill)
        assert not remarks(drill)
        assert {h.time % 6 for h in exercise.hits if h.layer == "bembe"} == strokes
        assert places(line(exercise, "comp"), Fraction(6)) == strokes


@pytest.mark.parametrize("name", styles())
@pytest.mark.parametrize("chords", ["Cm7", "Am7 | D7"])
def test_eight_bars_of_a_vamp_are_not_one_bar_eight_times(name: str, chords: str) -> None:
    """What a drummer is to play with for minutes: three bars of eight differ at least, in what
    the chord instrument plays."""
    exercise = only(drill_of(name, chords=chords))
    bar = exercise.meter.bar
    assert exercise.bars % 8 == 0
    bars: dict[int, set[tuple[Fraction, int]]] = {}
    for tone in line(exercise, "comp"):
        bars.setdefault(int(tone.time // bar), set()).add((tone.time % bar, tone.pitch))
    assert len({frozenset(each) for each in bars.values()}) >= 3


@pytest.mark.parametrize("chords", [TWO_A_BAR])
def test_a_walking_bass_never_denies_the_third_of_a_chord_of_half_a_bar(chords: str) -> None:
    """Common practice: of a chord with two notes the second is no third that the chord has not;
    in all twelve keys."""
    names = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]

    def moved_by(key: int, word: str) -> str:
        root = word[: 1 + (word[1:2] in ("b", "#"))]
        return names[(names.index(root) + key) % 12] + word[len(root) :]

    for key in range(12):
        moved = re.sub(r"[A-G]\S*", lambda word, by=key: moved_by(by, word[0]), chords)
        drill, exercise, tones = walking(moved)
        chart = chart_of(drill, exercise.length)
        turns = chart.turns
        for begun, after in pairwise([*turns, exercise.length]):
            chord = chart.chord(begun)
            assert chord is not None
            if after - begun >= 4 or {3, 4} <= {tone % 12 for tone in chord.tones}:
                continue
            denied = (chord.root + (4 if chord.third == 3 else 3)) % 12
            played = [tone.pitch % 12 for tone in tones if begun <= tone.time < after]
            assert denied not in played, (moved, begun)


@given(st.sampled_from(SYMBOLS), st.sampled_from(SYMBOLS))
@settings(max_examples=60, deadline=None)
def test_the_octaves_of_a_montuno_move_by_step_and_come_back(one: str, other: str) -> None:
    """Common practice: over a chord that stays the outer voice goes a step or two away."""
    exercise = only(drill_of("son", chords=f"{one} | % | {other} | %"))
    outer = [
        (time, pitches[0])
        for time, pitches in struck(line(exercise, "comp")).items()
        if len(pitches) == 2 and pitches[1] - pitches[0] == 12
    ]
    for (time, before), (_, after) in pairwise(outer):
        changes = time % 8 >= Fraction(7, 2) and time % 4 == Fraction(15, 4)
        if not changes:
            assert abs(after - before) <= 4, time
    over_one = {pitch for time, pitch in outer if time % 16 < Fraction(7, 2)}
    assert len(over_one) >= 2


# Percussion, levels and the clave


@pytest.mark.parametrize("name", percussion())
def test_a_percussion_part_loops_within_whole_bars_of_its_meter(name: str) -> None:
    part = percussion()[name]
    for varied in (False, True):
        lengths = {each.length for each in part.patterns(varied).values()}
        if lengths:
            assert len(lengths) == 1
            assert (lengths.pop() / part.meter.bar).denominator == 1


def test_a_conga_tumbao_has_slap_and_open_strokes_where_they_belong() -> None:
    """Heel, toe, slap, toe, heel, toe, open, open, from the encyclopaedia's article on the conga;
    the open ones are the loudest, and the low drum has the bombo of the three-side: common
    practice."""
    lines = percussion()["congas"].patterns()
    muted, opened, low = (
        {int(time * 4): strength.name for time, strength in lines[voice].strokes}
        for voice in ("conga-high-mute", "conga-high", "conga-low")
    )
    assert sorted(muted) == [0, 1, 2, 3, 4, 5, 8, 9, 10, 12, 13]
    assert sorted(opened) == [6, 7, 14, 15]
    assert {muted[2], muted[10]} == {"TAP"} and muted[0] == "GHOST"
    assert opened[7] == opened[15] == "ACCENT"
    assert sorted(low) == [8 + 3]


@pytest.mark.parametrize("clave", ["2-3", "3-2"])
@pytest.mark.parametrize("vary", [0, 1])
def test_the_low_conga_is_on_the_three_side_whichever_way_the_clave_goes(
    clave: str, vary: int
) -> None:
    """Common practice: the bombo, the and of two in cut time, is a stroke of the clave."""
    keys = {"percussion": "clave, congas", "clave": clave, "vary": vary}
    exercise = only(drill_of("son", **keys))
    three = 0 if clave == "3-2" else 2
    low = {hit.time % 4 for hit in exercise.hits if hit.voice == "conga-low"}
    assert three + Fraction(3, 4) in low
    assert all(three <= time < three + 2 for time in low)
    claves = {hit.time % 4 for hit in exercise.hits if hit.voice == "claves"}
    assert three + Fraction(3, 4) in claves


@pytest.mark.parametrize("name", ["congas", "congas-six-eight", "bongos"])
def test_a_hand_drummer_never_has_two_strokes_of_his_own_at_once(name: str) -> None:
    """Common practice for these tumbaos: one hand at a time."""
    part = percussion()[name]
    for varied in (False, True):
        times = [time for each in part.patterns(varied).values() for time, _ in each.strokes]
        assert len(times) == len(set(times))


def test_levels_scale_velocities() -> None:
    from midiforge import notes

    loud, soft = (
        check_drill({"sticking": "RL", "percussion": f"shaker at {level}%", "stages": "full"})
        for level in (100, 50)
    )
    both = [
        [note.velocity for note in notes(only(drill), drill.kit) if note.part == "shaker"]
        for drill in (loud, soft)
    ]
    assert len(both[0]) == len(both[1]) > 0
    assert all(abs(2 * b - a) <= 1 for a, b in zip(*both, strict=True))


def test_those_beside_the_drummer_accent_less_than_he_does() -> None:
    """A ghost note of a shaker has to be heard: steady sixteenths are what it is there for."""
    from midiforge import notes

    drill = check_drill({"sticking": ">R(L)", "percussion": "shaker", "stages": "full"})
    own = [n.velocity for n in notes(only(drill), drill.kit) if n.part in ("RH", "LH")]
    beside = [n.velocity for n in notes(only(drill), drill.kit) if n.part == "shaker"]
    assert min(own) < min(beside) and max(beside) < max(own)


def test_percussion_varies_the_last_time_in_so_many_bars() -> None:
    drill = check_drill({"sticking": "RL", "percussion": "congas", "vary": 4, "stages": "full"})
    exercise = only(drill)
    assert exercise.bars == 4
    bars = [
        {
            (hit.time % 4, hit.voice, hit.strength)
            for hit in exercise.hits
            if hit.layer == "congas" and hit.time // 4 == bar
        }
        for bar in range(4)
    ]
    assert bars[0] == bars[1] == bars[2] != bars[3]
    plain = check_drill({"sticking": "RL", "percussion": "congas", "vary": 0, "stages": "full"})
    assert only(plain).bars == 1


@pytest.mark.parametrize("clave", ["3-2", "2-3"])
def test_all_that_leans_on_the_clave_follows_the_way_the_drill_says(clave: str) -> None:
    """The timelines of BRIDGES 2002 by the library; 2-3 is 3-2 begun with its second half."""
    drill = check_drill(
        {"sticking": "RL", "percussion": "clave, cascara, rumba-clave, congas", "clave": clave}
    )
    assert {part.clave for part in drill.band.percussion} == {clave}
    assert not remarks(drill)
    [son] = [part for part in drill.band.percussion if part.member.name.startswith("son")]
    assert son.lines[0].pattern == ostinatos()[f"son-clave-{clave}"].pattern


@pytest.mark.parametrize(
    "name", [name for name, each in ostinatos().items() if each.clave and each.meter.unit == 4]
)
def test_what_leans_on_the_clave_meets_it_more_often_its_own_way_round(name: str) -> None:
    """The son clave after BRIDGES 2002, [3 3 4 2 4]; the other way round it begins with its
    second half."""
    first = (0, 3, 6, 10, 12)
    claves = {"3-2": set(first), "2-3": {(each + 8) % 16 for each in first}}
    strokes = {int(time * 4) for time, _ in ostinatos()[name].pattern.strokes}
    met = {way: len(strokes & clave) for way, clave in claves.items()}
    assert max(met, key=met.__getitem__) == ostinatos()[name].clave and len(set(met.values())) == 2


@pytest.mark.parametrize(
    ("keys", "crosses"),
    [
        ({"feet": "bombo", "percussion": "son-clave-2-3"}, True),
        ({"feet": "bombo", "percussion": "clave"}, False),
        ({"feet": "bombo", "percussion": "clave", "clave": "2-3"}, True),
        ({"feet": "son-clave-2-3-foot", "layers": "rumba-clave-3-2"}, True),
        ({"feet": "tumbao", "percussion": "son-clave-2-3"}, False),
        ({"feet": "x..x ..x. ..x. x... as cowbell", "percussion": "son-clave-2-3"}, True),
        ({"feet": "bombo", "percussion": "clave", "feet_placements": "+8"}, True),
        ({"feet": "bombo", "percussion": "son-clave-2-3", "feet_placements": "+8"}, False),
        ({"feet": "tumbao", "layers": "son-clave-3-2", "percussion": "cascara-2-3"}, True),
        ({"feet": "bossa-nova", "percussion": "bossa-rim, son-clave-2-3"}, False),
        ({"feet": "bombo", "feet_placements": "+8", "percussion": "bossa-nova-clave"}, True),
    ],
)
def test_feet_that_cross_the_clave_are_told(keys: dict[str, Any], crosses: bool) -> None:
    """Directions: common practice, the bombo note being on the three-side."""
    said = " ".join(remarks(check_drill({"sticking": "RLRR LRLL", **keys})))
    assert ("they cross" in said) is crosses


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({}, True),
        ({"swing": "2:1"}, False),
        ({"steps": "3"}, False),
        ({"style": "funk"}, False),
        ({"chords": "", "style": ""}, False),
    ],
)
def test_a_drummer_who_is_straight_beside_a_swinging_band_is_told(
    keys: dict[str, Any], told: bool
) -> None:
    drill = check_drill({"sticking": "RLRR LRLL", "style": "swing", "chords": "Dm7 | G7", **keys})
    assert any("the band swings" in each for each in remarks(drill)) is told


@pytest.mark.parametrize("meter", ["5/4", "7/4", "3/4"])
def test_percussion_that_repeats_with_every_beat_plays_in_any_meter(meter: str) -> None:
    exercise = only(
        check_drill(
            {"sticking": "RL", "percussion": "shaker, pandeiro", "meter": meter, "stages": "full"}
        )
    )
    for name in ("shaker", "pandeiro"):
        times = {hit.time % 1 for hit in exercise.hits if hit.layer == name}
        assert times == {Fraction(i, 4) for i in range(4)}


def test_a_timeline_that_the_drill_has_already_is_not_played_twice_by_the_style() -> None:
    drill = drill_of("son", layers="son-clave-2-3")
    assert [part.member.name for part in drill.band.percussion] == ["congas", "guiro", "campana"]


# What is wrong


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"chords": "Dm7 | Gx"}, "chords: bar 2: 'Gx' is no chord"),
        ({"chords": "C", "style": "bosa"}, "style: no style is called 'bosa' .*bossa-nova"),
        ({"chords": "C", "style": "funk", "meter": "3/4"}, "style: 'funk' is at home in 4/4"),
        ({"chords": "C", "meter": "7/8"}, "style: no style is at home in 7/8"),
        ({"percussion": "shakr"}, "percussion: no percussion part is called 'shakr' .*shaker"),
        ({"percussion": "bembe"}, "percussion: 'bembe' is at home in 12/8.* do not meet"),
        ({"percussion": "shaker-waltz"}, "percussion: 'shaker-waltz' is at home in 3/4"),
        ({"percussion": "congas, congas at 50%"}, "percussion: 'congas' is there twice"),
        ({"percussion": "clave", "layers": "clave"}, "percussion: 'son-clave-3-2' is under layers"),
        ({"percussion": "congas at 400%"}, "percussion: 'congas': 400% is no level"),
        ({"percussion": "x.x."}, "percussion: 'x.x.' has no sound of its own"),
        ({"bass": "piano", "chords": "C"}, "bass: no bass instrument is called 'piano'"),
        ({"comp": "vibes"}, "comp: there are no chords to play"),
        ({"chords": "C", "vary": -1}, "vary: "),
        ({"clave": "4-1"}, "clave: '4-1' is not one of"),
    ],
)
def test_a_wrong_wish_is_told_in_one_line(keys: dict[str, Any], said: str) -> None:
    with pytest.raises(MidiforgeError, match="^" + said):
        check_drill({"sticking": "RLRR LRLL", **keys})


# Which style


@pytest.mark.parametrize(
    ("feet", "style"),
    [
        ("tumbao", "son"),
        ("samba", "samba"),
        ("bossa-nova", "bossa-nova"),
        ("one-and-three", "funk"),
    ],
)
def test_the_feet_choose_the_style(feet: str, style: str) -> None:
    drill = check_drill({"sticking": "RLRR LRLL", "feet": feet, "chords": "C"})
    assert drill.band.style is styles()[style]


def test_a_drill_without_wishes_has_nobody_beside_it() -> None:
    drill = check_drill({"sticking": "RLRR LRLL", "feet": "tumbao"})
    assert drill.band.members == ()
    for exercise in exercises(drill):
        assert not exercise.band and not exercise.tones and not exercise.chords


def test_uneven_tones_are_uneven_the_same_way_every_time_and_stay_in_the_loop() -> None:
    from statistics import pstdev

    from midiforge.performance.notes import held

    keys = {"humanise": {"timing": 8, "velocity": 6, "seed": 3}, "repeats": 8}
    exercise, again = (only(drill_of("swing", steps="3", **keys)) for _ in range(2))
    found = list(held(exercise))
    assert found == list(held(again))
    assert all(0 <= each.time < each.end <= exercise.length for each in found)
    quarter = float(exercise.tempo.quarter(Fraction(0)))
    late = [
        1000 * quarter * float(each.time - tone.time)
        for each, tone in zip(found, exercise.tones, strict=True)
        if tone.time
    ]
    assert 6 < pstdev(late) < 10
    levels = {track.name: track.level for track in exercise.band}
    loud = [
        e.velocity - float(t.velocity * levels[t.member])
        for e, t in zip(found, exercise.tones, strict=True)
    ]
    assert 4.5 < pstdev(loud) < 7.5


def test_channels_of_bass_and_chords_leave_the_kit_alone() -> None:
    for exercise in exercises(check_drill({"sticking": "RL", "chords": "C", "stages": "full"})):
        channels = [track.channel for track in exercise.band if track.channel]
        assert len(set(channels)) == 2 and 10 not in channels
