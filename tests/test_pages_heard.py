"""What a page plays is what the MIDI file plays: in a real browser, against mido's reading.

The page's audio clock is stepped by the test, so that minutes can be looked at in a moment.
"""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import mido
import pytest
from browser import chromium

import midiforge
from midiforge.kits.kit import read_kit
from midiforge.midi.exercise_file import exercise_bytes

pytest.importorskip("verovio")

# A clock that stands where it is put. Hidden pages schedule four seconds ahead.
_CLOCK = """
Object.defineProperty(document, 'hidden', {get: () => true});
window.AudioContext = class extends OfflineAudioContext {
  constructor() { super(1, 44100, 44100); }
  get currentTime() { return window.now || 0; }
  resume() { return Promise.resolve(); }
};
"""
_PLAYED = """
const [seconds, tempo] = arguments;
if (tempo) {
  const number = document.querySelector(".player-tempo");
  number.value = tempo;
  number.dispatchEvent(new Event("input"));
}
const heard = new Set();
document.querySelector(".player-play").click();
document.querySelector(".first-play")?.click();
for (window.now = 0; window.now < seconds; window.now += 2) {
  document.dispatchEvent(new Event("visibilitychange"));
  lessonPlayer.scheduled.forEach((each) => heard.add(each));
}
const told = ({ time, note, kind, velocity }) => [time, kind !== "tone", note, velocity];
return [lessonPlayer.startTime, [...heard].map(told)];
"""
_LATE = 0.002  # s; ticks, and tempos in whole microseconds, are as coarse as that


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


def exercise_of(**keys: Any) -> midiforge.Exercise:
    drill = midiforge.check_drill({"stages": "full", "tempos": 240, **keys})
    return next(midiforge.exercises(drill))


Heard = tuple[bool, int, float, int]  # whether a drum, its note, when in seconds, its velocity
_DRUMS = 9  # the channel, counted from 0


def in_the_file(exercise: midiforge.Exercise) -> list[Heard]:
    """All notes, two times through the exercise."""
    content = exercise_bytes(exercise, read_kit("general-midi-1"), times=2)
    time, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(content)):
        time += message.time
        if message.type == "note_on" and message.velocity:
            found.append((message.channel == _DRUMS, message.note, time, message.velocity))
    return sorted(found)


def on_the_page(
    driver: Any, folder: Path, keys: dict[str, Any], seconds: float, tempo: float = 0
) -> list[Heard]:
    drill = midiforge.check_drill({"stages": "full", "tempos": 240, **keys})
    path = folder / "page.html"
    midiforge.write_sheet(drill, path, only="1")
    text = path.read_text("utf-8").replace("<script", f"<script>{_CLOCK}</script><script", 1)
    path.write_text(text, "utf-8")
    driver.get(path.as_uri())
    start, heard = driver.execute_script(_PLAYED, seconds, tempo)
    found: list[Heard] = []
    for time, drum, note, velocity in sorted(heard, key=lambda each: (*each[1:3], each[0])):
        # Of two strokes of one note at once a file has the louder one.
        if found and found[-1][:2] == (drum, note) and time - start - found[-1][2] <= _LATE:
            velocity = max(velocity, found.pop()[3])
        found.append((drum, note, time - start, velocity))
    return found


def assert_same(page: list[Heard], file: list[Heard], until: float) -> None:
    """All that comes before a time, in seconds, is the same."""
    page, file = ([each for each in some if each[2] < until] for some in (page, file))
    assert [(*each[:2], each[3]) for each in page] == [(*each[:2], each[3]) for each in file]
    assert [each[2] for each in page] == pytest.approx([each[2] for each in file], abs=_LATE)


DRILLS: dict[str, dict[str, Any]] = {
    "click throughout": {"sticking": "RLRR LRLL", "feet": "tumbao"},
    "click in the count-in": {"sticking": "RLRR LRLL", "click": "count-in"},
    "two bars of count-in": {"sticking": "RLRR LRLL", "count_in": 2},
    "two bars of count-in alone": {"sticking": "RLRR", "count_in": 2, "click": "count-in"},
    "no click": {"sticking": "RLRR LRLL", "click": "off"},
    "silence before": {"sticking": "RLRR LRLL", "click": "off", "count_in": 2},
    "gap": {"sticking": "RLRR LRLL", "gap": "2 on 2 off"},
    "gap over threes": {"sticking": "RLL", "gap": "1 on 1 off", "repeats": 2},
    "ramp": {"sticking": "RLRR LRLL", "ramp": "200 to 260 by 30 every 1 bars"},
    "ramp and gap": {
        "sticking": "RLL", "ramp": "260 to 200 by 30 every 3 bars", "gap": "1 on 1 off",
    },
    "swing": {"sticking": "R(L)RL", "steps": 2, "swing": "2:1", "feet": "1 3"},
    "triplets over swing": {"sticking": "RLL", "steps": 3, "swing": "3:1", "feet": "1& 3"},
    "7/8": {"sticking": "RLRRL", "meter": "7/8", "steps": 2},
    "2+2+3/8": {"sticking": "RLRRL", "meter": "2+2+3/8", "steps": 2, "count_in": 2},
    "12/8": {"sticking": "RLR", "meter": "12/8", "ramp": "120 to 140 by 20 every 1 bars"},
    "flams and drags": {"sticking": "lR L rrL R", "repeats": 2},
    "flams and no count-in": {"sticking": "lR L rrL R", "count_in": 0},
    "late entry": {"sticking": "lRLRR", "placements": "3", "entry": "late"},
    "softer every second time": {"sticking": "RLRR LRLL", "dynamics": "soft repeat"},
    "louder over eight bars": {"sticking": "RLL", "dynamics": "crescendo over 8 bars"},
    "a band": {"sticking": "RLRR", "chords": "Dm7 | G7", "style": "son"},
}  # fmt: skip


@pytest.mark.parametrize("name", DRILLS)
def test_a_page_plays_what_the_file_plays_when_the_file_plays_it(
    driver: Any, tmp_path: Path, name: str
) -> None:
    keys = DRILLS[name]
    exercise = exercise_of(**keys)
    until = min(float(exercise.lasting(2)), 25.0)
    page = on_the_page(driver, tmp_path, keys, until)
    assert_same(page, in_the_file(exercise), until - 0.1)


@pytest.mark.parametrize(("own", "tempo"), [("60, 240", 240), ("240, 60", 60), ("200", 90)])
def test_grace_notes_and_bounces_fit_the_tempo_that_is_set(
    driver: Any, tmp_path: Path, own: str, tempo: float
) -> None:
    keys = {"sticking": "lR Lz rrL lllR", "steps": 8, "tempos": own, "count_in": 1}
    exercise = exercise_of(**{**keys, "tempos": tempo})
    page = on_the_page(driver, tmp_path, keys, 16, tempo)
    assert_same(page, in_the_file(exercise), float(exercise.lasting(2)) - 0.1)


@pytest.mark.parametrize("tempo", [60, 240])
def test_no_uneven_stroke_is_lost_before_the_loop_at_any_tempo(
    driver: Any, tmp_path: Path, tempo: float
) -> None:
    keys = {
        "sticking": "RL", "steps": 8, "tempos": 120, "count_in": 1, "click": "count-in",
        "humanise": {"timing": 50, "seed": 4},  # -107 ms on the third stroke
    }  # fmt: skip
    page = on_the_page(driver, tmp_path, keys, 8, tempo)
    counts = sorted(time for _, _, time, _ in page)[:4]
    assert counts == pytest.approx([beat * 60 / tempo for beat in range(4)])
    assert sorted(time for _, _, time, _ in page)[4] >= 4 * 60 / tempo - 1e-6


def test_without_click_and_count_in_there_is_none_to_switch(driver: Any, tmp_path: Path) -> None:
    page = on_the_page(driver, tmp_path, {"sticking": "RLRR LRLL", "click": "off"}, 1)
    assert min(time for _, _, time, _ in page) == pytest.approx(0)
    assert not driver.find_elements("css selector", ".player-click, .player-countIn")
    assert "no click" in driver.find_element("css selector", ".facts").text


@pytest.mark.parametrize("tempo", [100, 220])
def test_a_tempo_of_the_player_s_own_scales_every_tempo_of_a_ramp(
    driver: Any, tmp_path: Path, tempo: float
) -> None:
    keys = {"sticking": "RLRR LRLL", "ramp": "200 to 260 by 30 every 1 bars"}
    exercise = exercise_of(**keys)
    slower = 200 / tempo
    file = [(drum, note, time * slower, loud) for drum, note, time, loud in in_the_file(exercise)]
    until = float(exercise.seconds) * slower
    assert_same(on_the_page(driver, tmp_path, keys, until, tempo), file, until - 0.1)
    choice = driver.find_element("css selector", ".player-choice")
    assert choice.text == "200 to 260 bpm"
