"""What is seen while a kit is learnt: what is asked, how often it was hit, what keys do.

No published source: the rules are the project's own.
"""

import os
import re
import shutil

import pytest

from midiforge.live import learn_screen as screen
from midiforge.live.keyboard import KEYS
from midiforge.live.learn import Learning

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
        terminal.keys = "q"
        show(learning, "")
        assert learning.done
