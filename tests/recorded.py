"""Real playing, and exercises made of its own bars by the click alone.

Recordings: drummers 3 and 5 of the Groove MIDI Dataset (Gillick and others, ICML 2019; CC BY 4.0),
beside this repository; info.csv has the tempo of the click that each was played to, which begins
at 0 s. So where a bar begins in them is known without listening to the strokes.
"""

import csv
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path

import midiforge
from midiforge.hear.take import Stroke, Take, read_take
from midiforge.kits.kit import read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.meter import Meter

RECORDINGS = Path(__file__).parent.parent.parent / "shared" / "recordings"
KIT = read_kit("electronic")
FEET = {"bass-drum": "RF", "hihat-pedal": "LF"}
LEFT = {"snare", "side-stick", "rim-shot"}


@dataclass(frozen=True)
class Recording:
    """A recording. tempo: of its click, in quarter notes a minute."""

    path: Path
    name: str
    tempo: Fraction
    meter: Meter
    kind: str

    @cached_property
    def take(self) -> Take:
        return read_take(self.path)

    @property
    def quarter(self) -> float:
        return float(60 / self.tempo)

    @property
    def bar(self) -> float:
        """In seconds."""
        return float(self.meter.bar) * self.quarter

    @property
    def bars(self) -> int:
        """How many it goes through to the end."""
        return int((self.take.strokes[-1].time + 0.1) / self.bar)

    def exercise(self, first: int, bars: int) -> Exercise | None:
        """So many of its bars as written music, from the one with number `first`, from 0; None of
        bars with less than a stroke to the beat, or too fast to be written."""
        begin = first * self.bar
        strokes = [
            replace(each, time=each.time - begin)
            for each in self.take.strokes
            if -0.06 <= each.time - begin < bars * self.bar - 0.06
        ]
        if len(strokes) < 4 * bars:
            return None
        return exercise(strokes, self.tempo, self.meter, bars)


def recordings() -> list[Recording]:
    if not (RECORDINGS / "info.csv").exists():
        return []
    with (RECORDINGS / "info.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    return [
        Recording(
            RECORDINGS / row["file"],
            row["file"],
            Fraction(row["bpm"]),
            Meter.parse(row["meter"].replace("-", "/")),
            row["kind"],
        )
        for row in rows
    ]


def _off(strokes: Sequence[Stroke], step: float) -> float:
    """How far strokes lie from a grid, as a share of its step, on average."""
    return sum(abs(each.time / step - round(each.time / step)) for each in strokes) / len(strokes)


def _steps(strokes: Sequence[Stroke], beat: float) -> int:
    """To a beat: four, or three where these lie nearer by far."""
    fours, threes = (_off(strokes, beat / steps) * beat / steps for steps in (4, 3))
    return 3 if threes < 0.6 * fours else 4


def exercise(strokes: Sequence[Stroke], tempo: Fraction, meter: Meter, bars: int) -> Exercise:
    """Strokes moved to the nearest step; of more hands than two the loudest."""
    beat = float(60 / tempo * meter.beat)
    steps = _steps(strokes, beat)
    size = round(bars * meter.bar / meter.beat * steps)
    struck: dict[int, dict[str, int]] = defaultdict(dict)
    for each in strokes:
        voice = KIT.voice(each.number, each.pedal)
        at = round(each.time * steps / beat) % size
        if voice:
            struck[at][voice] = max(each.velocity, struck[at].get(voice, 0))
    lines: dict[tuple[str, str], list[str]] = defaultdict(lambda: ["."] * size)
    for at, voices in struck.items():
        hands = sorted((v for v in voices if v not in FEET), key=lambda v: -voices[v])[:2]
        limbs = {v: FEET[v] for v in voices if v in FEET}
        hands.sort(key=lambda v: v in LEFT)
        if len(hands) == 1:
            limbs[hands[0]] = "LH" if hands[0] in LEFT else "RH"
        else:
            limbs |= dict(zip(hands, ("RH", "LH"), strict=False))
        for voice, limb in limbs.items():
            lines[limb, voice][at] = "x"
    bar = size // bars
    written = {
        key: " | ".join("".join(line[i : i + bar]) for i in range(0, size, bar))
        for key, line in lines.items()
    }
    drill: dict[str, object] = {
        "tempos": [str(tempo / meter.pulse)],
        "meter": str(meter),
        "steps": steps,
        "stages": "full",
        "kit": "electronic",
        "click": "off",
        "feet": [
            f"{line} on {limb}" if voice == "bass-drum" else f"{line} on {limb} as {voice}"
            for (limb, voice), line in written.items()
            if limb in ("RF", "LF")
        ],
        "layers": [
            f"{line} on {limb} as {voice}"
            for (limb, voice), line in written.items()
            if limb in ("RH", "LH")
        ],
    }
    return next(midiforge.exercises(midiforge.check_drill({k: v for k, v in drill.items() if v})))
