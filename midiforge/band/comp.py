"""Comping: a style's figure on voiced chords, led from one to the next."""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

from midiforge.band.band import PitchedPart
from midiforge.band.chart import Attack, Chart
from midiforge.band.hand import HANDS, Hand, Voicing
from midiforge.band.montuno import minor_key, outer_voice
from midiforge.band.voice_leading import voiced
from midiforge.model.band import COMP, Tone

_VELOCITIES = {"X": 74, "N": 74, "s": 48, "g": 32, "o": 76, "O": 82, "i": 68, "I": 72}
_VELOCITY = 62
_GHOST, _OUTER, _ADDED, _ADDED_INNER = "g", "oO", "x", "i"
_SPOKEN = Fraction(8, 5)  # how many times its step an attack of a montuno is held


def comping(part: PitchedPart, chart: Chart) -> Iterator[Tone]:
    """The tones of a chord instrument."""
    figure, instrument = part.figure, part.instrument
    hand = HANDS[figure.hand]
    voicings = voiced(chart.progression, hand, figure.lowest, figure.highest, instrument.lowest)

    def voicing(time: Fraction) -> Voicing:
        return voicings[chart.place(time) % len(voicings)]

    attacks = _all_heard(chart.played(chart.attacks(figure)), chart, hand)
    outer: dict[Fraction, int] = {}
    if hand.octave:
        outer = _outer(attacks, chart, voicing, (instrument.lowest, instrument.highest - 12))
    for attack in attacks:
        held = attack.length
        if attack.mark == _GHOST:
            held /= 2
        elif hand.octave:
            held = min(held * _SPOKEN, chart.ends(attack.of) - attack.time)
        # A chord that a change breaks was accented when it began.
        plain = attack.goes_on and attack.mark == "X"
        velocity = _VELOCITY if plain else _VELOCITIES.get(attack.mark, _VELOCITY)
        for pitch in _struck(attack, voicing(attack.of), hand, outer.get(attack.time)):
            yield Tone(attack.time, held, pitch, velocity, COMP)


def _all_heard(attacks: Sequence[Attack], chart: Chart, hand: Hand) -> list[Attack]:
    """The attacks, and one where each chord begins that would not be heard at all."""
    heard = {chart.began(attack.of) for attack in attacks if attack.mark != _GHOST}
    times = sorted(attack.time for attack in attacks)
    added = {}
    for turn in chart.turns:
        if turn in heard or chart.chord(turn) is None:
            continue
        after = times[bisect_right(times, turn) :]
        end = min([turn + 1, chart.ends(turn), *after[:1]])
        mark = _ADDED_INNER if hand.octave else _ADDED
        added[turn] = Attack(turn, end - turn, mark, turn)
    # A ghost of the chord before gives way.
    kept = [attack for attack in attacks if attack.time not in added]
    return sorted([*kept, *added.values()], key=lambda attack: attack.time)


def _outer(
    attacks: Sequence[Attack],
    chart: Chart,
    voicing: Callable[[Fraction], Voicing],
    bounds: tuple[int, int],
) -> dict[Fraction, int]:
    """The outer voice of a montuno, by the times of its attacks.

    bounds: MIDI note numbers that it stays within.
    """
    key = minor_key(change.chord for change in chart.progression.changes if change.chord)
    length, size = chart.length, chart.meter.bar
    groups: dict[tuple[int, Fraction], list[Attack]] = {}
    for attack in attacks:
        if attack.mark in _OUTER:
            of = attack.of % length
            groups.setdefault((of // size, chart.began(of)), []).append(attack)
    outer: dict[Fraction, int] = {}
    for (bar, began), group in groups.items():
        # What anticipates the top of the loop is played at its end, and comes before its beginning.
        group.sort(key=lambda attack: (attack.of % length, attack.of < length))
        of = group[0].of % length
        chord, own = chart.chord(of), voicing(of)
        after = voicing(min((bar + 1) * size, chart.ends(began)))
        if chord is None or not own:
            continue
        line = outer_voice(chord, own[0], (after or own)[0], len(group), bar, key)
        if not all(bounds[0] <= pitch <= bounds[1] for pitch in line):
            line = [own[0]] * len(group)
        outer.update(zip((attack.time for attack in group), line, strict=True))
    return outer


def _struck(attack: Attack, voicing: Voicing, hand: Hand, outer: int | None) -> Voicing:
    """The voices that an attack plays. outer: the pitch of a montuno's outer voice."""
    if attack.mark == _GHOST:
        return voicing[:1]
    if not hand.octave or not voicing:
        return voicing
    if outer is not None:
        return (outer, outer + 12)
    return voicing[1:] or voicing
