"""After how many bars an exercise repeats, its chords and its band too."""

from collections.abc import Collection
from fractions import Fraction
from math import lcm

from midiforge.library import shelf
from midiforge.model.exercise import Exercise
from midiforge.notation.chords import chord_signs
from midiforge.notation.swells import hairpins
from midiforge.phrase.phrase import period


def heard_only(exercise: Exercise) -> frozenset[str]:
    """The members of the band that are heard and not written.

    Timelines of the library are written, as time layers are; what others add is not: a page full
    of their lines would hide the drummer's own.
    """
    return frozenset(
        member.name for member in exercise.band if member.name not in shelf.ostinatos()
    )


def bars_round(exercise: Exercise, heard: Collection[str] = ()) -> int:
    """After how many bars what is written repeats: strokes, time layers, chords, hairpins.

    heard: members of the band, and the click, that must repeat too though they are not written;
        the level then must as well, where it changes too slowly for hairpins.
    A progression longer than the loop makes it longer; it is never longer than what there is.
    """
    returns = exercise.returns_after_bars
    bar, there = exercise.meter.bar, exercise.loop_bars
    swells = hairpins(exercise)
    layers = {member.name for member in exercise.band} - heard_only(exercise) | {*heard}
    if not (exercise.chords or layers or any(swells)) or there <= returns:
        return returns
    bars: list[list[object]] = [[swell] for swell in swells]
    for number, signs in enumerate(chord_signs(exercise)):
        bars[number] += ((sign.time, sign.symbol) for sign in signs)
    for hit in exercise.hits if layers else ():
        if hit.layer in layers:
            _into(bars, bar, hit.time, (hit.voice, hit.strength, hit.layer))
    if heard and exercise.dynamics.points:
        level = exercise.dynamics.level
        for number, content in enumerate(bars):
            content.append((level(number * bar), level(number * bar + bar / 2)))
    for tone in exercise.tones if heard else ():
        if tone.member in heard:
            _into(bars, bar, tone.time, (tone.length, tone.pitch, tone.velocity, tone.member))
    once = lcm(returns, period(bars[exercise.loop_bar :]))
    return there if there % once else once


def _into(bars: list[list[object]], bar: Fraction, time: Fraction, what: object) -> None:
    number, within = divmod(time, bar)
    if 0 <= number < len(bars):
        bars[number].append((within, what))
