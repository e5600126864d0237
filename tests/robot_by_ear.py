"""A robot drummer that is a program of its own: it hears what a session plays, through a MIDI port,
and plays what it was shown, to the click.

    python tests/robot_by_ear.py NAME UNEVEN_MS FAILS DELAY_MS < lines of `practise --plain`

What is new is sounded once: that is all it knows of an exercise. Lines tell it what begins, as the
screen tells a player. Clicks are the kit's, General MIDI's wood blocks (76 on a first beat, 77); in
a last round all are high.
"""

import heapq
import random
import re
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import rtmidi

HIGH, LOW = 76, 77
FIGURES = {60, 61, 65, 66, 67, 68, 81}  # signs of what comes; no stroke of an exercise
TOGETHER = 0.02  # seconds within which notes are sent together
SILENCE = 0.7  # seconds after a beat was due
_BEGINS = re.compile(r"^\d+:\d\d (.*)$")
_SAME = re.compile(r"^(faster|slower): ")

Stroke = tuple[float, int, int]  # when, note, velocity


@dataclass
class Bar:
    """A bar that was heard: when its clicks came, and what else was struck."""

    clicks: list[float]
    struck: list[Stroke] = field(default_factory=list)

    @property
    def beat(self) -> float:
        clicks = self.clicks
        return (clicks[-1] - clicks[0]) / (len(clicks) - 1) if len(clicks) > 1 else 0.0


class Ear:
    """Learns bars by ear and plays them.

    uneven: standard deviation in seconds. fails: chance of a stroke left out. delay: in seconds.
    """

    def __init__(self, uneven: float, fails: float, delay: float) -> None:
        self.uneven, self.fails, self.delay = uneven, fails, delay
        self.chance = random.Random(1)
        self.known: dict[str, list[list[Stroke]]] = {}
        self.out: list[Stroke] = []
        self.wake = threading.Condition()
        self._bars: list[Bar] = []
        self._before: list[Stroke] = []  # what came with the first click, a little before it
        self._playing: Sequence[Sequence[Stroke]] = ()
        self._beats = 0
        self._high: list[float] = []
        self._expects = False  # whether the next bar is one that is counted in
        self._count = -1  # bars since it was counted in; -1 where nothing is to be played

    def heard(self, note: int, velocity: int) -> None:
        """A note of the session."""
        now = time.monotonic()
        if note in FIGURES:
            return
        if self._bars and now - self._bars[-1].clicks[-1] > last_beat(self._bars) + SILENCE:
            # Something new begins.
            self._bars, self._before, self._high, self._count = [], [], [], -1
        if note not in (HIGH, LOW):
            struck = self._bars[-1].struck if self._bars else self._before
            struck.append((now, note, velocity))
            return
        self._with_clicks(now, note)
        last = self._bars[-1] if self._bars else None
        whole = last is None or not self._beats or len(last.clicks) >= self._beats
        if last is None or (note == HIGH and whole):
            self._bar(now, last)
        else:
            last.clicks.append(now)

    def _with_clicks(self, now: float, note: int) -> None:
        """From the fifth of clicks that are all high, a stroke with each: the delay is measured."""
        self._high = [*self._high, now] if note == HIGH and self._count < 0 else []
        if 4 <= len(self._high) < 12:
            beat = (self._high[-1] - self._high[0]) / (len(self._high) - 1)
            when = now + beat + self.chance.gauss(0, self.uneven) + self.delay
            with self.wake:
                heapq.heappush(self.out, (when, 38, 90))
                self.wake.notify()

    def _bar(self, now: float, last: Bar | None) -> None:
        """A bar begins; what was sent with its first click may have come just before it."""
        bar, before = Bar([now]), last.struck if last is not None else self._before
        bar.struck = [(now, *rest) for at, *rest in before if now - at < TOGETHER]  # type: ignore[misc]
        if last is not None:
            self._beats = len(last.clicks)
            last.struck = [stroke for stroke in last.struck if now - stroke[0] >= TOGETHER]
        self._bars.append(bar)
        if self._expects:
            self._expects, self._count = False, 0
        elif self._count >= 0:
            self._count += 1
            if self._count and last is not None:
                self._play(now, last.beat)

    def begins(self, said: str) -> None:
        """A line says what begins: it is being counted in, or is about to be."""
        shown = [bar for bar in self._bars if bar.struck and bar.beat]
        title = said.split(", at ")[0]
        if shown:
            self.known[title] = [
                [((at - bar.clicks[0]) / bar.beat, *rest) for at, *rest in bar.struck]  # type: ignore[misc]
                for bar in shown
            ]
        if not _SAME.match(said):
            self._playing = self.known.get(title, ())
        last = self._bars[-1] if self._bars else None
        begun = last is not None and time.monotonic() - last.clicks[0] < last_beat(self._bars)
        self._bars = self._bars[-1:] if begun else []
        self._count = 0 if begun else -1
        self._expects = not begun

    def _play(self, now: float, beat: float) -> None:
        """The strokes of the bar that begins, at the pace of the one before."""
        if not self._playing:
            return
        for at, note, velocity in self._playing[(self._count - 1) % len(self._playing)]:
            if self.chance.random() < self.fails:
                continue
            when = now + at * beat + self.chance.gauss(0, self.uneven) + self.delay
            with self.wake:
                heapq.heappush(self.out, (when, note, velocity))
                self.wake.notify()

    def strike(self, midi: rtmidi.MidiOut) -> None:
        """Strikes what is due, for ever."""
        while True:
            with self.wake:
                while not self.out or self.out[0][0] > time.monotonic():
                    left = self.out[0][0] - time.monotonic() if self.out else 0.1
                    self.wake.wait(max(left, 0.0005))
                _, note, velocity = heapq.heappop(self.out)
            midi.send_message([0x99, note, velocity])


def last_beat(bars: Sequence[Bar]) -> float:
    """How long a beat was lately."""
    return next((bar.beat for bar in reversed(bars) if bar.beat), 0.5)


def main() -> None:
    name, uneven, fails, delay = sys.argv[1], *(float(word) for word in sys.argv[2:5])
    ear = Ear(uneven / 1000, fails, delay / 1000)
    sounds = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=name)
    pads = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"{name}-hands")

    def heard(event: tuple[list[int], float], _: object) -> None:
        message, _since = event
        if message[0] & 0xF0 == 0x90 and message[2]:
            ear.heard(message[1], message[2])

    sounds.set_callback(heard)
    sounds.open_virtual_port("sounds")
    pads.open_virtual_port("pads")
    threading.Thread(target=ear.strike, args=(pads,), daemon=True).start()
    print("ready", flush=True)
    for line in sys.stdin:
        if match := _BEGINS.match(line):
            ear.begins(match[1])


if __name__ == "__main__":
    main()
