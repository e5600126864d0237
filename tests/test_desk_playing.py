"""A lesson heard through a port from the page: the server, its process that plays, a receiver on
JACK's dummy server, and a browser."""

import json
import signal
import statistics
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import jack
import pytest
from browser import chromium
from desk import server

pytestmark = pytest.mark.skipif(bool(jack.missing()), reason=jack.missing())

DRILL = """
title = "Lamp on the mole"
sticking = "RLLR LRRL"
feet = "bossa-nova"
stages = "full"
placements = "1, 1&"
tempos = "180, 220"
count_in = 1
click = "throughout"
bass = "electric-bass"
chords = "Dm7 | G7"
"""
CLICKS = {76, 77}  # General MIDI's wood blocks
NEAR_MS = 30.0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "drill.toml").write_text(DRILL)
    return tmp_path


class Page:
    """What a page's socket does, without a browser; use it as a context."""

    def __init__(self, address: str) -> None:
        from websockets.sync.client import connect

        origin: Any = "/".join(address.split("/")[:3])
        self._connection = connect(f"ws{address.removeprefix('http')}api/live", origin=origin)

    def __enter__(self) -> "Page":
        self.socket = self._connection.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def say(self, **said: Any) -> None:
        self.socket.send(json.dumps(said))

    def play(self, **more: Any) -> None:
        self.say(do="play", drill="drill.toml", port="module", number="1a", times=0, **more)

    def until(self, name: str, **like: Any) -> Any:
        """What is told by a name, the next time that it has these values."""
        end = time.monotonic() + 30
        while True:
            said = json.loads(self.socket.recv(20))
            assert time.monotonic() < end, said
            assert name == "wrong" or "wrong" not in said, said
            if name in said and all(said[name].get(key) == value for key, value in like.items()):
                return said[name]


def still_sounding(receiver: jack.Receiver) -> set[tuple[int, int]]:
    """The notes that have begun and not ended, by channel and number."""
    sounding: set[tuple[int, int]] = set()
    for message in receiver.messages:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            sounding.add((channel, message[1]))
        elif kind in (0x80, 0x90):
            sounding.discard((channel, message[1]))
        elif kind == 0xB0 and message[1] in (120, 123):
            sounding = {note for note in sounding if note[0] != channel}
    return sounding


def ended(receiver: jack.Receiver) -> None:
    """Waits until nothing more comes, and nothing sounds."""
    receiver.rest(0.7)
    receiver.until(lambda _: not still_sounding(receiver))


def test_a_page_plays_steers_and_ends_an_exercise(module: jack.Receiver, folder: Path) -> None:
    with server(folder) as (address, _), Page(address) as page:
        page.play(tempo=200)
        bar = page.until("bar", number=0)
        assert (bar["exercise"], bar["tempo"], bar["written"]) == ("1a", "200", "180")
        page.say(do="choose", number="2b")
        assert page.until("bar", exercise="2b")["tempo"] == "220"
        page.say(do="wish", wish="pause")
        assert page.until("state", paused=True)
        ended(module)
        page.say(do="wish", wish="pause")
        page.until("bar", number=1)
        page.say(do="mute", muted=["hands", "band"])
        page.until("state", muted=["bass", "chords", "hands", "percussion"])
        page.say(do="stop")
        assert "events" in page.until("ended")["timing"]
        ended(module)


def digest_of(folder: Path) -> str:
    from midiforge.desk.drill_file import read_drill_file

    return read_drill_file(folder / "drill.toml").digest


def test_what_is_written_while_it_plays_is_heard_from_the_next_round_on(
    module: jack.Receiver, folder: Path
) -> None:
    with server(folder) as (address, _), Page(address) as page:
        before = digest_of(folder)
        page.play(tempo=200)
        assert page.until("bar", number=0)["digest"] == before
        # A cross stick for the hands, which nothing else plays: General MIDI's side stick, 37.
        changed = DRILL + '[voicing]\nhands = "side-stick"\n'
        (folder / "drill.toml").write_text(changed)
        page.say(do="edit", drill="drill.toml")
        bar = page.until("bar", digest=digest_of(folder))
        assert (bar["exercise"], bar["tempo"], bar["number"]) == ("1a", "200", 0)
        page.until("bar", number=1)
        ons = module.ons()
        clicks = [at for at, number in ons if number in CLICKS]
        gaps = [after - at for at, after in pairwise(clicks)]
        assert max(gaps) < 1.3 * statistics.median(gaps), "it goes on without a gap"
        assert 37 in {number for _, number in ons}
        page.say(do="stop")
        ended(module)


def test_a_lesson_that_is_for_another_kit_now_begins_anew(
    module: jack.Receiver, folder: Path
) -> None:
    with server(folder) as (address, _), Page(address) as page:
        page.play(id=1)
        page.until("bar", number=0)
        (folder / "drill.toml").write_text(DRILL + 'kit = "general-midi-2"\n')
        page.say(do="edit", drill="drill.toml")
        assert page.until("anew")
        page.play(id=2)
        page.until("bar", digest=digest_of(folder))
        page.say(do="stop")
        ended(module)


@pytest.mark.usefixtures("module")
def test_what_cannot_be_played_is_said(folder: Path) -> None:
    with server(folder) as (address, _), Page(address) as page:
        page.say(do="play", drill="drill.toml", port="organ", number="1a")
        assert page.until("wrong")["what"] == "no MIDI output is called 'organ'"
        page.say(do="play", drill="../drill.toml", port="", number="1a")
        assert "not in the folder" in page.until("wrong")["what"]
        page.say(do=["play"])
        page.socket.send("[")
        page.say(do="play", drill="drill.toml", port="module", number="77")
        assert page.until("wrong")["what"] == "there is no exercise 77"


def test_bytes_and_nonsense_on_the_line_are_let_go_by(folder: Path) -> None:
    with server(folder) as (address, process), Page(address) as page:
        for nonsense in (b"\xff\x00", "[" * 5000, "null", '{"do": 3}', "{}"):
            page.socket.send(nonsense)
        page.say(do="clock", asked=7)
        while "clock" not in (told := json.loads(page.socket.recv(20))):
            pass
        assert told["asked"] == 7
        process.terminate()
        assert process.stderr is not None
        assert "Traceback" not in process.stderr.read()


def test_a_day_s_page_is_opened_as_a_stranger(folder: Path) -> None:
    from urllib.request import urlopen

    day = folder / "practised" / "2026-01-02-030405"
    day.mkdir(parents=True)
    (day / "day.html").write_text("<p>A day.")
    with (
        server(folder) as (address, _),
        urlopen(f"{address}api/practise/day?of={day.name}") as page,
    ):
        assert page.headers["Content-Security-Policy"].startswith("sandbox")


def test_one_page_plays_at_a_time_until_another_takes_over(
    module: jack.Receiver, folder: Path
) -> None:
    with server(folder) as (address, _), Page(address) as first, Page(address) as second:
        first.play(id=1)
        first.until("bar", number=0)
        second.play(id=1)
        assert json.loads(second.socket.recv(10)) == {"busy": "play", "id": 1}
        second.say(do="stop")  # is not heard by what the first page plays
        first.until("bar", number=1)
        second.play(id=2, over=True)
        second.until("bar", number=0)
        said: dict[str, Any] = {}
        while "taken" not in said:
            said = json.loads(first.socket.recv(10))
        second.until("bar", number=1)
        second.say(do="stop")
        ended(module)


def test_nothing_sounds_on_when_the_socket_drops(module: jack.Receiver, folder: Path) -> None:
    with server(folder) as (address, _), Page(address) as page:
        page.play()
        page.until("bar", number=1)
        module.until(still_sounding)  # such as the bass
        page.socket.socket.close()
        ended(module)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_nothing_sounds_on_when_the_server_is_ended(
    module: jack.Receiver, folder: Path, number: int
) -> None:
    with server(folder) as (address, process), Page(address) as page:
        page.play()
        page.until("bar", number=1)
        process.send_signal(number)
        process.wait(10)
        ended(module)


def test_ports_are_told_as_they_come_and_go(jack: jack.Server, folder: Path) -> None:
    with server(folder) as (address, _), Page(address) as page:
        page.say(do="ports")
        page.until("ports", output=[])
        receiver = jack_receiver(jack)
        page.until("ports", output=["organ:in"])
        receiver.unplug()
        page.until("ports", output=[])


def jack_receiver(server: jack.Server) -> jack.Receiver:
    return jack.Receiver(server, "organ")


# In the browser


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("profile"))


def opened(browser: Any, address: str) -> None:
    """The page, with an exercise to be played through the module."""
    browser.get("about:blank")
    browser.get(f"{address}#drill=drill.toml")
    choose = """
      const done = arguments[0], at = Date.now();
      const look = setInterval(() => {
        const choice = document.querySelector("select.sound-from");
        const play = document.querySelector(".slot .player-play");
        if (!play || ![...choice?.options || []].some(({value}) => value === "module:in"))
          return Date.now() - at > 15000 && done("nothing came");
        clearInterval(look);
        choice.value = "module:in";
        choice.dispatchEvent(new Event("change"));
        play.click();
        document.querySelector(".first-play")?.click();
        done("");
      }, 50);
    """
    assert browser.execute_async_script(choose) == ""


# Where the cursor's run is, frame by frame, with the time of day in ms.
_PLACES = """
const [ms, done] = arguments, places = [], began = performance.now();
import("./pages/player/transport.js").then((transport) => {
  const look = () => {
    const now = performance.now();
    if (transport.run)
      places.push([performance.timeOrigin + now, transport.run.heardPlace()]);
    if (now - began < ms) requestAnimationFrame(look);
    else done(places);
  };
  look();
});
"""


def test_the_cursor_is_where_the_sound_is(
    module: jack.Receiver, folder: Path, browser: Any
) -> None:
    with server(folder) as (address, _):
        opened(browser, address)
        module.until(lambda it: len(it.ons()) > 4)
        places = browser.execute_async_script(_PLACES, 5000)
        of_day = time.time() - time.monotonic()
        came = [1000 * (at / 1e9 + of_day) for _, at, m in module.heard if m[1] in CLICKS and m[2]]
        beats = [
            at + (round(place + 0.5) - place) / (then - place) * (next_at - at)
            for (at, place), (next_at, then) in pairwise(places)
            if place is not None and then is not None and int(place + 9) < int(then + 9)
        ]
        off = [min((beat - click for click in came), key=abs) for beat in beats]
        assert len(off) >= 6
        assert abs(statistics.median(off)) < NEAR_MS
        assert statistics.quantiles([abs(one) for one in off], n=4)[2] < NEAR_MS
        browser.get("about:blank")
        ended(module)


def test_a_page_that_is_loaded_again_has_stopped_and_can_play(
    module: jack.Receiver, folder: Path, browser: Any
) -> None:
    with server(folder) as (address, _):
        opened(browser, address)
        module.until(lambda it: len(it.ons()) > 12)
        browser.refresh()
        ended(module)
        before = len(module.heard)
        opened(browser, address)
        module.until(lambda it: len(it.heard) > before + 8)
        said = "return document.querySelector('.player-through').innerText"
        end = time.monotonic() + 20
        while "Through module:in" not in browser.execute_script(said):
            assert time.monotonic() < end
            time.sleep(0.1)
        browser.get("about:blank")
        ended(module)


# What the page shows beside what plays: whether a cursor is over music, and over which.
_SHOWN = """
return [!!document.querySelector(".slot .cursor"),
  document.querySelector(".player.playing")?.closest("section, .group")?.textContent || "",
  document.querySelector(".player-through")?.innerText || "",
  document.querySelector(".player.playing .player-tempo")?.value || ""];
"""


def test_no_cursor_is_over_music_that_is_not_what_sounds(
    module: jack.Receiver, folder: Path, browser: Any
) -> None:
    def until(true: Any) -> Any:
        end = time.monotonic() + 20
        while not true(shown := browser.execute_script(_SHOWN)):
            assert time.monotonic() < end, shown
            time.sleep(0.02)
        return shown

    with server(folder) as (address, _):
        opened(browser, address)
        until(lambda it: it[0] and "bar 2" in it[2])
        browser.execute_script(
            "const field = document.getElementById('field-voicing');"
            "field.value = 'hands=side-stick';"
            "field.dispatchEvent(new Event('input', {bubbles: true}))"
        )
        module.until(lambda it: 37 not in {number for _, number in it.ons()[-4:]})
        # While the staff has the new music and the old one sounds, nothing is shown on it.
        seen = until(lambda it: not it[0])
        assert "comes with the next round" in seen[2]
        assert 37 not in {number for _, number in module.ons()}
        assert "Stop" in seen[2]
        seen = until(lambda it: it[0])
        assert "comes with" not in seen[2]
        module.until(lambda it: 37 in {number for _, number in it.ons()[-8:]})
        browser.execute_script(
            "const field = document.getElementById('field-tempos');"
            "field.value = '150, 220';"
            "field.dispatchEvent(new Event('input', {bubbles: true}))"
        )
        until(lambda it: it[0] and "at 150" in it[2] and it[3] == "150")
        browser.execute_script("document.querySelector('.player.playing .player-play').click()")
        ended(module)
