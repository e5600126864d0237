"""How an exercise is played: its hits as notes of a kit, ornaments written out.

What every sounding output starts from, whether it counts in ticks, seconds or samples.
"""

import random
import re
from collections.abc import Callable, Iterable, Iterator
from enum import IntEnum
from fractions import Fraction
from typing import NamedTuple

from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, HANDS, Hit, Limb, OrnamentKind, Strength
from midiforge.model.spelling import spelled_hit

_BUZZ_MS = 38.0  # between the bounces of a pressed stick; from memory, teachers ask for no gaps
_BUZZ_FADE = 0.72
_MOST_BOUNCES = 16
# Grace notes stay within this share of a grid step, so that they never meet the step before.
_GRACE_SHARE = 0.45
# Those who play beside the drummer accent less: a drummer's ghost would be silence on a shaker.
_EVENER = Fraction(3, 5)
_LETTERS: dict[str, str] = {limb: limb.letter for limb in HANDS}
_CLICK_STRENGTH = {Strength.ACCENT: "click-accent", Strength.TAP: "click"}


class Note(NamedTuple):
    """One note to play.

    time: quarter notes from the first downbeat, swing included, exact.
    offset: how many ms before (below 0) or after that it sounds.
    number, velocity: as MIDI has them.
    part: who plays it: a limb's letters, "click", or the name of a time layer.
    sticking: what is written below the stroke, such as "R" or "llR"; "" for none.
    """

    time: Fraction
    offset: float
    number: int
    velocity: int
    part: str
    sticking: str


def notes(exercise: Exercise, kit: Kit, closes: bool = True) -> Iterator[Note]:
    """The exercise's hits as notes of `kit`, in the order of its hits.

    closes: whether its end leads back to the loop's start. Grace notes of the stroke there then
        come before the end as well; before the start itself only where something is played
        before it (a count-in).
    """
    swing, level = exercise.swing, exercise.dynamics.level
    straight, flat = swing.is_straight, not exercise.dynamics.points
    uneven = _Unevenness(exercise) if exercise.touch.timing_ms or exercise.touch.velocity else None
    sounds: dict[tuple[str, str, str], tuple[int, int]] = {}
    letters = _LETTERS
    levels = {track.name: track.level for track in exercise.tracks}
    new = tuple.__new__  # a named tuple at half the cost of its own constructor
    for hit in exercise.hits:
        time, limb, voice, strength = hit.time, hit.limb, hit.voice, hit.strength
        part = limb or hit.layer
        sound = sounds.get((voice, strength, part))
        if sound is None:
            named = _CLICK_STRENGTH[strength] if part == CLICK else strength
            loud = kit.velocities[named]
            if part in levels:
                tap = kit.velocities[Strength.TAP]
                loud = _velocity((tap + (loud - tap) * _EVENER) * levels[part])
            sound = kit.note(voice), loud
            sounds[voice, strength, part] = sound
        number, velocity = sound
        if not straight:
            time = swing.played(time, hit.grid)
        offset = 0.0
        if part != CLICK:
            if not flat:
                velocity = _velocity(velocity * level(hit.time))
            if uneven:
                offset, velocity = uneven.of(hit.time, part, number, velocity)
        if hit.ornament is None:
            yield new(Note, (time, offset, number, velocity, part, letters.get(part, "")))
        else:
            yield from _ornamented(
                exercise, kit, hit, Note(time, offset, number, velocity, part, ""), closes
            )


def leads_back(exercise: Exercise) -> bool:
    """Whether grace notes of the loop's first stroke lie before the exercise's end."""
    for hit in exercise.hits:
        if hit.time > exercise.loop_start:
            return False
        if hit.time == exercise.loop_start and hit.ornament and hit.ornament.grace_notes:
            return True
    return False


class Round(IntEnum):
    """In which times round something sounds."""

    FIRST = 0  # what comes before the loop
    LATER = 1  # what leads back over the seam
    EVERY = 2


def over_the_seam(exercise: Exercise, found: Iterable[Note]) -> Callable[[Note], bool]:
    """Tells which of an exercise's notes lead back over the seam: grace notes of the loop's first
    stroke, which `notes` gives before its end and, if they are played the first time too, before
    the loop's start."""
    end = exercise.swing.played(exercise.length)
    leading = {(note.offset, note.number, note.part) for note in found if note.time == end}
    return lambda note: (note.offset, note.number, note.part) in leading


def in_rounds(exercise: Exercise, kit: Kit) -> Iterator[tuple[Note, Round]]:
    """The exercise's notes and in which times round they sound; none lies at the end.

    Grace notes that lead back over the seam stand before the loop's start, once: every time round
    if they are played the first time too, else from the second on.
    """
    start = exercise.swing.played(exercise.loop_start)
    end = exercise.swing.played(exercise.length)
    found = list(notes(exercise, kit))
    leads_over = over_the_seam(exercise, found)
    begins_with_them = any(note.time == start and leads_over(note) for note in found)
    for note in found:
        if note.time < start:
            yield note, Round.FIRST
        elif note.time < end:
            yield note, Round.EVERY
        elif not begins_with_them:
            yield note._replace(time=start), Round.LATER


class Held(NamedTuple):
    """One pitch to hold.

    time, end: quarter notes from the first downbeat, swing included, exact.
    channel: 1 to 16. pitch, velocity: as MIDI has them. track: who plays it.
    """

    time: Fraction
    end: Fraction
    channel: int
    pitch: int
    velocity: int
    track: str


def held(exercise: Exercise) -> Iterator[Held]:
    """The tones of the exercise's tracks, in their order, as they are to sound."""
    tracks = {track.name: track for track in exercise.tracks}
    played, level, touch = exercise.swing.played, exercise.dynamics.level, exercise.touch
    uneven = _Unevenness(exercise) if touch.timing_ms or touch.velocity else None
    last = played(exercise.length)
    for tone in exercise.tones:
        track = tracks[tone.track]
        velocity = _velocity(tone.velocity * track.level * level(tone.time))
        time, end = played(tone.time), played(tone.time + tone.length)
        if uneven:
            offset, velocity = uneven.of(tone.time, track.name, tone.pitch, velocity)
            late = Fraction(round(offset * 1000), 1_000_000) / exercise.tempo.quarter(tone.time)
            if time + late < last:
                time, end = max(time + late, Fraction(0)), min(end + late, last)
        yield Held(time, end, track.channel, tone.pitch, velocity, track.name)


def _ornamented(
    exercise: Exercise, kit: Kit, hit: Hit, stroke: Note, closes: bool
) -> Iterator[Note]:
    ornament, limb = hit.ornament, hit.limb
    assert ornament is not None and limb is not None
    if ornament.kind is OrnamentKind.BUZZ:
        yield stroke._replace(sticking=str(spelled_hit(hit, Strength.TAP)))
        end = exercise.swing.played(hit.time + ornament.length, hit.grid)
        room = 1000 * float((end - stroke.time) * exercise.tempo.quarter(end))
        for bounce in range(1, min(int(0.9 * room / _BUZZ_MS), _MOST_BOUNCES) + 1):
            velocity = _velocity(stroke.velocity * _BUZZ_FADE**bounce)
            yield stroke._replace(offset=stroke.offset + bounce * _BUZZ_MS, velocity=velocity)
        return
    grace_limb = ornament.limb or limb.opposite
    grace = Note(
        stroke.time,
        0.0,
        kit.note(ornament.voice),
        _velocity(kit.velocities["grace"] * exercise.dynamics.level(hit.time)),
        grace_limb,
        "",
    )
    count, touch = ornament.grace_notes, exercise.touch
    apart = touch.flam_ms if count == 1 else touch.drag_ms
    room = 1000 * float(exercise.step * exercise.tempo.quarter(hit.time)) * _GRACE_SHARE
    apart = min(apart, room / count)
    before = [grace._replace(offset=stroke.offset - apart * i) for i in range(count, 0, -1)]
    if hit.time > -exercise.count_in:
        yield from before
    yield stroke._replace(sticking=str(spelled_hit(hit, Strength.TAP)))
    if closes and hit.time == exercise.loop_start:
        end = exercise.swing.played(exercise.length)
        yield from (each._replace(time=end) for each in before)


class _Unevenness:
    """Seeded deviations, cut off at three standard deviations. They hang on the stroke, not on
    what else is heard: one of the bass drum is the same whether hands are left out or not."""

    def __init__(self, exercise: Exercise) -> None:
        self.touch = exercise.touch
        self._start, self._tempo = exercise.loop_start, exercise.tempo
        self._seed = f"{self.touch.seed}:{exercise.number}"

    def of(self, time: Fraction, part: str, sound: int, velocity: int) -> tuple[float, int]:
        """How late in ms, and how loud, a stroke is; sound: its note."""
        chance = random.Random(f"{self._seed}:{time}:{part}:{sound}")
        offset = _within(chance, self.touch.timing_ms)
        # A stroke of the loop never comes before the loop, where it would not come again.
        if offset < 0 and self._start <= time < self._start + _FIRST:
            room = (time - self._start) * self._tempo.quarter(time, after=True)
            offset = max(offset, -1000 * float(room))
        return offset, _velocity(velocity + _within(chance, self.touch.velocity))


def _within(chance: random.Random, deviation: float) -> float:
    return max(-3 * deviation, min(3 * deviation, chance.gauss(0, deviation)))


def _velocity(value: float | Fraction) -> int:
    return max(1, min(127, round(value)))


_FIRST = 4  # quarter notes; nobody is as uneven as that

_TITLES = {limb.value: limb.title.capitalize() for limb in Limb}
_TITLES |= {CLICK: "Click", "bass": "Bass", "comp": "Chords"}
_NAME = re.compile(r"[a-z][a-z0-9-]*")
_DASH = re.compile(r"(?<!\d)-|-(?!\d)")  # between words; "3-2" keeps its own


def part_title(part: str) -> str:
    """A part in words: "Right hand", "Click", "Son clave 3-2"; a typed pattern as it is."""
    if part in _TITLES:
        return _TITLES[part]
    return _DASH.sub(" ", part.capitalize()) if _NAME.fullmatch(part) else part


def part_place(part: str) -> int:
    """Where a part stands among others: hands, feet, who plays beside, bass and chords, the click;
    the same in every file, so that their tracks line up."""
    return _PLACES.get(part, _BESIDE)


_BESIDE = len(Limb)
_PLACES: dict[str, int] = {limb.value: i for i, limb in enumerate(Limb)}
_PLACES |= {"bass": _BESIDE + 1, "comp": _BESIDE + 2, CLICK: _BESIDE + 3}
