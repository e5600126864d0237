"""A session at the kit that sounds from the browser: there is no MIDI here, and none is needed."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from browser import chromium, sized
from desk import served

from midiforge.desk.engine.browser import Browser, later_ms
from midiforge.kits.kit import DEFAULT, read_kit

# Notes down every sound's beginning, on the audio clock, and how soon it was then.
_NOTED = """
window.noted = [];
for (const kind of [AudioBufferSourceNode, OscillatorNode]) {
  const start = kind.prototype.start;
  kind.prototype.start = function (when, ...more) {
    window.noted.push([when, when - this.context.currentTime]);
    return start.call(this, when, ...more);
  };
}
"""
DRILL = """
title = "Slipway"
sticking = "RLLR LRRL"
feet = "1 2"
stages = "full"
tempos = "120"
meter = "2/4"
bass = "electric-bass"
chords = "Dm7 | G7"
"""


class Told:
    """A line that keeps what is told."""

    def __init__(self) -> None:
        self.sounds: list[list[float]] = []

    def tell(self, sound: list[float]) -> None:
        self.sounds.append(sound)


def test_the_browser_is_told_the_voices_of_any_kit_as_general_midi_has_them() -> None:
    mido = pytest.importorskip("mido")
    own = replace(read_kit(DEFAULT), channel=3, notes={"snare": 60, "bass-drum": 61}, heard={})
    told: Any = Told()
    browser = Browser(told, own)
    before = time.monotonic_ns() / 1e6
    for message in (
        mido.Message("note_on", channel=2, note=60, velocity=90),
        mido.Message("note_on", channel=2, note=61, velocity=40),
        mido.Message("note_on", channel=1, note=60, velocity=70),
        mido.Message("control_change", channel=2, control=120, value=0),
    ):
        browser.send(message)
    assert [sound[1:] for sound in told.sounds] == [
        [0x99, 38, 90],  # General MIDI level 1: acoustic snare
        [0x99, 36, 40],  # and bass drum 1, on channel 10
        [0x91, 60, 70],
        [0xB2, 120, 0],
    ]
    assert all(before - 0.01 <= sound[0] <= before + 1000 for sound in told.sounds)


@pytest.mark.parametrize(
    ("job", "later"),
    [
        ({"browser": True, "later": 180}, 180.0),
        ({"browser": True, "later": 1e9}, 2000.0),
        ({"browser": True, "later": -5}, 0.0),
        ({"browser": True, "later": "soon"}, 0.0),
        ({"browser": True, "later": float("nan")}, 0.0),
        ({"browser": True, "later": [180]}, 0.0),
        ({"browser": True}, 0.0),
        ({"later": 180}, 0.0),
    ],
)
def test_a_sound_comes_as_much_later_as_the_page_says_within_reason(
    job: dict[str, Any], later: float
) -> None:
    assert later_ms(job) == later


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Any]:
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "drill.toml").write_text(DRILL)
    nowhere = {"JACK_DEFAULT_SERVER": "nobody"}
    for browser in chromium(tmp_path / "profile"):
        with served(folder, **nowhere) as address:
            sized(browser, 1280, 900)
            browser.get(f"{address}#view=practise")
            browser.execute_script(_NOTED)
            yield browser


def until(browser: Any, script: str, seconds: float = 20.0) -> Any:
    end = time.monotonic() + seconds
    while not (value := browser.execute_script(f"return {script}")):
        assert time.monotonic() < end, script
        time.sleep(0.05)
    return value


def begun(browser: Any) -> None:
    until(browser, "document.querySelector('.practise-start')?.offsetParent")
    browser.find_element("css selector", ".practise-start").click()


def test_a_session_without_midi_sounds_from_the_browser_on_its_grid(page: Any) -> None:
    begun(page)
    until(page, "window.noted.length > 200", 60)
    noted = page.execute_script("return window.noted")
    # On a busy machine a few may come too late for it; that all do is another thing.
    assert sorted(soon for _, soon in noted)[len(noted) // 10] > 0.01
    # At 120 every stroke stands on a grid of sixteenths, 125 ms.
    places = [(at - noted[0][0] + 0.0625) % 0.125 for at, _ in noted]
    off = [abs(place - median(places)) for place in places]
    assert sorted(off)[int(0.9 * len(off))] < 0.01
    shown = page.execute_script("return document.querySelector('.stand-title').textContent")
    assert "RLLR LRRL" in shown
    page.execute_script("document.querySelector('.stand-end').click()")  # it may move meanwhile
    until(page, "document.querySelector('.practise-start').offsetParent", 40)
    count = page.execute_script("return window.noted.length")
    time.sleep(1.0)
    assert page.execute_script("return window.noted.length") == count


def test_what_came_while_the_page_was_held_up_does_not_sound_all_at_once(page: Any) -> None:
    begun(page)
    until(page, "window.noted.length > 100", 60)
    page.execute_script(
        "window.noted.length = 0; const end = performance.now() + 3000;"
        "while (performance.now() < end);"
    )
    until(page, "window.noted.filter(([, soon]) => soon > 0.01).length > 20")
    at_once = page.execute_script("return window.noted.filter(([, soon]) => soon <= 0.001).length")
    # Three seconds have 24 strokes of the hands, as many of band, feet and click, and most of these
    # sound from several sources; a quarter of a second has a twelfth of them.
    assert at_once < 30
