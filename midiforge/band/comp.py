"""Comping: a style's figure on voiced chords, led from one to the next."""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from midiforge.band.figures import Stroke, next_beat, over, struck_again
from midiforge.band.hand import HANDS, Hand, voiced
from midiforge.band.montuno import minor_key, outer_voice
from midiforge.band.progression import Progression
from midiforge.band.voice_leading import Voicing
from midiforge.library.band import Figure
from midiforge.model.band import Tone
from midiforge.model.meter import Meter

COMP = "comp"

_AHEAD = "nNOI"  # marks that play the chord of the next beat
_VELOCITIES = {"X": 74, "N": 74, "s": 48, "g": 32, "o": 76, "O": 82, "i": 68, "I": 72}
_VELOCITY = 62
_GHOST, _OUTER, _ADDED, _ADDED_INNER = "g", "oO", "x", "i"
_SPOKEN = Fraction(8, 5)  # how many times its step a stroke of a montuno is held


class _Played(NamedTuple):
    """A stroke, and a moment of the chord that it plays."""

    stroke: Stroke
    of: Fraction


def comping(
    figure: Figure,
    progression: Progression,
    form: Fraction,
    meter: Meter,
    length: Fraction,
    lowest: int,
    highest: int,
) -> Iterator[Tone]:
    """The tones of a chord instrument over `length` quarter notes.

    form: after how many quarter notes the figure is begun anew.
    lowest, highest: what the instrument has; the figure's own range is kept within it.
    """
    hand = HANDS[figure.hand]
    low, high = max(figure.lowest, lowest), min(figure.highest, highest)
    voicings = voiced(progression, hand, low, high, lowest)
    starts = [change.time for change in progression.changes]
    turns = progression.turns(length)

    def voicing(time: Fraction) -> Voicing:
        return voicings[bisect_right(starts, time % progression.length) - 1]

    strokes = struck_again(list(over(figure, form, length)), turns)
    played = _all_heard(list(_anticipating(strokes, meter)), progression, turns, length, hand)
    outer: dict[Fraction, int] = {}
    if hand.octave:
        outer = _outer(played, progression, meter, length, voicing, (lowest, highest - 12))
    ends = [*turns, length]
    for stroke, of in played:
        held = stroke.length
        if stroke.mark == _GHOST:
            held /= 2
        elif hand.octave:
            until = ends[min(bisect_right(ends, of), len(ends) - 1)]
            held = min(held * _SPOKEN, until - stroke.time)
        velocity = _velocity(stroke)
        for pitch in _struck(stroke, voicing(of), hand, outer.get(stroke.time)):
            yield Tone(stroke.time, held, pitch, velocity, COMP)


def _anticipating(strokes: Iterator[Stroke], meter: Meter) -> Iterator[_Played]:
    """The strokes with the moments of their chords; what is held into the chord that it
    anticipates is one stroke."""
    last: _Played | None = None
    for stroke in strokes:
        if stroke.goes_on and last and stroke.time == last.of == last.stroke.end:
            longer = last.stroke._replace(length=last.stroke.length + stroke.length)
            last = last._replace(stroke=longer)
            continue
        if last:
            yield last
        ahead = stroke.mark in _AHEAD and not (stroke.at_top or stroke.goes_on)
        last = _Played(stroke, next_beat(meter, stroke.time) if ahead else stroke.time)
    if last:
        yield last


def _all_heard(
    played: list[_Played],
    progression: Progression,
    turns: Sequence[Fraction],
    length: Fraction,
    hand: Hand,
) -> list[_Played]:
    """The strokes, and one where each chord begins that would not be heard at all."""
    heard = {bisect_right(turns, each.of % length) for each in played if each.stroke.mark != _GHOST}
    times = sorted(each.stroke.time for each in played)
    added = []
    for number, turn in enumerate(turns, start=1):
        if number in heard or progression.at(turn) is None:
            continue
        after = times[bisect_right(times, turn) :]
        end = min([turn + 1, *turns[number : number + 1], *after[:1], length])
        mark = _ADDED_INNER if hand.octave else _ADDED
        added.append(_Played(Stroke(turn, end - turn, mark), turn))
    # A ghost of the chord before gives way.
    there = {each.stroke.time for each in added}
    kept = [each for each in played if each.stroke.time not in there]
    return sorted([*kept, *added], key=lambda each: each.stroke.time)


def _outer(
    played: Sequence[_Played],
    progression: Progression,
    meter: Meter,
    length: Fraction,
    voicing: Callable[[Fraction], Voicing],
    bounds: tuple[int, int],
) -> dict[Fraction, int]:
    """The outer voice of a montuno, by the times of its strokes.

    bounds: MIDI note numbers that it stays within.
    """
    turns = progression.turns(length)
    key = minor_key(change.chord for change in progression.changes if change.chord)
    groups: dict[tuple[int, int], list[_Played]] = {}
    for each in played:
        if each.stroke.mark in _OUTER:
            of = each.of % length
            groups.setdefault((of // meter.bar, bisect_right(turns, of)), []).append(each)
    found: dict[Fraction, int] = {}
    for (bar, number), group in groups.items():
        # What anticipates the top of the loop is played at its end, and comes before its beginning.
        group.sort(key=lambda each: (each.of % length, each.of < length))
        of = group[0].of % length
        chord, own = progression.at(of), voicing(of)
        end = min([(bar + 1) * meter.bar, *turns[number : number + 1]])
        after = voicing(end)
        if chord is None or not own:
            continue
        line = outer_voice(chord, own[0], (after or own)[0], len(group), bar, key)
        if not all(bounds[0] <= pitch <= bounds[1] for pitch in line):
            line = [own[0]] * len(group)
        found.update(zip((each.stroke.time for each in group), line, strict=True))
    return found


def _struck(stroke: Stroke, voicing: Voicing, hand: Hand, outer: int | None) -> Voicing:
    """The voices that a stroke plays. outer: the pitch of a montuno's outer voice."""
    if stroke.mark == _GHOST:
        return voicing[:1]
    if not hand.octave or not voicing:
        return voicing
    if outer is not None:
        return (outer, outer + 12)
    return voicing[1:] or voicing


def _velocity(stroke: Stroke) -> int:
    # A chord that a change breaks was accented when it began.
    if stroke.goes_on and stroke.mark == "X":
        return _VELOCITY
    return _VELOCITIES.get(stroke.mark, _VELOCITY)
