"""Speed, as ratios taken in one run: `python tests/benchmark.py`.

1. Exercises to bytes, against the same hits built message by message with mido's public classes.
2. The same bytes read, whole and as far as they go when they break off, against mido.
3. A channel message made, and one read, against mido; and what importing mido costs.
4. A build of 100, 1,000 and 10,000 files: time a file and peak memory.
"""

import gc
import io
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import mido

import midiforge
from midiforge.midi.exercise_file import exercise_parts
from midiforge.midi.message import note_on, read_message
from midiforge.midi.reading import parse
from midiforge.performance.notes import notes

DRILL = {
    "sticking": "single-paradiddle",
    "feet": "tumbao",
    "placements": "phrase",
    "tempos": "66, 88, 104",
    "repeats": 8,
}
DIVISION = 480
LASTING = DIVISION // 8


def with_mido(exercise: midiforge.Exercise, kit: midiforge.Kit) -> bytes:
    """The exercise as a file, the plain way: a message a hit, then save."""
    start = exercise.count_in
    file = mido.MidiFile(ticks_per_beat=DIVISION)
    conductor = mido.MidiTrack()
    file.tracks.append(conductor)
    conductor.append(mido.MetaMessage("track_name", name=exercise.title))
    meter = exercise.meter
    conductor.append(
        mido.MetaMessage("time_signature", numerator=meter.numerator, denominator=meter.unit)
    )
    conductor.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(exercise.tempo.first)))
    at = 0
    for section in exercise.sections:
        tick = int((start + section.start) * DIVISION)
        conductor.append(mido.MetaMessage("marker", text=section.title, time=tick - at))
        at = tick
    parts: dict[str, list[tuple[int, int, object]]] = {}
    for hit in exercise.hits:
        tick = int((start + hit.time) * DIVISION)
        events = parts.setdefault(hit.limb or hit.layer, [])
        number = kit.note(hit.voice)
        if hit.layer == "click":
            velocity = kit.velocities["click-accent" if hit.strength == "accent" else "click"]
        else:
            velocity = kit.velocities[hit.strength]
        if hit.limb and hit.limb.is_hand:
            lyric = mido.MetaMessage("lyrics", text=hit.limb.letter)
            events.append((tick, 1, lyric))
        on = mido.Message("note_on", channel=9, note=number, velocity=velocity)
        off = mido.Message("note_off", channel=9, note=number, velocity=64)
        events += [(tick, 2, on), (tick + LASTING, 0, off)]
    end = int((start + exercise.length) * DIVISION)
    for name, events in parts.items():
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        file.tracks.append(track)
        events.sort(key=lambda event: event[:2])
        at = 0
        for tick, _, message in events:
            message.time = tick - at
            track.append(message)
            at = tick
        track.append(mido.MetaMessage("end_of_track", time=end - at))
    stream = io.BytesIO()
    file.save(file=stream)
    return stream.getvalue()


def heard(content: bytes) -> list[tuple[int, int, int]]:
    """Tick, note and velocity of every note of a file, sorted."""
    found = []
    for track in mido.MidiFile(file=io.BytesIO(content)).tracks:
        at = 0
        for message in track:
            at += message.time
            if message.type == "note_on" and message.velocity:
                found.append((at, message.note, message.velocity))
    return sorted(found)


def seconds(work: Callable[[], object]) -> float:
    gc.collect()
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def bytes_against_mido() -> None:
    drill = midiforge.check_drill(DRILL)
    exercises = [each for each in midiforge.exercises(drill) if each.stage == "full"]
    for exercise in exercises:
        ours, theirs = (make(exercise, drill.kit) for make in (midiforge.exercise_bytes, with_mido))
        assert heard(ours) == heard(theirs), "both must write the same notes"
    hits = sum(len(exercise.hits) for exercise in exercises)
    rounds = [
        (
            seconds(lambda: [midiforge.exercise_bytes(each, drill.kit) for each in exercises]),
            seconds(lambda: [with_mido(each, drill.kit) for each in exercises]),
        )
        for _ in range(9)
    ]
    ours, theirs = (statistics.median(column) for column in zip(*rounds, strict=True))
    ratio = statistics.median(theirs / ours for ours, theirs in rounds)
    print(f"exercises to bytes ({len(exercises)} files, {hits} hits)")
    print(f"  midiforge {1e6 * ours / hits:6.2f} us a hit")
    print(f"  mido      {1e6 * theirs / hits:6.2f} us a hit")
    print(f"  midiforge writes {ratio:.1f} times as many a second (at least 8)")
    parts = seconds(lambda: [list(notes(each, drill.kit)) for each in exercises])
    tracks = seconds(lambda: [exercise_parts(each, drill.kit, DIVISION) for each in exercises])
    print(f"  of that: notes {1e6 * parts / hits:.2f}, tracks {1e6 * (tracks - parts) / hits:.2f}")


def reading_against_mido() -> None:
    drill = midiforge.check_drill(DRILL)
    files = [midiforge.exercise_bytes(each, drill.kit) for each in midiforge.exercises(drill)]
    for content in files:
        read = [(tick, number, velocity) for tick, _, number, velocity in parse(content).note_ons]
        assert sorted(read) == heard(content), "both must read the same notes"
    strokes = sum(len(parse(content).note_ons) for content in files)

    def with_mido() -> None:
        for content in files:
            mido.MidiFile(file=io.BytesIO(content))

    rounds = [(seconds(lambda: [*map(parse, files)]), seconds(with_mido)) for _ in range(5)]
    ratio = statistics.median(theirs / ours for ours, theirs in rounds)
    print(f"files read ({len(files)}, {strokes} strokes)")
    print(f"  midiforge reads {ratio:.1f} times as many a second (at least 3)")
    kept, theirs = 0, 0
    for content in files:
        broken = content[: len(content) // 2]
        kept += len(parse(broken).note_ons)
        try:
            theirs += len(heard(broken))
        except (EOFError, OSError):
            continue
    print(f"  of the strokes in files cut in half, midiforge has {kept / strokes:.0%}, ", end="")
    print(f"mido {theirs / strokes:.0%}")


def messages_against_mido() -> None:
    message, many = note_on(10, 38, 100), range(20_000)
    ours = seconds(lambda: [read_message(message) for _ in many])
    theirs = seconds(lambda: [mido.Message.from_bytes(message) for _ in many])
    made = seconds(lambda: [note_on(10, 38, 100) for _ in many])
    by_mido = seconds(
        lambda: [mido.Message("note_on", channel=9, note=38, velocity=100) for _ in many]
    )
    plain, imports = (
        min(seconds(partial(subprocess.run, [sys.executable, "-c", code])) for _ in range(7))
        for code in ("import midiforge", "import midiforge, mido")
    )
    print("channel messages")
    print(f"  read: {theirs / ours:.1f} times as fast as mido's; made: {by_mido / made:.1f} times")
    print(f"  importing mido takes {1000 * (imports - plain):.0f} ms")


BUILD = """
import resource, sys, time, midiforge
count = int(sys.argv[1])
drill = midiforge.check_drill({
    "every": {"strokes": 8, "longest_run": 3},
    "feet": "samba", "stages": "full",
    "tempos": [60 + i for i in range(50)],
})
def some():
    for number, exercise in enumerate(midiforge.exercises(drill)):
        if number == count:
            return
        yield exercise
from pathlib import Path
from midiforge.folders.lesson import build
begin = time.perf_counter()
build(some(), drill.kit, Path(sys.argv[2]), drill.title, digits=5)
print(time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def build_sizes() -> None:
    print("a build, by number of files")
    first: tuple[float, float] | None = None
    for count in (100, 1_000, 10_000):
        with tempfile.TemporaryDirectory() as folder:
            out = subprocess.run(
                [sys.executable, "-c", BUILD, str(count), str(Path(folder) / "lesson")],
                capture_output=True,
                text=True,
                check=True,
            ).stdout.split()
        each, peak = float(out[0]) / count, float(out[1]) / 1024
        first = first or (each, peak)
        print(
            f"  {count:6d} files: {1000 * each:.2f} ms a file ({each / first[0]:.2f} times), "
            f"peak {peak:.1f} MiB ({peak / first[1]:.2f})"
        )


if __name__ == "__main__":
    print(
        f"Python {sys.version.split()[0]}, peak so far "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MiB"
    )
    bytes_against_mido()
    reading_against_mido()
    messages_against_mido()
    build_sizes()
