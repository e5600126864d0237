"""What a drummer reads: columns, letters, folding; and that nothing needs colour or width."""

import json
import re
import subprocess
import sys
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.text import Text

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.command.terminal import say_styled
from midiforge.insight.words import explained
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb, Strength
from midiforge.screen.facts import as_json
from midiforge.screen.setting import Setting
from midiforge.screen.show import STYLES, exercise_lines


def full(**keys: Any) -> Exercise:
    return next(iter(exercises(check_drill({"stages": "full", "tempos": "60", **keys}))))


def lines(exercise: Exercise, width: int = 80, **keys: Any) -> list[str]:
    return ["".join(text for text, _ in line) for line in exercise_lines(exercise, width, **keys)]


def row(shown: list[str], label: str) -> str:
    return next(line for line in shown if line.startswith(label))


def under(shown: list[str], label: str, letters: str) -> list[str]:
    """The counts above those letters of a row; beats with their number: "2&" is over a letter
    after the "2"."""
    found = []
    counted = row(shown, "count")
    beat = ""
    for i, said in enumerate(counted[11:], start=11):
        beat = said if said.isdigit() else beat
        if i < len(text := row(shown, label)) and text[i] in letters:
            found.append(said if said.isdigit() else beat + said)
    return found


@pytest.mark.parametrize(
    ("click", "said"), [("off", "2 bars of silence before"), ("count-in", "2 bars count-in")]
)
def test_bars_before_the_first_are_a_count_in_only_where_they_are_clicked(
    click: str, said: str
) -> None:
    shown = lines(full(sticking="RLRR LRLL", click=click, count_in=2))
    assert any(said in line for line in shown)


def test_letters_stand_under_their_counts() -> None:
    # RLRR LRLL: R on 1, 1&, 1a, 2e. The tumbao: a of 1, and of 2 (common practice).
    shown = lines(full(sticking="RLRR LRLL", feet="tumbao"))
    assert under(shown, "right hand", "R") == ["1", "1&", "1a", "2e", "3", "3&", "3a", "4e"]
    assert under(shown, "left hand", "L") == ["1e", "2", "2&", "2a", "3e", "4", "4&", "4a"]
    assert under(shown, "right foot", "K") == ["1a", "2&", "3a", "4&"]
    assert under(shown, "left foot", "H") == ["1", "2", "3", "4"]


def test_every_step_without_a_stroke_has_a_dot() -> None:
    shown = lines(full(sticking="RLRR LRLL"))
    for label in ("right hand", "left hand"):
        assert row(shown, label)[11:].count(".") == 8


def test_accents_stand_above_their_strokes() -> None:
    shown = lines(full(sticking=">RLRR L>RLL"))
    assert under(shown, "accent", ">") == ["1", "2e", "3", "4e"]


def test_an_accent_of_one_of_two_hands_stands_at_its_hand() -> None:
    exercise = full(sticking="BRRR")
    accented = tuple(
        replace(hit, strength=Strength.ACCENT) if hit.limb is Limb.LEFT_HAND else hit
        for hit in exercise.hits
    )
    shown = lines(exercise.changed(hits=accented))
    assert not any(line.startswith("accent") for line in shown)
    assert row(shown, "left hand").count(">L") == 4
    assert ">" not in row(shown, "right hand")


def test_ornaments_and_ghosts_are_seen_without_colour() -> None:
    shown = lines(full(sticking="lR rrL Rz (L)"))
    assert row(shown, "right hand").count("lR") == 4
    assert row(shown, "right hand").count("Rz") == 4
    assert row(shown, "left hand").count("rrL") == 4
    assert row(shown, "left hand").count("(L)") == 4
    assert under(shown, "right hand", "R") == ["1", "1&", "2", "2&", "3", "3&", "4", "4&"]


def test_a_finer_line_under_triplets_gets_its_own_counts() -> None:
    shown = lines(full(sticking="RLR LRL", steps="3", feet="tumbao"))
    own, other = row(shown, "count "), row(shown, "in fours")
    for beat in "1234":
        assert own.index(beat, 11) == other.index(beat, 11)
    foot = row(shown, "right foot")
    assert [other[i] for i, letter in enumerate(foot) if letter == "K"] == ["a", "&", "a", "&"]
    assert under(shown, "right hand", "R") == ["1", "1a", "2&", "3", "3a", "4&"]


def test_a_dot_gives_way_to_a_stroke_it_would_touch() -> None:
    # The bass drum on the a of 1 in four, a twelfth of a beat after the last triplet.
    foot = row(lines(full(sticking="RLR LRL", steps="3", feet="tumbao")), "right foot")
    assert foot.count("K") == 4
    assert not any(touching in foot for touching in (".K", "K."))


def test_equal_bars_are_written_once() -> None:
    shown = lines(full(sticking="RLRR LRLL", form="3 time 1 exercise", groove="ride-quarters"))
    assert sum(line.startswith("count") for line in shown) == 2
    assert any("bars 1-3: time" in line for line in shown)
    assert any(line.strip() == "bar 4" for line in shown)


def test_bars_share_a_line_if_they_fit() -> None:
    # Three bars of 4/4 in sixteenths, each 36 characters wide.
    exercise = full(sticking="RLR", feet="1")
    for width, systems in ((80, 3), (95, 2), (120, 2)):
        shown = lines(exercise, width)
        assert sum(line.startswith("count") for line in shown) == systems
        assert any("repeats" in line and "every 3 bars" in line for line in shown)


def test_a_response_is_written_out_and_named() -> None:
    shown = lines(full(sticking="RLRR LRLL", form="1 call 1 response"), 120)
    assert any("call" in line and "response: you alone" in line for line in shown)
    assert row(shown, "right hand").count("R") == 16


def test_a_late_entry_shows_the_first_time_and_the_loop() -> None:
    shown = lines(full(sticking="RLRR LRLL", placements="+3", entry="late"), 120)
    assert any("bar 1: the first time only" in line for line in shown)
    assert any("the loop goes back to bar 2" in line for line in shown)


def test_several_voices_of_a_hand_are_told_apart() -> None:
    shown = lines(full(sticking=">RLRR LRLL", voicing="RH=ride, RH accent=ride-bell"))
    assert under(shown, "  on", "1") == ["1", "3"]
    assert any("right hand ride, 1 = ride-bell" in line for line in shown)


def test_layers_are_beside_the_player_and_the_click_is_not_shown() -> None:
    shown = lines(full(sticking="RLRR LRLL", layers="son-clave-3-2"))
    # Son clave: x..x..x...x.x... (G. Toussaint, BRIDGES 2002)
    assert under(shown, "time layer", "*") == ["1", "1a", "2&", "3&", "4"]
    assert not any("click" in line or "woodblock" in line for line in shown)


def test_more_bars_than_asked_for_are_counted() -> None:
    shown = lines(full(sticking="RLRRLRL", feet="1"), most_bars=2)
    assert sum(line.startswith("count") for line in shown) == 2
    assert any("and 5 more bars that differ" in line for line in shown)


def test_no_row_can_be_taken_for_a_count_in() -> None:
    for steps in ("3", "5", "6"):
        shown = lines(full(sticking="RLR", steps=steps, feet="tumbao"))
        assert not any(line.startswith("count in") for line in shown)
        assert any(line.startswith("in fours") for line in shown)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"swing": "2:1"}, "swung eighths 2:1"),
        ({"swing": "3:2", "swing_pair": "sixteenth"}, "swung sixteenths 3:2"),
        ({"swing": "2:1", "meter": "6/8"}, "swung sixteenths 2:1"),
    ],
)
def test_the_notes_that_swing_are_named(keys: dict[str, Any], said: str) -> None:
    shown = lines(full(sticking="RLRL", **keys))
    assert any(said in line for line in shown)


def test_strokes_and_chords_are_told_apart_in_when_they_return() -> None:
    keys = {"sticking": "RLRR LRLL", "feet": "bossa-nova", "chords": "Dm7 | G7 | Cmaj7 | %"}
    assert "repeats       strokes every bar, chords every 4 bars; 8 bars are written" in lines(
        full(**keys)
    )


def test_counts_that_nobody_speaks_are_explained() -> None:
    drill = check_drill({"sticking": "RLRRL", "placements": ["+1"], "steps": 6, "stages": "hands"})
    shown = lines(next(iter(exercises(drill))))
    assert "counts        1.2 is step 2 of beat 1, which has no syllable of its own" in shown
    assert not any(line.startswith("counts") for line in lines(full(sticking="RLRR", feet="x..x")))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("accents from 3.4", [("3.4", "step 4 of beat 3, which has no syllable of its own")]),
        ("2a/4", [("2a/4", "the a of 2, with 4 parts to the beat")]),
        ("2.3/5", [("2.3/5", "part 3 of beat 2 in 5 equal parts")]),
        ("RLRR from 1e, 2&", []),
        ("", []),
    ],
)
def test_every_kind_of_count_off_the_syllables_is_explained(
    text: str, said: list[tuple[str, str]]
) -> None:
    assert list(explained([text])) == said


def test_what_a_hand_repeats_is_said_and_the_hands_are_then_not_on_one_surface() -> None:
    keys = {"sticking": "L--L -L--", "stages": "hands", "tempos": 80}
    [apart] = exercises(check_drill({**keys, "layers": "jazz-ride on RH"}))
    assert apart.title == "L--L -L-- from 1, hands alone"
    assert "ostinato      right hand: Jazz ride cymbal, in triplets" in lines(apart)
    [one] = exercises(check_drill({**keys, "layers": "x... on RH"}))
    assert one.title == "L--L -L-- from 1, hands on one surface"
    [plain] = exercises(check_drill(keys))
    assert plain.hands == "" and plain.title.endswith("hands on one surface")


def test_numbers_have_one_decimal_at_most() -> None:
    # RLR over the bar: three bars, so that means a bar are thirds.
    shown = " ".join(lines(full(sticking="RLR", feet="tumbao")))
    assert re.search(r"left hand \d+\.3\b", shown)
    assert not re.search(r"\d\.\d\d", shown)


@pytest.mark.parametrize("keys", [{"sticking": "RLRR LRLL"}, {"feet": "tumbao"}])
def test_hands_alone_and_feet_alone_are_not_told_how_they_meet(keys: dict[str, Any]) -> None:
    shown = lines(full(**keys, partner="none") if "feet" in keys else full(**keys))
    assert not any(line.startswith("unisons") for line in shown)
    assert not any("combinations" in line for line in shown)
    both = lines(full(sticking="RLRR LRLL", feet="tumbao"))
    assert any(line.startswith("unisons") for line in both)
    assert any("combinations" in line for line in both)


def test_a_run_says_when_grace_notes_make_it() -> None:
    shown = lines(full(sticking="lRLR rLRL", steps="3"))
    assert row(shown, "longest run").split(None, 2)[2].startswith("2 with the")
    assert "grace notes counted" in row(shown, "longest run")
    assert "grace notes" not in row(lines(full(sticking="RLRR LRLL")), "longest run")


def test_warnings_are_shown() -> None:
    assert any("too much?" in line for line in lines(full(sticking="R", tempos="200")))


CHOICES = st.fixed_dictionaries(
    {
        "sticking": st.sampled_from(
            ["RLRR LRLL", "lR rL lR rL", "(L)RLB", "RzL-K", "RLR", ">RL>LR", "rrL R"]
        ),
        "feet": st.sampled_from(["tumbao", "samba", "jazz-feathered-quarters", "1", "x..x."]),
        "steps": st.sampled_from(["1", "2", "3", "4", "5", "6"]),
        "layers": st.sampled_from([[], ["son-clave-3-2"], ["cascara-3-2 as cowbell"]]),
        "placements": st.sampled_from(["0", "1"]),
    }
)


@settings(max_examples=40, deadline=None)
@given(CHOICES, st.sampled_from([80, 100, 120]))
def test_no_line_is_wider_than_the_terminal_and_all_is_ascii(
    keys: dict[str, Any], width: int
) -> None:
    if "K" in keys["sticking"]:
        keys = {**keys, "feet": "hihat-quarters"}
    shown = lines(full(**keys), width)
    assert max(map(len, shown)) <= width
    assert all(line.isascii() and "\n" not in line for line in shown)


@settings(max_examples=40, deadline=None)
@given(CHOICES)
def test_every_stroke_of_the_player_is_on_the_page(keys: dict[str, Any]) -> None:
    if "K" in keys["sticking"]:
        keys = {**keys, "feet": "hihat-quarters"}
    exercise = full(**keys)
    setting = Setting(exercise, most_bars=10_000)
    shown = ["".join(text for text, _ in line) for line in setting.lines(80)]
    for limb in Limb:
        hits = [hit for hit in exercise.hits if hit.limb is limb]
        rows = [
            (bar, each) for bar in setting.bars for each in bar.rows if each.label == limb.title
        ]
        assert sum(len(bar.numbers) * len(each.cells) for bar, each in rows) == len(hits)
        letters = [line[10:].count(limb.letter) for line in shown if line.startswith(limb.title)]
        assert sum(letters) == sum(len(each.cells) for _, each in rows)


def printed(exercise: Exercise, capsys: pytest.CaptureFixture[str]) -> str:
    say_styled(exercise_lines(exercise, 80), STYLES)
    return capsys.readouterr().out


def test_without_a_terminal_there_are_no_colours(capsys: pytest.CaptureFixture[str]) -> None:
    exercise = full(sticking=">RLRR LRLL", feet="tumbao")
    plain = printed(exercise, capsys)
    assert "\x1b" not in plain
    assert plain.splitlines() == [line.rstrip() for line in lines(exercise)]


def test_colour_changes_nothing_but_colour(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    exercise = full(sticking=">RLRR L(R)LL", feet="tumbao")
    plain = printed(exercise, capsys)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    coloured = printed(exercise, capsys)
    assert "\x1b" in coloured
    assert Text.from_ansi(coloured).plain.splitlines() == plain.splitlines()


def test_json_says_the_same() -> None:
    exercise = full(sticking="RLRR LRLL", feet="tumbao")
    facts = as_json(exercise)
    assert json.loads(json.dumps(facts)) == facts
    # At 60: two strokes a second of each hand, the closest two a quarter of a second apart.
    assert facts["limbs"]["RH"] == {
        "strokes": 8,
        "grace_notes": 0,
        "per_second": 2,
        "sustained": pytest.approx(2, abs=0.5),
        "peak": 4,
    }
    assert facts["hand_meets_foot"] == {"RH+RF": 2, "RH+LF": 2, "LH+RF": 2, "LH+LF": 2}
    assert {"bar": 1, "count": "1a", "limbs": ["RH", "RF"]} in facts["meetings"]
    assert facts["longest_run"] == {"strokes": 2, "hand": "RH", "endless": False}
    assert facts["unisons"] == {"moments": 8, "share": 0.5}
    assert facts["syncopation"]["per_bar"]["right foot"] == 9
    assert len(facts["hits"]) == 24


def test_what_draws_colours_is_not_imported_for_a_pipe() -> None:
    code = (
        "import sys; from midiforge.command.run import run; run(['show', '--sticking', 'RL']); "
        "sys.exit('rich' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0


@pytest.mark.parametrize("columns", ["0", "1", "7"])
def test_a_terminal_that_says_no_width_is_written_on(
    columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from midiforge.command.run import run

    monkeypatch.setenv("COLUMNS", columns)
    assert run(["show", "--sticking", "RL"]) == 0
    assert "right hand" in capsys.readouterr().out
