"""A session at the kit on the page, and a kit that is learnt there: the server, its process that
plays and hears, and a robot that learns by ear, a program of its own (JACK's dummy server)."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import jack
import pytest
from desk import server

from midiforge.practice.log import Log

pytestmark = pytest.mark.skipif(bool(jack.missing()), reason=jack.missing())

ROBOT = Path(__file__).parent / "robot_by_ear.py"
DRILL = """
title = "Harbour stairs"
sticking = "RLLR LRRL"
meter = "2/4"
placements = "1, 1&"
feet = "1 2"
stages = "full"
tempos = "76, 96"
"""


@contextmanager
def program(*command: str, **environment: str) -> Iterator["subprocess.Popen[str]"]:
    """Another program, which says "ready" once it has its ports."""
    with subprocess.Popen(
        [sys.executable, *command],
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stdout and process.stdout.readline() == "ready\n"
            yield process
        finally:
            process.kill()


def struck(process: "subprocess.Popen[str]", line: object) -> None:
    assert process.stdin
    process.stdin.write(f"{line}\n")
    process.stdin.flush()


class Page:
    """What a page's socket does, without a browser."""

    def __init__(self, address: str) -> None:
        from websockets.sync.client import connect

        origin: Any = "/".join(address.split("/")[:3])
        self.socket = connect(f"ws{address.removeprefix('http')}api/live", origin=origin)
        self.heard: list[dict[str, Any]] = []
        self.lines: list[str] = []
        self.now, self.counted = "", ("", 0)

    def say(self, **said: Any) -> None:
        self.socket.send(json.dumps(said))

    def hear(self, seconds: float) -> dict[str, Any]:
        """The next that is told; what begins is kept as the command says it to the robot."""
        told: dict[str, Any] = json.loads(self.socket.recv(seconds))
        assert "wrong" not in told, told
        self.heard.append(told)
        if scene := told.get("scene"):
            self.now = next((said for head, said in scene["lines"] if head == "Now"), self.now)
            if scene["mode"] == "count in" and (self.now, scene["exercise"]) != self.counted:
                self.counted = self.now, scene["exercise"]
                self.lines.append(f"{scene['elapsed']} {self.now}")
        return told


def test_a_session_on_the_page_plays_hears_logs_and_ends_with_its_day(
    own_jack: jack.Server, tmp_path: Path
) -> None:
    (tmp_path / "drill.toml").write_text(DRILL)
    environment = {**own_jack.environment, "XDG_DATA_HOME": str(tmp_path / "data")}
    robot_by_ear = str(ROBOT), "robot", "6", "0.0", "4"
    log = Log(tmp_path / "log.sqlite")
    with (
        program(*robot_by_ear, **environment) as robot,
        server(tmp_path, **environment) as (address, _),
    ):
        page = Page(address)
        page.say(do="practise", id=1, drills=["drill.toml"], minutes=5, port="robot:sounds",
                 input="hands:pads", measure=True)  # fmt: skip
        said, end = 0, time.monotonic() + 100
        while not (tmp_path / "log.sqlite").exists() or not log.entries():
            assert time.monotonic() < end, page.lines
            page.hear(20)
            for line in page.lines[said:]:
                struck(robot, line)
            said = len(page.lines)
        page.say(do="stop")
        while "ended" not in page.hear(20):
            pass
        ended = page.heard[-1]["ended"]
        page.socket.close()
    scenes = [told["scene"] for told in page.heard if "scene" in told]
    assert {"strike with the click", "play"} <= {scene["mode"] for scene in scenes}
    assert any(mark[2] != "missed" for scene in scenes for mark in scene["marks"])
    exercises = [told["exercise"] for told in page.heard if "exercise" in told]
    assert all("<svg" in exercise["markup"] and exercise["heard"] for exercise in exercises)
    assert {scene["exercise"] for scene in scenes} - {0} <= {one["name"] for one in exercises}
    assert [told["bar"] for told in page.heard if "bar" in told]
    assert log.entries()[0].exercise.startswith("RLLR LRRL")
    assert ended["lines"]
    day = tmp_path / "practised" / ended["page"]
    assert (day / "day.html").is_file()
    assert [*day.glob("*.mid")]


_PADS = """
import sys, time, rtmidi
midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="hands")
midi.open_virtual_port("pads")
print("ready", flush=True)
for line in sys.stdin:
    midi.send_message([0x99, int(line), 100])
    midi.send_message([0x89, int(line), 0])
"""


def test_a_kit_is_learnt_by_hitting_it_and_a_lesson_can_name_it(
    own_jack: jack.Server, tmp_path: Path
) -> None:
    from midiforge.kits.kit import read_kit

    (tmp_path / "drill.toml").write_text(DRILL)
    environment = {**own_jack.environment, "XDG_DATA_HOME": str(tmp_path / "data")}
    with (
        program("-c", _PADS, **environment) as pads,
        server(tmp_path, **environment) as (address, _),
    ):
        page = Page(address)
        page.say(do="learn", id=1, name="The shed", port="hands:pads")
        while "learning" not in (told := page.hear(20)):
            pass
        first = told["learning"]["title"]
        for _ in range(3):
            struck(pads, 41)
            time.sleep(0.4)
        while told.get("learning", {}).get("title", first) == first:
            told = page.hear(20)
        assert [41] in [voice["notes"] for voice in told["learning"]["voices"]]
        page.say(do="step", learn="finish")
        while "ended" not in (told := page.hear(20)):
            pass
        page.socket.close()
    assert told["ended"]["lines"]
    kit = read_kit(str(tmp_path / "The_shed.toml"))
    assert kit.note("bass-drum") == 41
