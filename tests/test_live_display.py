"""What the player sees while it plays, in a terminal that is wide and in one that is not.

What should stand there comes from the drill: counts as musicians say them (common practice),
stickings as typed.
"""

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

import midiforge
from midiforge.live.bars import PlayableExercise, playable
from midiforge.live.display import Display, plain_line
from midiforge.live.route import Command, Route
from midiforge.model.track import ChordMark

ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


SIZES = [(80, 24), (40, 12)]


def display(times: int = 2, **keys: Any) -> Display:
    drill = midiforge.check_drill({"stages": "full", "tempos": "92", "count_in": 1, **keys})

    def make(exercise: midiforge.Exercise, faster: Fraction) -> PlayableExercise:
        return playable(exercise, drill.kit, faster)

    return Display(Route(list(midiforge.exercises(drill)), make, times), set())


def go_on(shown: Display, bars: int = 1, wish: Command | None = None) -> None:
    for _ in range(bars):
        place = shown.route.next_bar(wish)
        assert place
        shown.bar(place)


def lines(shown: Display, width: int = 80, height: int = 24) -> list[str]:
    text = ESCAPE.sub("", shown.frame(width, height))
    return [line.rstrip() for line in text.split("\r\n")]


def marked(shown: Display, width: int = 80, height: int = 24) -> list[str]:
    """What is shown the other way round: the current step, row by row."""
    return [
        each.strip() for each in re.findall(r"\x1b\[7m(.*?)\x1b\[0m", shown.frame(width, height))
    ]


PARADIDDLE = {"sticking": "RLRR LRLL", "steps": 4, "feet": "1 3", "placements": "0, 1"}


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_before_anything_is_played_it_gets_ready(width: int, height: int) -> None:
    assert any("getting ready" in line for line in lines(display(**PARADIDDLE), width, height))


@pytest.mark.parametrize(
    ("width", "height"),
    [(80, 24), (40, 12)],
)
@pytest.mark.parametrize("meter", ["4/4", "7/8", "12/8", "15/16"])
def test_no_line_is_wider_than_the_terminal_and_none_too_many(
    width: int, height: int, meter: str
) -> None:
    shown = display(sticking="RLRR LRLL", meter=meter, feet="1", placements="0, 1")
    for _ in range(3):
        go_on(shown)
        shown.say("the port is gone; waiting for it to come back")
        shown.muted |= {"hands", "feet", "click", "percussion"}
        found = lines(shown, width, height)
        assert len(found) <= height
        assert max(map(len, found)) <= width


def test_it_says_where_we_are() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown)
    text = "\n".join(lines(shown))
    for word in ("RLRR LRLL", "92", "quarter", "count-in", "time 1 of 2"):
        assert word in text
    go_on(shown)
    text = "\n".join(lines(shown))
    assert "bar 1 of 1" in text
    assert "count-in" not in text
    go_on(shown)
    assert "time 2 of 2" in "\n".join(lines(shown))


def test_an_exercise_for_ever_has_no_number_of_times() -> None:
    shown = display(times=0, **PARADIDDLE)
    go_on(shown, 5)
    assert re.search(r"time 4$", "\n".join(lines(shown)), re.MULTILINE)


def test_it_says_what_comes_next() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown)
    exercises = shown.route.exercises
    (following,) = (line for line in lines(shown) if "next:" in line)
    assert following.startswith(f"  next: {exercises[1].order}  {exercises[1].title}")
    go_on(shown, 1, Command.NEXT)
    assert "  next: the end" in lines(shown)


def test_counts_and_stickings_stand_under_each_other() -> None:
    # RLRR LRLL twice over a bar of sixteenths, feet on 1 and 3.
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    counted = next(line for line in lines(shown) if line.split()[:4] == ["1", "e", "&", "a"])
    at = lines(shown).index(counted)
    right, left, feet = lines(shown)[at + 1 : at + 4]
    steps = [i for i, letter in enumerate(counted) if letter != " "]
    assert [counted[i] for i in steps] == list("1e&a2e&a3e&a4e&a")
    rows = ["".join(row.ljust(80)[i] for row in (right, left)).strip() for i in steps]
    assert rows == list("RLRRLRLLRLRRLRLL")
    assert [i for i, step in enumerate(steps) if feet.ljust(80)[step] != " "] == [0, 8]


def test_the_current_step_is_marked_and_only_it() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    assert marked(shown) == []
    for at, cells in ((0.0, ["1", "R", "."]), (0.25, ["e", ".", "L"]), (3.75, ["a", ".", "L"])):
        shown.moment(at)
        assert marked(shown)[:3] == cells
        assert len(marked(shown)) == 4


def test_between_two_steps_the_one_before_is_marked() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    shown.moment(0.24)  # a grace note before "e"
    assert marked(shown)[0] == "1"


def test_a_long_bar_is_shown_in_lines_the_current_one_first() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    shown.moment(3.75)
    text = "\n".join(lines(shown, 40, 12))
    assert marked(shown, 40, 12)[0] == "a"
    assert re.search(r"^ +(. +)*4 ", text, re.MULTILINE)


def test_a_pause_silent_layers_and_messages_are_shown() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown)
    shown.say("the port is back")
    shown.muted |= {"feet", "hands"}
    assert "  the port is back" in lines(shown)
    assert "  silent: hands, feet" in lines(shown)
    shown.idle(0, paused=True)
    assert any(line.startswith("  PAUSED") for line in lines(shown))


def test_what_matters_most_is_there_in_a_small_terminal() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    shown.moment(0)
    shown.idle(0, paused=True)
    text = "\n".join(lines(shown, 40, 12))
    for word in ("RLRR", "92", "bar 1", "next:", "PAUSED"):
        assert word in text
    assert marked(shown, 40, 12)[:2] == ["1", "R"]


def test_accents_ghosts_and_grace_notes_are_told_from_taps() -> None:
    shown = display(sticking=">R(L)RL", steps=4)
    go_on(shown, 2)
    text = "\n".join(lines(shown))
    assert ">R" in text and "(L)" in text
    shown = display(sticking="flam", steps=1)
    go_on(shown, 2)
    assert "lR" in "\n".join(lines(shown))


STEERS = "\x1b]0;mine\x07\x1b[2J\x9b2J\r\n"  # a terminal's title, and cleared (ECMA-48)


def test_a_title_a_symbol_or_a_message_never_steers_the_terminal() -> None:
    # Titles come from a drill, which may be somebody else's, and names of ports from the system.
    shown = display(**PARADIDDLE)
    titled = [replace(each, title=f"one{STEERS}") for each in shown.route.exercises]
    chord = ChordMark(Fraction(0), Fraction(4), f"C{STEERS}")
    shown.route.exercises = [replace(each, chords=(chord,)) for each in titled]
    go_on(shown, 2)
    shown.say(f"pads{STEERS} is back")
    frame = shown.frame(80, 24)
    assert "one?" in frame and "next: 2  one?" in frame and "pads?" in frame and " C?" in frame
    assert not any(each in frame for each in ("\x1b]", "\x07", "\x1b[2J", "\x9b"))
    assert frame.count("\n") == len(lines(shown)) - 1
    assert shown.place and plain_line(shown.place).isprintable()


def test_one_line_an_exercise_for_a_screen_that_is_none() -> None:
    shown = display(**PARADIDDLE)
    place = shown.route.next_bar()
    assert place
    line = plain_line(place)
    # A bar of count-in and one of four quarter notes at 92: 8 * 60 / 92 = 5.2 s.
    assert line.startswith("1. ") and line.endswith("92 bpm, 5 s")
    assert "\n" not in line and "\x1b" not in line


class Emptied(dict[Any, Any]):
    """What another thread empties right after every look into it."""

    def __contains__(self, key: object) -> bool:
        found = super().__contains__(key)
        self.clear()
        return found

    def get(self, key: object, default: Any = None) -> Any:
        found = super().get(key, default)
        self.clear()
        return found


def test_a_part_that_is_made_meanwhile_does_not_disturb_the_picture() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    before = lines(shown)
    shown._bars = Emptied(shown._bars)
    assert lines(shown) == before
