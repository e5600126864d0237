"""What is good: each fault of a take is a lack of its own, and what is no fault is none."""

import csv
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from synthetic import LEVELS, synthetic

import midiforge
from midiforge.drill.drill import Practice
from midiforge.hear.figures import Meeting
from midiforge.hear.review import review
from midiforge.hear.take import Take
from midiforge.kits.kit import read_kit
from midiforge.model.hit import Limb
from midiforge.practice.climb import HELPED_BY_SLOWER, is_far_off
from midiforge.practice.entry import Entry
from midiforge.practice.good import is_good, lacks, not_judged, verdict
from midiforge.practice.reviewed import entry_of

RECORDINGS = Path(__file__).parent.parent.parent / "shared" / "recordings"
USUAL = Practice()
KIT = read_kit("general-midi-1")


def exercise(**keys: object) -> midiforge.Exercise:
    usual: dict[str, object] = {
        **{"sticking": "RLRR LRLL", "feet": "samba", "tempos": "60", "stages": "full"},
        "placements": "1",
    }
    return next(midiforge.exercises(midiforge.check_drill({**usual, **keys})))


def kept(of: midiforge.Exercise, take: Take, delay_ms: float | None = None) -> Entry:
    return entry_of(review(take, of, KIT, delay_ms), "Harbour steps")


def played(of: midiforge.Exercise | None = None, **how: Any) -> Entry:
    of = of or exercise()
    return kept(of, synthetic(of, **how)[0])


def whats(entry: Entry) -> set[tuple[str, Limb | None]]:
    return {(lack.what, lack.limb) for lack in lacks(entry, USUAL)}


def without(take: Take, pad: str, share: int) -> Take:
    """A take of which every so many-th stroke of a pad is missing."""
    number, count, left = KIT.note(pad), 0, []
    for stroke in take.strokes:
        count += stroke.number == number
        if stroke.number != number or count % share:
            left.append(stroke)
    return replace(take, strokes=tuple(left))


def test_a_take_within_every_limit_is_good() -> None:
    entry = played()
    assert whats(entry) == set()
    assert is_good(entry, USUAL)
    assert verdict(entry, USUAL).startswith("Good for this exercise: ")


@pytest.mark.parametrize("jitter", [0.004, 0.012, 0.016])
def test_what_modules_and_professionals_spread_by_is_steady(jitter: float) -> None:
    """Recordings of two professional drummers: 13 ms in the middle, 19 ms in nine of ten."""
    for tempo in ("60", "100", "140"):
        assert whats(played(exercise(tempos=tempo), jitter=jitter)) == set(), tempo


def test_one_foot_that_misses_is_not_good_however_right_the_rest() -> None:
    of = exercise()
    take, _ = synthetic(of)
    entry = kept(of, without(take, "bass-drum", 6))
    assert entry.clean > 0.94
    assert ("strokes", Limb.RIGHT_FOOT) in whats(entry)
    assert ("strokes", Limb.RIGHT_HAND) not in whats(entry)


def test_a_hand_on_another_pad_throughout_lacks_its_pad_and_no_slower_tempo() -> None:
    of = exercise()
    take, _ = synthetic(of)
    ride, hat = KIT.note("ride"), KIT.note("hihat-closed")
    numbers = {each.number for each in take.strokes}
    one, other = (ride, hat) if ride in numbers else (KIT.note("snare"), KIT.note("tom-low"))
    strokes = [replace(s, number=other if s.number == one else s.number) for s in take.strokes]
    entry = kept(of, replace(take, strokes=tuple(strokes)))
    assert entry.clean < 0.85 and {what for what, _ in whats(entry)} == {"pads"}
    assert not is_far_off(entry, USUAL) and not HELPED_BY_SLOWER & {"pads"}


def test_a_single_slip_of_a_limb_is_forgiven() -> None:
    of = exercise()
    take, _ = synthetic(of)
    slip = next(i for i, each in enumerate(take.strokes) if each.number == KIT.note("bass-drum"))
    strokes = take.strokes[:slip] + take.strokes[slip + 1 :]
    assert is_good(kept(of, replace(take, strokes=strokes)), USUAL)


def test_one_unsteady_limb_is_not_good() -> None:
    of = exercise()
    still, _ = synthetic(of, jitter=0.004)
    loose, _ = synthetic(of, jitter=0.045, seed=5)
    number = KIT.note("bass-drum")
    strokes = [each for each in still.strokes if each.number != number]
    strokes += [each for each in loose.strokes if each.number == number]
    entry = kept(of, Take("take.mid", tuple(sorted(strokes, key=lambda each: each.time)), 40.0))
    assert ("steady", Limb.RIGHT_FOOT) in whats(entry)
    assert {limb for what, limb in whats(entry) if what == "steady"} == {Limb.RIGHT_FOOT}


@pytest.mark.parametrize("late", [0.035, -0.035])
@pytest.mark.parametrize("limb", [Limb.RIGHT_FOOT, Limb.LEFT_HAND])
def test_a_limb_beside_the_others_everywhere_is_not_good_and_is_the_one_named(
    limb: Limb, late: float
) -> None:
    entry = played(limbs={limb: late}, jitter=0.005)
    assert whats(entry) == {("place", limb)}


def test_limbs_ten_milliseconds_apart_are_together() -> None:
    assert is_good(played(limbs={Limb.RIGHT_FOOT: 0.010, Limb.LEFT_FOOT: -0.015}), USUAL)


def test_all_of_it_behind_the_click_is_not_good_where_the_delay_is_known() -> None:
    of = exercise()
    take, _ = synthetic(of, start=3.045)
    marked = replace(take, start=3.0)
    assert ("place", None) in whats(kept(of, marked, 5.0))
    assert is_good(kept(of, marked, 40.0), USUAL)
    assert is_good(kept(of, marked), USUAL)  # it may all be the module's delay


@pytest.mark.parametrize(("first", "last"), [(61, 66), (66, 61)])
def test_a_tempo_that_changes_through_the_take_is_not_good(first: float, last: float) -> None:
    of = exercise()
    take, _ = synthetic(of, seconds=40)
    ratio = first / last

    def warped(time: float) -> float:
        at = (time - 3) / 40
        return 3 + 40 * 60 / first * (at + (ratio - 1) * at * at / 2)

    strokes = tuple(replace(each, time=warped(each.time)) for each in take.strokes)
    entry = kept(of, replace(take, strokes=strokes))
    assert whats(entry) == {("tempo", None)}
    assert ("rushing" if last > first else "dragging") in verdict(entry, USUAL)


def test_a_tenth_of_a_millisecond_a_bar_is_no_rushing() -> None:
    assert is_good(played(drift=-0.1e-3 / 16), USUAL)
    assert is_good(played(stretch=1.05), USUAL)  # a tempo of one's own, kept


@pytest.mark.parametrize(
    ("sticking", "bars", "enough"),
    [("RLRR LRLL", 3, False), ("RLRR LRLL", 4, True)],
)
def test_fewer_than_four_bars_are_too_few_to_judge(sticking: str, bars: int, enough: bool) -> None:
    of = exercise(sticking=sticking)
    entry = played(of, seconds=4 * bars - 0.1)
    assert entry.bars == bars
    assert is_good(entry, USUAL) == enough
    assert (("bars", None) in whats(entry)) != enough


def test_an_exercise_that_comes_round_late_is_asked_for_once_and_of_a_long_one_eight_bars() -> None:
    entry = played(seconds=30)
    for comes_round, bars, enough in ((5, 4, False), (5, 5, True), (32, 7, False), (32, 8, True)):
        asked = replace(entry, comes_round=comes_round, bars=bars)
        assert is_good(asked, USUAL) == enough, (comes_round, bars)


@pytest.mark.parametrize(
    ("other", "gap", "spread", "times", "apart"),
    [
        (Limb.RIGHT_FOOT, 19.9, 8.0, 12, False),
        (Limb.RIGHT_FOOT, -20.1, 8.0, 12, True),
        (Limb.RIGHT_FOOT, 30.0, 8.0, 3, False),  # too seldom
        (Limb.RIGHT_FOOT, 30.0, 60.0, 12, False),  # may be an accident
        (Limb.LEFT_FOOT, 34.9, 8.0, 12, False),  # a hi-hat's pedal
        (Limb.LEFT_FOOT, 35.1, 8.0, 12, True),
    ],
)
def test_limbs_that_are_apart_where_they_meet_are_not_good(
    other: Limb, gap: float, spread: float, times: int, apart: bool
) -> None:
    met = Meeting((Limb.RIGHT_HAND, other), ("1", "3"), times, gap, spread)
    assert (whats(replace(played(), meetings=(met,))) == {("together", None)}) == apart


# Accents and ghost notes


def accented(**keys: object) -> midiforge.Exercise:
    return exercise(sticking="RLRR LRLL", accents="1", **keys)


def test_accents_that_stand_out_are_good_and_absent_ones_are_not() -> None:
    of = accented()
    assert whats(played(of)) == set()
    flat = played(of, levels={**LEVELS, "accent": 75})
    assert {what for what, _ in whats(flat)} == {"accents"}


def test_accents_of_one_hand_are_held_against_the_taps_of_the_other_on_the_same_pad() -> None:
    """Each hand for itself has nothing to be compared with here."""
    of = exercise(sticking=">RL>RL >RL>RL", stages="hands")
    assert whats(played(of)) == set()
    assert whats(played(of, levels={**LEVELS, "accent": 75})) == {("accents", None)}


def test_of_a_module_without_dynamics_it_is_said_that_accents_cannot_be_judged() -> None:
    of = accented()
    take, _ = synthetic(of)
    strokes = tuple(replace(each, velocity=100) for each in take.strokes)
    entry = kept(of, replace(take, strokes=strokes))
    assert is_good(entry, USUAL)
    assert "accents cannot be judged" in verdict(entry, USUAL)
    assert not not_judged(played(exercise()))  # there is none to judge


def test_ghost_notes_as_strong_as_taps_are_not_good() -> None:
    of = exercise(sticking="R(L)RR LR(L)L")
    assert whats(played(of)) == set()
    assert {what for what, _ in whats(played(of, levels={**LEVELS, "ghost": 75}))} == {"ghosts"}


# Entries from before


def test_an_entry_from_before_is_judged_by_what_it_has() -> None:
    old = replace(
        played(),
        **{"limbs": (), "meetings": (), "comes_round": None, "first_third": None},
    )
    assert is_good(old, USUAL)
    assert whats(replace(old, deviation_percent=9.5, deviation_ms=24.0)) == {("steady", None)}
    assert whats(replace(old, hit=round(0.9 * old.expected))) == {("strokes", None)}
    assert whats(replace(old, deviation_percent=None, deviation_ms=None)) == {("steady", None)}


def test_the_limits_of_a_drill_are_its_own() -> None:
    entry = played(miss=0.08, seed=3)
    assert not is_good(entry, USUAL)
    assert is_good(entry, Practice(clean=0.8))
    assert not is_good(played(jitter=0.03), Practice(steady=8))
    assert is_good(played(jitter=0.03), Practice(steady=16))


def test_no_limb_lacks_what_is_told_to_be_as_steady_as_is_wanted() -> None:
    entry = played(jitter=0.021)
    for percent, lacking in ((8.04, set()), (8.06, {("steady", Limb.LEFT_FOOT)})):
        limbs = tuple(
            replace(each, deviation_percent=percent if each.limb is Limb.LEFT_FOOT else 5.0)
            for each in entry.limbs
        )
        limbs = tuple(replace(each, deviation_ms=25.0) for each in limbs)
        assert {each for each in whats(replace(entry, limbs=limbs)) if each[0] == "steady"} == (
            lacking
        )


def test_each_lack_says_its_figure_and_what_is_wanted() -> None:
    loose = played(jitter=0.04)
    for lack in lacks(loose, USUAL):
        assert any(letter.isdigit() for letter in lack.said), lack
    assert "is wanted" in verdict(loose, USUAL)


# Real playing


@pytest.mark.skipif(not RECORDINGS.exists(), reason="no recordings beside the repository")
def test_what_professionals_play_is_steady_in_its_place_and_accented(tmp_path: Path) -> None:
    """Recordings: drummers 3 and 5 of the Groove MIDI Dataset (Gillick and others, ICML 2019; CC BY
    4.0), to a click. Each take is held against the drill that is made of itself, where it keeps to
    that; what is unsteady then is a limb that plays between the grid on purpose, as in a samba."""
    rows = [
        row
        for row in csv.DictReader((RECORDINGS / "info.csv").open(encoding="utf-8"))
        if row["kind"] == "beat" and float(row["seconds"]) > 15
    ]
    limbs, found, takes = 0, [], 0
    for row in rows[::4]:
        path = RECORDINGS / row["file"]
        (tmp_path / "groove.toml").write_text(
            midiforge.import_groove(path, tempo=Fraction(row["bpm"]), kind="ostinato").text,
            encoding="utf-8",
        )
        session = midiforge.Session(tmp_path / "groove.toml", None)
        entry = session.entry(session.review(path), path)
        if entry.clean > 0.9:
            takes += 1
            limbs += len(entry.limbs)
            lacking = lacks(entry, USUAL)
            between = [lack.limb.title for lack in lacking if lack.what == "steady" and lack.limb]
            # Who plays between the grid on purpose is not together with what is on it either.
            found += [
                (lack.what, row["file"])
                for lack in lacking
                if lack.what != "together" or not any(limb in lack.said for limb in between)
            ]
    assert takes >= 8
    whats = [what for what, _ in found]
    assert whats.count("steady") <= 0.2 * limbs, found
    for what in ("place", "together", "accents"):
        assert whats.count(what) <= 0.1 * takes, found
    assert "tempo" not in whats
