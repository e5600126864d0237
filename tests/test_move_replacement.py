"""The move replacement: one limb's strokes by another's.

That a paradiddle whose left hand goes to the bass drum is R K R R K R K K, and that a foot has no
grace notes, are common practice of teaching independence; the rest are the project's own rules.
"""

import csv
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.lesson.outline import LeftOut
from midiforge.model.hit import Limb, Strength

RH, LH, RF, LF = Limb


def lesson(**keys: Any) -> tuple[list[midiforge.Exercise], list[LeftOut]]:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", **keys})
    left_out: list[LeftOut] = []
    return [*midiforge.exercises(drill, left_out.append)], left_out


def letters(exercise: midiforge.Exercise) -> str:
    """Who strikes at each sixteenth of the first bar; - for nobody."""
    at: dict[Fraction, str] = {}
    for hit in exercise.hits:
        if hit.limb and 0 <= hit.time < exercise.meter.bar:
            at[hit.time] = at.get(hit.time, "") + hit.limb.letter
    steps = int(exercise.meter.bar * 4)
    return " ".join(at.get(Fraction(i, 4), "-") for i in range(steps))


def test_the_left_hand_s_strokes_go_to_the_bass_drum() -> None:
    (exercise,), _ = lesson(replacements="LH by RF")
    assert letters(exercise) == "R K R R K R K K R K R R K R K K"
    assert {hit.voice for hit in exercise.hits if hit.limb is RF} == {"bass-drum"}


def test_only_the_strokes_on_given_counts_are_replaced() -> None:
    (exercise,), _ = lesson(replacements="RH by RF on 1 3")
    assert "right hand by right foot on 1 and 3," in exercise.title
    assert exercise.variant.moved("replacement").value == "RH by RF on 1 3"  # as it is kept
    assert letters(exercise) == "K L R R L R L L K L R R L R L L"
    # On 2 is a right hand, on 4a a left one.
    (other,), _ = lesson(replacements="LH by LF on 2 4a", sticking="RL")
    assert letters(other) == "R L R L R L R L R L R L R L R H"


def test_counts_are_of_the_bar_whatever_the_length_of_the_sticking() -> None:
    (exercise,), _ = lesson(sticking="RLL", replacements="RH by RF on 1")
    kicks = [hit.time for hit in exercise.hits if hit.limb is RF]
    # RLL comes to the bar line with its right hand once in three bars.
    assert exercise.bars == 3
    assert kicks == [0]


def test_accents_and_ghosts_stay_and_grace_notes_and_buzzes_do_not_go_to_a_foot() -> None:
    (exercise,), _ = lesson(sticking=">RlR(R)Rz", replacements="RH by RF")
    kicks = [hit for hit in exercise.hits if hit.limb is RF][:4]
    assert [hit.strength for hit in kicks] == [
        Strength.ACCENT, Strength.TAP, Strength.GHOST, Strength.TAP]  # fmt: skip
    assert {hit.ornament for hit in kicks} == {None}


def test_an_ostinato_s_strokes_go_to_a_hand_that_is_free() -> None:
    (moved,), _ = lesson(sticking="-R-R", feet="x.x. on RF", partner="none",
                         replacements="RF by LH on 2 4")  # fmt: skip
    times = {limb: {hit.time % 4 for hit in moved.hits if hit.limb is limb} for limb in (LH, RF)}
    assert times[LH] == {1, 3}
    assert times[RF] == {0, Fraction(1, 2), Fraction(3, 2), 2, Fraction(5, 2), Fraction(7, 2)}


@pytest.mark.parametrize(
    ("keys", "limb"),
    [
        ({"replacements": "LH by RH", "sticking": "B-"}, "right hand"),
        ({"replacements": "LH by RF", "feet": "x... on RF", "sticking": "RRRL LLLL"}, "right foot"),
        ({"replacements": "RF by LH", "feet": "samba"}, "left hand"),
        # A flam's small note is a stroke of its hand, too.
        ({"replacements": "RF by LH", "sticking": "lR---", "feet": "x... on RF"}, "left hand"),
        # They meet only in the third bar.
        ({"replacements": "LH by RF", "sticking": "RRL", "feet": "1 on RF"}, "right foot"),
    ],
)
def test_a_variant_in_which_a_limb_would_strike_twice_is_left_out_with_the_reason(
    keys: dict[str, Any], limb: str
) -> None:
    (plain,), left_out = lesson(**{**keys, "replacements": ["none", keys["replacements"]]})
    assert not plain.variant.columns.get("replacement")
    assert [each.why.split(", as on")[0] for each in left_out] == [
        f"the {limb} would have two strokes at once"
    ]


def test_what_is_said_to_clash_does_and_what_is_not_does_not() -> None:
    """Against the check of every single stroke that a lesson goes through anyway."""
    for feet in ("samba", "x... on RF", "..x. on LF", "1 2& on RF", "tumbao"):
        for sticking in ("RLRR LRLL", "RLL", "R-L-", "lR-L-", "RLRRL"):
            for replaced in ("LH by RF", "RH by LF", "RF by LH", "LH by RH", "RH by RF on 2 4"):
                found, left_out = lesson(
                    sticking=sticking, feet=feet, placements="beat", replacements=["none", replaced]
                )
                assert len(found) + len(left_out) == 8
                for exercise in found:
                    struck = [(hit.limb, hit.time) for hit in exercise.hits if hit.limb]
                    assert len(set(struck)) == len(struck)


def test_where_nothing_can_be_played_the_reason_is_said() -> None:
    with pytest.raises(midiforge.MidiforgeError) as caught:
        lesson(replacements="LH by RF", feet="x... on RF", sticking="RRRL LLLL")
    assert str(caught.value).startswith("there is no exercise (RRRL LLLL from 1, left hand by")


def test_what_replaces_nothing_is_left_out() -> None:
    found, left_out = lesson(sticking="R-R-", replacements="none, LH by RF")
    assert len(found) == 1
    assert str(left_out[0]) == "R-R- from 1, left hand by right foot: the left hand has no stroke"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "LH to RF",
            "replacements: 'LH to RF' replaces nothing (such as 'LH by RF', or 'LH by RF on 2 4')",
        ),
        ("LH by XX", "replacements: 'XX' is not a limb (RH, LH, RF or LF)"),
        ("LH by left hand", "replacements: 'LH by left hand': that is the same limb"),
        ("LH by RF on .x.x", "replacements: '.x.x' is not a count (such as 'LH by RF on 2 4&')"),
        ("LH by RF on 7", "replacements: '7': a bar of 4/4 has no beat 7 (1 to 4)"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said_of_the_key(text: str, said: str) -> None:
    with pytest.raises(midiforge.MidiforgeError) as caught:
        lesson(replacements=text)
    assert str(caught.value) == said


def test_flag_title_file_name_index_page_and_show_have_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flags = [
        "--sticking",
        "RLRR LRLL",
        "--stages",
        "full",
        "--replacements",
        "none, LH by RF on 1e",
    ]
    assert run(["build", *flags, "--out", str(tmp_path / "lesson")]) == 0
    with (tmp_path / "lesson" / "index.csv").open(encoding="utf-8", newline="") as stream:
        rows = [*csv.DictReader(stream)]
    assert [row["replacement"] for row in rows] == ["", "LH by RF on 1e"]
    assert rows[1]["title"] == "RLRR LRLL from 1, left hand by right foot on 1e, hands and feet"
    assert "left_hand_by_right_foot_on_1e" in rows[1]["file"]
    capsys.readouterr()
    assert run(["show", *flags, "--only", "2"]) == 0
    assert "left hand by right foot on 1e" in capsys.readouterr().out
    assert run(["schema"]) == 0
    assert "replacements" in json.loads(capsys.readouterr().out)["properties"]


def test_the_page_says_what_plays_what() -> None:
    from midiforge.pages.booklet import job

    (exercise,), _ = lesson(replacements="LH by RF")
    assert "The right foot plays what the left hand has." in [*job(exercise)]
    feet, hands = lesson(replacements="LH by RF", stages="feet, hands")[0]
    assert [*job(feet)][1:] == ["The right foot plays what the left hand has."]
    assert hands.title == "RLRR LRLL from 1, left hand by right foot, hands on one surface"


def test_an_ostinato_given_to_a_foot_is_played_on_the_foot_s_own_drum() -> None:
    keys: dict[str, Any] = {"sticking": "-L-L", "layers": "ride-eighths on RH"}
    (exercise,), _ = lesson(replacements="RH by RF", **keys)
    assert {hit.voice for hit in exercise.hits if hit.limb is RF} == {"bass-drum"}
    assert exercise.title.endswith("right hand by right foot, hands and feet")
    (other,), _ = lesson(
        replacements="RH by RF", **{**keys, "layers": "ride-eighths on RH as ride-bell"}
    )
    assert {hit.voice for hit in other.hits if hit.limb is RF} == {"ride-bell"}


def test_a_grace_note_of_the_replaced_hand_goes_with_it() -> None:
    (exercise,), _ = lesson(sticking="lRLRL", replacements="LH by RF")
    assert {hit.ornament for hit in exercise.hits} == {None}


def test_feet_alone_say_what_was_replaced_too() -> None:
    keys = {"feet": "bossa-nova", "stages": "feet, full"}
    drill = midiforge.check_drill({**keys, "replacements": "none, RF by LH, RF by RH on 1"})
    found = [*midiforge.exercises(drill)]
    titles = [exercise.title for exercise in found]
    assert titles[0] == "Bossa nova, feet alone"
    assert "Bossa nova, right foot by left hand, feet alone" in titles
    assert not any("(2)" in title or " and Bossa" in title for title in titles)
    assert [exercise.variant.columns.get("replacement", "") for exercise in found][
        -1
    ] == "RF by RH on 1"


def test_logs_of_earlier_days_know_what_is_not_replaced() -> None:
    from midiforge.practice.entry import key_of

    (plain,), _ = lesson()
    (same,), _ = lesson(replacements="none")
    (other,), _ = lesson(replacements="LH by RF")
    assert key_of(plain) == key_of(same) != key_of(other)
