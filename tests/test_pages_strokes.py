"""A student plays along with the page, in a real browser: on a kit, by keys, on the screen.

The kit's port is a stand-in: a script in the page answers `navigator.requestMIDIAccess`, as no kit
is plugged in here. All behind it is the page's own, and time is the browser's.
"""

import base64
import json
import time
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import mido
import pytest
from browser import chromium, press_play, sized

import midiforge
from midiforge.command.run import run
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

DRILL = """
title = "Tide table"
sticking = "RLRL"
feet = "1 2 3 4"
stages = "full"
steps = 2
tempos = [120, 90]
"""
STEPS, QUARTER = 8, 0.5  # eighths of a bar of 4/4; seconds
SNARE, HIHAT, BASS, CRASH, PEDAL = 38, 42, 36, 49, 4
# The stand-in for ports, and what the page saves, kept for the test.
STAND_IN = """
window.port = { name: "Reed kit", state: "connected", onmidimessage: null };
window.access = { inputs: new Map([["one", window.port]]), onstatechange: null };
navigator.requestMIDIAccess = () => Promise.resolve(window.access);
const made = URL.createObjectURL;
URL.createObjectURL = (blob) => { window.saved = blob; return made.call(URL, blob); };
"""
NO_WEB_MIDI = "delete Navigator.prototype.requestMIDIAccess;"
# Strikes the kit: (quarter notes from the first downbeat, ms from there, bytes).
STRIKE = """
const { context, startTime, begin } = { ...lessonPlayer, begin: arguments[1],
  context: lessonPlayer.context, startTime: lessonPlayer.startTime };
const { contextTime, performanceTime } = context.getOutputTimestamp();
for (const [at, ms, bytes] of arguments[0]) {
  const time = startTime + (at - begin) * arguments[2];
  const timeStamp = performanceTime + 1000 * (time - contextTime) + ms;
  port.onmidimessage({ data: Uint8Array.from(bytes), timeStamp });
}
"""


class _Page:
    """A page that is open, and what a student does there."""

    def __init__(self, driver: Any, folder: Path) -> None:
        self.driver, self.folder = driver, folder
        self.drill = folder / "drill.toml"

    def open(self, before: str = STAND_IN) -> "_Page":
        self.drill.write_text(DRILL, "utf-8")
        drill = midiforge.read_drill(str(self.drill))
        path = self.folder / "lesson.html"
        write_sheet(path, drill.title, midiforge.exercises(drill), drill.kit, paper_of("a4"))
        script = self.driver.execute_cdp_cmd(
            "Page.addScriptToEvaluateOnNewDocument", {"source": before}
        )
        self.driver.get(path.as_uri())
        self.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", script)
        self.js("localStorage.clear(); document.querySelector('#n1 .player').classList.add('open')")
        return self

    def js(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def press(self, selector: str) -> None:
        self.js("document.querySelector(arguments[0]).click()", f"#n1 {selector}")

    def until(self, fact: Callable[[], Any], seconds: float = 12.0) -> None:
        end = time.monotonic() + seconds
        while not fact():
            assert time.monotonic() < end, f"waited in vain: {self.said!r}"
            time.sleep(0.03)

    def plays_since(self, quarters: float) -> bool:
        now = self.js("return lessonPlayer.context.currentTime - lessonPlayer.startTime")
        return bool(now > (4 + quarters) * QUARTER)

    def strike(self, strokes: list[tuple[float, float, list[int]]]) -> None:
        self.js(STRIKE, strokes, -4, QUARTER)

    @property
    def said(self) -> str:
        return str(self.js("return document.querySelector('.judged')?.textContent"))

    def on_staff(self) -> list[tuple[str, str]]:
        """The signs that are shown, and how tints look, in the order of the music."""
        return [
            (kind, sign)
            for kind, sign in self.js(
                "return [...document.querySelectorAll('#n1 .struck text[class]')]"
                ".map((sign) => [sign.getAttribute('class'), sign.textContent])"
            )
        ]

    def saved(self) -> bytes:
        self.press(".hearing-save")
        text = self.driver.execute_async_script(
            "const done = arguments[0], reader = new FileReader();"
            "reader.onload = () => done(reader.result.split(',')[1]);"
            "reader.readAsDataURL(window.saved);"
        )
        return base64.b64decode(text)


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


@pytest.fixture
def page(driver: Any, tmp_path: Path) -> Iterator[_Page]:
    sized(driver, 1280, 900)
    yield _Page(driver, tmp_path)
    driver.get("about:blank")  # so that nothing plays on


def _on(number: int, velocity: int = 90) -> list[int]:
    return [0x99, number, velocity]


def _round(off: dict[float, float], missed: set[float]) -> list[tuple[float, float, list[int]]]:
    """A round of both hands over the bass drum: ms that the hands are off, and where they rest."""
    hands = {i / 2: SNARE if i % 2 else HIHAT for i in range(STEPS) if i / 2 not in missed}
    strokes = [(at, off.get(at, 0.0), _on(number)) for at, number in hands.items()]
    return strokes + [(float(at), 0.0, _on(BASS)) for at in range(4)]


def test_a_round_on_a_kit_is_shown_on_the_staff_and_said_in_a_sentence(page: _Page) -> None:
    page.open()
    page.press(".player-strokes")
    page.until(lambda: "Reed kit" in page.js("return document.querySelector('.ears').textContent"))
    press_play(page.driver, "n1")
    page.until(lambda: page.plays_since(3.7))
    strokes = _round({1.0: -70.0, 2.5: 60.0}, {1.5})
    page.strike(
        [*strokes, (3.2, 0.0, _on(CRASH)), (0.0, 1.0, [0xF8]), (3.6, 0.0, [0x89, SNARE, 0])]
    )
    page.until(lambda: page.said.startswith("Round 1:"))
    assert page.said.startswith(
        "Round 1: 9 of 12 in time, 1 early, 1 late, 1 missed, 1 more than written; on average "
    )
    assert "early: right hand on 2." in page.said
    assert "late: left hand on 3&." in page.said
    assert "missed: left hand on 2&." in page.said
    shown = page.on_staff()
    assert len(shown) == 12
    assert sorted(each for each in shown if each[0] != "in-time") == [
        ("early", "\u2039"), ("late", "\u203a"), ("missed", "\u00d7"),
    ]  # fmt: skip
    # Ahead is to the left of what is in time, behind to the right, as in a review.
    shifts = page.js(
        "return ['early', 'late'].map((kind) => {"
        " const tint = document.querySelector(`#n1 ellipse.${kind}`);"
        " return tint.cx.baseVal.value - tint.nextSibling.x.baseVal[0].value; })"
    )
    assert shifts[0] < -5 and shifts[1] > 5
    page.until(lambda: page.said.startswith("Round 2: nothing was heard."))


def test_a_take_is_saved_so_that_review_hears_it(
    page: _Page, capsys: pytest.CaptureFixture[str]
) -> None:
    page.open()
    page.press(".player-strokes")
    press_play(page.driver, "n1")
    page.until(lambda: page.plays_since(8.0))
    first = _round({1.0: -70.0}, {1.5})
    again = [(at + 4, ms, data) for at, ms, data in _round({}, set())]
    page.strike([*first, *again, (0.1, 0.0, [0xB9, PEDAL, 90])])
    page.press(".player-play")
    content = page.saved()
    take = page.folder / "take.mid"
    take.write_bytes(content)
    read = mido.MidiFile(file=BytesIO(content))
    assert read.type == 0
    events = list(read.tracks[0])
    assert [event.tempo for event in events if event.type == "set_tempo"] == [500_000]
    meters = [event for event in events if event.type == "time_signature"]
    assert [(event.numerator, event.denominator) for event in meters] == [(4, 4)]
    at, notes, start = 0.0, [], 0.0
    for message in read:
        at += message.time
        if message.type == "note_on":
            notes.append((round(at - 2.0, 2), message.note, message.channel))
        elif message.type == "marker" and message.text == "midiforge: first downbeat":
            start = at
    assert start == 2.0  # behind a bar of count-in at 120
    assert len(notes) == 23
    assert {(note, channel) for _, note, channel in notes} == {(SNARE, 9), (HIHAT, 9), (BASS, 9)}
    assert {event.control for event in events if event.type == "control_change"} == {PEDAL}
    for ours, (time_of, ms, data) in zip(
        sorted(notes), sorted([*first, *again]), strict=True
    ):  # a few ms: the page and the test ask for the time of what is heard one after the other
        assert ours[0] == pytest.approx(time_of * QUARTER + ms / 1000, abs=0.025), data
    assert run(["review", str(take), str(page.drill), "--delay", "0", "--no-log", "--json"]) == 0
    heard = json.loads(capsys.readouterr().out)
    assert heard["exercise"]["number"] == "1a"
    strokes = heard["strokes_all"]
    assert (strokes["hit"], strokes["expected"], strokes["extra"]) == (23, 24, 0)
    assert abs(strokes["mean_ms"]) < 10


def test_keys_are_limbs_and_can_be_others(page: _Page) -> None:
    page.open(NO_WEB_MIDI)
    page.press(".player-strokes")
    assert "no Web MIDI" in page.js("return document.querySelector('.ears').textContent")
    press_play(page.driver, "n1")
    page.js(
        "const keys = ['j', 'f'];"
        "const heard = lessonPlayer.context.getOutputTimestamp();"
        "const start = 1000 * (lessonPlayer.startTime - heard.contextTime) + 2000"
        "  + heard.performanceTime - performance.now();"
        "for (let i = 0; i < 8; i++) setTimeout(() => dispatchEvent("
        "  new KeyboardEvent('keydown', { key: keys[i % 2] })), start + 250 * i);"
        "for (let i = 0; i < 4; i++) setTimeout(() => document.querySelectorAll('.area')[3]"
        "  .dispatchEvent(new PointerEvent('pointerdown')), start + 500 * i);"
    )
    page.until(lambda: page.said.startswith("Round 1:"))
    assert "missed" not in page.said, page.said
    assert "more than written" not in page.said, page.said
    areas = "return [...document.querySelectorAll('.area')].filter((each) => !each.hidden)"
    assert page.js(f"{areas}.map((each) => each.textContent)") == [
        "Left handF", "Right handJ", "Right footN",
    ]  # fmt: skip
    page.press(".player-play")
    page.press(".hearing-keys")
    for key in "qpm":
        page.js("dispatchEvent(new KeyboardEvent('keydown', { key: arguments[0] }))", key)
    page.driver.refresh()
    page.js("document.querySelector('#n1 .player-strokes').click()")
    assert page.js(f"{areas}.slice(0, 2).map((each) => each.textContent)") == [
        "Left handQ", "Right handP",
    ]  # fmt: skip


def test_the_delay_is_measured_by_eight_taps_and_kept(page: _Page) -> None:
    page.open()
    page.press(".player-strokes")
    page.press(".hearing-delay")  # which opens the audio clock
    page.until(lambda: page.js("return lessonPlayer.context.getOutputTimestamp().contextTime > 0"))
    page.js(
        "const clicks = [], { context } = lessonPlayer;"
        "const { start: begin } = OscillatorNode.prototype;"
        "OscillatorNode.prototype.start = function (at) { clicks.push(at); begin.call(this, at); };"
        "document.querySelector('#n1 .hearing-delay').click();"
        "const start = Math.min(...clicks);"
        "const { contextTime, performanceTime } = context.getOutputTimestamp();"
        "for (let i = 0; i < 8; i++) port.onmidimessage({ data: Uint8Array.of(0x99, 38, 80),"
        "  timeStamp: performanceTime + 1000 * (start + 0.6 * i - contextTime)"
        "    + 40 + (i % 2 ? 6 : -6) });"
    )
    assert "arrives" in page.said
    [kept] = page.js("return Object.values(localStorage)")
    assert json.loads(kept)["delays"]["kit"] == pytest.approx(40, abs=2)


def test_switched_off_nothing_of_it_is_left(page: _Page) -> None:
    page.open()
    page.press(".player-strokes")
    page.press(".player-strokes")
    assert page.js("return document.querySelectorAll('.hearing, .listening').length") == 0


@pytest.mark.parametrize("width", [390, 1280])
def test_areas_are_large_and_the_music_stays_in_sight(page: _Page, width: int) -> None:
    sized(page.driver, width, 844)
    page.open()
    page.press(".player-strokes")
    press_play(page.driver, "n1")
    page.until(lambda: page.plays_since(0.5))
    boxes = page.js(
        "return [...document.querySelectorAll('#n1 .area:not([hidden])')]"
        ".map((each) => each.getBoundingClientRect())"
    )
    assert len(boxes) == 3
    assert all(min(box["width"], box["height"]) >= 44 for box in boxes)
    if width == 390:
        assert all(box["height"] >= 70 and box["width"] >= 120 for box in boxes)
        music = page.js("return document.querySelector('#n1 svg.system').getBoundingClientRect()")
        assert music["bottom"] <= min(box["top"] for box in boxes)
