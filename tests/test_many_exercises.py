"""Drills of many exercises: what is asked for comes as soon as it can, or it is seen that it comes.

No published source: the rules are the project's own.
"""

import errno
import io
import subprocess
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.insight.insight import Insight
from midiforge.screen import titles
from midiforge.screen.titles import title_lines

Captured = pytest.CaptureFixture[str]

MANY = (
    *("--sticking", "RLRR LRLL", "--feet", "samba", "--placements", "bar"),
    *("--accents", "own,beats", "--accent-placements", "beat", "--tempos", "60 to 66 by 1"),
)


def test_the_first_titles_come_before_the_last_are_made_in_columns_all_the_same() -> None:
    keys = {"placements": "bar", "accents": ["own", "beats"], "accent_placements": "bar"}
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", **keys})
    pieces = [*midiforge.Lesson(drill).by_piece()] * 4
    given = 0

    def one_by_one() -> Iterator[midiforge.Piece]:
        nonlocal given
        for given, piece in enumerate(pieces, start=1):  # noqa: B007
            yield piece

    shown = title_lines(one_by_one(), sys.maxsize)
    head = next(shown)
    assert given < len(pieces) / 3
    told = [*islice(shown, 30)]
    assert given < len(pieces) / 3
    at = head.index("bars")
    assert all(line[at - 2 : at] == "  " and line[at].isdigit() for line in told)
    assert len([*shown]) == len(pieces) - len(told)


def test_whoever_reads_some_titles_and_leaves_waits_for_no_more(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    class Left(io.StringIO):
        """A pipe whose reader is gone after the first lines."""

        def write(self, text: str) -> int:
            if self.getvalue().count("\n") >= 3:
                raise BrokenPipeError(errno.EPIPE, "broken pipe")
            return super().write(text)

    asked: list[midiforge.Exercise] = []
    how_hard = titles.insight

    def counted(exercise: midiforge.Exercise) -> Insight:
        asked.append(exercise)
        return how_hard(exercise)

    monkeypatch.setattr(titles, "insight", counted)
    with monkeypatch.context() as leaving:
        leaving.setattr(sys, "stdout", Left())
        assert run(["show", *MANY, "--titles"]) == 0
    assert len(asked) <= 4
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("arguments", [("next",), ("plan",), ("show", "--only", "9", "--titles")])
def test_work_on_many_exercises_shows_how_far_it_is_where_somebody_sees_it(
    arguments: tuple[str, ...], capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    command, *flags = arguments
    assert run([command, *MANY, *flags]) == 0
    plain, err = capsys.readouterr()
    assert err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert run([command, *MANY, *flags]) == 0
    out, err = capsys.readouterr()
    assert "Looking at exercises" in err and out == plain
    assert run([command, "--sticking", "RL"]) == 0
    assert "Looking" not in capsys.readouterr().err


def test_what_is_asked_for_by_number_is_made_and_nothing_after_it() -> None:
    seen: list[int] = []
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "placements": "bar", "stages": "full"})
    for only, last in (("1", 1), ("3,1", 3), ("2-3", 3), ("7", 7)):
        seen.clear()
        found = midiforge.Lesson(drill).select(only, progress=seen.append)
        assert max(seen, default=0) == last, only
        assert found


def test_a_pipe_that_is_closed_early_is_no_error(tmp_path: Path) -> None:
    child = subprocess.Popen(
        (sys.executable, "-m", "midiforge", "show", *MANY, "--titles"),
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout and child.stderr
    assert child.stdout.readline().startswith("number")
    child.stdout.close()
    assert child.stderr.read() == ""
    assert child.wait() == 0
