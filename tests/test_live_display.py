"""What the player sees while it plays, in a terminal that is wide and in one that is not.

What should stand there comes from the drill: counts as musicians say them (common practice),
stickings as typed.
"""

import re
from fractions import Fraction
from typing import Any

import pytest

import midiforge
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Command
from midiforge.live.playing.layers import LAYERS
from midiforge.live.playing.route import Route, always
from midiforge.live.screen.display import Display
from midiforge.live.screen.watcher import plain_line
from midiforge.model.band import ChordMark

ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


SIZES = [(80, 24), (40, 12)]


def display(times: int = 2, **keys: Any) -> Display:
    drill = midiforge.check_drill({"stages": "full", "tempos": "92", "count_in": 1, **keys})

    def make(exercise: midiforge.Exercise, faster: Fraction) -> PlayableExercise:
        return playable(exercise, drill.kit, faster)

    return Display(Route(list(midiforge.exercises(drill)), make, always(times)), set())


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
    assert following.startswith(f"  next: {exercises[1].number}  {exercises[1].title}")
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


def test_feet_that_are_finer_than_the_hands_stand_under_their_own_counts() -> None:
    # Eighths over a samba: bass drum on every beat and its a, hi-hat foot on the & (common
    # practice).
    shown = display(sticking="Rz L", steps=2, feet="samba")
    go_on(shown, 2)
    counted = next(line for line in lines(shown) if line.split()[:4] == ["1", "e", "&", "a"])
    at = lines(shown).index(counted)
    right, left, feet = (row.ljust(80) for row in lines(shown)[at + 1 : at + 4])
    under = {
        said: [row[i : i + 2].strip() for row in (right, left, feet)]
        for i, said in enumerate(counted[: counted.index("2")])
        if said != " "
    }
    assert under == {
        "1": ["Rz", "", "K"],
        "e": ["", "", ""],
        "&": ["", "L", "H"],
        "a": ["", "", "K"],
    }
    shown.moment(0.75)
    assert marked(shown)[:4] == ["a", ".", ".", "K"]


def test_grids_that_do_not_meet_are_counted_each() -> None:
    shown = display(sticking="RLR LRL", steps=3, feet="samba")
    go_on(shown, 2)
    counted = [line.split() for line in lines(shown) if re.fullmatch(r"  1[1-9&ea. ]*", line)]
    assert [each[:4] for each in counted] == [["1", "&", "a", "2"], ["1", "e", "&", "a"]]


def test_the_current_step_is_marked_and_only_it() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    assert marked(shown) == []
    for at, cells in ((0.0, ["1", "R", "."]), (0.25, ["e", ".", "L"]), (3.75, ["a", ".", "L"])):
        shown.moment(at)
        assert marked(shown)[:3] == cells
        assert len(marked(shown)) == 4


def test_a_stroke_that_swings_past_a_later_one_is_marked_when_it_sounds() -> None:
    # Triplets stay straight, eighths swing 3:1: the foot on & comes after the last triplet.
    shown = display(sticking="RLR LRL", steps=3, feet="hihat-eighths", swing="3:1")
    go_on(shown, 2)
    struck = []
    for at in (2 / 3, 0.75, 1.0):
        shown.moment(at)
        struck.append(marked(shown)[-3:])
    assert struck == [["R", ".", "."], [".", ".", "H"], [".", "L", "H"]]


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
    titled = [each.changed(title=f"one{STEERS}") for each in shown.route.exercises]
    chord = ChordMark(Fraction(0), Fraction(4), f"C{STEERS}")
    shown.route.exercises = [each.changed(chords=(chord,)) for each in titled]
    go_on(shown, 2)
    shown.say(f"pads{STEERS} is back")
    frame = shown.frame(80, 24)
    assert "one?" in frame and "next: 2  one?" in frame and "pads?" in frame and " C?" in frame
    assert not any(each in frame for each in ("\x1b]", "\x07", "\x1b[2J", "\x9b"))
    assert frame.count("\n") == len(lines(shown)) - 1


def test_one_line_an_exercise_for_a_screen_that_is_none() -> None:
    shown = display(**PARADIDDLE)
    place = shown.route.next_bar()
    assert place
    line = plain_line(place)
    # A bar of count-in and two times one of four quarter notes at 92: 12 * 60 / 92 = 7.8 s.
    assert line.startswith("1. ") and line.endswith("92 bpm, 2 times, 8 s")
    assert "\n" not in line and "\x1b" not in line


def test_the_line_says_how_long_all_times_take() -> None:
    # A bar lasts 4 * 60 / 80 = 3 s; a late entry plays its first bar once.
    for times, entry, said in (
        (1, "wrapped", "80 bpm, 6 s"),
        (9, "wrapped", "80 bpm, 9 times, 30 s"),
        (9, "late", "80 bpm, 9 times, 33 s"),
        (0, "wrapped", "80 bpm, for ever"),
    ):
        keys = {**PARADIDDLE, "placements": "+1", "tempos": "80", "entry": entry}
        place = display(times=times, **keys).route.next_bar()
        assert place and plain_line(place).endswith(said)


ESCAPED_KEYS = {
    "space pause", "n next", "p previous", "a again", "- slower", "+ faster", "q quit",
    "h hands", "f feet", "c click", "l layer", ", softer", ". louder",
}  # fmt: skip


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_every_key_is_told_whole_at_any_width(width: int) -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    found = lines(shown, width, 30)
    items = {each.strip() for line in found for each in re.split(r" {3,}", line)}
    assert items >= ESCAPED_KEYS
    assert "b percussion" not in items  # nobody plays it here


@pytest.mark.parametrize("meter", ["4/4", "12/8", "2+2+3/8", "15/16"])
def test_what_is_said_is_whole_in_forty_columns(meter: str) -> None:
    shown = display(times=12, sticking="RLRRL", meter=meter, tempos="123.5")
    wide = display(times=12, sticking="RLRRL", meter=meter, tempos="123.5")
    for each in (shown, wide):
        go_on(each, 4)
        go_on(each, 1, Command.FASTER)
        each.say("the band's port is gone; waiting for it to come back")
        each.muted |= set(LAYERS)
        each.levels.change(10, LAYERS)
    narrow = " ".join(" ".join(lines(shown, 40, 40)).split())
    for line in lines(wide, 200, 40):
        if "next:" not in line and not re.match(r"  [1-9.RLK]", line):
            assert all(item in narrow for item in re.split(" {3,}", line.strip()))
    assert all(words in narrow for words in ("a minute", "(123.5 written)", "of 12"))


def test_in_a_small_terminal_the_keys_are_named_at_least() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    assert "  space n p a - + q h f c l , ." in lines(shown, 40, 12)


SEVENS = {"sticking": ">RLRRLRL", "steps": 7, "feet": "1 3"}


def stave_of(shown: Display, width: int, height: int) -> list[list[str]]:
    """What is shown of the bar: its counts, and its strokes, from left to right."""
    found = lines(shown, width, height)
    counted = [i for i, line in enumerate(found) if re.fullmatch(r"  [1-9][1-9&ea. ]*", line)]
    at = [i for i in counted if not any(i - j in (1, 2, 3) for j in counted if j < i)]
    counts = [each for i in at for each in found[i].split()]
    hands = [
        letter
        for i in at
        for cells in zip(*(row.ljust(width) for row in found[i + 1 : i + 3]), strict=True)
        for letter in cells
        if letter in "RL"
    ]
    return [counts, hands]


@pytest.mark.parametrize(("width", "height"), [(40, 30), (60, 24), (80, 24), (120, 24)])
def test_a_bar_that_is_wider_than_the_terminal_is_all_there(width: int, height: int) -> None:
    # Seven steps to a beat: 28 counts, RLRRLRL on each beat.
    shown = display(**SEVENS)
    go_on(shown, 2)
    counts, hands = stave_of(shown, width, height)
    assert len(counts) == 28 and [each for each in counts if each != "."] == list("1234")
    assert hands == list("RLRRLRL" * 4)
    assert not any(re.search(r"lines? [0-9]", line) for line in lines(shown, width, height))


def test_a_bar_is_divided_into_lines_of_as_many_beats() -> None:
    shown = display(**SEVENS)
    go_on(shown, 2)
    counted = [line.split() for line in lines(shown) if re.fullmatch(r"  [1-9][. 1-9]*", line)]
    assert [[x for x in each if x != "."] for each in counted] == [["1", "2"], ["3", "4"]]


@pytest.mark.parametrize(
    "keys",
    [SEVENS, {"sticking": "flam", "steps": 12}, {"sticking": "RL", "meter": "19/16", "steps": 8}],
)
@pytest.mark.parametrize(("width", "height"), [(40, 12), (60, 11), (80, 10)])
def test_what_there_is_no_room_for_is_told_and_comes_in_its_turn(
    width: int, height: int, keys: dict[str, Any]
) -> None:
    shown = display(**keys)
    go_on(shown, 2)
    assert shown.place
    exercise = shown.place.playable.exercise
    seen, of = set[int](), 0
    for i in range(int(exercise.meter.bar / exercise.step)):
        shown.moment(float(i * exercise.step))
        assert len(marked(shown, width, height)) == 4  # the current step is always there
        text = "\n".join(lines(shown, width, height))
        told = re.search(r"lines? ([0-9]+)(?:-([0-9]+))? of ([0-9]+)", text)
        assert told
        first, last, of = (int(each or told[1]) for each in told.groups())
        seen |= set(range(first, last + 1))
    assert seen == set(range(1, of + 1)) and of > 1


def test_a_changed_tempo_is_told_from_the_written_one() -> None:
    shown = display(**PARADIDDLE)
    go_on(shown, 2)
    assert not any("written" in line for line in lines(shown))
    go_on(shown, 1, Command.FASTER)
    (told,) = [line for line in lines(shown) if "a minute" in line]
    assert told.startswith("  94 quarter notes a minute   (92 written)")
    go_on(shown, 1, Command.NEXT)
    (told,) = [line for line in lines(shown) if "a minute" in line]
    assert told.startswith("  92 quarter notes a minute   count-in")


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
    shown._exercises = Emptied(shown._exercises)
    assert lines(shown) == before
