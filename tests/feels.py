"""Takes in feels that recordings are few of: the library's own ostinatos, laid out in swing, 6/8,
5/4 and so on, as unevenly and as loud as a recording to a straight click was played.

Stroke after stroke gets what the recording's next stroke was off its sixteenth by, so that strokes
that hang together stay together.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median
from typing import NamedTuple

import mido

import midiforge
from midiforge.drill.read import check_drill
from midiforge.groove.imported import Imported
from midiforge.groove.source import Struck, read_source

BARS = 16
DIVISION = 480
STRAIGHT = 0.018  # s from a click's sixteenths, usually
SAME = 0.02  # of a tempo or a bar
NEAR = 0.03  # of a pair, that the second note may be off by


class Feel(NamedTuple):
    """What it is made of, as keys of a drill; tempos: that it is played at."""

    name: str
    meter: str
    steps: int
    layers: Sequence[str]
    feet: Sequence[str]
    tempos: Sequence[int]
    swing: str = ""
    pair: str = "eighth"


_HH = "on RH as hihat-closed"
_SN = "on LH as snare"
FEELS = (
    Feel("rock", "4/4", 2, [f"xx xx xx xx {_HH}", "backbeat"], ["rock-and-of-two"], (84, 126)),
    Feel("samba", "4/4", 4, [f"x.xx x.xx x.xx x.xx {_HH}", f"..x. .x.. ..x. .x.. {_SN}"],
         ["samba", "hihat-off-beats"], (96, 112)),
    Feel("bossa nova", "4/4", 4, [f"x.x. x.x. x.x. x.x. {_HH}", "bossa-nova-clave"],
         ["bossa-nova", "hihat-two-and-four"], (66, 76)),
    Feel("jazz swing", "4/4", 3, ["jazz-ride", f"... ..g ... .g. {_SN}"],
         ["jazz-feathered-quarters", "hihat-two-and-four"], (112, 150, 184)),
    Feel("light swing", "4/4", 2, ["x. xx x. xx on RH as ride", f".. .x .. x. {_SN}"],
         ["four-on-the-floor", "hihat-two-and-four"], (160, 200), "3:2"),
    Feel("shuffle", "4/4", 3, ["shuffle as hihat-closed", "backbeat"], ["one-and-three"],
         (88, 120)),
    Feel("half-time shuffle", "4/4", 4, [f"xxxx xxxx xxxx xxxx {_HH}", "half-time-backbeat"],
         ["x..x .... ...x .... on RF"], (76, 92), "3:2", "sixteenth"),
    Feel("jazz waltz", "3/4", 3, ["jazz-waltz-ride", f"... ..x ... {_SN}"],
         ["jazz-waltz-bass-drum", "hihat-waltz-two"], (120, 160)),
    Feel("waltz", "3/4", 2, [f"xx xx xx {_HH}", f".. >. >. {_SN}"], ["jazz-waltz-bass-drum"],
         (96, 132)),
    Feel("6/8", "6/8", 3, [f"xxx xxx {_HH}", f"... >.. {_SN}"], ["x.. ..x on RF"], (52, 70)),
    Feel("12/8", "12/8", 3, ["twelve-eight-ride", f"... >.. ... >.. {_SN}"],
         ["twelve-eight-bass-drum", "hihat-twelve-eight-two-and-four"], (56, 72)),
    Feel("bembe", "12/8", 3, ["x.x .xx .x. x.x on RH as ride-bell", f"..x ... ..x ... {_SN}"],
         ["twelve-eight-bass-drum", "hihat-twelve-eight"], (96, 116)),
    Feel("5/4", "5/4", 2, [f"xx xx xx xx xx {_HH}", f".. >. .. >. >. {_SN}"],
         ["x. .x x. .. .. on RF"], (104, 138)),
    Feel("jazz 5/4", "5/4", 3, ["x.. x.x x.. x.. x.x on RH as ride", f"... ..x ... ... .x. {_SN}"],
         ["x.. ... ... x.. ... on RF", "... x.. ... ... x.. on LF"], (132, 168)),
    Feel("7/8", "2+2+3/8", 2, [f"xx xx xxx {_HH}", f".. >. ..> {_SN}"], ["x. .x x.. on RF"],
         (100, 132)),
    Feel("7/8, three first", "3+2+2/8", 2, [f"xxx xx xx {_HH}", f"... >. >. {_SN}"],
         ["x.x .x .x on RF"], (100, 132)),
)  # fmt: skip


class Take(NamedTuple):
    """strokes: time in s, voice, velocity; tempo: pulses of the meter a minute."""

    feel: Feel
    tempo: int
    strokes: Sequence[tuple[float, str, int]]


def take(feel: Feel, tempo: int, recording: Sequence[Struck], click: float) -> Take:
    """The feel for sixteen bars, off its grid as the recording is off a click's sixteenths."""
    keys = {"stages": ["full"], "meter": feel.meter, "steps": feel.steps, "tempos": [tempo]}
    keys |= {"layers": list(feel.layers), "feet": list(feel.feet)}
    if feel.swing:
        keys |= {"swing": feel.swing, "swing_pair": feel.pair}
    exercise = next(iter(midiforge.exercises(check_drill(keys))))
    piece = exercise.piece
    quarter = 60 / float(tempo * piece.meter.pulse)
    hits = sorted(
        (float(piece.swing.played(hit.time, hit.grid)) * quarter, hit.voice, hit.strength.value)
        for hit in piece.hits
        if hit.time >= 0 and hit.layer != "click"
    )
    length = float(piece.bars * piece.meter.bar) * quarter
    rounds = int(BARS / piece.bars)
    written = [
        (turn * length + at, voice, how) for turn in range(rounds) for at, voice, how in hits
    ]
    step = 15 / click
    off = [each.time - round(each.time / step) * step for each in recording]
    late = median(off)
    middle = median(each.velocity for each in recording)
    strokes = []
    for i, (at, voice, how) in enumerate(written):
        own = recording[i % len(recording)]
        loud = {"accent": 108, "tap": 80, "ghost": 38}[how] + (own.velocity - middle) / 8
        strokes.append(
            (max(0.0, at + off[i % len(off)] - late), voice, int(max(1, min(127, loud))))
        )
    return Take(feel, tempo, sorted(strokes))


def written(path: Path, played: Take, said: bool) -> Path:
    """A file of a take; with its tempo and meter, or as a module without a tempo records it."""
    kit = midiforge.read_kit("general-midi-1")
    meter = midiforge.Meter.parse(played.feel.meter)
    quarters = float(played.tempo * meter.pulse)
    track = mido.MidiTrack()
    if said:
        track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(quarters)))
        track.append(
            mido.MetaMessage("time_signature", numerator=meter.numerator, denominator=meter.unit)
        )
    else:
        quarters = 120.0
    now = 0
    for at, voice, velocity in played.strokes:
        tick = round(at * quarters / 60 * DIVISION)
        note = kit.note(voice)
        track.append(
            mido.Message("note_on", channel=9, note=note, velocity=velocity, time=tick - now)
        )
        now = tick
    midi = mido.MidiFile(ticks_per_beat=DIVISION)
    midi.tracks.append(track)
    midi.save(path)
    return path


def straight(recordings: Sequence[tuple[Path, float]], most: int) -> list[tuple[Path, float]]:
    """The first that were played in straight sixteenths to their clicks."""
    found = []
    for path, click in recordings:
        step = 15 / click
        times = [each.time for each in read_source(path, None, 0).strokes]
        if median(abs(at - round(at / step) * step) for at in times) < STRAIGHT:
            found.append((path, click))
        if len(found) == most:
            break
    return found


def takes(recordings: Sequence[tuple[Path, float]]) -> Iterator[Take]:
    """Every feel at its tempos, a recording each in turn. recordings: files, and their clicks."""
    played = [(read_source(path, None, 0).strokes, click) for path, click in recordings]
    number = 0
    for feel in FEELS:
        for tempo in feel.tempos:
            strokes, click = played[number % len(played)]
            yield take(feel, tempo, strokes, click)
            number += 1


def swung_right(feel: Feel, groove: Imported) -> bool:
    """Whether off-beats come back where they were: in triplets or as swing that is as long."""
    above, below = map(int, groove.swing.split(":")) if groove.swing else (1, 1)
    if feel.swing:
        long, short = map(int, feel.swing.split(":"))
        share, wanted = above / (above + below), long / (long + short)
        return groove.swing_pair == feel.pair and abs(share - wanted) <= NEAR
    if feel.steps == 3:
        return groove.steps % 3 == 0 or abs(above / (above + below) - 2 / 3) <= NEAR
    return not groove.swing and groove.steps % 3 != 0


class Back(NamedTuple):
    """What came back of a take: whether beats, bars and off-beats are as long as they were."""

    beat: bool
    bar: bool
    swing: bool


def back(played: Take, groove: Imported) -> Back:
    """What came back."""
    meter = midiforge.Meter.parse(played.feel.meter)
    wanted = meter.bar / meter.pulse / played.tempo
    own = float(groove.meter.bar / groove.meter.pulse) / groove.tempo
    return Back(
        abs(groove.tempo / played.tempo - 1) <= SAME,
        abs(own / float(wanted) - 1) <= SAME,
        swung_right(played.feel, groove),
    )
