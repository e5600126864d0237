"""The player of a lesson's page, driven in a real browser (Chromium by WebDriver).

Times are checked against the arithmetic of tempo: a pulse of n quarter notes at t pulses a minute
makes a quarter note last 60 / (t * n) s. Sounds are rendered by the browser's own audio engine.
"""

import cmath
import itertools
import json
import math
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import chromium, sized

from midiforge.pages.script import script

PAGES = Path(__file__).parent.parent / "midiforge" / "pages"
FLAM_MS = -30.0
# Keys as WebDriver has them ("Keyboard actions"): control with a and let go, tabulator, escape.
_SELECT_ALL, _TAB, _ESCAPE = "\ue009a\ue000", "\ue004", "\ue00c"
CLICK_ACCENT, CLICK = 34, 33  # metronome bell and click in General MIDI level 2, from memory


def _exercise(
    name: str, beats: tuple[float, ...] = (0, 1, 2, 3), pulse: float = 1, **changes: Any
) -> dict[str, Any]:
    """An exercise as a page tells its player, with a click on every beat and a bar of count-in.

    pulse: the note that tempos count, in quarter notes. notes: those of the loop; before: of a late
    entry; seam: what leads from the loop's end to its start.
    """
    exercise: dict[str, Any] = {
        "id": name,
        "title": name,
        "numbers": ["7a", "7b", "7c"],
        "tempos": [240, 120, 60],
        "limits": [30, 240],
        "entry": 0,
        "length": 4.0,
        "cursor": [[0, 0, 50], [4, 0, 450]],
        **changes,
    }
    bar, end = len(beats) * pulse, exercise["entry"] + exercise["length"]
    quarter = 60 / (exercise["tempos"][0] * pulse)
    clicks = [
        [number * bar + beat, CLICK if beat else CLICK_ACCENT, 84 if beat else 112, "click"]
        for number in range(-1, round(end / bar))
        for beat in beats
    ]
    counted = [[beat - bar, str(number)] for number, beat in enumerate(beats, 1)]
    clock = [[at, at * quarter] for at in sorted({-bar, 0, exercise["entry"], end})]
    strokes = {each: exercise.pop(each, []) for each in ("before", "notes", "seam")}
    told = {
        "countIn": [each for each in clicks if each[0] < 0],
        "before": [each for each in clicks if 0 <= each[0] < exercise["entry"]],
        "loop": [each for each in clicks if each[0] >= exercise["entry"]] + strokes["notes"],
        "seam": strokes["seam"],
    }
    told["before"] += strokes["before"]
    ours = {"strokes": strokes, "bar": bar, "pulse": pulse}  # for tests alone
    return exercise | {"notes": told, "clock": clock, "counted": counted, **ours}


_STRAIGHT = _exercise(
    "straight",
    notes=[[i / 4, 38 if i % 3 else 42, 60 + i, "hands"] for i in range(16)]
    + [[i, 36 if i % 2 == 0 else 44, 90, "feet"] for i in range(4)],
    cursor=[[0, 0, 50], [1.5, 0, 350], [2, 1, 100], [4, 1, 300]],
)
_SIX_EIGHT = _exercise(
    "six-eight",
    beats=(0, 1.5),
    pulse=1.5,
    tempos=[120, 58.5],
    length=3.0,
    notes=[[i / 2, 51, 80, "hands"] for i in range(6)] + [[1.5, 75, 70, "band"]],
    cursor=[[0, 0, 0], [3, 0, 300]],
)
_LATE = _exercise(
    "late",
    beats=(0, 1),
    entry=2.0,
    length=2.0,
    before=[[at, 38, 90, "hands"] for at in (1, 1.5)],
    notes=[[at, 38, 90, "hands"] for at in (2, 2.5, 3, 3.5)],
    cursor=[[0, 0, 0], [4, 0, 400]],
)
_GRACES = _exercise(
    "graces",
    notes=[
        [0, 38, 30, "hands", FLAM_MS],
        [0, 38, 100, "hands"],
        [1, 38, 40, "hands", 38.0],
        [2, 38, 31, "hands", 0, FLAM_MS, -0.25],
        [2, 38, 100, "hands"],
    ],
)
_SEAM_ONLY = _exercise(
    "seam-only", notes=[[0, 38, 99, "hands"]], seam=[[4, 38, 30, "hands", FLAM_MS]]
)
# One struck open and then closed, the other left open; nothing else.
_CHOKED = _exercise("choked", notes=[[0, 46, 127, "hands"], [1, 42, 1, "hands"]])
_RINGING = _exercise("ringing", notes=[[0, 46, 127, "hands"], [1, 37, 1, "hands"]])
_PIPS = _exercise("pips", notes=[[i, 32, 120, "feet"] for i in range(4)])
_ALL_AT_ONCE = _exercise(
    "all-at-once", notes=[[i, note, 127, "hands"] for note in range(35, 82) for i in (0, 1)]
)
_EXERCISES = [
    _STRAIGHT,
    _SIX_EIGHT,
    _LATE,
    _GRACES,
    _SEAM_ONLY,
    _CHOKED,
    _RINGING,
    _PIPS,
    _ALL_AT_ONCE,
]

_SYSTEM = '<svg class="system" width="500" height="90" viewBox="0 -20 1000 180"><g></g></svg>'
# A page that is hidden schedules seconds ahead: whole loops to look at without waiting for them.
_HIDDEN = "Object.defineProperty(document, 'hidden', {get: () => true});"
# The whole player over an offline context, whose clock stands still until it is rendered.
_OFFLINE = """
window.AudioContext = class extends OfflineAudioContext {
  constructor() { super(1, 44100 * (window.seconds || 4), 44100); }
  resume() { return Promise.resolve(); }
};
"""


def _page(folder: Path, before: str = "") -> str:
    sections = "".join(
        f'<section class="exercise" id="{each["id"]}"><h2>Tidal flat {number}</h2>'
        f'<div class="player"></div>{_SYSTEM * 2}<p style="height: 900px"></p></section>'
        for number, each in enumerate(_EXERCISES, 1)
    )
    html = (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width"><title>Tidal flat</title>'
        f'<link rel="icon" href="data:,"><style>{(PAGES / "player.css").read_text("utf-8")}</style>'
        f"</head><body>{sections}"
        f'<script type="application/json" id="lesson-sound">'
        f"{json.dumps({'exercises': _EXERCISES})}</script>"
        f"<script>{before}</script>"
        f"<script>{script('main.js')}</script></body></html>"
    )
    path = folder / "page.html"
    path.write_text(html, "utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


class _Lesson:
    """A page that is open, and what a student does there."""

    def __init__(self, driver: Any, folder: Path) -> None:
        self.driver, self.folder = driver, folder

    def open(self, before: str = "") -> "_Lesson":
        self.driver.get(_page(self.folder, before))
        return self

    def js(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def wait(self, script: str, *values: Any) -> Any:
        return self.driver.execute_async_script(script, *values)

    def find(self, name: str, selector: str) -> Any:
        return self.driver.find_element("css selector", f"#{name} {selector}")

    def press(self, name: str, selector: str = ".player-play") -> None:
        self.js("arguments[0].click()", self.find(name, selector))

    def switch(self, name: str, control: str) -> None:
        self.press(name, f".player-{control}")

    def type_tempo(self, name: str, tempo: str) -> None:
        number = self.find(name, ".player-tempo")
        number.send_keys(_SELECT_ALL + tempo + _TAB)

    @property
    def now(self) -> float:
        return float(self.js("return lessonPlayer.context.currentTime"))

    @property
    def playing(self) -> str | None:
        return self.js("return lessonPlayer.playing")  # type: ignore[no-any-return]

    def scheduled(self) -> tuple[float, list[dict[str, Any]]]:
        """When the first sound is due, and what has been scheduled, in order of time."""
        start, scheduled = self.js("return [lessonPlayer.startTime, lessonPlayer.scheduled]")
        return start, sorted(scheduled, key=lambda each: each["time"])

    def until(self, fact: Callable[[], bool], seconds: float = 8.0) -> None:
        end = time.monotonic() + seconds
        while not fact():
            assert time.monotonic() < end, "waited in vain"
            time.sleep(0.02)

    def rendered(self) -> list[float]:
        """Its first 4 s (or `seconds`) as samples, of a page opened with _OFFLINE."""
        samples: list[float] = self.wait(
            "const done = arguments[0]; lessonPlayer.context.startRendering()"
            ".then((buffer) => done(Array.from(buffer.getChannelData(0))))"
        )
        return samples


@pytest.fixture
def lesson(driver: Any, tmp_path: Path) -> _Lesson:
    return _Lesson(driver, tmp_path)


Sounding = tuple[float, int, int, str]


def _expected(
    exercise: dict[str, Any], tempo: float, start: float, rounds: int, count_in: bool = True
) -> list[Sounding]:
    """Time, note, velocity and part of every note, without the clicks."""
    quarter = 60 / (tempo * exercise["pulse"])
    top = start + (exercise["bar"] * quarter if count_in else 0)
    length = exercise["length"]
    seen: set[Sounding] = set()
    for number in range(rounds):
        for when, strokes in exercise["strokes"].items():
            if when == "before" and number:
                continue
            for at, note, velocity, part, *offset in strokes:
                late = sum(offset[:2]) / 1000
                time = round(top + (at + number * length) * quarter + late, 7)
                seen.add((time, note, velocity, part))
    return sorted(seen)


def _sounding(scheduled: list[dict[str, Any]]) -> list[Sounding]:
    return sorted(
        (each["time"], each["note"], each["velocity"], each["part"])
        for each in scheduled
        if each["kind"] == "note"
    )


def _same(found: list[Sounding], expected: list[Sounding]) -> None:
    assert [each[1:] for each in found] == [each[1:] for each in expected]
    for one, other in zip(found, expected, strict=True):
        assert one[0] == pytest.approx(other[0], abs=1e-6)


@pytest.mark.parametrize(
    ("exercise", "tempo"),
    [
        pytest.param(_STRAIGHT, 240, id="4/4"),
        pytest.param(_SIX_EIGHT, 120, id="6/8 counted in dotted quarters"),
        pytest.param(_LATE, 240, id="late entry"),
        pytest.param(_GRACES, 240, id="grace notes"),
        pytest.param(_SEAM_ONLY, 240, id="grace notes before the seam only"),
    ],
)
def test_every_note_is_due_at_its_place_in_each_time_round(
    lesson: _Lesson, exercise: dict[str, Any], tempo: float
) -> None:
    lesson.open(_HIDDEN).press(exercise["id"])
    start, scheduled = lesson.scheduled()
    limit = start + 3.8  # at least one seam, in most of them two
    _same(
        [each for each in _sounding(scheduled) if each[0] < limit],
        [each for each in _expected(exercise, tempo, start, 6) if each[0] < limit],
    )


def test_the_seam_is_as_long_as_every_other_step_to_the_sample(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN + _OFFLINE)
    lesson.switch("pips", "countIn")
    lesson.switch("pips", "click")
    lesson.press("pips")
    samples = lesson.rendered()
    begins, silent = [], 999
    for number, sample in enumerate(samples):
        if abs(sample) > 1e-6:
            if silent > 500:
                begins.append(number)
            silent = 0
        else:
            silent += 1
    steps = [after - before for before, after in itertools.pairwise(begins)]
    assert len(steps) >= 12  # three seams
    assert all(abs(step - 44100 * 60 / 240) <= 1 for step in steps)
    assert abs(begins[-1] - begins[0] - len(steps) * 44100 * 60 / 240) <= 1


def test_nothing_is_forgotten_while_it_plays_on_in_real_time(lesson: _Lesson) -> None:
    lesson.open()
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    lesson.until(lambda: lesson.now > lesson.scheduled()[0] + 1.3)
    now = lesson.now
    start, scheduled = lesson.scheduled()
    _same(
        [each for each in _sounding(scheduled) if each[0] < now],
        [each for each in _expected(_STRAIGHT, 240, start, 3, count_in=False) if each[0] < now],
    )
    assert max(each["time"] for each in scheduled) < now + 1


def test_a_hidden_page_looks_seconds_ahead(lesson: _Lesson) -> None:
    lesson.open().press("straight")
    assert lesson.scheduled()[1][-1]["time"] < lesson.now + 0.5
    lesson.js(_HIDDEN + "document.dispatchEvent(new Event('visibilitychange'))")
    assert lesson.scheduled()[1][-1]["time"] > lesson.now + 3


def test_without_loop_it_plays_once_and_stops_by_itself(lesson: _Lesson) -> None:
    lesson.open()
    lesson.switch("graces", "loop")
    lesson.switch("graces", "countIn")
    lesson.press("graces")
    start, _ = lesson.scheduled()
    lesson.until(lambda: lesson.playing is None)
    assert lesson.now >= start + 4 * 60 / 240
    scheduled = lesson.js("return lessonPlayer.scheduled")
    assert len([each for each in scheduled if each["kind"] == "note"]) == len(
        _GRACES["strokes"]["notes"]
    )
    assert lesson.find("graces", ".player-play").text == "Play"


def test_loop_switched_off_ends_the_time_round_that_is_playing(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN).press("straight")
    start, scheduled = lesson.scheduled()
    assert scheduled[-1]["at"] > 8
    lesson.switch("straight", "loop")
    _, scheduled = lesson.scheduled()
    assert scheduled[-1]["at"] == 3.75
    lesson.switch("straight", "loop")
    _, scheduled = lesson.scheduled()
    assert scheduled[-1]["at"] > 8
    found = [each for each in _sounding(scheduled) if each[0] < start + 3.9]
    _same(found, [e for e in _expected(_STRAIGHT, 240, start, 4) if e[0] < start + 3.9])


# A jump at the change would move the point where two nearly equal tempos meet by far.
@pytest.mark.parametrize("tempo", [90, 230])
def test_a_new_tempo_goes_on_from_the_same_place(lesson: _Lesson, tempo: float) -> None:
    lesson.open(_HIDDEN)
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    lesson.until(lambda: lesson.now > lesson.scheduled()[0] + 0.4)
    before = lesson.now
    lesson.type_tempo("straight", str(tempo))
    after = lesson.now
    start, scheduled = lesson.scheduled()
    assert lesson.js("return lessonPlayer.tempo") == tempo
    old, new = 60 / 240, 60 / tempo
    # The line through the last places is the new tempo; where it meets the old one, it changed.
    at = scheduled[-1]["at"]
    change = (start / old - (scheduled[-1]["time"] / new - at)) / (1 / old - 1 / new)
    assert before <= change <= after + 0.05
    for each in scheduled:
        place = (change - start) / old
        due = (
            start + each["at"] * old
            if each["time"] < change
            else change + (each["at"] - place) * new
        )
        assert each["time"] == pytest.approx(due, abs=1e-6)
    assert any(each["time"] < change for each in scheduled)
    strokes = [each["at"] for each in scheduled if each["kind"] == "note"]
    count = len(strokes)
    strokes_of_it = _STRAIGHT["strokes"]["notes"]
    places = sorted(note[0] + 4 * number for number in range(6) for note in strokes_of_it)
    assert strokes == places[:count]


def test_no_note_comes_twice_or_is_lost_when_the_tempo_changes_again_and_again(
    lesson: _Lesson,
) -> None:
    lesson.open()
    lesson.switch("graces", "countIn")
    lesson.press("graces")
    lesson.wait(
        """
        const done = arguments[0], number = document.querySelector("#graces .player-tempo");
        let times = 0;
        const timer = setInterval(() => {
          number.value = 150 + (times * 37) % 90;
          number.dispatchEvent(new Event("input"));
          if (++times === 45) { clearInterval(timer); done(); }
        }, 25);
        """
    )
    now = lesson.now
    _, scheduled = lesson.scheduled()
    found = sorted((each["at"], each["velocity"]) for each in scheduled if each["kind"] == "note")
    last = max(each["at"] for each in scheduled if each["time"] < now - 0.1)
    every = {
        (at + 4 * number, velocity)
        for number in range(6)
        for at, _, velocity, *_ in _GRACES["strokes"]["notes"]
    }
    assert len(found) == len(set(found))
    assert len(found) > 4
    assert set(found) <= every
    assert {each for each in every if each[0] < last} <= set(found)


def test_the_tempos_of_the_exercise_can_be_chosen(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN)
    choices = lesson.driver.find_elements("css selector", "#six-eight .player-choice")
    assert [each.text for each in choices] == ["120", "58.5"]
    choices[1].click()
    assert [each.get_attribute("aria-pressed") for each in choices] == ["false", "true"]
    lesson.press("six-eight")
    start, scheduled = lesson.scheduled()
    first = next(each for each in scheduled if each["kind"] == "note")
    assert first["time"] - start == pytest.approx(3 * 60 / (58.5 * 1.5), abs=1e-6)


@pytest.mark.parametrize(("typed", "tempo"), [("15", 30), ("999", 240), ("101.5", 101.5)])
def test_a_typed_tempo_is_kept_between_30_and_240(
    lesson: _Lesson, typed: str, tempo: float
) -> None:
    lesson.open().press("straight")
    lesson.type_tempo("straight", typed)
    assert lesson.js("return lessonPlayer.tempo") == tempo
    assert float(lesson.find("straight", ".player-tempo").get_attribute("value")) == tempo


def test_the_count_in_is_one_bar_of_clicks_and_can_be_left_out(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN).press("straight")
    start, scheduled = lesson.scheduled()
    before = [each for each in scheduled if each["at"] < 0]
    assert [(each["kind"], each["at"]) for each in before] == [
        ("click", n) for n in (-4, -3, -2, -1)
    ]
    assert before[0]["time"] == start
    assert _sounding(scheduled)[0][0] == pytest.approx(start + 4 * 60 / 240, abs=1e-6)
    lesson.press("straight")
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    start, scheduled = lesson.scheduled()
    assert scheduled[0]["at"] == 0
    assert scheduled[0]["time"] == pytest.approx(start, abs=1e-6)


@pytest.mark.parametrize(
    ("exercise", "beats"), [(_STRAIGHT, [0, 1, 2, 3]), (_SIX_EIGHT, [0, 1.5]), (_LATE, [0, 1])]
)
def test_the_click_falls_on_the_beats_with_an_accent_on_the_first(
    lesson: _Lesson, exercise: dict[str, Any], beats: list[float]
) -> None:
    lesson.open(_HIDDEN).press(exercise["id"])
    _, scheduled = lesson.scheduled()
    clicks = [each for each in scheduled if each["kind"] == "click"]
    bar = exercise["bar"]
    places = [n * bar + beat for n in range(-1, 20) for beat in beats]
    assert [each["at"] for each in clicks] == places[: len(clicks)]
    assert len(clicks) > 4 * len(beats) - 2
    firsts = [each for each in clicks if each["at"] % bar == 0]
    others = [each for each in clicks if each["at"] % bar != 0]
    assert {each["note"] for each in firsts} == {CLICK_ACCENT}
    assert {each["note"] for each in others} == {CLICK}
    assert min(each["velocity"] for each in firsts) > max(each["velocity"] for each in others)


def test_silencing_a_part_reaches_notes_already_scheduled(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN)
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    before = lesson.scheduled()[1]
    gain = "return lessonPlayer.gains[arguments[0]].gain.value"
    lesson.js(
        """
        const { context, gains } = lessonPlayer;
        window.heard = {};
        for (const part of ["hands", "feet"]) {
          const analyser = new AnalyserNode(context, { fftSize: 4096 });
          gains[part].connect(analyser);
          window.heard[part] = () => {
            const values = new Float32Array(4096);
            analyser.getFloatTimeDomainData(values);
            return Math.max(...values.map(Math.abs));
          };
        }
        """
    )
    lesson.until(lambda: lesson.js("return heard.hands() > 0.01 && heard.feet() > 0.01"))
    lesson.switch("straight", "hands")
    lesson.until(lambda: lesson.js("return heard.hands()") < 1e-4)
    assert lesson.js(gain, "hands") < 1e-3
    assert lesson.js(gain, "feet") == 1
    assert lesson.js("return heard.feet()") > 0.01
    assert [e for e in lesson.scheduled()[1] if e["time"] <= before[-1]["time"]] == before
    lesson.switch("straight", "hands")
    lesson.until(lambda: lesson.js("return heard.hands()") > 0.01)
    lesson.until(lambda: lesson.js(gain, "hands") > 0.99)


def test_the_band_has_a_switch_only_where_there_is_such_a_part(lesson: _Lesson) -> None:
    lesson.open()
    count = "return document.querySelectorAll(`#${arguments[0]} .player-band`).length"
    assert lesson.js(count, "six-eight") == 1
    assert lesson.js(count, "straight") == 0


def test_only_one_exercise_plays_at_a_time(lesson: _Lesson) -> None:
    lesson.open().press("straight")
    assert lesson.playing == "straight"
    lesson.press("six-eight")
    assert lesson.playing == "six-eight"
    assert {each["id"] for each in lesson.scheduled()[1]} == {"six-eight"}
    assert lesson.find("straight", ".player-play").text == "Play"
    assert lesson.find("six-eight", ".player-play").text == "Stop"
    time.sleep(0.3)
    assert {each["id"] for each in lesson.scheduled()[1]} == {"six-eight"}
    lesson.press("six-eight")
    assert lesson.playing is None


def test_the_keyboard_alone_plays_and_stops(lesson: _Lesson) -> None:
    lesson.open()
    lesson.js("arguments[0].focus()", lesson.find("straight", ".player-play"))
    lesson.driver.switch_to.active_element.send_keys(" ")
    assert lesson.playing == "straight"
    lesson.driver.switch_to.active_element.send_keys(_ESCAPE)
    assert lesson.playing is None


def test_every_control_has_a_name(lesson: _Lesson) -> None:
    lesson.open().press("six-eight", ".player-more")
    controls = lesson.driver.find_elements("css selector", "#six-eight :is(button, input)")
    assert [each.accessible_name for each in controls if each.is_displayed()] == [
        "Play",
        "Previous exercise",
        "Next exercise",
        "Tempo",
        "120",
        "58.5",
        "Reached 120",
        "More",
        "Loop",
        "Count-in",
        "Hands",
        "The band",
        "Click",
        "Volume",
    ]
    assert lesson.find("six-eight", ".player").accessible_name == "Player: Tidal flat 2"


def test_controls_are_big_enough_for_fingers(lesson: _Lesson) -> None:
    lesson.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        lesson.open().press("straight", ".player-more")
        if not lesson.js("return matchMedia('(any-pointer: coarse)').matches"):
            pytest.skip("this Chromium does not pretend to have a touch screen")
        heights = lesson.js(
            "return [...document.querySelectorAll('#straight .player :is(button, label)')]"
            ".map((each) => each.getBoundingClientRect().height).filter((height) => height)"
        )
        assert len(heights) > 8
        assert min(heights) >= 44
    finally:
        lesson.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


@pytest.mark.parametrize("width", [375, 1280])
def test_what_is_set_once_waits_behind_a_button(lesson: _Lesson, width: int) -> None:
    sized(lesson.driver, width, 700)
    try:
        lesson.open()
        loop, more = (
            lesson.find("straight", ".player-loop"),
            lesson.find("straight", ".player-more"),
        )
        assert (loop.is_displayed(), more.is_displayed()) == (False, True)
        assert more.get_attribute("aria-expanded") == "false"
        lesson.js("arguments[0].click()", more)
        assert loop.is_displayed()
        assert more.get_attribute("aria-expanded") == "true"
    finally:
        lesson.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


# In one frame: the heard place, the system the cursor stands on, and its x.
_CURSOR = """
const [id, done] = arguments, { context } = lessonPlayer;
requestAnimationFrame(() => {
  const line = document.querySelector("div.cursor");
  const systems = [...document.querySelectorAll(`#${id} svg.system`)];
  if (!line) return done(null);
  const { contextTime, performanceTime } = context.getOutputTimestamp();
  const box = line.getBoundingClientRect(), middle = (box.left + box.right) / 2;
  const on = systems.findIndex((each) => Math.abs(each.getBoundingClientRect().top - box.top) < 1);
  const { left, width } = systems[on].getBoundingClientRect();
  const x = ((middle - left) / width) * systems[on].viewBox.baseVal.width;
  done([contextTime + (performance.now() - performanceTime) / 1000, on, x]);
});
"""


def _cursor(lesson: _Lesson, name: str) -> tuple[float, int, float]:
    heard, line, x = lesson.wait(_CURSOR, name)
    return heard, line, x


def test_the_cursor_stands_where_the_sound_is(lesson: _Lesson) -> None:
    lesson.open()
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    start, _ = lesson.scheduled()
    lesson.until(lambda: lesson.now > start + 0.1)
    lines = set()
    for _ in range(16):
        heard, line, x = _cursor(lesson, "straight")
        place = (heard - start) / 0.25 % 4
        if place > 3.9 or abs(place - 2) < 0.1:
            continue  # too near to a jump to say
        lines.add(line)
        assert line == (0 if place < 2 else 1)
        expected = 50 + 200 * min(place, 1.5) if place < 2 else 100 + 100 * (place - 2)
        assert x == pytest.approx(expected, abs=200 * 0.02 / 0.25)  # 20 ms
        time.sleep(0.05)
    assert lines == {0, 1}
    heights = lesson.js(
        "return ['div.cursor', '#straight svg'].map((name) =>"
        " document.querySelector(name).getBoundingClientRect().height)"
    )
    assert heights[0] == pytest.approx(heights[1], abs=0.1)
    lesson.press("straight")
    assert lesson.js("return document.querySelector('div.cursor')") is None


def test_the_cursor_waits_at_the_beginning_during_the_count_in(lesson: _Lesson) -> None:
    lesson.open().press("straight")
    lesson.until(lambda: bool(lesson.js("return document.querySelector('div.cursor')")))
    assert _cursor(lesson, "straight")[1:] == (0, pytest.approx(50, abs=0.1))


def test_the_cursor_of_a_late_entry_goes_back_to_the_loop_only(lesson: _Lesson) -> None:
    lesson.open()
    lesson.switch("late", "countIn")
    lesson.press("late")
    start, _ = lesson.scheduled()
    lesson.until(lambda: lesson.now > start + 1.1)
    heard, _, x = _cursor(lesson, "late")
    place = (heard - start) / 0.25
    assert 4 < place < 5.9
    assert x == pytest.approx(100 * (place - 2), abs=100 * 0.02 / 0.25)


def test_with_reduced_motion_the_cursor_steps(lesson: _Lesson) -> None:
    media = {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    lesson.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    try:
        lesson.open()
        lesson.switch("straight", "countIn")
        lesson.press("straight")
        lesson.until(lambda: bool(lesson.js("return document.querySelector('div.cursor')")))
        found = set()
        for _ in range(14):
            found.add(round(_cursor(lesson, "straight")[2]))
            time.sleep(0.06)
        assert found == {50, 350, 100}
    finally:
        lesson.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_a_system_out_of_sight_is_scrolled_to_and_one_in_sight_is_not(lesson: _Lesson) -> None:
    lesson.open()
    lesson.js("scrollTo({ top: 5, behavior: 'instant' })")
    lesson.press("straight")
    lesson.until(lambda: bool(lesson.js("return document.querySelector('div.cursor')")))
    time.sleep(0.2)
    assert lesson.js("return scrollY") == 5
    lesson.press("graces")
    lesson.until(
        lambda: lesson.js(
            "const box = document.querySelector('#graces svg').getBoundingClientRect();"
            "return box.top >= 0 && box.bottom <= innerHeight"
        )
    )


def test_stop_and_tempo_stay_in_sight_while_the_page_follows_the_music(lesson: _Lesson) -> None:
    lesson.open().press("graces")
    covers = (
        "const [player, name] = [document.querySelector('#graces .player'), arguments[0]];"
        "const box = player.querySelector(name).getBoundingClientRect();"
        "const middle = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];"
        "const at = document.elementFromPoint(...middle);"
        "return box.top >= 0 && player.contains(at)"
    )
    for down in (0, 300, 700):
        section = "document.getElementById('graces').getBoundingClientRect().top + scrollY"
        lesson.js(f"scrollTo({{ top: {section} + {down}, behavior: 'instant' }})")
        assert lesson.js(covers, ".player-play") and lesson.js(covers, ".player-tempo"), down
    lesson.press("graces")
    assert not lesson.js(covers, ".player-play")  # when it is still, it hides nothing


def test_the_player_and_the_cursor_are_not_printed(lesson: _Lesson) -> None:
    lesson.open().press("straight")
    lesson.until(lambda: bool(lesson.js("return document.querySelector('div.cursor')")))
    shown = (
        "return ['.player', '.cursor'].map("
        "(each) => getComputedStyle(document.querySelector(each)).display)"
    )
    assert "none" not in lesson.js(shown)
    lesson.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert lesson.js(shown) == ["none", "none"]
    finally:
        lesson.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_with_scripts_off_the_page_shows_and_the_player_is_empty(lesson: _Lesson) -> None:
    cdp = lesson.driver.execute_cdp_cmd
    cdp("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        lesson.open()
        end = time.monotonic() + 20
        while "</html>" not in (html := lesson.driver.page_source):
            assert time.monotonic() < end  # a busy machine gives nothing at first
    finally:
        cdp("Emulation.setScriptExecutionDisabled", {"value": False})
    assert html.count('<div class="player"></div>') == len(_EXERCISES)
    assert html.count('<svg class="system"') == 2 * len(_EXERCISES)


def test_without_web_audio_the_player_says_so(lesson: _Lesson) -> None:
    lesson.open("window.AudioContext = undefined;")
    text = lesson.find("straight", ".player").text
    assert "Web Audio" in text
    assert text.count(".") == 1
    assert lesson.driver.find_elements("css selector", ".player button") == []


def test_a_page_that_plays_fetches_nothing_and_reports_no_error(lesson: _Lesson) -> None:
    for log in ("browser", "performance"):
        lesson.driver.get_log(log)
    lesson.open().press("straight")
    lesson.until(lambda: lesson.now > 0.5)
    lesson.press("straight")
    requests = [
        message["params"]["request"]["url"]
        for entry in lesson.driver.get_log("performance")
        if (message := json.loads(entry["message"])["message"])["method"]
        == "Network.requestWillBeSent"
    ]
    assert requests  # the page itself
    assert all(url.startswith(("file:", "data:")) for url in requests), requests
    assert lesson.driver.get_log("browser") == []


def test_the_script_can_stand_in_a_page() -> None:
    # HTML, "Restrictions for contents of script elements".
    assert not any(each in script("main.js").lower() for each in ("</script", "<script", "<!--"))
    assert "</style" not in (PAGES / "player.css").read_text("utf-8").lower()


# ---- Sounds ----

_RENDER = """
const done = arguments[arguments.length - 1], [notes, velocity, seconds] = arguments;
const rendered = async (note) => {
  const context = new OfflineAudioContext(1, 44100 * seconds, 44100);
  lessonPlayer.makers.note(context, context.destination, 0.01, { note, velocity });
  const samples = (await context.startRendering()).getChannelData(0);
  const most = (values) => values.reduce((peak, value) => Math.max(peak, Math.abs(value)), 0);
  const power = (values) => values.reduce((sum, value) => sum + value * value, 0) / values.length;
  return {
    note, peak: most(samples), rms: Math.sqrt(power(samples.subarray(441, 441 + 4410))),
    before: most(samples.subarray(0, 440)), after: most(samples.subarray(-4410)),
    start: notes.length < 20 ? Array.from(samples.subarray(441, 441 + 4096)) : [],
  };
};
Promise.all(notes.map(rendered)).then(done);
"""


def _rendered(
    lesson: _Lesson, notes: list[int], velocity: int, seconds: float = 3
) -> dict[int, dict[str, Any]]:
    return {each["note"]: each for each in lesson.wait(_RENDER, notes, velocity, seconds)}


def test_every_percussion_note_is_heard_within_bounds_and_ends(lesson: _Lesson) -> None:
    lesson.open()
    loud = _rendered(lesson, list(range(27, 88)), 127)
    soft = _rendered(lesson, list(range(27, 88)), 40, 0.25)
    assert len(loud) == 61
    for note, each in loud.items():
        assert each["rms"] > 0.01, f"{note} is hardly heard: -40 dB"
        assert each["peak"] <= 1, note
        assert each["before"] == 0, note
        assert each["after"] == 0, f"{note} does not end"
        assert 0.0005 < soft[note]["rms"] < each["rms"] / 2, f"{note} is not softer when soft"


def _centroid(samples: list[float]) -> float:
    """The spectral centroid in Hz: the mean of the frequencies, weighted by magnitude."""

    def transform(values: list[complex]) -> list[complex]:
        size = len(values)
        if size == 1:
            return values
        even, odd = transform(values[::2]), transform(values[1::2])
        turned = [cmath.exp(-2j * math.pi * k / size) * each for k, each in enumerate(odd)]
        return [a + b for a, b in zip(even, turned, strict=True)] + [
            a - b for a, b in zip(even, turned, strict=True)
        ]

    magnitudes = [abs(each) for each in transform([complex(x) for x in samples])]
    half = magnitudes[: len(magnitudes) // 2]
    return sum(k * 44100 / len(samples) * m for k, m in enumerate(half)) / sum(half)


def test_bass_drum_is_darker_than_snare_and_snare_than_hi_hat(lesson: _Lesson) -> None:
    # Common practice: the bass drum's weight lies below some hundred Hz, the snare's wires between
    # 1 and 8 kHz, the closed hi-hat's above 5 kHz. Numbers: General MIDI level 1 percussion map.
    lesson.open()
    sounds = _rendered(lesson, [36, 38, 42, 45, 50, 51], 110, 0.25)
    bass, snare, hat, low, high, ride = (
        _centroid(sounds[note]["start"]) for note in (36, 38, 42, 45, 50, 51)
    )
    assert bass < 1000 < snare < 8000
    assert snare < hat
    assert low < high < ride


def test_a_closed_hi_hat_ends_an_open_one(lesson: _Lesson) -> None:
    # Common practice, and General MIDI level 1: 42, 44 and 46 exclude each other.
    levels = {}
    for name in ("choked", "ringing"):
        lesson.open(_HIDDEN + _OFFLINE + "window.seconds = 1;")
        lesson.switch(name, "countIn")
        lesson.switch(name, "click")
        lesson.press(name)
        start, _ = lesson.scheduled()
        samples = lesson.rendered()
        begin = int((start + 0.25 + 0.12) * 44100)
        levels[name] = math.sqrt(sum(x * x for x in samples[begin : begin + 4410]) / 4410)
    assert levels["ringing"] > 0.001
    assert levels["choked"] < levels["ringing"] / 20


def test_the_loudest_of_everything_at_once_stays_below_full_scale(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN + _OFFLINE + "window.seconds = 1;")
    lesson.js(
        "const volume = arguments[0]; volume.value = 100; volume.dispatchEvent(new Event('input'))",
        lesson.find("all-at-once", ".player-volume"),
    )
    lesson.switch("all-at-once", "countIn")
    lesson.press("all-at-once")
    peak = max(abs(x) for x in lesson.rendered())
    assert 0.3 < peak <= 0.8


def test_it_begins_at_a_moderate_volume(lesson: _Lesson) -> None:
    lesson.open(_HIDDEN + _OFFLINE + "window.seconds = 1;")
    lesson.switch("straight", "countIn")
    lesson.press("straight")
    peak = max(abs(x) for x in lesson.rendered())
    assert 0.02 < peak < 0.3
