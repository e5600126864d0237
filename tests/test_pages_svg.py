"""Exercises as one picture: nothing leaves it, whatever is said above the music."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import chromium

import midiforge
from midiforge.engraving.text_width import in_width, text_width
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

pytest.importorskip("verovio")

LONG = {
    "sticking": "RLRR LRLL R-LR -LR- RRLL RLRL (R)L>RL lRLrLR",
    "feet": "samba",
    "chords": "Dm7 | G7",
    "style": "bossa-nova",
    "dynamics": "crescendo over 2 bars",
}


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


@pytest.mark.parametrize("large", [False, True])
def test_no_text_is_wider_than_the_picture(browser: Any, tmp_path: Path, large: bool) -> None:
    drill = midiforge.check_drill(LONG)
    path = tmp_path / "lesson.svg"
    write_sheet(path, "", midiforge.exercises(drill), drill.kit, paper_of("letter", large), True)
    browser.get(path.as_uri())
    right, texts = browser.execute_script(
        "const right = (e) => e.getBoundingClientRect().right;"
        "return [right(document.documentElement), [...document.querySelectorAll('text')]"
        ".map((t) => [t.textContent, right(t)])];"
    )
    assert len(texts) > 50
    assert [text for text, end in texts if end > right] == []
    facts = [text for text, _ in texts if "·" in text]
    assert any("1 bar count-in" in text for text in facts)
    assert not any(text.startswith("·") for text in facts)


@pytest.mark.parametrize("width", [40, 100, 1000])
def test_text_in_lines_loses_nothing_and_no_line_is_too_wide(width: int) -> None:
    text = "RLRR LRLL WWWWWWWWWWWWWWWWWWWWWWWW im Takt, 太鼓 mm"
    lines = [*in_width(text, width, 20)]
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(text_width(line, 20) <= width for line in lines)
    assert len(lines) == 1 if width == 1000 else len(lines) > 3
