"""Reviews of takes whose truth is known, over hundreds of seeds; and of takes from elsewhere.

Bounds are stated with each test; thresholds of double triggers and crosstalk are common practice.
"""

import dataclasses
import random
import re
from fractions import Fraction
from functools import cache
from pathlib import Path

import mido
import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.hear.review import Review, likeness, review
from midiforge.hear.take import Stroke, Take, read_take
from midiforge.kits.kit import read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb

EXAMPLES = Path(__file__).parent.parent / "examples"


@cache
def exercises(**keys) -> tuple[Exercise, ...]:
    return tuple(midiforge.exercises(midiforge.check_drill(keys)))


@cache
def bossa() -> tuple[Exercise, ...]:
    return tuple(
        midiforge.exercises(midiforge.read_drill(str(EXAMPLES / "01-slack-water-bossa.toml")))
    )


def paradiddle() -> Exercise:
    return exercises(sticking=">RLRR >LRLL", feet="tumbao", stages="full", tempos=100)[0]


def of(found: Review, limb: Limb):
    return next(each for each in found.limbs if each.limb is limb)


@pytest.mark.parametrize("seed", range(200))
def test_what_was_missed_and_added_is_found_whatever_the_start(seed: int) -> None:
    """Within two strokes (at the very ends), the start within 15 ms."""
    chance = random.Random(seed)
    # With the hands alone, or the feet, half a bar is like the other: nothing says which it is.
    exercise = chance.choice([each for each in bossa() if each.stage == "full"])
    start = chance.uniform(0.2, 9)
    take, truth = synthetic(exercise, seed, start=start, miss=0.04, extra=0.03, double=0.02)
    found = review(take, exercise, KIT)
    assert abs(found.tally.missed - truth.missed) <= 2
    assert abs(found.tally.extra - truth.extra) <= 2
    assert abs(found.kinds.get("double trigger", 0) - truth.doubles) <= 2
    assert found.start == pytest.approx(start, abs=0.015)


@pytest.mark.parametrize("seed", range(60))
def test_each_limb_s_habit_is_told_within_four_ms(seed: int) -> None:
    exercise = bossa()[12 + seed % 3]
    habits = {Limb.RIGHT_FOOT: -0.015, Limb.LEFT_FOOT: 0.012, Limb.LEFT_HAND: 0.006}
    take, _ = synthetic(exercise, seed, seconds=60, limbs=habits)
    found = review(take, exercise, KIT)
    base = of(found, Limb.RIGHT_HAND).timing.mean_ms
    for limb, habit in habits.items():
        told = of(found, limb).timing.mean_ms - base
        assert told == pytest.approx(1000 * habit, abs=4), limb


@pytest.mark.parametrize("jitter", [0.004, 0.008, 0.016])
@pytest.mark.parametrize("seed", range(10))
def test_steadiness_is_told_within_a_fifth(seed: int, jitter: float) -> None:
    exercise = paradiddle()
    take, _ = synthetic(exercise, seed, seconds=60, jitter=jitter)
    found = review(take, exercise, KIT)
    for limb in found.limbs:
        assert limb.timing.deviation_ms == pytest.approx(1000 * jitter, rel=0.2)
        percent = 100 * limb.timing.deviation_ms / found.step_ms
        assert limb.timing.deviation_percent == pytest.approx(percent)
    assert found.step_ms == pytest.approx(150, rel=0.01)  # a sixteenth at 100


@pytest.mark.parametrize("seed", range(40))
def test_slow_drift_is_followed_and_told(seed: int) -> None:
    """A tempo that slows or quickens by up to 4 % in half a minute; within a third of its rate."""
    chance = random.Random(seed)
    drift = chance.choice([-1, 1]) * chance.uniform(0.0004, 0.0013)
    exercise = paradiddle()
    take, truth = synthetic(exercise, seed, drift=drift, miss=0.03)
    found = review(take, exercise, KIT)
    assert abs(found.tally.missed - truth.missed) <= 2 and found.tally.extra <= 2
    assert found.drift_ms_per_bar is not None
    assert (found.drift_ms_per_bar > 0) == (drift > 0)
    assert all(limb.timing.deviation_ms < 11 for limb in found.limbs)


def test_a_missed_bar_does_not_spoil_the_rest() -> None:
    exercise = paradiddle()
    take, truth = synthetic(exercise, 1, silent_bars=range(5, 7))
    found = review(take, exercise, KIT)
    assert (found.tally.missed, found.tally.extra) == (truth.missed, 0)
    assert {each.due.bar for each in found.judged if each.kind == "missed"} == {5, 6}


@pytest.mark.parametrize("beats", [0.25, 0.5, 1, 3.5])
@pytest.mark.parametrize("seed", range(4))
def test_who_loses_the_place_and_goes_on_later_is_found_again(seed: int, beats: float) -> None:
    exercise = paradiddle()
    take, _ = synthetic(exercise, seed)
    late = beats * 0.6
    moved = tuple(
        dataclasses.replace(each, time=each.time + late) if each.time > 12 else each
        for each in take.strokes
    )
    found = review(dataclasses.replace(take, strokes=moved), exercise, KIT)
    assert found.line.jumps
    assert found.tally.clean > 0.9
    assert re.search("the place was lost in bar [45]", " ".join(found.remarks))


@pytest.mark.parametrize("stretch", [0.62, 0.8, 0.97, 1.04, 1.25, 1.6])
def test_a_take_at_another_tempo_is_recognised_and_its_tempo_told(stretch: float) -> None:
    exercise = paradiddle()
    take, truth = synthetic(exercise, 2, stretch=stretch)
    found = review(take, exercise, KIT)
    assert found.tally.hit >= truth.strokes - 1
    assert found.played_tempo == pytest.approx(100 / stretch, rel=0.002)


@pytest.mark.parametrize(
    "keys",
    [
        {"sticking": "RL", "steps": 3, "stages": "hands"},
        {"sticking": "RLRRLRLL", "steps": 2, "swing": "2:1", "feet": "x...", "stages": "full"},
        {"sticking": "RLRL", "feet": "samba", "ramp": "60 to 100 by 10 every 2 bars",
         "stages": "full"},
        {"sticking": "RLRR LRLL", "placements": "+2", "entry": "late", "feet": "x...",
         "stages": "full"},
        {"sticking": "RLRR LRLL", "form": "2 call 2 response", "stages": "hands"},
        {"sticking": "B R L B", "feet": "x.x.", "stages": "full", "voicing": "RH=ride,LH=snare"},
        {"sticking": "B R L B", "stages": "hands"},
        {"sticking": "R-K-L-K", "stages": "full"},
        {"feet": "bossa-nova"},
        {"sticking": "RLL", "meter": "7/8", "feet": "1 3 5", "stages": "full"},
    ],
    ids=lambda keys: " ".join(map(str, keys.values())),
)  # fmt: skip
@pytest.mark.parametrize("seed", range(3))
def test_any_kind_of_exercise_played_well_is_clean(keys, seed: int) -> None:
    exercise = exercises(**keys)[0]
    take, truth = synthetic(exercise, seed)
    found = review(take, exercise, KIT)
    assert (found.tally.hit, found.tally.extra) == (truth.strokes, 0)


def test_a_take_of_another_exercise_is_less_like_it_than_of_its_own() -> None:
    lesson = bossa()[::3]
    for mine in lesson:
        take, _ = synthetic(mine, 3, miss=0.03)
        likes = [likeness(take, each, KIT) for each in lesson]
        assert max(range(len(lesson)), key=likes.__getitem__) == lesson.index(mine)
        assert likes[lesson.index(mine)] > 0.75


def test_flams_drags_and_buzzes_are_one_stroke_each() -> None:
    exercise = exercises(sticking="lR L rrL Rz", steps=2, stages="hands", tempos=60)[0]
    strokes = []
    for bar in range(8):
        for beat, (graces, bounces) in enumerate([(1, 0), (0, 0), (2, 0), (0, 6)] * 2):
            time = 2 + bar * 4 + beat * 0.5
            strokes += [Stroke(time - 0.032 * (i + 1), 0, 38, 40) for i in range(graces)]
            strokes.append(Stroke(time, 0, 38, 90))
            strokes += [Stroke(time + 0.04 * (i + 1), 0, 38, 60 - 6 * i) for i in range(bounces)]
    strokes.sort(key=lambda each: each.time)
    found = review(Take("t", tuple(strokes), 40.0), exercise, KIT)
    assert (found.tally.expected, found.tally.hit, found.tally.extra) == (64, 64, 0)
    assert found.kinds == {"grace": 8 * 2 * 3, "bounce": 8 * 2 * 6}


def test_double_triggers_and_crosstalk_are_told_from_strokes() -> None:
    exercise = paradiddle()
    take, truth = synthetic(exercise, 1)
    hard = [each for each in take.strokes if each.velocity > 100]
    again = [dataclasses.replace(s, time=s.time + 0.02, velocity=s.velocity // 2) for s in hard]
    shaken = [Stroke(s.time + 0.004, 0, 48, s.velocity // 4) for s in hard]
    later = [Stroke(s.time + 0.07, 0, 48, 90) for s in hard[:5]]
    strokes = sorted([*take.strokes, *again, *shaken, *later], key=lambda each: each.time)
    found = review(dataclasses.replace(take, strokes=tuple(strokes)), exercise, KIT)
    assert found.tally.hit == truth.strokes
    assert found.kinds == {
        "double trigger": len(hard),
        "crosstalk": len(hard),
        "extra": 5,
    }


def test_zones_of_one_pad_are_one_voice_and_are_named() -> None:
    """What an electronic kit sends: 37, 38 and 40 on the snare, 51, 53 and 59 on the ride."""
    kit = read_kit("electronic")
    exercise = exercises(sticking="RLRR LRLL", stages="full", voicing="RH=ride,LH=snare")[0]
    take, truth = synthetic(exercise, 1, kit=kit)
    other = {38: [38, 40, 37], 51: [51, 53, 59]}
    strokes = tuple(
        dataclasses.replace(each, number=other[each.number][i % 3])
        for i, each in enumerate(take.strokes)
    )
    found = review(dataclasses.replace(take, strokes=strokes), exercise, kit)
    assert found.tally.hit == truth.strokes and found.tally.extra == 0
    assert set(found.other_zones) == {
        ("snare", "snare-rim"),
        ("snare", "side-stick"),
        ("ride", "ride-bell"),
        ("ride", "ride-edge"),
    }


def test_notes_the_kit_does_not_know_are_named_not_dropped() -> None:
    exercise = paradiddle()
    take, _ = synthetic(exercise, 1)
    strange = tuple(Stroke(4 + i, 0, 22, 80) for i in range(3))
    found = review(
        dataclasses.replace(
            take, strokes=tuple(sorted((*take.strokes, *strange), key=lambda s: s.time))
        ),
        exercise,
        KIT,
    )
    assert found.unknown == {22: 3}
    assert "does not know these notes (times): 22 (3)" in " ".join(found.remarks)


def test_on_one_surface_the_hands_are_not_claimed_to_be_told_apart() -> None:
    hands = exercises(sticking="RLRR LRLL", stages="hands")[0]
    take, _ = synthetic(hands, 1)
    assert [limb.certain for limb in review(take, hands, KIT).limbs] == [False, False]
    split = exercises(sticking="RLRR LRLL", stages="full", voicing="RH=ride,LH=snare")[0]
    take, _ = synthetic(split, 1)
    assert [limb.certain for limb in review(take, split, KIT).limbs] == [True, True]


def test_accents_taps_and_ghosts_are_told_by_velocity() -> None:
    exercise = exercises(sticking=">R (L) R L", stages="hands")[0]
    take, _ = synthetic(exercise, 1)
    right, left = review(take, exercise, KIT).limbs
    assert right.levels.accent == pytest.approx(110, abs=2)
    assert right.levels.ratio == pytest.approx(110 / 75, rel=0.03)
    assert right.levels.overlap == 0
    assert left.levels.ghost == pytest.approx(35, abs=2)
    flat, _ = synthetic(exercise, 1, levels={"accent": 80, "tap": 80, "ghost": 80})
    right = review(flat, exercise, KIT).limbs[0]
    assert right.levels.ratio == pytest.approx(1, abs=0.05)
    assert right.levels.overlap == pytest.approx(0.5, abs=0.15)


def test_limbs_that_should_land_together_are_compared() -> None:
    exercise = exercises(sticking="RLRL", feet="1 2 3 4", stages="full", partner="none")[0]
    take, _ = synthetic(exercise, 1, limbs={Limb.RIGHT_FOOT: 0.03}, jitter=0.004)
    found = {each.count: each for each in review(take, exercise, KIT).together}
    assert set(found) == {"1", "2", "3", "4"}
    assert all(each.limbs == (Limb.RIGHT_HAND, Limb.RIGHT_FOOT) for each in found.values())
    assert all(each.gap_ms == pytest.approx(30, abs=4) for each in found.values())


def test_the_second_of_two_strokes_is_compared_with_the_first() -> None:
    exercise = exercises(sticking="RRLL", stages="full", voicing="RH=ride,LH=snare")[0]
    take, _ = synthetic(exercise, 1, jitter=0.0)
    seen: dict[int, int] = {}
    strokes = []
    for each in take.strokes:
        seen[each.number] = seen.get(each.number, 0) + 1
        second = seen[each.number] % 2 == 0
        strokes.append(
            dataclasses.replace(
                each,
                time=each.time + 0.014 * second,
                velocity=60 if second else 80,
            )
        )
    found = review(dataclasses.replace(take, strokes=tuple(strokes)), exercise, KIT)
    assert {each.limb for each in found.doubles} == {Limb.RIGHT_HAND, Limb.LEFT_HAND}
    for each in found.doubles:
        assert each.late_ms == pytest.approx(14, abs=1)
        assert each.softer == pytest.approx(0.75, abs=0.01)


def test_the_tempo_from_which_on_it_falls_apart_is_seen() -> None:
    exercise = exercises(
        sticking="RLRR LRLL", feet="x...", stages="full", ramp="60 to 120 by 20 every 4 bars"
    )[0]
    take, _ = synthetic(exercise, 1, seconds=999, jitter=0.004)
    limit = float(exercise.tempo.seconds(Fraction(0), exercise.meter.bar * 8))
    chance = random.Random(1)
    strokes = tuple(each for each in take.strokes if each.time < 3 + limit or chance.random() > 0.3)
    found = review(dataclasses.replace(take, strokes=strokes), exercise, KIT)
    assert [each.tempo for each in found.tempos] == [60, 80, 100, 120]
    clean = [each.tally.clean for each in found.tempos]
    assert min(clean[:2]) > 0.97 and max(clean[2:]) < 0.85


def test_a_constant_delay_is_told_apart_where_the_start_is_known() -> None:
    exercise = paradiddle()
    take, _ = synthetic(exercise, 1, start=5.04, limbs={Limb.RIGHT_FOOT: -0.01})
    marked = dataclasses.replace(take, start=5.0)
    found = review(marked, exercise, KIT)
    assert found.delay_ms == pytest.approx(40, abs=4)
    told = review(marked, exercise, KIT, known_delay_ms=30)
    assert of(told, Limb.RIGHT_HAND).timing.mean_ms == pytest.approx(10, abs=4)
    assert review(take, exercise, KIT).delay_ms is None


def test_bars_missed_at_the_beginning_count_where_the_start_is_known() -> None:
    exercise = paradiddle()
    take, truth = synthetic(exercise, 1, start=5.0, silent_bars=range(1, 3))
    found = review(dataclasses.replace(take, start=5.0), exercise, KIT)
    assert found.tally.missed == truth.missed
    assert review(take, exercise, KIT).tally.missed < truth.missed


@pytest.mark.parametrize("file_format", [0, 1])
@pytest.mark.parametrize("division", [48, 96, 480, 15360])
@pytest.mark.parametrize("channel", [0, 9, 15])
def test_a_file_from_a_daw_is_read_whatever_its_format(
    tmp_path: Path, file_format: int, division: int, channel: int
) -> None:
    """Written by mido: count-in before, leading silence, a tempo map of its own, any channel."""
    exercise = paradiddle()
    take, truth = synthetic(exercise, 1, start=7.3)
    midi = mido.MidiFile(type=file_format, ticks_per_beat=division)
    notes = mido.MidiTrack()
    tempo = mido.bpm2tempo(87)
    if file_format:
        conductor = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo)])
        midi.tracks.append(conductor)
    else:
        notes.append(mido.MetaMessage("set_tempo", tempo=tempo))
    midi.tracks.append(notes)
    events = [(each.time, "note_on", each.number, each.velocity) for each in take.strokes]
    events += [(each.time + 0.04, "note_off", each.number, 0) for each in take.strokes]
    tick = 0
    for time, kind, number, velocity in sorted(events):
        now = round(mido.second2tick(time, division, tempo))
        notes.append(
            mido.Message(kind, channel=channel, note=number, velocity=velocity, time=now - tick)
        )
        tick = now
    midi.save(tmp_path / "daw.mid")
    read = read_take(tmp_path / "daw.mid")
    assert len(read.strokes) == len(take.strokes)
    found = review(read, exercise, KIT)
    assert (found.tally.hit, found.tally.extra) == (truth.strokes, 0)
    assert found.start == pytest.approx(7.3, abs=0.02)


@pytest.mark.parametrize("name", ["01-slack-water-bossa", "04-moving-buoys"])
def test_midiforge_s_own_files_are_perfect_takes(tmp_path: Path, name: str) -> None:
    drill = midiforge.read_drill(str(EXAMPLES / f"{name}.toml"))
    for exercise in list(midiforge.exercises(drill))[:12]:
        path = tmp_path / "own.mid"
        path.write_bytes(midiforge.exercise_bytes(exercise, drill.kit))
        found = review(read_take(path), exercise, drill.kit)
        assert found.tally.missed == found.tally.extra == 0
        assert all((limb.timing.deviation_ms or 0) < 1.1 for limb in found.limbs)
        assert found.start == pytest.approx(
            float(exercise.tempo.seconds(-exercise.count_in, Fraction(0))),
            abs=0.002,
        )


def test_a_take_on_pads_the_kit_does_not_know_says_so() -> None:
    take = Take("odd.mid", tuple(Stroke(i, i, 99, 80) for i in range(20)), 20.0)
    with pytest.raises(MidiforgeError, match="knows none of the take's notes"):
        review(take, paradiddle(), KIT)


def test_who_plays_freely_is_placed_by_the_bars_that_are_as_written() -> None:
    one, two = "x.x.x.x.x.x.x.x.", "x..xx.x.x..xx.x."
    like_one, like_two = "x.x.x.x.x.x.xxx.", "x..xx.x.x..xx..x"

    def drill(bars: list[str]) -> Exercise:
        text = {"layers": [f"{' | '.join(bars)} on RH as snare"], "tempos": ["90"]}
        feet = {"feet": "x...x...x...x... on RF", "steps": 4, "stages": "full"}
        return next(midiforge.exercises(midiforge.check_drill({**text, **feet})))

    played = [like_two, like_one, like_two, like_one, one, two, like_two, like_one, like_two]
    take, _ = synthetic(drill(played), seconds=9 * 4 * 60 / 90 - 0.2)
    bar = 4 * 60 / 90
    start = review(take, drill([one, two]), KIT).start
    assert abs((start - 3.0 + bar) % (2 * bar) - bar) < 0.03
