"""Timing of playing, both sides from one run: `python tests/benchmark_live.py`.

1. How far events are from where they belong, against `mido.MidiFile.play()` on the same exercise,
   at the send call and at the receiving port: idle; with every core kept busy; and so again
   as an ordinary user, without and with RealtimeKit.
2. Processor time while it plays.
3. From the command to the first click.

Both sides run in a process of their own and send through python-rtmidi to JACK; the receiving port
is a third process. Absolute error: how far an event is from the exact time of its place in the
exercise, counted from the first click of the same side. A side whose first click alone is late has
that in all its errors; so they are shown a second time with what all have in common (the median)
taken out: what is left is unevenness.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import realtime_kit
from jack import Receiver, Server, missing
from realtime_kit import AS_ANYBODY, NOBODY_THERE

import midiforge

KEYS = {"sticking": "single-paradiddle", "feet": "samba", "tempos": "125", "stages": "full"}
BARS = 12  # 25 s, count-in included
FLAGS = [text for key, value in KEYS.items() for text in (f"--{key}", value)]
FLAGS += ["--steps", "4", "--count-in", "1", "--times", str(BARS)]

# Each side notes when every note-on goes to the driver, and what it cost.
_OURS = """
import json, sys, time
import midiforge.live.ports.ports as ports
send, sent = ports.RtOutput.send, []
def noted(self, message):
    sent.append((time.monotonic_ns(), message))
    send(self, message)
ports.RtOutput.send = noted
from midiforge.command.run import run
out, arguments = sys.argv[1], sys.argv[2:]
begin = time.process_time(), time.monotonic()
code = run(arguments)
used, lasted = time.process_time() - begin[0], time.monotonic() - begin[1]
json.dump([used, lasted, [at for at, m in sent if m[0] & 0xF0 == 0x90]], open(out, "w"))
sys.exit(code)
"""
_MIDO = """
import json, sys, time
import mido, rtmidi
out, path = sys.argv[1:]
midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="mido")
midi.open_port([i for i, name in enumerate(midi.get_ports()) if "module" in name][0])
sent = []
begin = time.process_time(), time.monotonic()
for message in mido.MidiFile(path).play():
    data = message.bytes()
    if message.type == "note_on":
        sent.append(time.monotonic_ns())
    midi.send_message(data)
used, lasted = time.process_time() - begin[0], time.monotonic() - begin[1]
json.dump([used, lasted, sent], open(out, "w"))
time.sleep(0.1)
midi.close_port()
"""


def due_times(exercise: midiforge.Exercise) -> list[float]:
    """When each note-on belongs, in ns from the first, the seam played through BARS times."""
    quarter = Fraction(60_000_000_000, 125)
    times = [hit.time for hit in exercise.hits if hit.time < 0]
    loop = [hit.time for hit in exercise.hits if hit.time >= 0]
    times += [time + lap * exercise.length for lap in range(BARS) for time in loop]
    times.sort()
    return [float((time - times[0]) * quarter) for time in times]


def errors(times: Sequence[int], due: Sequence[float], uneven: bool) -> list[float]:
    """How far each is from where it belongs, in us, from the first; or from their median."""
    if len(times) != len(due):
        raise SystemExit(f"{len(times)} note-ons came and {len(due)} were expected; run it again")
    off = [(at - times[0] - each) / 1000 for at, each in zip(times, due, strict=True)]
    common = statistics.median(off) if uneven else 0
    return sorted(abs(each - common) for each in off)


def p99(ranked: Sequence[float]) -> float:
    """The 99th percentile, by nearest rank."""
    return ranked[max(0, -(-99 * len(ranked) // 100) - 1)]


class Busy:
    """Every core kept busy by other processes."""

    def __enter__(self) -> None:
        cores = os.cpu_count() or 1
        self._others = [
            subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(cores)
        ]

    def __exit__(self, *_: object) -> None:
        for each in self._others:
            each.kill()
            each.wait()


@dataclass(frozen=True)
class User:
    """Who plays: what is put before the command, and what there is in its environment."""

    before: Sequence[str] = ()
    environment: Mapping[str, str] = field(default_factory=dict)


ORDINARY = User(AS_ANYBODY, NOBODY_THERE)


def side(
    server: Server, code: str, arguments: list[str], user: User
) -> tuple[float, list[int], list[int], str]:
    """Plays one side: share of a core, when it sent, when that arrived, and what it said."""
    module = Receiver(server)
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "out.json")
        done = subprocess.run(
            [*user.before, sys.executable, "-c", code, out, *arguments],
            env={**server.environment, **user.environment},
            check=True,
            capture_output=True,
            text=True,
        )
        used, lasted, sent = json.loads(Path(out).read_text())
    module.rest(0.3)
    module.unplug()
    return used / lasted, sent, [at for at, _ in module.ons()], done.stdout


def both_sides(server: Server, name: str, limit: int, user: User | None = None) -> None:
    user = user or User()
    drill = midiforge.check_drill({**KEYS, "steps": 4, "count_in": 1})
    (exercise,) = midiforge.exercises(drill)
    (long,) = midiforge.exercises(
        midiforge.check_drill({**KEYS, "steps": 4, "count_in": 1, "repeats": BARS})
    )
    due = due_times(exercise)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "exercise.mid"
        path.write_bytes(midiforge.exercise_bytes(long, drill.kit))
        play = ["play", *FLAGS, "--port", "module"]
        share, sent, came, said = side(server, _OURS, play, user)
        mido_share, mido_sent, mido_came, _ = side(server, _MIDO, [str(path)], user)
    print(f"{name}: {len(due)} note-ons in {due[-1] / 1e9:.0f} s")
    print("                              at the send call            at the receiving port")
    print("  in us                       median     p99   worst      median     p99   worst")
    both = {"midiforge": (sent, came), "mido": (mido_sent, mido_came)}
    for what, uneven, least in (
        ("absolute error", False, " (at least 20)"),
        ("unevenness", True, ""),
    ):
        ranked = {
            who: [errors(times, due, uneven) for times in places] for who, places in both.items()
        }
        for who, places in ranked.items():
            columns = (f"{statistics.median(e):7.0f} {p99(e):7.0f} {e[-1]:7.0f}" for e in places)
            print(f"  {what:14}  {who:10} {'     '.join(columns)}")
        at_send, at_port = (
            p99(theirs) / p99(ours)
            for ours, theirs in zip(ranked["midiforge"], ranked["mido"], strict=True)
        )
        print(
            f"  {what:14}  mido's p99 is {at_send:.1f} times ours at the send call{least}, "
            f"{at_port:.1f} times at the port"
        )
    print(f"  lateness by its own account (p99 at most {limit} us): {said.splitlines()[-1]}")
    print(f"  processor: midiforge {100 * share:.1f} % of a core, mido {100 * mido_share:.1f} %")


def as_on_a_desktop(server: Server) -> None:
    with (
        tempfile.TemporaryDirectory() as folder,
        realtime_kit.realtime_kit(Path(folder)) as environment,
    ):
        name = "every core kept busy, an ordinary user with RealtimeKit"
        both_sides(server, name, 1000, User(AS_ANYBODY, environment))


def processor(server: Server) -> None:
    """All that the command uses, its beginning left out: a long run less a short one."""
    spent = []
    for times in (2, 12):
        module = Receiver(server)
        flags = [*FLAGS[:-1], str(times), "--port", "module"]
        before = os.times()
        begin = time.monotonic()
        subprocess.run(
            [sys.executable, "-m", "midiforge", "play", *flags],
            env=server.environment,
            check=True,
            stdout=subprocess.DEVNULL,
        )
        after = os.times()
        used = after.children_user + after.children_system
        used -= before.children_user + before.children_system
        spent.append((used, time.monotonic() - begin))
        module.unplug()
    share = (spent[1][0] - spent[0][0]) / (spent[1][1] - spent[0][1])
    print("processor, sixteenths at 125 with click and feet")
    print(f"  {100 * share:.1f} % of a core (at most 12)")


def first_click(server: Server) -> None:
    found = []
    for _ in range(7):
        module = Receiver(server)
        begin = time.monotonic_ns()
        process = subprocess.Popen(
            [sys.executable, "-m", "midiforge", "play", *FLAGS, "--port", "module"],
            env=server.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        module.until(lambda heard: heard.ons())
        found.append(next(now - begin for _, now, m in module.heard if m[0] & 0xF0 == 0x90) / 1e9)
        process.terminate()
        process.wait()
        module.unplug()
    print("from the command to the first click")
    print(f"  {statistics.median(found):.2f} s (at most 0.5), worst {max(found):.2f}")


def main() -> None:
    if why := missing():
        raise SystemExit(why)
    server = Server("midiforge-timing")
    server.start()
    try:
        print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores, load {os.getloadavg()[0]}")
        first_click(server)
        processor(server)
        both_sides(server, "idle", 100)
        with Busy():
            both_sides(server, "every core kept busy", 300)
            both_sides(server, "every core kept busy, an ordinary user", 1000, ORDINARY)
            if why := realtime_kit.missing():
                print(f"every core kept busy, an ordinary user with RealtimeKit: {why}")
            else:
                as_on_a_desktop(server)
    finally:
        server.end()


if __name__ == "__main__":
    main()
