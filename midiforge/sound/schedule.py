"""An exercise as notes in seconds, and notes as what a synthesiser is told at each block."""

from bisect import bisect_right
from collections.abc import Collection, Iterable
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from midiforge.kits.kit import DEFAULT, Kit, read_kit
from midiforge.model.exercise import Exercise
from midiforge.performance.notes import held, notes
from midiforge.sound.fluid import BLOCK, DRUMS

# Drum sounds end by themselves. A SoundFont may hold one that does not, so in the end it is let
# go, when a cymbal has long faded.
_RING = 4.0  # seconds

_WHOLE = "general-midi-2"  # level 1 and more; what a SoundFont lacks of it falls back

OFF, ON, UNHEARD = range(3)
# Block, kind, channel, key, velocity.
Event = tuple[int, int, int, int, int]


class Sounding(NamedTuple):
    """A note from `begin` to `end`, in seconds from the start of the count-in."""

    begin: float
    end: float
    channel: int
    key: int
    velocity: int


class Clock:
    """Seconds from the start of an exercise's count-in, as `TempoMap.seconds` has them."""

    def __init__(self, exercise: Exercise) -> None:
        tempo, start = exercise.tempo, -exercise.count_in
        times = [start, *(max(time, start) for time, _ in tempo.changes[1:])]
        self._times = [float(time) for time in times]
        self._seconds = [float(tempo.seconds(start, time)) for time in times]
        self._quarters = [float(60 / (each * tempo.pulse)) for _, each in tempo.changes]

    def __call__(self, time: Fraction) -> float:
        """When `time`, in quarter notes from the first downbeat, is."""
        at = float(time)
        i = max(0, bisect_right(self._times, at) - 1)
        return self._seconds[i] + (at - self._times[i]) * self._quarters[i]


def general_midi(kit: Kit, keys: Collection[int]) -> Kit:
    """Where a SoundFont with drums on these keys has them, struck as hard as `kit` wants it."""
    whole = read_kit(_WHOLE)
    known = {*read_kit(DEFAULT).notes.values(), *keys}
    there = {voice: note for voice, note in whole.notes.items() if note in known}
    return replace(whole, notes=there, velocities=kit.velocities)


def sounding(exercise: Exercise, kit: Kit, keys: Collection[int]) -> list[Sounding]:
    """The exercise's notes by time, drums on channel 10 by their General MIDI numbers.

    keys: those on which the SoundFont has a drum.
    """
    clock, loop = Clock(exercise), float(exercise.lead_seconds)
    made = []
    for note in notes(exercise, general_midi(kit, keys)):
        begin = max(clock(note.time) + note.offset / 1000, loop if note.when else 0.0)
        made.append(Sounding(begin, begin + _RING, DRUMS, note.number, note.velocity))
    for tone in held(exercise):
        begin = max(clock(tone.time), loop if tone.when else 0.0)
        made.append(Sounding(begin, clock(tone.end), tone.channel, tone.pitch, tone.velocity))
    return sorted(made)


def events(found: Iterable[Sounding], start: float, rate: int, blocks: int) -> list[Event]:
    """What a synthesiser is told, by block from `start` (seconds); notes by their begin.

    Each note begins at the block nearest to it, within the first `blocks`. Of two of one key at
    one block the louder sounds; a key that sounds is let go before it is struck again.
    """
    struck: list[list[int]] = []
    latest: dict[tuple[int, int], list[int]] = {}
    per_second = rate / BLOCK
    for begin, end, channel, key, velocity in found:
        first = max(0, min(round((begin - start) * per_second), blocks - 1))
        until = max(first + 1, round((end - start) * per_second))
        before = latest.get((channel, key))
        if before is not None:
            if before[0] == first:
                before[1], before[4] = max(before[1], until), max(before[4], velocity)
                continue
            before[1] = min(before[1], first)
        latest[channel, key] = note = [first, until, channel, key, velocity]
        struck.append(note)
    told = [(note[0], ON, note[2], note[3], note[4]) for note in struck]
    told += [(note[1], OFF, note[2], note[3], 0) for note in struck]
    return sorted(told)


def again(
    found: Iterable[Sounding], start: float, length: float, rate: int, most: float
) -> list[Event]:
    """The drums of a loop once more after its end, unheard, for `most` seconds.

    start: where the loop starts, in seconds; length: of the loop.
    """
    drums = [note for note in found if note.channel == DRUMS]
    per_second = rate / BLOCK
    told: list[Event] = []
    shift = length
    while shift - length < most and drums:
        for note in drums:
            at = note.begin - start + shift
            if at - length >= most:
                break
            told.append((round(at * per_second), UNHEARD, DRUMS, note.key, note.velocity))
        shift += length
    return told
