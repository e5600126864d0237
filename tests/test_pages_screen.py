"""The booklet on a screen, as something one practises from, in a real browser."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import chromium, press_play, sized

import midiforge
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
LONG = "Count aloud before you play, and go on counting. " * 30


def _html(folder: Path, drill: midiforge.Drill, text: str = "", counts: bool = False) -> Path:
    path = folder / "lesson.html"
    lesson = midiforge.exercises(drill)
    write_sheet(path, drill.title, lesson, drill.kit, paper_of("a4"), counts, text)
    return path


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


@pytest.fixture
def browser(running: Any, tmp_path: Path) -> Iterator[Any]:
    """With nothing kept from another test, whose page was a file too."""
    sized(running, 1280, 900)
    empty = tmp_path / "empty.html"
    empty.write_text("<!DOCTYPE html><title>Empty</title>", "utf-8")
    running.get(empty.as_uri())
    running.execute_script("localStorage.clear()")
    yield running
    running.get(empty.as_uri())  # so that nothing plays on


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_first_exercise_and_its_button_are_on_a_telephones_first_screen(
    browser: Any, tmp_path: Path, path: Path
) -> None:
    sized(browser, 390, 844)
    browser.get(_html(tmp_path, midiforge.read_drill(str(path)), LONG).as_uri())
    for selector in (".player-play", "svg.system"):
        bottom = browser.execute_script(
            "return document.querySelector(arguments[0]).getBoundingClientRect().bottom", selector
        )
        assert bottom <= 844, selector


_SEEN = "return document.querySelector(arguments[0]).checkVisibility({visibilityProperty: true})"


@pytest.mark.parametrize("folded", [".order tbody td", ".key .legend", ".care li"])
def test_what_is_folded_is_one_tap_away_and_open_on_paper(
    browser: Any, tmp_path: Path, folded: str
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    assert not browser.execute_script(_SEEN, folded)
    browser.find_element("css selector", f"{folded.split()[0]} summary").click()
    assert browser.execute_script(_SEEN, folded)
    browser.refresh()
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert browser.execute_script(_SEEN, folded)
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_the_cautions_are_shown_before_the_first_play_and_then_no_more(
    browser: Any, tmp_path: Path
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    playing = "return lessonPlayer.playing"
    browser.find_element("css selector", "#n1 .player-play").click()
    assert browser.execute_script(playing) is None
    dialog = browser.find_element("css selector", "dialog")
    assert "Stop when it hurts" in dialog.text
    dialog.find_element("css selector", "button").click()
    assert browser.execute_script(playing) == "n1"
    browser.refresh()
    browser.find_element("css selector", "#n2 .player-play").click()
    assert browser.execute_script(playing) == "n2"


def test_who_does_not_read_the_cautions_to_the_end_hears_nothing(
    browser: Any, tmp_path: Path
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    browser.find_element("css selector", "#n1 .player-play").click()
    browser.switch_to.active_element.send_keys("\ue00c")  # escape, as WebDriver has it
    assert not browser.find_elements("css selector", "dialog")
    assert browser.execute_script("return lessonPlayer.playing") is None
    press_play(browser, "n1")
    assert browser.execute_script("return lessonPlayer.playing") == "n1"
