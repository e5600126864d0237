"""Speed of audio, as ratios taken in one run: `python tests/benchmark_sound.py`.

1. Four minutes of drums, bass and comp as a WAV file, level and tags and all, against the
   command `fluidsynth` that renders the same notes from a MIDI file; alternating, medians.
2. Several files with as many workers as there are cores, against one after the other.
"""

import os
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

import mido

import midiforge
from midiforge.model.band import Member, Tone
from midiforge.model.exercise import Exercise
from midiforge.performance.notes import held
from midiforge.sound.audio_file import about, write_audio
from midiforge.sound.fluid import Sound
from midiforge.sound.level import gain_for
from midiforge.sound.pool import Job, render_all
from midiforge.sound.render import rendered
from midiforge.sound.soundfont import find_soundfont

BARS = 120  # four minutes at 120
DIVISION = 960
BAND = (Member("bass", "bass", "Bass", 2, 33), Member("comp", "comp", "Comp", 3, 5))
ROOTS = (40, 45, 38, 43)
CHORD = (12, 19, 22, 26)  # semitones above the bass


def exercise(bars: int) -> tuple[Exercise, midiforge.Kit]:
    """Drums, a walking bass and a comp of four voices."""
    drill = midiforge.check_drill(
        {
            "sticking": "RLRR LRLL",
            "feet": "tumbao",
            "tempos": 120,
            "stages": "full",
            "repeats": bars,
        }
    )
    found = next(midiforge.exercises(drill))
    tones = []
    for bar in range(found.bars):
        root = ROOTS[bar % len(ROOTS)]
        for beat in range(4):
            time = Fraction(4 * bar + beat)
            tones.append(Tone(time, Fraction(7, 8), root + 2 * beat, 90, "bass"))
            if beat in (1, 3):
                tones += [
                    Tone(time + Fraction(1, 2), Fraction(1), root + each, 70, "comp")
                    for each in CHORD
                ][: 4 if bar < found.bars - 1 or beat == 1 else 0]
    return found.changed(band=BAND, tones=tuple(tones)), drill.kit


def midi_file(path: Path, of: Exercise, kit: midiforge.Kit) -> None:
    """The same notes as a MIDI file; tones are added where they are not in it yet."""
    path.write_bytes(midiforge.exercise_bytes(of, kit))
    midi = mido.MidiFile(path)
    there = {
        message.channel for track in midi.tracks for message in track if message.type == "note_on"
    }
    for member in BAND:
        if member.channel - 1 in there:
            continue
        channel, scale = member.channel - 1, midi.ticks_per_beat
        events = [
            (0, 0, mido.Message("program_change", channel=channel, program=member.program - 1))
        ]
        for tone in held(of):
            if tone.channel == member.channel:
                for time, order, kind in ((tone.time, 2, "note_on"), (tone.end, 1, "note_off")):
                    message = mido.Message(
                        kind, channel=channel, note=tone.pitch, velocity=tone.velocity
                    )
                    events.append((round((time + of.count_in) * scale), order, message))
        added, at = mido.MidiTrack(), 0
        for tick, _, message in sorted(events, key=lambda event: event[:2]):
            added.append(message.copy(time=tick - at))
            at = tick
        midi.tracks.append(added)
    midi.save(path)


def seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def against_the_command(folder: Path, sound: Sound, rounds: int = 5) -> None:
    of, kit = exercise(BARS)
    midi, theirs_file, ours_file = folder / "same.mid", folder / "theirs.wav", folder / "ours.wav"
    midi_file(midi, of, kit)
    command = ["fluidsynth", "-ni", "-F", theirs_file, "-r", "44100", sound.soundfont, midi]

    def theirs() -> None:
        subprocess.run([*map(str, command)], check=True, capture_output=True)

    def ours() -> None:
        made = rendered(of, kit, sound)
        write_audio(ours_file, made, gain_for(made.samples, made.rate), about(of))

    theirs(), ours()
    taken = [(seconds(ours), seconds(theirs)) for _ in range(rounds)]
    mine = statistics.median(each for each, _ in taken)
    other = statistics.median(each for _, each in taken)
    print(
        f"{float(of.seconds) / 60:.1f} minutes, {len(of.hits)} strokes, {len(of.tones)} tones, "
        f"{sound.soundfont.name}: ours {mine:.2f} s, fluidsynth {other:.2f} s: "
        f"{mine / other:.2f} times as long (at most 1.2)"
    )
    made = rendered(of, kit, sound)
    parts = {
        "rendering": lambda: rendered(of, kit, sound),
        "level": lambda: gain_for(made.samples, made.rate),
        "writing": lambda: write_audio(ours_file, made, 1.0, about(of)),
    }
    print("  " + ", ".join(f"{name} {seconds(part):.2f} s" for name, part in parts.items()))


def several(folder: Path, sound: Sound, rounds: int = 3, files: int = 6) -> None:
    of, kit = exercise(BARS // 4)
    for ending in ("wav", "ogg"):
        jobs = [Job(of, kit, folder / f"{i}.{ending}", about(of)) for i in range(files)]
        cores = os.cpu_count() or 1

        def at_once(workers: int, jobs: list[Job] = jobs) -> float:
            return seconds(lambda: [*render_all(jobs, sound, workers=workers)])

        taken = [(at_once(cores), at_once(1)) for _ in range(rounds)]
        many = statistics.median(each for each, _ in taken)
        one = statistics.median(each for _, each in taken)
        print(
            f"{files} files of one minute, {ending}: {one:.2f} s one after the other, "
            f"{many:.2f} s with {cores} workers: {one / many:.2f} times as fast"
        )


if __name__ == "__main__":
    if not shutil.which("fluidsynth"):
        sys.exit("the command fluidsynth is not installed")
    sound = Sound(find_soundfont(sys.argv[1] if len(sys.argv) > 1 else ""))
    print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores")
    with TemporaryDirectory() as name:
        against_the_command(Path(name), sound)
        several(Path(name), sound)
