"""Bars written out by name, and the road map they are played by."""

from fractions import Fraction

import pytest

import midiforge
from midiforge.drill.read import check_drill
from midiforge.errors import MidiforgeError
from midiforge.model.hit import CLICK, Limb

A = "RH ride  x.x. x.x. x.x. x.x.\nRF bass-drum  x... .... x... ....\n"
FILL = "like A\nRH ride  x... .... .... ....\nLH snare  .... xxxx xxxx xxx>\n"


def struck(road_map: str, **bars: str) -> list[tuple[Fraction, str, str]]:
    """Time, limb and voice of each stroke of the drill's one exercise."""
    drill = check_drill({"stages": ["full"], "road_map": road_map, "bars": bars, "steps": 4})
    [exercise] = midiforge.exercises(drill)
    hits = [hit for hit in exercise.piece.hits if hit.layer != CLICK]
    return [(hit.time, hit.limb.value if hit.limb else "", hit.voice) for hit in hits]


def refused(road_map: str, **bars: str) -> str:
    with pytest.raises(MidiforgeError) as error:
        struck(road_map, **bars)
    return str(error.value)


def test_bars_are_played_in_the_order_of_the_road_map() -> None:
    hits = struck("3 A, fill", A=A, fill=FILL)
    rides = [time for time, _, voice in hits if voice == "ride"]
    assert rides == [Fraction(i, 2) for i in range(24)] + [12]
    assert {time for time, limb, _ in hits if limb == "RF"} == {0, 2, 4, 6, 8, 10, 12, 14}
    assert len([1 for time, _, voice in hits if voice == "snare" and time >= 13]) == 12


def test_groups_in_a_road_map_are_repeated() -> None:
    one = struck("2 (2 A fill) A", A=A, fill=FILL)
    assert one == struck("A A fill A A fill A", A=A, fill=FILL)


def test_a_bar_has_as_many_steps_as_marks() -> None:
    hits = struck("A, B", A="RH ride xxx xxx xxx xxx", B="RH ride x.. ... x.. ... x.. ... x.. ...")
    assert [time for time, _, _ in hits] == [Fraction(i, 3) for i in range(12)] + [4, 5, 6, 7]


def test_a_name_may_stand_for_several_bars() -> None:
    hits = struck("2 A, B", A="LF hihat-pedal . | x...", B="LF hihat-pedal x")
    assert [time for time, _, _ in hits] == [4, 12, 16]


def test_a_variant_leaves_out_what_only_rests() -> None:
    hits = struck("A B", A=A, B="like A\nRF bass-drum .")
    assert [time for time, limb, _ in hits if limb == Limb.RIGHT_FOOT.value] == [0, 2]


def test_a_change_takes_the_place_of_a_line() -> None:
    hits = struck("A, A+bass", A=A, bass="RF bass-drum  x.x. .... .... ....")
    assert [time for time, limb, _ in hits if limb == "RF"] == [0, 2, 4, Fraction(9, 2)]
    assert [time for time, _, voice in hits if voice == "ride"] == [
        Fraction(i, 2) for i in range(16)
    ]


def test_a_hand_that_strikes_a_crash_leaves_the_ride() -> None:
    hits = struck("A+crash+bass", A=A, crash="RH crash  >... .... .... ....", bass="RF bass-drum .")
    assert (0, "RH", "crash") in hits
    assert [time for time, limb, voice in hits if voice == "ride"] == [
        Fraction(i, 2) for i in range(1, 8)
    ]
    assert "RF" not in {limb for _, limb, _ in hits}


def test_a_grace_note_gives_way_to_a_stroke_of_its_hand() -> None:
    flams = "LH snare  f... .... f... ...."
    hits = struck("A+flams", A=A, flams=flams)
    assert [time for time, _, voice in hits if voice == "ride"][:2] == [Fraction(1, 2), 1]
    hits = struck("flams+A", A=A, flams=flams)
    assert [time for time, _, voice in hits if voice == "ride"][:2] == [0, Fraction(1, 2)]
    assert [time for time, _, voice in hits if voice == "snare"] == [0, 2]


@pytest.mark.parametrize(
    ("road_map", "bars", "said"),
    [
        ("3 A, fil", {"A": A, "fill": FILL}, "road_map: no bars are called 'fil'"),
        ("A+fil", {"A": A, "fill": FILL}, "road_map: no bars are called 'fil'"),
        ("A+B", {"A": A, "B": "LH snare x... | x..."}, "puts 2 bars over 1"),
        ("A+", {"A": A}, "is not a road map"),
        ("2 (A", {"A": A}, "is not a road map"),
        ("A", {"A": "like B\n" + A}, "bars: A: no bars 'B' stand before"),
        ("A", {"A": "RH ride x.q."}, "'q' is no mark"),
        ("A", {"A": "RH ride"}, "is not a line"),
        ("A", {"A": "RH ride x. | x.\nLH snare x."}, "has 1 bars, others have 2"),
        ("", {"A": A}, "road_map"),
        ("A", {}, "road_map: no bars are called 'A'"),
        ("999999 A", {"A": A}, "only after 999,999 bars"),
        ("2 (999 A)", {"A": A}, "bars"),
    ],
)
def test_what_is_wrong_with_a_road_map_is_said(
    road_map: str, bars: dict[str, str], said: str
) -> None:
    assert said in refused(road_map, **bars)


def test_marks_of_ornaments_are_played() -> None:
    drill = check_drill(
        {
            "stages": ["full"],
            "road_map": "A B",
            "steps": 4,
            "bars": {"A": "LH snare f... D... r... z...", "B": "LH snare x... >... x... x..."},
        }
    )
    [exercise] = midiforge.exercises(drill)
    hits = [hit for hit in exercise.piece.hits if hit.layer != CLICK]
    said = [(str(hit.strength), hit.ornament and str(hit.ornament.kind)) for hit in hits]
    assert said[:4] == [("tap", "flam"), ("accent", "drag"), ("tap", "ruff"), ("tap", "buzz")]
    assert [ornament for _, ornament in said[4:]] == [None] * 4
    assert hits[0].ornament and hits[0].ornament.limb is Limb.RIGHT_HAND


def test_a_foot_has_no_flam() -> None:
    assert "'f' is for a hand" in refused("A", A="RF bass-drum f...")
