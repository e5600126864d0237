"""Sound: lengths, times, the seam, levels, files, SoundFonts.

Checked against SciPy (onsets, lines), against long renderings without any seam, against the test
signals of EBU Tech 3341 and a meter written here from ITU-R BS.1770-4, and by reading files back
with libsndfile and mutagen. The SoundFont is the small TimGM6mb.
"""

import gc
import math
import resource
import shutil
import struct
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import mutagen
import numpy as np
import pytest
import soundfile
from scipy.signal import lfilter
from scipy.stats import linregress

import midiforge
from midiforge import Hit, Limb, MidiforgeError, Strength, read_kit
from midiforge.model.band import Member, Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, Ornament, OrnamentKind
from midiforge.model.meter import Meter
from midiforge.model.piece import Dynamics, Touch
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap
from midiforge.sound import fluid, pool, soundfont
from midiforge.sound.audio_file import About, about, write_audio
from midiforge.sound.fluid import Sound, Synth
from midiforge.sound.level import PEAK, gain_for, is_silent, loudness
from midiforge.sound.pool import Job, render_all
from midiforge.sound.render import Rendered, rendered
from midiforge.sound.schedule import Clock, sounding
from midiforge.sound.soundfont import check_soundfont, find_soundfont

FONTS = [Path(folder) / "TimGM6mb.sf2" for folder in soundfont._FOLDERS["linux"]]
FONT = next((path for path in FONTS if path.is_file()), None)
KIT = read_kit("general-midi-1")
BLOCK = 64  # samples, FluidSynth's
# A sixteenth is 84 whole blocks: every time round is the same to the sample.
EVEN = Fraction(44100 * 60, 4 * 84 * BLOCK)
BASS = Member("bass", "bass", "Bass", 2, 33)

SPECIMEN = next(midiforge.exercises(midiforge.check_drill({"sticking": "RLRR LRLL"})))


@pytest.fixture(scope="module")
def sound() -> Sound:
    return _sound()


def _sound() -> Sound:
    try:
        fluid.library()
    except MidiforgeError as error:
        pytest.skip(str(error))
    if FONT is None:
        pytest.skip("the SoundFont TimGM6mb (package timgm6mb-soundfont) is not installed")
    return Sound(FONT)


def hit(
    at: float | Fraction,
    voice: str,
    strength: Strength = Strength.TAP,
    limb: Limb | None = Limb.RIGHT_HAND,
    layer: str = "hands",
) -> Hit:
    return Hit(Fraction(at), limb, voice, strength, None, layer)


def made(
    *hits: Hit,
    tempo: Fraction | float = EVEN,
    bars: int = 1,
    count_in: int = 0,
    meter: str = "4/4",
    loop: Fraction | int = 0,
    tones: tuple[Tone, ...] = (),
    **others: Any,
) -> Exercise:
    """An exercise of just these hits."""
    of = Meter.parse(meter)
    fields: dict[str, Any] = {
        "meter": of,
        "hits": tuple(sorted(hits, key=lambda each: each.time)),
        "bars": bars,
        "count_in_bars": count_in,
        "loop_start": Fraction(loop),
        "sections": (),
        "tempo": TempoMap(of.pulse, ((-count_in * of.bar, Fraction(tempo)),)),
        "band": (BASS,) if tones else (),
        "tones": tones,
    }
    return SPECIMEN.changed(**(fields | others))


def turned(exercise: Exercise, times: int) -> Exercise:
    """The loop written out several times; what comes before it once."""
    start, length = exercise.loop_start, exercise.length - exercise.loop_start
    hits, tones = list(exercise.hits), list(exercise.tones)
    for i in range(1, times):
        hits += [
            replace(each, time=each.time + i * length)
            for each in exercise.hits
            if each.time >= start
        ]
        tones += [
            replace(each, time=each.time + i * length)
            for each in exercise.tones
            if each.time >= start
        ]
    bars = exercise.bars + (times - 1) * int(length / exercise.meter.bar)
    return exercise.changed(hits=tuple(hits), tones=tuple(tones), bars=bars)


def decibels(samples: "np.ndarray[Any, Any]") -> float:
    """The level of samples by their mean square."""
    return 10 * math.log10(float(np.mean(np.square(samples, dtype=float))) + 1e-20)


def groove(**others: Any) -> Exercise:
    """A bar with what is hard for a seam: a crash and an open hi-hat that ring over its end."""
    hits = [hit(Fraction(i, 2), "hihat-closed") for i in range(7)]
    hits += [hit(0, "bass-drum"), hit(1, "snare"), hit(Fraction(5, 2), "bass-drum")]
    hits += [hit(3, "crash", Strength.ACCENT), hit(Fraction(7, 2), "hihat-open", Strength.ACCENT)]
    tones = (Tone(Fraction(0), Fraction(3, 2), 40, 90, "bass"),)
    tones += (Tone(Fraction(2), Fraction(2), 47, 90, "bass"),)
    return made(*hits, tones=tones, **others)


# Lengths


@pytest.mark.parametrize(
    ("tempo", "meter", "bars", "count_in", "rate"),
    [
        ("61", "4/4", 2, 1, 44100),
        ("97.3", "3/4", 3, 0, 44100),
        ("133.7", "4/4", 1, 2, 48000),
        ("211", "4/4", 4, 0, 22050),
        ("333", "5/4", 1, 1, 44100),
    ],
)
def test_a_file_is_as_long_as_its_beats_to_the_sample(
    tempo: str, meter: str, bars: int, count_in: int, rate: int, sound: Sound
) -> None:
    beats = int(meter[0])
    exercise = made(
        hit(0, "snare"), tempo=Fraction(tempo), meter=meter, bars=bars, count_in=count_in
    )
    found = rendered(exercise, KIT, sound, rate)
    one_bar = beats * Fraction(60) / Fraction(tempo) * rate
    assert found.samples.shape == (round((bars + count_in) * one_bar), 2)
    assert found.samples.dtype == np.float32
    assert found.loop == round(count_in * one_bar)


def test_a_tempo_that_changes_changes_the_length(sound: Sound) -> None:
    # Half at 60, half at 90 beats a minute: 4 * 1 s + 4 * 2/3 s.
    tempo = TempoMap(Fraction(1), ((Fraction(0), Fraction(60)), (Fraction(4), Fraction(90))))
    exercise = made(hit(0, "snare"), bars=2, tempo=60)
    found = rendered(exercise.changed(tempo=tempo), KIT, sound, closed=False)
    assert len(found.samples) == round((4 + Fraction(8, 3)) * 44100)


def test_the_clock_agrees_with_the_exact_one() -> None:
    changes = tuple((Fraction(4 * i - 4), Fraction(60 + 7 * i)) for i in range(9))
    exercise = made(bars=8, count_in=1).changed(tempo=TempoMap(Fraction(3, 2), changes))
    clock = Clock(exercise)
    for i in range(-8, 65):
        at = Fraction(i, 2) + Fraction(1, 3)
        exact = exercise.tempo.seconds(-exercise.count_in, at)
        assert clock(at) == pytest.approx(float(exact), abs=1e-12)


# Times


def onsets(samples: "np.ndarray[Any, Any]", rate: int, expected: list[float]) -> list[float]:
    """When strokes are heard: the first sample near each that is a fifth of the highest there."""
    level, found = np.abs(samples).max(axis=1), []
    for at in expected:
        first = max(0, round((at - 0.05) * rate))
        near = level[first : round((at + 0.05) * rate)]
        found.append((first + int(np.argmax(near >= 0.2 * near.max()))) / rate)
    return found


def test_strokes_of_four_minutes_lie_where_they_belong_and_do_not_drift(sound: Sound) -> None:
    bars, tempo = 97, Fraction("97.3")
    quarters = [hit(i, "claves", limb=None, layer=CLICK) for i in range(4 * bars)]
    found = rendered(made(*quarters, bars=bars, tempo=tempo), KIT, sound)
    times = [float(i * 60 / tempo) for i in range(4 * bars)]
    assert times[-1] > 230
    heard = onsets(found.samples, 44100, times)
    late = np.array(heard) - times
    assert np.abs(late).max() < 0.003
    # SciPy's straight line through all of them: at most 0.1 ms over the whole file.
    assert abs(linregress(times, late).slope) * times[-1] < 0.0001


def test_swing_grace_notes_and_a_ramp_are_heard_in_time(sound: Sound) -> None:
    eighths = [hit(Fraction(i, 2), "claves") for i in range(16)]
    tempo = TempoMap(Fraction(1), ((Fraction(0), Fraction(80)), (Fraction(4), Fraction(120))))
    swing = Swing(Fraction(1), Fraction(2, 3))
    exercise = made(*eighths, bars=2, tempo=80, swing=swing)
    found = rendered(exercise.changed(tempo=tempo), KIT, sound)
    # 80 then 120: beats of 0.75 and 0.5 s, the second eighth at two thirds of each.
    times = [0.75 * (i // 2 + (i % 2) * 2 / 3) for i in range(8)]
    times += [3 + 0.5 * (i // 2 + (i % 2) * 2 / 3) for i in range(8)]
    assert np.abs(np.array(onsets(found.samples, 44100, times)) - times).max() < 0.003


def test_a_flams_grace_note_at_the_seam_is_heard_at_the_end(sound: Sound) -> None:
    flam = Ornament(OrnamentKind.FLAM, 1, Limb.LEFT_HAND, "claves")
    exercise = made(replace(hit(0, "snare"), ornament=flam))
    found = rendered(exercise, KIT, sound)
    length = len(found.samples)
    at = length / 44100 - SPECIMEN.touch.flam_ms / 1000
    assert onsets(found.samples, 44100, [at]) == [pytest.approx(at, abs=0.003)]
    quiet = found.samples[length // 2 : round((at - 0.005) * 44100)]
    assert decibels(quiet) < decibels(found.samples[round(at * 44100) :]) - 40


def test_unevenness_leaves_no_stroke_before_its_loop() -> None:
    hits = [hit(i, "snare") for i in range(-4, 4)]
    tone = Tone(Fraction(0), Fraction(1), 40, 90, "bass")
    for seed in range(30):
        touch = Touch(timing_ms=20, seed=seed)
        exercise = made(*hits, count_in=1, touch=touch, tones=(tone,))
        found = sounding(exercise, KIT, ())
        start, end = float(exercise.lead_seconds), float(exercise.seconds)
        assert sum(note.begin >= start for note in found) == 5
        assert all(0 <= note.begin <= end for note in found)


def test_synthesisers_are_made_one_after_the_other(
    sound: Sound, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two made at once for the first time play another balance now and then (FluidSynth 2.3.1)."""
    import threading
    import time

    library, busy, most = fluid.library(), [0], [0]
    make = library.new_fluid_synth

    def slowly(settings: Any) -> Any:
        busy[0] += 1
        most[0] = max(most[0], busy[0])
        time.sleep(0.02)
        busy[0] -= 1
        return make(settings)

    monkeypatch.setattr(library, "new_fluid_synth", slowly)
    threads = [threading.Thread(target=lambda: Synth(sound, 44100).close()) for _ in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert most == [1]


# What is played


def test_the_keys_of_a_soundfont_s_drums_are_those_that_fluidsynth_sounds(sound: Sound) -> None:
    """FluidSynth as the independent reader: a key that it has no sample for starts no voice."""
    numpy = pytest.importorskip("numpy")
    sounding_keys = set()
    for key in range(128):
        with Synth(sound, 44100) as synth:
            synth.program(10, 1)
            synth.on(10, key, 100)
            block = numpy.zeros((BLOCK, 2), numpy.float32)
            synth.write(block.ctypes.data, 1)
            if any(synth._playing()):
                sounding_keys.add(key)
    assert soundfont.drums_of(sound.soundfont) == sounding_keys
    assert sounding_keys >= set(range(35, 82))  # General MIDI level 1


@pytest.mark.parametrize(("keys", "number"), [(range(27, 88), 86), (range(35, 82), 35)])
def test_a_drum_that_the_soundfont_lacks_is_played_by_another(keys: range, number: int) -> None:
    """A muted surdo is 86 in General MIDI 2 (RP-024); level 1 has a second bass drum at 35."""
    exercise = made(hit(0, "surdo-mute", limb=None, layer="surdo"))
    assert [note.key for note in sounding(exercise, KIT, keys)] == [number]


def test_every_kit_sounds_alike_but_for_its_velocities(sound: Sound) -> None:
    other = replace(
        read_kit("electronic"),
        notes=dict.fromkeys(KIT.notes, 1),
        channel=3,
        velocities=KIT.velocities,
    )
    exercise = groove().changed(tones=())
    ours, theirs = rendered(exercise, KIT, sound), rendered(exercise, other, sound)
    assert np.array_equal(ours.samples, theirs.samples)
    softer = replace(KIT, velocities=dict.fromkeys(KIT.velocities, 40))
    assert decibels(rendered(exercise, softer, sound).samples) < decibels(ours.samples) - 6


def test_tones_have_their_pitch_and_end(sound: Sound) -> None:
    # A4 is 440 Hz at 69 (ISO 16; MIDI 1.0 numbers middle C 60).
    tone = Tone(Fraction(0), Fraction(1), 69, 100, "bass")
    flute = Member("bass", "bass", "Flute", 2, 74)
    found = rendered(made(tempo=60, tones=(tone,), band=(flute,)), KIT, Sound(sound.soundfont))
    heard = found.samples[8820:35280, 0]
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert np.argmax(spectrum) * 44100 / len(heard) == pytest.approx(440, abs=3)
    assert decibels(found.samples[2 * 44100 :]) < decibels(heard) - 40


def test_a_dynamic_level_is_heard(sound: Sound) -> None:
    points = ((Fraction(0), Fraction(1, 2)), (Fraction(4), Fraction(1)))
    exercise = made(hit(0, "snare"), hit(3, "snare"), dynamics=Dynamics(points))
    samples = rendered(exercise, KIT, sound).samples
    quarter = len(samples) // 4
    assert decibels(samples[:quarter]) < decibels(samples[3 * quarter :]) - 6


def test_the_same_exercise_gives_the_same_samples(sound: Sound) -> None:
    first, second = (rendered(groove(count_in=1), KIT, sound).samples for _ in range(2))
    assert np.array_equal(first, second)


# The seam


@pytest.mark.parametrize("count_in", [0, 1])
def test_joined_to_itself_a_loop_has_no_click_at_the_seam(count_in: int, sound: Sound) -> None:
    """The jump at the seam, and how sharply it bends, against the 20 ms on either side.

    The crash rings over the seam, and no stroke there hides anything.
    """
    crash = hit(3, "crash", Strength.ACCENT)
    tone = Tone(Fraction(1), Fraction(3), 40, 110, "bass")
    leading = [hit(-1, "ride", Strength.ACCENT)] if count_in else []
    for tempo in (EVEN, Fraction("97.3"), Fraction(181)):
        exercise = made(crash, *leading, tones=(tone,), tempo=tempo, count_in=count_in)
        found = rendered(exercise, KIT, sound)
        assert found.loop is not None
        looped = found.samples[found.loop :].astype(float)
        joined = np.concatenate([looped, looped])
        assert_smooth(joined, len(looped))
        if count_in:
            assert_smooth(found.samples.astype(float), found.loop)


@pytest.mark.parametrize("count_in", [0, 1])
@pytest.mark.parametrize("tempo", ["97.3", "61.7", "180", "133.33"])
def test_times_round_are_as_long_as_they_should_be_and_smooth_where_they_meet(
    count_in: int, tempo: str, sound: Sound
) -> None:
    crash = hit(3, "crash", Strength.ACCENT)
    tone = Tone(Fraction(1), Fraction(3), 40, 110, "bass")
    exercise = made(crash, tones=(tone,), tempo=Fraction(tempo), count_in=count_in)
    found = rendered(exercise, KIT, sound)
    turn, before = 4 * 60 / Fraction(tempo), count_in * 4 * 60 / Fraction(tempo)
    whole = np.concatenate(list(found.turns(40)))
    assert len(whole) == found.size(40) == round((before + 40 * turn) * found.rate)
    for number in range(1, 40):
        at = round((before + number * turn) * found.rate)
        assert_smooth(whole[at - 2000 : at + 2000].astype(float), 2000)
        assert np.abs(whole[at : at + 9000] - found.samples[found.loop or 0 :][:9000]).max() < 1e-6


def assert_smooth(samples: "np.ndarray[Any, Any]", at: int, around: int = 882) -> None:
    for order in (1, 2):
        steps = np.abs(np.diff(samples, order, axis=0))
        there = steps[at - order : at]  # those that reach over the seam
        near = np.concatenate([steps[at - around : at - order], steps[at : at + around]])
        assert near.max() > 1e-5
        assert there.max() <= near.max()


@pytest.mark.parametrize("reverb", [False, True])
@pytest.mark.parametrize(
    ("count_in", "tempo"), [(0, EVEN), (1, EVEN), (0, EVEN * 2), (2, EVEN * 4)]
)
def test_a_loop_is_what_a_long_rendering_is_in_its_third_turn_and_later(
    count_in: int, tempo: Fraction, reverb: bool, sound: Sound
) -> None:
    """At four times the tempo the loop is shorter than its tail, which goes round several times.

    Within 40 dB, or as close as two later turns are to one another: FluidSynth's reverb moves.
    """
    sound = replace(sound, reverb=reverb)
    exercise = groove(count_in=count_in, tempo=tempo)
    found = rendered(exercise, KIT, sound)
    assert found.loop is not None
    loop = found.samples[found.loop :]
    turn = 2 if len(loop) > 44100 else 12
    unrolled = rendered(turned(exercise, turn + 2), KIT, sound, closed=False).samples
    first = found.loop + turn * len(loop)
    heard = min(len(loop), 44100)
    same = unrolled[first : first + heard]
    later = unrolled[first + len(loop) : first + len(loop) + heard]
    error = decibels(loop[:heard] - same)
    assert error < max(decibels(same) - 40, decibels(later - same) + 6)
    # Without what rings on it would be far from it.
    dry = unrolled[found.loop : found.loop + heard]
    assert decibels(dry - same) > error + 15
    assert np.corrcoef(loop[:heard, 0], same[:, 0])[0, 1] > 0.999


def test_an_open_hihat_that_rings_over_the_seam_is_choked_by_a_closed_one(sound: Sound) -> None:
    opened = hit(Fraction(7, 2), "hihat-open", Strength.ACCENT)
    sound = replace(sound, reverb=False)
    closed_at = Fraction(1, 4)
    ringing = rendered(made(opened), KIT, sound).samples
    alone = rendered(made(hit(closed_at, "hihat-closed")), KIT, sound).samples
    both = rendered(made(opened, hit(closed_at, "hihat-closed")), KIT, sound).samples
    sixteenth = 84 * BLOCK
    before, after = slice(sixteenth - 4000, sixteenth - 64), slice(3 * sixteenth, 4 * sixteenth)
    assert np.allclose(both[before], ringing[before], atol=1e-5)
    assert decibels(ringing[after]) > -80
    assert decibels(both[after] - alone[after]) < decibels(ringing[after]) - 20
    # The closing one is heard once, as loud as alone.
    strike = slice(sixteenth, sixteenth + 2000)
    assert decibels(both[strike]) == pytest.approx(decibels(alone[strike]), abs=1.5)


def test_what_leads_up_to_the_loop_has_no_tail_of_it(sound: Sound) -> None:
    exercise = groove(count_in=1)
    exercise = exercise.changed(
        hits=(*(hit(i, "claves", layer=CLICK, limb=None) for i in range(-4, 0)), *exercise.hits),
    )
    found = rendered(exercise, KIT, sound)
    plain = rendered(exercise, KIT, sound, closed=False)
    assert found.loop is not None
    last = found.loop - round(0.006 * 44100)
    assert np.array_equal(found.samples[:last], plain.samples[:last])
    # In the last moment it leads over to what comes before the loop's own end.
    levels = [
        np.abs(each).max() for each in (plain.samples[last : found.loop], found.samples[-300:])
    ]
    assert np.abs(found.samples[last : found.loop]).max() <= max(levels) + 1e-6


def test_a_late_entry_is_played_once_and_the_loop_begins_behind_it(sound: Sound) -> None:
    entry = [hit(0, "ride", Strength.ACCENT), hit(3, "crash", Strength.ACCENT)]
    own = [hit(4 + i, "snare") for i in range(4)]
    tones = (
        Tone(Fraction(0), Fraction(6), 40, 90, "bass"),
        Tone(Fraction(6), Fraction(2), 45, 90, "bass"),
    )
    late = made(*entry, *own, bars=2, loop=4, tones=tones)
    found = rendered(late, KIT, sound)
    assert found.loop == len(found.samples) // 2
    alone = made(
        *(hit(i, "snare") for i in range(4)),
        tones=(Tone(Fraction(2), Fraction(2), 45, 90, "bass"),),
    )
    once = rendered(alone, KIT, sound).samples
    # Nothing of the entry rings in the loop.
    assert np.allclose(found.samples[found.loop :], once, atol=1e-4)


def test_a_track_that_does_not_loop_ends_in_a_fade(sound: Sound) -> None:
    exercise = made(hit(0, "bass-drum"), hit(3, "crash", Strength.ACCENT))
    found = rendered(exercise, KIT, sound, closed=False)
    looped = rendered(exercise, KIT, sound)
    assert found.loop is None and len(found.samples) == len(looped.samples)
    assert np.abs(found.samples[-1]).max() == 0
    assert decibels(found.samples[-1000:-500]) > -60
    # Nothing of the crash is at its beginning.
    assert decibels(found.samples[40000:60000]) < decibels(looped.samples[40000:60000]) - 20


# Level


def sine(seconds: float, level: float, rate: int = 48000) -> "np.ndarray[Any, Any]":
    """A sine of 1 kHz in both channels, its peaks at a level in dBFS."""
    times = np.arange(round(seconds * rate)) / rate
    wave = 10 ** (level / 20) * np.sin(2 * np.pi * 1000 * times)
    return np.stack([wave, wave], axis=1).astype(np.float32)


@pytest.mark.parametrize("rate", [44100, 48000])
@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([(20, -23)], -23.0),  # case 1
        ([(20, -33)], -33.0),  # case 2
        ([(10, -36), (60, -23), (10, -36)], -23.0),  # case 3
        ([(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)], -23.0),  # case 4
    ],
)
def test_the_meter_reads_the_minimum_requirements_of_ebu_tech_3341(
    parts: list[tuple[float, float]], expected: float, rate: int
) -> None:
    """EBU Tech 3341, table 1, cases 1 to 4, to +-0.1 LU."""
    signal = np.concatenate([sine(seconds, level, rate) for seconds, level in parts])
    assert loudness(signal, rate) == pytest.approx(expected, abs=0.1)


def bs1770(samples: "np.ndarray[Any, Any]") -> float:
    """Integrated loudness at 48 kHz, with the coefficients of ITU-R BS.1770-4, tables 1 and 2."""
    shelf = (
        [1.53512485958697, -2.69169618940638, 1.19839281085285],
        [1.0, -1.69065929318241, 0.73248077421585],
    )
    high_pass = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
    weighted = lfilter(*high_pass, lfilter(*shelf, samples.astype(float), axis=0), axis=0)
    power = np.square(weighted).sum(axis=1)
    starts = range(0, len(power) - 19200 + 1, 4800)
    blocks = np.array([power[first : first + 19200].mean() for first in starts])
    levels = -0.691 + 10 * np.log10(blocks + 1e-20)
    loud = blocks[levels > -70]
    gate = -0.691 + 10 * np.log10(loud.mean()) - 10
    return float(-0.691 + 10 * np.log10(blocks[(levels > -70) & (levels > gate)].mean()))


def test_files_are_minus_16_lufs_or_reach_minus_1_dbfs(tmp_path: Path, sound: Sound) -> None:
    """Measured by BS.1770-4 as written above, to 0.1 LU; bass alone, for its peaks are low."""
    tones = tuple(Tone(Fraction(i, 2), Fraction(1, 2), 52 + i, 100, "bass") for i in range(8))
    ringing = made(tones=tones, tempo=100, band=(Member("bass", "bass", "Organ", 2, 17),))
    limited = made(hit(0, "claves", Strength.ACCENT))
    for exercise, reached in ((ringing, True), (limited, False)):
        found = rendered(exercise, KIT, sound, 48000)
        path = tmp_path / "level.wav"
        write_audio(path, found, gain_for(found.samples, 48000), about(exercise))
        samples, rate = soundfile.read(path)
        assert rate == 48000
        loud, peak = bs1770(samples), np.abs(samples).max()
        assert peak <= 10 ** (-1 / 20) + 2**-23
        assert loud <= -16 + 0.1
        if reached:
            assert loud == pytest.approx(-16, abs=0.1)
        else:
            assert 20 * math.log10(peak) == pytest.approx(-1, abs=0.001)


def test_silence_and_very_short_sounds_have_a_gain() -> None:
    assert gain_for(np.zeros((44100, 2), np.float32), 44100) == 1
    assert gain_for(np.zeros((0, 2), np.float32), 44100) == 1
    # 50 ms of a sine that reads -23.0: 7 dB more are wanted, as for a long one.
    assert 20 * math.log10(gain_for(sine(0.05, -23), 48000)) == pytest.approx(7, abs=0.1)
    # Softer than what BS.1770 takes for sound at all.
    faint = gain_for(sine(1, -90), 48000)
    assert 10 ** (-90 / 20) * faint <= PEAK * 1.0001


def test_what_is_next_to_silent_is_not_blown_up() -> None:
    """At most 30 dB: FluidSynth's own level is 10 to 20 dB below that of a finished file."""
    assert 20 * math.log10(gain_for(sine(1, -80), 48000)) == pytest.approx(30)
    assert is_silent(sine(1, -95), gain_for(sine(1, -95), 48000))
    assert not is_silent(sine(1, -40), gain_for(sine(1, -40), 48000))


def test_a_gain_is_made_smaller_where_a_sample_would_pass_the_limit(
    tmp_path: Path, sound: Sound
) -> None:
    exercise = groove()
    jobs = [
        Job(exercise, KIT, tmp_path / f"{gain}.wav", about(exercise), reference=gain)
        for gain in (1.0, 1000.0)
    ]
    soft, loud = render_all(jobs, sound)
    assert soft.gain == 1.0 and loud.gain < 1000
    samples, _ = soundfile.read(loud.job.path)
    assert np.abs(samples).max() == pytest.approx(10 ** (-1 / 20), abs=1e-6)


# Files

SAID = About("Nº 3 «Ferry»", Fraction("92.5"), "drums and bass; without hands")
SHORT = Rendered(sine(0.5, -12, 44100), 44100, 4410)


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg"])
def test_a_file_says_what_it_is(ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"a.{ending}"
    write_audio(path, SHORT, 0.5, SAID)
    tags: Any = mutagen.File(path).tags
    if ending == "wav":
        found = [tags["TIT2"].text[0], tags["TBPM"].text[0], tags.getall("COMM")[0].text[0]]
        encoder = tags["TSSE"].text[0]
        assert found[1] == "92"  # ID3v2.4: TBPM is a whole number
        found[1] = "92.5"
    else:
        found = [tags[name][0] for name in ("title", "bpm", "comment")]
        encoder = tags["encoder"][0]
    assert found == [SAID.title, "92.5", SAID.comment]
    assert encoder == f"midiforge {midiforge.__version__}"
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("ending", "subtype", "close"),
    [("wav", "PCM_24", 2**-23), ("flac", "PCM_24", 2**-23), ("ogg", "VORBIS", 0.02)],
)
def test_a_file_holds_what_was_rendered(
    ending: str, subtype: str, close: float, tmp_path: Path
) -> None:
    path = tmp_path / f"a.{ending}"
    long = Rendered(np.tile(SHORT.samples, (12, 1)), 44100, None)  # more than one write
    write_audio(path, long, 0.5, SAID)
    info = soundfile.info(path)
    assert (info.subtype, info.samplerate, info.channels) == (subtype, 44100, 2)
    samples, _ = soundfile.read(path)
    assert samples.shape == long.samples.shape
    assert np.abs(samples - 0.5 * long.samples).max() <= close


def test_libsndfile_finds_the_loop_in_a_wav(tmp_path: Path) -> None:
    """By its command SFC_GET_INSTRUMENT (0x10D0), which reads the chunk "smpl"."""
    path = tmp_path / "a.wav"
    write_audio(path, SHORT, 1.0, SAID)
    library, ffi = soundfile._snd, soundfile._ffi
    with soundfile.SoundFile(path) as file:
        room = ffi.new("char[]", 16 + 16 * 16)
        assert library.sf_command(file._file, 0x10D0, room, len(room)) == 1
    fields = struct.unpack_from("=i6bxxi", bytes(ffi.buffer(room)))
    mode, first, end, count = struct.unpack_from("=iIII", bytes(ffi.buffer(room)), 16)
    assert fields[-1] == 1  # one loop
    assert (mode, first, count) == (801, SHORT.loop, 0)  # SF_LOOP_FORWARD, without end
    # In the file the end is the last sample played; libsndfile gives the one after it.
    assert end == len(SHORT.samples)
    content = path.read_bytes()
    assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8


def test_a_track_that_does_not_loop_has_no_loop_in_its_file(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_audio(path, replace(SHORT, loop=None), 1.0, SAID)
    assert b"smpl" not in path.read_bytes()


def test_other_endings_are_refused(tmp_path: Path) -> None:
    with pytest.raises(MidiforgeError, match=r"'\.mp5' is no format .* \(known: \.wav"):
        write_audio(tmp_path / "a.mp5", SHORT, 1.0, SAID)


def test_what_cannot_be_written_takes_one_line(tmp_path: Path) -> None:
    with pytest.raises(MidiforgeError, match="cannot be written: no such file or directory"):
        write_audio(tmp_path / "nowhere" / "a.wav", SHORT, 1.0, SAID)


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg"])
@pytest.mark.parametrize("room", [0, 50, 3000, 20000])
def test_where_room_runs_out_nothing_is_left_half_written(
    ending: str, room: int, tmp_path: Path
) -> None:
    path = tmp_path / f"a.{ending}"
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, (200_000, 2)).astype(np.float32)
    path.write_bytes(b"before")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
    try:
        with pytest.raises(MidiforgeError) as error:
            write_audio(path, Rendered(noise, 44100, 0), 1.0, SAID)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert str(error.value) == f"{path}: cannot be written: file too large"
    assert path.read_bytes() == b"before"
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_a_full_disk_is_told_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("midiforge.sound.audio_file._add_loop", full)
    with pytest.raises(MidiforgeError, match="cannot be written: no space left on device"):
        write_audio(tmp_path / "a.wav", SHORT, 1.0, SAID)
    assert list(tmp_path.iterdir()) == []


# Several at once


def test_files_come_in_order_and_are_those_that_come_one_after_the_other(
    tmp_path: Path, sound: Sound
) -> None:
    exercises = [groove(tempo=tempo) for tempo in (60, 240, 120, 200, 90)]
    found = []
    for workers in (1, 3):
        folder = tmp_path / str(workers)
        folder.mkdir()
        jobs = (
            Job(each, KIT, folder / f"{i}.flac", about(each)) for i, each in enumerate(exercises)
        )
        done = list(render_all(jobs, sound, workers=workers))
        assert [each.job.path.name for each in done] == [f"{i}.flac" for i in range(5)]
        assert [each.samples for each in done] == [
            round(each.seconds * 44100) for each in exercises
        ]
        found.append([each.job.path.read_bytes() for each in done])
    assert found[0] == found[1]


def test_no_more_are_in_memory_than_there_are_workers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sound: Sound
) -> None:
    now, most, taken, lock = 0, 0, 0, threading.Lock()

    def counted(*_: object) -> Rendered:
        nonlocal now, most
        with lock:
            now += 1
            most = max(most, now)
        time.sleep(0.01)
        return SHORT

    def written(*_: object) -> None:
        nonlocal now
        with lock:
            now -= 1

    def jobs() -> Iterator[Job]:
        nonlocal taken
        for i in range(20):
            taken += 1
            yield Job(SPECIMEN, KIT, tmp_path / f"{i}.wav", SAID)

    monkeypatch.setattr(pool, "rendered", counted)
    monkeypatch.setattr(pool, "write_audio", written)
    found = render_all(jobs(), sound, workers=2)
    next(found)
    assert taken <= 4  # jobs are read as they are needed
    assert len(list(found)) == 19
    assert most == 2


def test_the_first_that_fails_stops_the_rest(tmp_path: Path, sound: Sound) -> None:
    folders = [tmp_path, tmp_path / "nowhere", *([tmp_path] * 30)]
    jobs = [Job(groove(), KIT, folder / f"{i}.wav", SAID) for i, folder in enumerate(folders)]
    with pytest.raises(MidiforgeError, match="nowhere"):
        list(render_all(jobs, sound, workers=2))
    assert len(list(tmp_path.iterdir())) < 10
    assert not [each for each in tmp_path.iterdir() if each.name.startswith(".")]


# SoundFonts


def test_a_soundfont_that_is_none_is_told_by_what_is_wrong(tmp_path: Path, sound: Sound) -> None:
    whole = sound.soundfont.read_bytes()
    text = tmp_path / "text.sf2"
    text.write_text("Not a SoundFont at all, but long enough to be looked at.\n" * 10)
    wave = tmp_path / "wave.sf2"
    wave.write_bytes(b"RIFF\x24\0\0\0WAVEfmt " + bytes(100))
    empty = tmp_path / "empty.sf2"
    empty.touch()
    cut = tmp_path / "cut.sf2"
    cut.write_bytes(whole[: len(whole) // 2])
    hollow = tmp_path / "hollow.sf2"
    hollow.write_bytes(whole[:12] + bytes(len(whole) - 12))
    for path, said in (
        (text, "is not a SoundFont"),
        (wave, "is not a SoundFont"),
        (empty, "is not a SoundFont"),
        (cut, f"cut short: {len(whole) // 2} of {len(whole)} bytes"),
        (hollow, "the SoundFont is damaged"),
        (tmp_path / "none.sf2", "cannot be read: no such file"),
        (tmp_path, "is a folder"),
    ):
        with pytest.raises(MidiforgeError) as error:
            find_soundfont(path)
        assert str(error.value).startswith(f"{path}: ") and said in str(error.value)


def _presets(content: bytes) -> int:
    """Where the list of presets begins, by the chunk's name."""
    return content.index(b"phdr") + 8


def test_a_soundfont_without_drums_is_refused(tmp_path: Path, sound: Sound) -> None:
    content = bytearray(sound.soundfont.read_bytes())
    first = _presets(bytes(content))
    (length,) = struct.unpack_from("<I", content, first - 4)
    for place in range(first, first + length, 38):  # SoundFont 2.04: 38 bytes, the bank at 22
        if struct.unpack_from("<H", content, place + 22)[0] == 128:
            struct.pack_into("<H", content, place + 22, 5)
    path = tmp_path / "melodic.sf2"
    path.write_bytes(content)
    with pytest.raises(MidiforgeError, match="has no drum kit"):
        check_soundfont(path)


@pytest.mark.parametrize("chunk", [b"pbag", b"inst", b"igen", b"shdr"])
def test_damage_inside_a_soundfont_ends_in_one_line(
    chunk: bytes, tmp_path: Path, sound: Sound, capfd: pytest.CaptureFixture[str]
) -> None:
    content = bytearray(sound.soundfont.read_bytes())
    place = content.rindex(chunk)
    struct.pack_into("<I", content, place + 4, 7)  # no record is so short
    path = tmp_path / "damaged.sf2"
    path.write_bytes(content)
    with pytest.raises(MidiforgeError) as error:
        rendered(groove(), KIT, Sound(find_soundfont(path)))
    assert str(path) in str(error.value) and "damaged" in str(error.value)
    said = capfd.readouterr()
    assert said.out == said.err == ""


def test_what_fluidsynth_says_does_not_reach_the_terminal(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    _sound()
    with pytest.raises(MidiforgeError, match="cannot load this SoundFont"):
        fluid.Synth(Sound(tmp_path / "none.sf2"), 44100)
    # Where FluidSynth reads DLS too, the library for that has a line of its own.
    assert "fluidsynth" not in capfd.readouterr().err


def test_a_soundfont_comes_from_the_flag_the_environment_or_the_usual_places(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sound: Sound
) -> None:
    folder = tmp_path / "fonts"
    folder.mkdir()
    monkeypatch.setattr(soundfont, "_folders", lambda: iter([tmp_path / "none", folder]))
    monkeypatch.delenv(soundfont.VARIABLE, raising=False)
    with pytest.raises(MidiforgeError, match=r"none was found .*--soundfont"):
        find_soundfont()
    for name in ("another.sf2", "default-GM.sf2"):
        (folder / name).symlink_to(sound.soundfont)
    (folder / "a-text.sf2").write_text("no SoundFont")
    assert find_soundfont() == folder / "default-GM.sf2"
    (folder / "default-GM.sf2").unlink()
    assert find_soundfont() == folder / "another.sf2"
    named = tmp_path / "named.SF2"
    shutil.copy(sound.soundfont, named)
    monkeypatch.setenv(soundfont.VARIABLE, str(named))
    assert find_soundfont() == named
    assert find_soundfont(str(folder / "another.sf2")) == folder / "another.sf2"
    monkeypatch.setenv(soundfont.VARIABLE, str(folder / "a-text.sf2"))
    with pytest.raises(MidiforgeError, match=soundfont.VARIABLE):
        find_soundfont()


# What may be missing


@pytest.mark.parametrize(
    ("system", "command", "said"),
    [
        ("linux", "apt", "sudo apt install fluidsynth"),
        ("linux", "dnf", "sudo dnf install fluidsynth"),
        ("linux", "pacman", "sudo pacman -S fluidsynth"),
        ("darwin", "", "brew install fluid-synth"),
        ("win32", "", "choco install fluidsynth"),
    ],
)
def test_without_fluidsynth_the_way_to_get_it_is_told(
    system: str, command: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fluid, "_candidates", lambda: iter(["no-such-library.so"]))
    monkeypatch.setattr(fluid.sys, "platform", system)
    monkeypatch.setattr(fluid.shutil, "which", lambda name: name if name == command else None)
    fluid.library.cache_clear()
    try:
        with pytest.raises(MidiforgeError) as error:
            rendered(groove(), KIT, Sound(Path("any.sf2")))
    finally:
        fluid.library.cache_clear()
    assert "audio needs FluidSynth" in str(error.value) and said in str(error.value)


def test_a_library_that_is_not_fluidsynth_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fluid, "_loaded", lambda: object())
    fluid.library.cache_clear()
    try:
        with pytest.raises(MidiforgeError, match="FluidSynth is too old"):
            fluid.library()
    finally:
        fluid.library.cache_clear()


@pytest.mark.parametrize("name", ["numpy", "soundfile", "mutagen", "pyloudnorm", "scipy"])
def test_without_a_package_the_extra_is_named(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(MidiforgeError) as error:
        list(render_all([Job(SPECIMEN, KIT, tmp_path / "a.wav", SAID)], Sound(tmp_path)))
    said = f'audio needs the Python package {name} (pip install "midiforge[sound]")'
    assert str(error.value) == said


def test_importing_the_room_needs_none_of_its_packages() -> None:
    import subprocess

    late = "any(name in sys.modules for name in ('numpy', 'scipy'))"
    code = f"import sys, midiforge.sound.pool; sys.exit({late})"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


def test_a_rate_that_cannot_be_rendered_is_refused(sound: Sound) -> None:
    with pytest.raises(MidiforgeError, match="4000 samples a second"):
        rendered(groove(), KIT, sound, 4000)


def test_synths_are_freed(sound: Sound) -> None:
    before = _resident()
    for _ in range(20):
        fluid.Synth(sound, 44100).close()
    gc.collect()
    assert _resident() - before < 30 * 1024 * 1024


def _resident() -> int:
    pages = Path("/proc/self/statm")
    if not pages.exists():
        pytest.skip("this system has no /proc")
    return int(pages.read_text().split()[1]) * resource.getpagesize()


def test_what_is_said_of_an_exercise_is_what_it_is() -> None:
    exercise = groove(count_in=1, bars=2)
    said = about(exercise)
    assert said.tempo == EVEN and exercise.title in said.title
    assert "4/4" in said.comment and "2 bars" in said.comment and "Bass" in said.comment
