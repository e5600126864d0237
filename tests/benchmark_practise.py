"""A session at the kit beside plain playing, in one run: `python tests/benchmark_practise.py`.

1. How late events are sent, by the player's own account, in `midiforge play` and in `midiforge
   practise` with its screen, while forty strokes a second come from the kit: more than anybody
   plays.
2. How much of a core each takes.
3. What it costs to tell a stroke as it arrives.

Both play through python-rtmidi to JACK's dummy server; the strokes come from a third program.
"""

import json
import os
import pty
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from jack import Receiver, Server, missing
from synthetic import synthetic

import midiforge
from midiforge.hear.arriving import Arriving
from midiforge.kits.kit import read_kit

SECONDS = 60
KEYS = {"sticking": "RLRR LRLL", "meter": "2/4", "feet": "samba", "stages": "full", "tempos": "96"}
MOST_MATCH_MS, MOST_CORE = 0.5, 15.0

_RUN = """
import json, sys, time
from midiforge.live.playing.player import Player
play = Player.play
def noted(self):
    begin = time.process_time(), time.monotonic()
    try:
        return play(self)
    finally:
        used, lasted = time.process_time() - begin[0], time.monotonic() - begin[1]
        figures = self._lateness.figures()
        told = figures.events, figures.median, figures.p99, figures.worst, 100 * used / lasted
        json.dump(told, open(sys.argv[1], "w"))
Player.play = noted
from midiforge.command.run import run
sys.exit(run(sys.argv[2:]))
"""
_STRIKES = """
import random, rtmidi, time
midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="kit")
midi.open_virtual_port("pads")
print("ready", flush=True)
begin, i = time.monotonic(), 0
while True:
    i += 1
    time.sleep(max(begin + i / 40 - time.monotonic(), 0))
    midi.send_message([0x99, random.choice((36, 38, 42, 44)), random.randint(30, 120)])
"""


def run(server: Server, home: Path, *arguments: str) -> list[float]:
    """Events, lateness in microseconds (median, p99, worst), and per cent of a core."""
    out = home / "told.json"
    out.unlink(missing_ok=True)
    leader, follower = pty.openpty()
    environment = {**server.environment, "XDG_DATA_HOME": str(home), "TERM": "xterm"}
    process = subprocess.Popen(
        [sys.executable, "-c", _RUN, str(out), *arguments],
        env=environment,
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
    )
    os.close(follower)

    def drain() -> None:
        try:
            while os.read(leader, 65536):
                pass
        except OSError:
            pass

    threading.Thread(target=drain, daemon=True).start()
    time.sleep(SECONDS)
    process.send_signal(signal.SIGINT)
    process.wait(30)
    return [float(figure) for figure in json.loads(out.read_text())]


def told(name: str, figures: list[float]) -> None:
    events, median, p99, worst, core = figures
    late = ", ".join(f"{each / 1000:.3f}" for each in (median, p99, worst))
    print(f"  {name:10} {events:6.0f} events; late in ms (median, p99, worst) {late}; {core:.1f} %")


def main() -> None:
    print(f"Python {sys.version.split()[0]}")
    exercise = midiforge.exercises(midiforge.check_drill({**KEYS}))
    one = next(iter(exercise))
    take, _ = synthetic(one, seconds=240, start=0.0, jitter=0.012, miss=0.05, extra=0.05)
    arriving, times = Arriving(one, read_kit("general-midi-1")), []
    for stroke in take.strokes:
        begin = time.thread_time()
        arriving.missed(stroke.time)
        arriving.heard(stroke.time, stroke.number, stroke.velocity)
        times.append(1000 * (time.thread_time() - begin))
    times.sort()
    p99 = times[99 * len(times) // 100]
    print(f"telling a stroke of {len(times)}: {p99:.3f} ms p99 (at most {MOST_MATCH_MS})")
    if missing():
        print(f"not played: {missing()}")
        return
    server = Server("practise-benchmark")
    server.start()
    flags = [text for key, value in KEYS.items() for text in (f"--{key}", value)]
    try:
        receiver = Receiver(server)
        with subprocess.Popen(
            [sys.executable, "-c", _STRIKES],
            env=server.environment,
            stdout=subprocess.PIPE,
        ) as kit:
            assert kit.stdout and kit.stdout.readline()
            home = Path(tempfile.mkdtemp())
            ports = ["--port", "module", "--input", "kit"]
            print(f"{SECONDS} s each, forty strokes a second from the kit; per cent of a core")
            played = run(server, home, "play", *flags, *ports, "--times", "0")
            told("play", played)
            log = ["--log", str(home / "log.sqlite"), "--delay", "5", "--takes", str(home / "t")]
            practised = run(server, home, "practise", *flags, *ports, *log)
            told("practise", practised)
            print(
                f"  p99 is {practised[2] / played[2]:.2f} times that of play; "
                f"{practised[4]:.1f} % of a core (at most {MOST_CORE:g})"
            )
            kit.kill()
        receiver.unplug()
    finally:
        server.end()


if __name__ == "__main__":
    main()
