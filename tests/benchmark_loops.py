"""Speed of play-along loops as MIDI, in one run: `python tests/benchmark_loops.py`.

Four minutes of drums, percussion, bass and chords from a drill's keys to a file's bytes: the first
time in a process that has nothing imported, once more, and as a ratio against mido writing the same
messages.
"""

import io
import statistics
import subprocess
import sys
import time

import mido

import midiforge
from midiforge.loops import Shape, loops

KEYS = {
    "sticking": "RLRR LRLL",
    "feet": "tumbao",
    "chords": "Am7 | D9 | Gmaj7 | Cmaj7 | F#m7b5 | B7b9 | Em7 | E7",
    "tempos": 120,
    "stages": "full",
}


def four_minutes() -> bytes:
    drill = midiforge.check_drill(KEYS)
    [loop] = loops(drill, Shape(("everything",), minutes=4))
    return midiforge.exercise_bytes(loop.exercise, drill.kit, drill.file_format, loop.times)


def seconds(work: object) -> float:
    begun = time.perf_counter()
    work()  # type: ignore[operator]
    return time.perf_counter() - begun


def first_time() -> float:
    """In a process of its own, after midiforge is imported: what it needs is not."""
    code = (
        "import time, midiforge\n"
        "begun = time.perf_counter()\n"
        "from midiforge.loops import Shape, loops\n"
        f"drill = midiforge.check_drill({KEYS!r})\n"
        "[loop] = loops(drill, Shape(('everything',), minutes=4))\n"
        "midiforge.exercise_bytes(loop.exercise, drill.kit, drill.file_format, loop.times)\n"
        "print(time.perf_counter() - begun)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return float(ran.stdout)


def main() -> None:
    content = four_minutes()
    file = mido.MidiFile(file=io.BytesIO(content))

    def mido_writes() -> None:
        fresh = mido.MidiFile(ticks_per_beat=file.ticks_per_beat)
        for track in file.tracks:
            fresh.tracks.append(mido.MidiTrack(message.copy() for message in track))
        fresh.save(file=io.BytesIO())

    ours = statistics.median(seconds(four_minutes) for _ in range(9))
    theirs = statistics.median(seconds(mido_writes) for _ in range(3))
    fresh = statistics.median(first_time() for _ in range(5))
    notes = sum(m.type == "note_on" for track in file.tracks for m in track)
    print(f"{file.length:.0f} s, {notes} notes, {len(content) / 1000:.0f} kB")
    print(f"  first time in a process, imports and all: {1000 * fresh:.0f} ms")
    print(f"  again: {1000 * ours:.0f} ms (at most 50), mido {1000 * theirs:.0f} ms to write it")
    print(f"  {theirs / ours:.1f} times as fast as mido's writing alone")


if __name__ == "__main__":
    main()
