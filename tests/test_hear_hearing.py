"""What strokes are that nobody expected: companions, grace notes, bounces, second triggers.

No published source: the limits are common practice of pad settings, and how far apart a hand's
own movements are; each is tested just within and just beyond.
"""

from fractions import Fraction
from typing import Any

import pytest

from midiforge.hear.expected import Due
from midiforge.hear.opening import Heard
from midiforge.hear.pads import companions, explain
from midiforge.model.hit import Hit, Limb, Ornament, OrnamentKind, Strength

Played = tuple[float, str, int]  # ms, pad, velocity


def heard(*played: Played) -> list[Heard]:
    return [Heard(ms / 1000, pad, loud, i) for i, (ms, pad, loud) in enumerate(sorted(played))]


def due(kind: str = "") -> Due:
    """A stroke of the right hand on the snare, with an ornament or without."""
    ornament: Any = None
    if kind == "buzz":
        ornament = Ornament(OrnamentKind.BUZZ, length=Fraction(1))
    elif kind:
        notes = {"flam": 1, "drag": 2}[kind]
        ornament = Ornament(OrnamentKind(kind), notes, Limb.LEFT_HAND, "snare")
    hit = Hit(Fraction(0), Limb.RIGHT_HAND, "snare", Strength.TAP, ornament)
    return Due(1.0, "snare", (hit,), 1, 1, Fraction(0))


def kinds(kind: str, *besides: Played, stretch: float = 1.0) -> list[str]:
    """What strokes beside one at 1000 ms, velocity 100, are said to be; in their order."""
    strokes = heard(*besides, (1000.0, "snare", 100))
    [own] = [each for each in strokes if each.time == 1.0 and each.pad == "snare"]
    return [*explain(strokes, {own.which: due(kind)}, stretch).values()]


# A note beside the stroke just within what the rule takes, and just beyond; seconds of the take
# to a second of the exercise. Ornaments are a hand's own movement: only a slower take has them
# wider, a faster one not closer.
WITHIN = {
    "grace": ("flam", (871.0, 60), (869.0, 60), 1.0),
    "grace in a faster take": ("flam", (871.0, 60), (869.0, 60), 0.5),
    "grace in a slower take": ("flam", (741.0, 60), (739.0, 60), 2.0),
    "bounce": ("buzz", (1109.0, 60), (1111.0, 60), 1.0),
    "bounce in a faster take": ("buzz", (1109.0, 60), (1111.0, 60), 0.5),
    "bounce in a slower take": ("buzz", (1219.0, 60), (1221.0, 60), 2.0),
    "double trigger": ("", (1029.0, 75), (1031.0, 75), 1.0),
    "double trigger, for it is softer": ("", (1020.0, 75), (1020.0, 76), 1.0),
}


@pytest.mark.parametrize("name", WITHIN)
def test_a_note_beside_a_stroke_is_part_of_it_within_its_limit(name: str) -> None:
    kind, (near, loud), (far, louder), stretch = WITHIN[name]
    said = name.partition(" in ")[0].partition(",")[0]
    assert kinds(kind, (near, "snare", loud), stretch=stretch) == [said]
    assert kinds(kind, (far, "snare", louder), stretch=stretch) == ["extra"]


def test_bounces_go_on_from_each_other() -> None:
    assert kinds("buzz", (1100, "snare", 70), (1200, "snare", 50)) == ["bounce"] * 2
    assert kinds("buzz", (1100, "snare", 70), (1220, "snare", 90)) == ["bounce", "extra"]


def test_a_flam_has_one_grace_note_and_a_drag_two() -> None:
    three = [(930.0, "snare", 50), (950.0, "snare", 50), (970.0, "snare", 50)]
    assert sorted(kinds("flam", *three)) == ["extra", "extra", "grace"]
    assert sorted(kinds("drag", *three)) == ["extra", "grace", "grace"]


@pytest.mark.parametrize("side", [-1, 1])
def test_a_shaken_pad_sounds_within_12_ms_and_below_four_tenths(side: int) -> None:
    assert kinds("", (1000 + side * 11.9, "tom-high", 40)) == ["crosstalk"]
    assert kinds("", (1000 + side * 12.1, "tom-high", 40)) == ["extra"]
    assert kinds("", (1000 + side * 11.9, "tom-high", 41)) == ["extra"]


def test_a_companion_is_near_its_stroke_and_at_most_four_fifths_as_loud() -> None:
    def with_a_stroke(ms: float, loud: int) -> bool:
        strokes = heard((1000, "snare", 100), (ms, "snare", loud))
        [other] = [each.which for each in strokes if each.time != 1.0]
        found = companions(strokes, 0.07)
        assert found <= {other}
        return bool(found)

    for side in (-1, 1):
        assert with_a_stroke(1000 + side * 69.9, 80)
        assert not with_a_stroke(1000 + side * 70.1, 80)
        assert not with_a_stroke(1000 + side * 69.9, 81)
