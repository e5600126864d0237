"""A real browser for the tests of pages: headless Chromium, driven over WebDriver."""

import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

# No sandbox where everything runs as root; nothing asked of the network; sound without a click.
_ARGUMENTS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--disable-dev-shm-usage --autoplay-policy=no-user-gesture-required --hide-scrollbars"
)


def chromium(profile: Path) -> Iterator[Any]:
    """A running browser; skips the test where there is none."""
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if program is None or driver is None:
        pytest.skip("pages are tested in Chromium: no chromium and chromedriver here")
    try:
        from selenium import webdriver
    except ImportError:
        pytest.skip("pages are tested in Chromium by selenium, which is not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for argument in (*_ARGUMENTS.split(), "--window-size=1000,700", f"--user-data-dir={profile}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with webdriver.Chrome(
        options=options, service=webdriver.ChromeService(executable_path=driver)
    ) as browser:
        browser.set_script_timeout(20)
        # A window that no screen shows has the focus only at times; keys then go elsewhere.
        browser.execute_cdp_cmd("Emulation.setFocusEmulationEnabled", {"enabled": True})
        yield browser


# By what is asked for: of equal drills the same page, which is made once for all tests of a file.
_made: dict[tuple[str, bool, bool, str], list[tuple[midiforge.Drill, bytes]]] = {}


def page_of(
    folder: Path, drill: midiforge.Drill, counts: bool, large: bool = False, text: str = ""
) -> Path:
    """The page of a drill, in a folder; text: what the student is to read under the title."""
    path = folder / "lesson.html"
    made = _made.setdefault((drill.title, counts, large, text), [])
    for other, page in made:
        if other == drill:
            path.write_bytes(page)
            return path
    paper = paper_of("a4", large)
    write_sheet(path, drill.title, midiforge.exercises(drill), drill.kit, paper, counts, text)
    made.append((drill, path.read_bytes()))
    return path


def played(exercise: dict[str, Any]) -> list[list[Any]]:
    """The notes that a page tells its player of, once round the loop and what comes before."""
    notes = exercise["notes"]
    return [*notes["countIn"], *notes["before"], *notes["loop"]]


def press_play(browser: Any, anchor: str) -> None:
    """Plays or stops an exercise of a page; what the page says before the first play is read."""
    browser.execute_script(
        "document.querySelector(`#${arguments[0]} .player-play`).click();"
        "document.querySelector('.first-play')?.click()",
        anchor,
    )


def sized(browser: Any, width: int, height: int) -> None:
    """Gives the page a size in CSS pixels, also one that no window can have."""
    screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)


def on_paper(browser: Any) -> bytes:
    """The page as a PDF, on the paper that it asks for.

    Chromium's print process is sometimes not up yet when it is asked ("Printing failed"), whatever
    the page; it is asked again then.
    """
    from base64 import b64decode

    from selenium.common.exceptions import WebDriverException

    for tries_left in (4, 3, 2, 1, 0):
        try:
            answer = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
            return b64decode(answer["data"])
        except WebDriverException as error:
            if not tries_left or "Printing failed" not in str(error):
                raise
            time.sleep(0.5)
    raise AssertionError
