"""Speed of reviews, as ratios taken in one run: `python tests/benchmark_takes.py`.

1. Pairs of 40,000 expected and about as many played strokes within a window: ours against
   mir_eval's maximum matching, how many pairs and how long.
2. A take of one hour of sixteenths with feet: read, reviewed; and half an hour, for the growth.
3. Thirty takes of 40 s, none of which says what it is of: found, reviewed, logged, on one page.
"""

import io
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import mido
import numpy
from mir_eval.util import match_events
from rich.console import Console
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.match import match
from midiforge.hear.review import review
from midiforge.hear.take import Take, read_take
from midiforge.report.day import show_day

STROKES = 40_000


def seconds(work: Callable[..., object], *given: object) -> float:
    begun = time.perf_counter()
    work(*given)
    return time.perf_counter() - begun


def pairs_against_mir_eval(rounds: int = 5) -> None:
    chance = random.Random(7)
    expected = [0.12 * i for i in range(STROKES)]
    played = [t + chance.gauss(0, 0.02) for t in expected if chance.random() > 0.03]
    played = sorted(played + [chance.uniform(0, expected[-1]) for _ in range(800)])
    reference, estimated = numpy.array(expected), numpy.array(played)
    print(f"pairs of {STROKES} expected strokes")
    for window in (0.03, 0.06, 0.12, 0.3):
        taken = [
            (
                seconds(match, expected, played, window),
                seconds(match_events, reference, estimated, window),
            )
            for _ in range(rounds)
        ]
        ours = statistics.median(each for each, _ in taken)
        theirs = statistics.median(each for _, each in taken)
        more = len(match(expected, played, window)) - len(
            match_events(reference, estimated, window)
        )
        print(
            f"  within {1000 * window:3.0f} ms: {ours:.3f} s, mir_eval {theirs:.3f} s: "
            f"{theirs / ours:.1f} times as fast (at least 1), {more:+d} pairs (at least 0)"
        )


def save(take: Take, path: Path) -> None:
    track = mido.MidiTrack()
    midi = mido.MidiFile(type=0, ticks_per_beat=960)
    midi.tracks.append(track)
    tick = 0
    for stroke in take.strokes:
        now = round(stroke.time * 1920)
        track.append(
            mido.Message(
                "note_on", channel=9, note=stroke.number, velocity=stroke.velocity, time=now - tick
            )
        )
        track.append(mido.Message("note_off", channel=9, note=stroke.number))
        tick = now
    midi.save(path)


def reviews(rounds: int = 3) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "feet": "tumbao", "tempos": 125, "stages": "full"}
    )
    exercise = next(midiforge.exercises(drill))
    taken = {}
    with tempfile.TemporaryDirectory() as folder:
        for minutes in (30, 60):
            take, _ = synthetic(
                exercise, seconds=60 * minutes, miss=0.02, extra=0.01, double=0.01, jitter=0.012
            )
            path = Path(folder) / f"{minutes}.mid"
            save(take, path)
            read = statistics.median(seconds(read_take, path) for _ in range(rounds))
            own = read_take(path)
            looked = statistics.median(seconds(review, own, exercise, KIT) for _ in range(rounds))
            taken[minutes] = read + looked
            slow = seconds(mido.MidiFile, path)
            print(
                f"{minutes} minutes, {len(own.strokes)} strokes: read in {read:.2f} s "
                f"(mido {slow:.2f} s), reviewed in {looked:.2f} s"
            )
    print(f"  together {taken[60]:.2f} s (at most 1); {taken[60] / taken[30]:.2f} times the half")


def a_session(takes: int = 30, rounds: int = 3) -> None:
    drill = midiforge.check_drill(
        {
            **{"sticking": "RLRR LRLL", "feet": "samba", "stages": "full", "tempos": "60, 80"},
            **{"placements": "phrase", "accents": "1"},
        }
    )
    exercises = [*midiforge.exercises(drill)]
    with tempfile.TemporaryDirectory() as folder:
        names = [Path(folder) / f"{i}.mid" for i in range(takes)]
        for i, name in enumerate(names):
            save(synthetic(exercises[7 * i % len(exercises)], seed=i, seconds=40)[0], name)

        def reviewed() -> None:
            session = midiforge.Session(drill, Path(folder) / "log.sqlite")
            heard = session.review_all(names)
            page = session.page_of(take for take in heard if session.keep_heard(take))
            show_day(page, Console(file=io.StringIO()))

        took = statistics.median(seconds(reviewed) for _ in range(rounds))
    print(f"{takes} takes, each of one of {len(exercises)} exercises that it does not name")
    print(f"  told, logged and on a page in {took:.2f} s (at most 3)")


if __name__ == "__main__":
    print(f"Python {sys.version.split()[0]}")
    pairs_against_mir_eval()
    reviews()
    a_session()
