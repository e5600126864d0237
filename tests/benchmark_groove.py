"""How well real playing is brought in: `python tests/benchmark_groove.py`.

Each recording is imported, the drill played round and round at its own tempo, and laid over the
recording where it fits best. Figures:

1. strokes reproduced: the share of the recording's strokes that the drill plays on their voice
   within 50 ms; really played: the share of the drill's strokes that the recording has. The same
   on their pad, where head and rim are one.
2. voices wholly lost: voices with at least 2 % of the strokes that the drill has nowhere.
3. tempo right: within 1 % of the click that was played to; once as the file is, once with tempo
   and meter removed.
4. sure: how often those of each confidence are right, tempo and meter removed, and how likely
   chance alone makes it no more.
5. as loud: strokes that are within 6 dB of what their mark sounds like, the average of their pad
   set apart.
6. time for a file.
7. feels that recordings are few of, laid out from the library (tests/feels.py): beat, bar and
   swing right, and strokes, with the file's tempo and meter and without.

Beside them what is got by hand: quantised to sixteenths by the file's own beats, the most common
bar over and over. `--tuning` takes the half of the recordings that thresholds were set on.

Recordings: Groove MIDI Dataset (Gillick and others, ICML 2019; CC BY 4.0), beside this
repository; info.csv has the tempo of the click.
"""

import argparse
import csv
import re
import statistics
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from math import comb, log10
from pathlib import Path
from typing import NamedTuple

import feels
import mido

import midiforge
from midiforge.drill.read import check_drill
from midiforge.errors import MidiforgeError
from midiforge.files.disk import parsed_toml
from midiforge.groove.levels import strengths
from midiforge.groove.ornaments import gather
from midiforge.groove.source import Struck, read_source
from midiforge.hear.expected import pad_of
from midiforge.kits.kit import Kit
from midiforge.model.hit import CLICK

RECORDINGS = Path(__file__).parent.parent.parent / "shared" / "recordings"
WINDOW = 0.050  # s
LONG = 8  # bars
LOST = 0.02  # share of the strokes
RIGHT = 0.01
MOST_LINES, MOST_KINDS = 120, 8  # of a drill that a person reads
MANY = 32  # bars
# A person reads a line of bars in two seconds (a guess): sixty are two minutes.
MOST_FIRST, MOST_SECTIONS = 60, 12
LOUD = 6.0  # dB

Times = dict[str, list[float]]  # by voice, rising, in s


class Row(NamedTuple):
    path: Path
    style: str
    tempo: float
    kind: str
    bars: float


class Fit(NamedTuple):
    """Strokes: of the recording, of the drill over it, and of both."""

    strokes: int
    played: int
    both: int


def rows(tuning: bool) -> list[Row]:
    with (RECORDINGS / "info.csv").open(encoding="utf-8") as stream:
        table = list(csv.DictReader(stream))
    return [
        Row(
            RECORDINGS / row["file"],
            row["style"],
            float(row["bpm"]),
            row["kind"],
            float(row["seconds"]) * float(row["bpm"]) / 240,
        )
        for row in table[not tuning :: 2]
    ]


def by_voice(strokes: Iterable[Struck]) -> Times:
    times: Times = defaultdict(list)
    for stroke in strokes:
        times[stroke.voice].append(stroke.time)
    return dict(times)


def by_pad(times: Times) -> Times:
    """Zones of a pad as one; an open hi-hat stays another sound than a closed one."""
    pads: Times = defaultdict(list)
    for voice, own in times.items():
        pads[voice if voice.startswith("hihat") else pad_of(voice)] += own
    return {pad: sorted(own) for pad, own in pads.items()}


def pairs(recorded: Sequence[float], played: Sequence[float]) -> int:
    """How many can be paired within the window, in order."""
    i = j = both = 0
    while i < len(recorded) and j < len(played):
        if abs(recorded[i] - played[j]) <= WINDOW:
            i, j, both = i + 1, j + 1, both + 1
        elif recorded[i] < played[j]:
            i += 1
        else:
            j += 1
    return both


def over(loop: Times, length: float, start: float, first: float, last: float) -> Times:
    """The loop round and round from `start`, where it falls between first and last."""
    laid: Times = {}
    turn = int((first - start) // length) - 1
    for voice, times in loop.items():
        laid[voice] = []
        at = start + turn * length
        while at <= last:
            laid[voice] += [at + t for t in times if first - WINDOW <= at + t <= last + WINDOW]
            at += length
    return laid


def best_fit(recording: Times, loop: Times, length: float) -> Fit:
    """The loop laid where it fits best."""
    first = min(times[0] for times in recording.values())
    last = max(times[-1] for times in recording.values())
    shifts: Counter[int] = Counter()
    bins = max(1, round(length / 0.02))
    for voice, times in loop.items():
        for t in times:
            for heard in recording.get(voice, [])[:400]:
                shifts[round((heard - t) % length / 0.02) % bins] += 1
    near = {place: sum(shifts[(place + i) % bins] for i in (-1, 0, 1)) for place in list(shifts)}
    best = Fit(sum(map(len, recording.values())), 0, 0)
    best_start = 0.0

    def tried(start: float) -> None:
        nonlocal best, best_start
        laid = over(loop, length, start, first, last)
        both = sum(pairs(times, laid.get(voice, [])) for voice, times in recording.items())
        fit = Fit(best.strokes, sum(map(len, laid.values())), both)
        if both / (fit.strokes + fit.played) > best.both / (best.strokes + best.played):
            best, best_start = fit, start

    for place in sorted(near, key=lambda place: -near[place])[:12]:
        tried(place * 0.02)
    for finer in (0.01, -0.01, 0.005, -0.005):
        tried(best_start + finer)
    return best


def of_drill(text: str) -> tuple[Times, float]:
    """What the fullest stage of a drill plays, by voice, and its length in seconds."""
    drill = check_drill(parsed_toml(text, Path("drill.toml")))
    exercise = max(midiforge.exercises(drill), key=lambda exercise: len(exercise.piece.hits))
    piece = exercise.piece
    quarter = 60 / float(exercise.tempo.changes[0][1] * piece.meter.pulse)
    times: Times = defaultdict(list)
    for hit in piece.hits:
        if hit.layer == CLICK or hit.time < 0:
            continue
        at = float(piece.swing.played(hit.time, hit.grid)) * quarter
        times[hit.voice].append(at)
        if hit.ornament:
            voice = hit.ornament.voice or hit.voice
            times[voice] += [at - 0.03 * (i + 1) for i in range(hit.ornament.grace_notes)]
    return {v: sorted(t) for v, t in times.items()}, float(piece.bars * piece.meter.bar) * quarter


def by_hand(strokes: Sequence[Struck], tempo: float) -> tuple[Times, float]:
    """Quantised to sixteenths, the most common bar."""
    step = 15 / tempo
    bars: dict[int, set[tuple[int, str]]] = defaultdict(set)
    for stroke in strokes:
        bar, place = divmod(round(stroke.time / step), 16)
        bars[bar].add((place, stroke.voice))
    usual = Counter(frozenset(bar) for bar in bars.values()).most_common(1)[0][0]
    times: Times = defaultdict(list)
    for place, voice in sorted(usual):
        times[voice].append(place * step)
    return dict(times), 16 * step


def bare(path: Path, target: Path) -> Path:
    """The same file as a module without a tempo records it: seconds kept, no tempo, no meter."""
    source = mido.MidiFile(path)
    track = mido.MidiTrack()
    now = due = 0.0
    for message in source:
        now += message.time
        if not message.is_meta:
            ticks = max(0, round((now - due) * 960))
            track.append(message.copy(time=ticks))
            due += ticks / 960
    out = mido.MidiFile(ticks_per_beat=480)
    out.tracks.append(track)
    out.save(target)
    return target


def lost(recording: Mapping[str, Sequence[float]], loop: Times) -> list[tuple[str, bool]]:
    """Voices that matter, and whether the drill lacks them."""
    whole = sum(map(len, recording.values()))
    return [(v, not loop.get(v)) for v, times in recording.items() if len(times) >= LOST * whole]


def as_loud(strokes: Iterable[Struck], kit: Kit) -> float:
    """The share of strokes whose mark, an accent's, a tap's or a ghost note's, is about as loud."""
    velocities: dict[str, list[int]] = defaultdict(list)
    for stroke in strokes:
        velocities[stroke.voice].append(stroke.velocity)
    marks = strengths(velocities, kit)
    apart: dict[str, list[float]] = defaultdict(list)
    for voice, struck in velocities.items():
        apart[pad_of(voice)] += [
            20 * log10(each / kit.velocities[marks[voice][each].value]) for each in struck
        ]
    near = [abs(each - statistics.fmean(some)) <= LOUD for some in apart.values() for each in some]
    return statistics.fmean(near)


def of_feels(folder: Path) -> None:
    """Prints how library feels with real unevenness come back."""
    beats = [
        (row.path, row.tempo) for row in rows(False) if row.kind == "beat" and row.bars >= LONG
    ]
    takes = list(feels.takes(feels.straight(beats, 12)))
    for said_too in (True, False):
        backs: list[feels.Back] = []
        fits: list[Fit] = []
        wrong: list[str] = []
        for played in takes:
            path = feels.written(folder / "feel.mid", played, said_too)
            groove = midiforge.import_groove(path)
            backs.append(feels.back(played, groove))
            loop, seconds = of_drill(groove.text)
            fits.append(best_fit(by_voice(read_source(path, None, 0).strokes), loop, seconds))
            if not all(backs[-1]):
                wrong.append(f"{played.feel.name} {played.tempo} as {groove.meter} {groove.tempo}")
        right = ", ".join(
            f"{name} {statistics.fmean(getattr(each, name) for each in backs):.0%}"
            for name in feels.Back._fields
        )
        how = "as the file says" if said_too else "tempo and meter removed"
        print(f"{len(takes)} takes in other feels, {how}: right {right}; strokes {said(fits)}")
        if wrong:
            print(f"  not: {'; '.join(wrong)}")


def share(numbers: Sequence[int], most: int) -> str:
    return f"{statistics.fmean(number <= most for number in numbers):.0%}"


def by_chance(rights: int, whole: int, sure: float) -> float:
    """How likely no more are right, if each is with that probability."""
    return sum(comb(whole, n) * sure**n * (1 - sure) ** (whole - n) for n in range(rights + 1))


def said(fits: Sequence[Fit]) -> str:
    if not fits:
        return "-"
    reproduced = statistics.fmean(fit.both / fit.strokes for fit in fits)
    real = statistics.fmean(fit.both / fit.played if fit.played else 0 for fit in fits)
    return f"{reproduced:.3f} / {real:.3f}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--each", action="store_true", help="a line for each file")
    parser.add_argument("--kinds", type=int, default=0, help="of bars, at most")
    parser.add_argument("--plain", action="store_true", help="not with tempo and meter removed")
    options = parser.parse_args()
    fits: dict[str, list[Fit]] = defaultdict(list)
    on_pads: list[Fit] = []
    hands: dict[str, list[Fit]] = defaultdict(list)
    voices: dict[str, list[bool]] = defaultdict(list)
    own: list[bool] = []
    loud: list[float] = []
    ear: list[tuple[float, bool, bool]] = []
    spent: list[float] = []
    lines: list[int] = []
    cells: list[int] = []
    words: list[float] = []
    first: list[int] = []
    parts: list[int] = []
    folder = Path(tempfile.mkdtemp())
    midiforge.import_groove(rows(False)[0].path)  # so that no file pays for imports
    for row in rows(options.tuning):
        strokes = read_source(row.path, None, 0).strokes
        recording = by_voice(strokes)
        length = "long" if row.bars >= LONG else "short"
        kind = f"{row.kind} {length}" if row.kind == "beat" else row.kind
        begun = time.process_time()
        try:
            groove = midiforge.import_groove(row.path, kinds=options.kinds)
        except MidiforgeError as error:
            print(f"refused: {row.path.name}: {error}")
            fits[kind].append(Fit(len(strokes), 0, 0))
            continue
        finally:
            spent.append(time.process_time() - begun)
        loop, seconds = of_drill(groove.text)
        fit = best_fit(recording, loop, seconds)
        fits[kind].append(fit)
        if kind == "beat long":
            on_pads.append(best_fit(by_pad(recording), by_pad(loop), seconds))
        loud.append(as_loud((stroke.struck for stroke in gather(strokes).strokes), groove.kit))
        lines.append(len(groove.text.splitlines()))
        cells.append(groove.cells)
        if groove.sections:
            parts.append(len(groove.sections))
            read = groove.text.partition("[bars]\n")[2].partition("\n# ")[0]
            first.append(len(read.splitlines()))
        if groove.bars > MANY:
            words.append(len(re.findall(r"[A-Za-z][\w-]*", groove.road_map)) / groove.bars)
        hands[kind].append(best_fit(recording, *by_hand(strokes, row.tempo)))
        right = abs(groove.tempo / row.tempo - 1) <= RIGHT
        if kind == "beat long":
            own.append(right)
        if row.kind == "beat":
            for voice, gone in lost(recording, loop):
                voices[voice].append(gone)
        heard = ""
        if not options.plain:
            try:
                by_ear = midiforge.import_groove(bare(row.path, folder / "bare.mid"))
                by_ear_right = abs(by_ear.tempo / row.tempo - 1) <= 2 * RIGHT
                heard = f"{by_ear.tempo:.1f} {by_ear.sure:.2f}"
                ear.append((by_ear.sure, by_ear_right, kind == "beat long"))
            except MidiforgeError as error:
                heard = str(error)
                ear.append((0.0, False, kind == "beat long"))
        if options.each:
            print(
                f"{row.path.stem:38} {kind:10} {row.bars:5.1f} {said([fit])}  hand "
                f"{said([hands[kind][-1]])} {groove.kind} {groove.meter} {groove.steps} "
                f"{groove.swing} {groove.tempo} of {row.tempo:.0f} ear {heard} "
                f"{groove.cells} kinds {groove.changes} changes {lines[-1]} lines"
            )
    for kind in sorted(fits):
        print(
            f"{kind:11} {len(fits[kind]):3} files: strokes reproduced / really played "
            f"{said(fits[kind])}; by hand {said(hands[kind])}"
        )
    print(f"beat long, on their pad: {said(on_pads)}")
    print(f"tempo right as the file is (long beats): {statistics.fmean(own):.1%} of {len(own)}")
    if ear:
        print(f"tempo right, tempo and meter removed: {statistics.fmean(r for _, r, _ in ear):.1%}")
        beats = [r for _, r, b in ear if b]
        print(f"  of long beats {statistics.fmean(beats):.1%} of {len(beats)}")
        for low, high in pairwise((0, 0.5, 0.7, 0.85, 0.95, 1.1)):
            some = [(sure, r) for sure, r, _ in ear if low <= sure < high]
            if some:
                said_sure = statistics.fmean(sure for sure, _ in some)
                rights = sum(r for _, r in some)
                print(
                    f"  sure {low} to {high}: says {said_sure:.2f}, right "
                    f"{rights / len(some):.2f} of {len(some)}; so few by chance "
                    f"{by_chance(rights, len(some), said_sure):.2f}"
                )
    groups = {
        "ride": ("ride", "ride-bell", "ride-2"),
        "crash": ("crash", "crash-2"),
        "all": tuple(voices),
    }
    for name, members in groups.items():
        gone = [g for v in members for g in voices.get(v, [])]
        if gone:
            print(f"{name} wholly lost: {statistics.fmean(gone):.0%} of {len(gone)}")
    print(f"strokes as loud as their marks: {statistics.fmean(loud):.1%}")
    print(
        f"lines of a drill: median {statistics.median(lines):.0f}, most {max(lines)}; up to "
        f"{MOST_LINES} {share(lines, MOST_LINES)}; up to {MOST_KINDS} kinds of bar "
        f"{share(cells, MOST_KINDS)}"
    )
    print(
        f"of a form to be read first: {statistics.median(parts):.0f} sections, most {max(parts)}; "
        f"{statistics.median(first):.0f} lines of bars, most {max(first)}; to {MOST_SECTIONS} and "
        f"{MOST_FIRST} {share(parts, MOST_SECTIONS)} and {share(first, MOST_FIRST)}"
    )
    print(f"words of a road map of more than {MANY} bars: {statistics.fmean(words):.2f} a bar")
    if not options.plain:
        of_feels(folder)
    print(f"a file: median {1000 * statistics.median(spent):.0f} ms, longest {max(spent):.2f} s")


if __name__ == "__main__":
    main()
