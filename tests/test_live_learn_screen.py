"""What is seen while a kit is learnt: what is asked, how often it was hit, what keys do.

No published source: the rules are the project's own.
"""

import os
import re
import shutil

import pytest

from midiforge.kits.learn import screen
from midiforge.kits.learn.kit_file import learnt_words
from midiforge.kits.learn.learn import Learning
from midiforge.kits.learn.steps import voices_asked
from midiforge.live.playing.controls import KEYS

SEQUENCE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
MS = 1_000_000


class Terminal:
    """A terminal of a size, what was written to it, and keys that are pressed."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, width: int = 80, height: int = 24) -> None:
        self.written: list[str] = []
        self.keys = ""
        size = os.terminal_size((width, height))
        monkeypatch.setattr(screen, "write", self.written.append)
        monkeypatch.setattr(screen, "pressed", self._pressed)
        monkeypatch.setattr(shutil, "get_terminal_size", lambda: size)

    def _pressed(self) -> list[object]:
        keys, self.keys = self.keys, ""
        return [KEYS[key] for key in keys]

    def lines(self) -> list[str]:
        """What stands there now."""
        return SEQUENCE.sub("", self.written[-1]).split("\r\n")


def hit(learning: Learning, note: int, times: int, at: int = 5_000) -> None:
    for i in range(times):
        learning.heard(bytes((0x99, note, 100)), (at + i * 400) * MS)
        learning.until((at + i * 400 + 200) * MS)


def test_lines_say_each_message_and_hint_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from midiforge.command import kit

    monkeypatch.setattr("midiforge.kits.learn.screen.pressed", lambda: iter(()))
    learning = Learning.of(voices_asked(""), ())
    with kit._in_lines() as show:
        show(learning, "")
        capsys.readouterr()
        learning.message = "slower: one stroke at a time"
        for _ in range(3):
            show(learning, "")
        assert capsys.readouterr().out.count("slower: one stroke at a time") == 1
        show(learning, "nothing heard yet from sticks")
        show(learning, "nothing heard yet from sticks")
        assert capsys.readouterr().out == "nothing heard yet from sticks\n"


def test_it_says_what_is_asked_and_ticks_off_strokes(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal(monkeypatch)
    learning = Learning.of(["snare", "ride"])
    with screen.learn_screen() as show:
        show(learning, "")
        assert "  SNARE DRUM" in terminal.lines() and "  [ ]  [ ]  [ ]" in terminal.lines()
        hit(learning, 38, 2)
        show(learning, "")
        assert "  [x]  [x]  [ ]" in terminal.lines()
        hit(learning, 38, 1, 6_000)
        show(learning, "")
        assert "  RIDE CYMBAL" in terminal.lines() and "  2 of 3" in terminal.lines()
        assert any("note 38" in line for line in terminal.lines())


def test_it_is_drawn_only_when_something_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal(monkeypatch)
    learning = Learning.of(["snare"])
    with screen.learn_screen() as show:
        for _ in range(5):
            show(learning, "")
        drawn = len(terminal.written)
        assert drawn == 2  # the other page, and the picture
        show(learning, "pads is gone")
        assert len(terminal.written) == 3
    assert terminal.written[-1].endswith("\x1b[?25h\x1b[?1049l")


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 12), (20, 5)])
def test_no_line_is_wider_than_the_terminal_and_nothing_steers_it(
    width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    terminal = Terminal(monkeypatch, width, height)
    with screen.learn_screen() as show:
        show(Learning.of(["snare"]), "pads\x1b]0;mine\x07\x1b[2J" + "x" * 200)
    picture = terminal.written[1]
    assert not any(each in picture for each in ("\x1b]", "\x07", "\x1b[2J"))
    found = SEQUENCE.sub("", picture).split("\r\n")
    assert len(found) <= height and max(map(len, found)) <= width


def test_keys_skip_go_back_and_end(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal(monkeypatch)
    learning = Learning.of(["snare", "ride"])
    with screen.learn_screen() as show:
        for key, name in (("n", "ride"), ("p", "snare")):
            terminal.keys = key
            show(learning, "")
            assert learning.step.name == name
        hit(learning, 38, 2)
        terminal.keys = "a"
        show(learning, "")
        assert learning.strokes == 0
        terminal.keys = "n"  # past both: nothing is left to be asked
        show(learning, "")
        terminal.keys = "nq"
        show(learning, "")
        assert learning.done


def test_to_end_with_voices_left_is_asked_for_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal(monkeypatch)
    learning = Learning.of(["snare", "ride"])
    hit(learning, 38, 3)
    with screen.learn_screen() as show:
        terminal.keys = "q"
        show(learning, "")
        assert not learning.done
        assert "  q again ends here, with 1 of 2 voices; n and p go on" in terminal.lines()
        hit(learning, 51, 1, 9_000)  # it goes on, so that it would be asked again
        terminal.keys = "q"
        show(learning, "")
        assert not learning.done
        terminal.keys = "q"
        show(learning, "")
        assert learning.done


@pytest.mark.parametrize("width", [40, 60, 80])
def test_all_that_helps_is_there_at_any_width(monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    terminal = Terminal(monkeypatch, width)
    learning = Learning.of(["bass-drum", "hihat-closed"])
    hit(learning, 36, 3)
    with screen.learn_screen() as show:
        show(learning, "nothing heard yet from a port with a name that is a long one")
        text = " ".join(" ".join(terminal.lines()).split())
    for words in (
        "Lift the foot once, press it down, then hit three times.",
        "from a port with a name that is a long one",
        "bass drum 3 times: skip 12 times: skip all roll on any pad: the one before again",
        "n skip p the one before a from the start q end",
    ):
        assert words in text


def test_what_was_learnt_and_what_was_not_is_said() -> None:
    learning = Learning.of(["snare", "ride", "crash"])
    hit(learning, 38, 3)
    assert learnt_words(learning, "general-midi-1", "my kit.toml") == [
        "my kit.toml: 1 of 3 voices: snare",
        "not learnt, so as in general-midi-1: ride, crash",
        "it is part of a kit; for the rest: midiforge kit learn --starts-from 'my kit.toml' "
        "--voices ride,crash --out FILE",
    ]
    learning.skip()
    learning.skip()  # all was asked: what was skipped is not on the kit
    assert len(learnt_words(learning, "general-midi-1", "my kit.toml")) == 2
