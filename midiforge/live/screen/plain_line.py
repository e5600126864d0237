"""One line an exercise, for a screen that is none."""

from midiforge.live.playing.route import Place
from midiforge.model.tempo import plain


def plain_line(place: Place) -> str:
    """The exercise that begins: its tempo, how often it goes round, and how long that takes."""
    exercise = place.playable.exercise
    tempo = plain(place.playable.bars[0].tempo)
    lasting = "for ever"
    if place.times:
        lasting = f"{float(exercise.lasting(place.times)):.0f} s"
        if place.times > 1:
            lasting = f"{place.times} times, {lasting}"
    return f"{exercise.number}. {exercise.title}, {tempo} bpm, {lasting}"
