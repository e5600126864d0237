"""How an exercise is played: its hits as notes of a kit, ornaments written out.

What every sounding output starts from, whether it counts in ticks, seconds or samples; which
rounds of the loop a note sounds in is decided here, by `midiforge.performance.seam`.
"""

import random
import re
from collections.abc import Iterator
from fractions import Fraction

from midiforge.kits.kit import Kit
from midiforge.model.band import BASS, COMP, PERCUSSION
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, HANDS, Hit, Limb, OrnamentKind, Strength
from midiforge.model.spelling import spelled_hit
from midiforge.performance.seam import Held, Note, Reach, Round, Seam

_BUZZ_MS = 38.0  # between the bounces of a pressed stick; from memory, teachers ask for no gaps
_BUZZ_FADE = 0.72
_BUZZ_SHARE = 0.9  # of the step that it lasts for
_MOST_BOUNCES = 16
# Grace notes stay within this share of a grid step, so that they never meet the step before.
_GRACE_SHARE = 0.45
# The band accents less: a drummer's ghost would be silence on a shaker.
_EVENER = Fraction(3, 5)
_LETTERS: dict[str, str] = {limb: limb.letter for limb in HANDS}
_CLICK_STRENGTH = {Strength.ACCENT: "click-accent", Strength.TAP: "click"}


def notes(
    exercise: Exercise, kit: Kit, closes: bool = True, band: Kit | None = None
) -> Iterator[Note]:
    """The exercise's hits as notes of `kit`, in the order of its hits.

    closes: whether its end leads back to the loop's start. Grace notes of the stroke there then
        come before the end as well; before the start itself only where something is played
        before it (a count-in).
    band: the kit of the band's percussion and of time layers, if not the drummer's.
    """
    swing, level = exercise.swing, exercise.dynamics.level
    straight, flat = swing.is_straight, not exercise.dynamics.points
    uneven = _Unevenness(exercise) if exercise.touch.timing_ms or exercise.touch.velocity else None
    sounds: dict[tuple[str, str, str], tuple[int, int, str]] = {}
    levels = {member.name: member.level for member in exercise.band}
    seam, start, when = Seam(exercise), exercise.loop_start, Round.BEFORE
    new = tuple.__new__  # a named tuple at half the cost of its own constructor
    for hit in exercise.hits:
        time, limb, voice, strength = hit.time, hit.limb, hit.voice, hit.strength
        if not when and time >= start:
            when = Round.EVERY
        part = limb or hit.layer
        sound = sounds.get((voice, strength, part))
        if sound is None:
            named = _CLICK_STRENGTH[strength] if part == CLICK else strength
            own = band if band and not limb and part != CLICK else kit
            loud = own.velocities[named]
            if part in levels:
                tap = own.velocities[Strength.TAP]
                loud = _velocity((tap + (loud - tap) * _EVENER) * levels[part])
            sound = own.note(voice), loud, _LETTERS.get(part, "")
            sounds[voice, strength, part] = sound
        number, velocity, sticking = sound
        if not straight:
            time = swing.played(time, hit.grid)
        offset = 0.0
        if part != CLICK:
            if not flat:
                velocity = _velocity(velocity * level(hit.time))
            if uneven:
                offset, velocity = uneven.of(hit.time, part, number, velocity)
        note = new(Note, (time, offset, number, velocity, part, sticking, when, None))
        if offset:
            note = seam.kept(note)
        if hit.ornament is None:
            yield note
        else:
            yield from _ornamented(exercise, kit, hit, note, seam, closes)


def held(exercise: Exercise) -> Iterator[Held]:
    """The tones of the exercise's band, in their order, as they are to sound."""
    band = {member.name: member for member in exercise.band}
    played, level, touch = exercise.swing.played, exercise.dynamics.level, exercise.touch
    uneven = _Unevenness(exercise) if touch.timing_ms or touch.velocity else None
    seam = Seam(exercise)
    for tone in exercise.tones:
        member = band[tone.member]
        velocity = _velocity(tone.velocity * member.level * level(tone.time))
        time, end = played(tone.time), played(tone.time + tone.length)
        when = Round.EVERY if tone.time >= seam.start else Round.BEFORE
        if uneven:
            offset, velocity = uneven.of(tone.time, member.name, tone.pitch, velocity)
            late = Fraction(round(offset * 1000), 1_000_000) / exercise.tempo.quarter(tone.time)
            first, last = seam.stretch(when)
            late = max(late, first - time)
            if time + late < last:
                time, end = time + late, min(end + late, seam.end)
        yield Held(time, end, member.channel, tone.pitch, velocity, member.name, when)


def _ornamented(
    exercise: Exercise, kit: Kit, hit: Hit, stroke: Note, seam: Seam, closes: bool
) -> Iterator[Note]:
    ornament, limb, touch = hit.ornament, hit.limb, exercise.touch
    assert ornament is not None and limb is not None
    time, late, number, velocity, part, _, when, reach = stroke
    letters = str(spelled_hit(hit, Strength.TAP))
    stroke = Note(time, late, number, velocity, part, letters, when, reach)
    if ornament.kind is OrnamentKind.BUZZ:
        yield stroke
        end = exercise.swing.played(hit.time + ornament.length, hit.grid)
        room = 1000 * float((end - time) * exercise.tempo.quarter(end))
        most = _BUZZ_SHARE * float(end - time)
        for bounce in range(1, min(int(_BUZZ_SHARE * room / _BUZZ_MS), _MOST_BOUNCES) + 1):
            reach, softer = Reach(late, bounce * _BUZZ_MS, most), velocity * _BUZZ_FADE**bounce
            offset = late + reach.ms
            yield seam.kept(Note(time, offset, number, _velocity(softer), part, "", when, reach))
        return
    number, part = kit.note(ornament.voice), ornament.limb or limb.opposite
    velocity = _velocity(kit.velocities["grace"] * exercise.dynamics.level(hit.time))
    count = ornament.grace_notes
    apart = touch.flam_ms if count == 1 else touch.drag_ms
    most = float(exercise.step) * _GRACE_SHARE / count
    room = 1000 * float(exercise.step * exercise.tempo.quarter(hit.time)) * _GRACE_SHARE
    nearer = min(apart, room / count)
    is_first, leads_in = hit.time == -exercise.count_in, hit.time == seam.start
    again = []
    for i in range(count, 0, -1):
        offset, reach = late - nearer * i, Reach(late, -apart * i, -most * i)
        grace = Note(time, offset, number, velocity, part, "", when, reach)
        if leads_in and offset < 0:
            again.append(seam.kept(grace._replace(time=seam.end, when=Round.SEAM)))
            grace = grace._replace(when=Round.BEFORE)
        if offset >= 0 or not is_first:
            yield seam.kept(grace)
    yield stroke
    if closes:
        yield from again


class _Unevenness:
    """Seeded deviations, cut off at three standard deviations. They hang on the stroke, not on
    what else is heard: one of the bass drum is the same whether hands are left out or not."""

    def __init__(self, exercise: Exercise) -> None:
        self.touch = exercise.touch
        self._seed = f"{self.touch.seed}:{exercise.number}"

    def of(self, time: Fraction, part: str, sound: int, velocity: int) -> tuple[float, int]:
        """How late in ms, and how loud, a stroke is; sound: its note."""
        chance = random.Random(f"{self._seed}:{time}:{part}:{sound}")
        offset = _within(chance, self.touch.timing_ms)
        return offset, _velocity(velocity + _within(chance, self.touch.velocity))


def _within(chance: random.Random, deviation: float) -> float:
    return max(-3 * deviation, min(3 * deviation, chance.gauss(0, deviation)))


def _velocity(value: float | Fraction) -> int:
    return max(1, min(127, round(value)))


# Parts in the order of their tracks: how each is called, and what it belongs to.
_PARTS = {
    **{it.value: (it.title.capitalize(), "hands" if it.is_hand else "feet") for it in Limb},
    PERCUSSION: ("Percussion", PERCUSSION),
    BASS: ("Bass", BASS),
    COMP: ("Chords", "chords"),
    CLICK: ("Click", CLICK),
}
_PLACES = {part: place for place, part in enumerate(_PARTS)}
_NAME = re.compile(r"[a-z][a-z0-9-]*")
_DASH = re.compile(r"(?<!\d)-|-(?!\d)")  # between words; "3-2" keeps its own


def part_layer(part: str) -> str:
    """What a part belongs to: "hands", "feet", "click", the band's "bass" or "chords", or else
    "percussion" beside the drummer."""
    return _PARTS.get(part, _PARTS[PERCUSSION])[1]


def part_title(part: str) -> str:
    """A part in words: "Right hand", "Click", "Son clave 3-2"; a typed pattern as it is."""
    if part in _PARTS:
        return _PARTS[part][0]
    return _DASH.sub(" ", part.capitalize()) if _NAME.fullmatch(part) else part


def part_place(part: str) -> int:
    """Where a part stands among others: hands, feet, percussion and time layers, bass and chords,
    the click; the same in every file, so that their tracks line up."""
    return _PLACES.get(part, _PLACES[PERCUSSION])
