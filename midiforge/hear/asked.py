"""What an exercise asks for at first, laid out once for all takes that it is looked for in."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from midiforge.frozen import frozen
from midiforge.hear.entrance import Bars
from midiforge.hear.expected import Due, expected, pad_of
from midiforge.hear.opening import Part, Wanted
from midiforge.hear.pads import COMPANION_MS
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Strength

_LOOK_AHEAD = 120.0  # seconds of the exercise among which the start is looked for
_LEAST_WINDOW, _MOST_WINDOW = 0.03, 0.12  # seconds
_MOST_KEPT = 32  # exercises; more than a take is compared with


T = TypeVar("T")
_Of = Callable[[Exercise, Kit], T]


@frozen
class Rule:
    """How near strokes are to what they belong to, at the exercise's tempo.

    window: how far a stroke may be from where it is due, in seconds.
    closest: how far the two nearest strokes of different times are apart, in seconds.
    graces: the pads on which the grace notes of a pad's strokes are played.
    """

    window: float
    closest: float
    graces: dict[str, frozenset[str]]

    @property
    def companion(self) -> float:
        """How far a stroke may be from a louder one of its pad that it goes with, in seconds.

        Less than a window, so that no stroke of a fast exercise is taken for another's companion.
        """
        return min(COMPANION_MS / 1000, 0.8 * self.window)

    @property
    def grace(self) -> float:
        """How shortly before its stroke a grace note on another pad comes, in seconds."""
        return min(COMPANION_MS / 1000, 0.75 * self.closest)


@frozen
class Asked:
    """What is due for as long as an entrance is looked for.

    bars: of the exercise, so long. part: what is due in them. rule: how strokes are paired with it.
    """

    bars: Bars
    part: Part
    rule: Rule


def kept(most: int) -> Callable[[_Of[T]], _Of[T]]:
    """Keeps what was found of so many exercises on their kits, for the next take.

    Of the same ones, not of equal ones, for to find out that they are equal takes as long.
    """

    def keeping(work: _Of[T]) -> _Of[T]:
        keep: dict[tuple[int, int], tuple[Exercise, Kit, T]] = {}

        def of(exercise: Exercise, kit: Kit) -> T:
            key = id(exercise), id(kit)
            held = keep.pop(key, None) or (exercise, kit, work(exercise, kit))
            keep[key] = held
            if len(keep) > most:
                del keep[next(iter(keep))]
            return held[2]

        return of

    return keeping


@kept(_MOST_KEPT)
def asked(exercise: Exercise, kit: Kit) -> Asked:
    """What an exercise asks for on a kit."""
    bars = _bars(exercise)
    dues = expected(exercise, kit, bars.lines[-1])
    wanted = [
        Wanted(due.time, due.pad, due.hit.strength is Strength.ACCENT, due.call) for due in dues
    ]
    return Asked(bars, Part(wanted), _rule(dues, exercise))


def rule_of(exercise: Exercise, kit: Kit) -> Rule:
    """How strokes of an exercise on a kit are paired; twice round tells, with its seam."""
    end = exercise.loop_start + 2 * exercise.returns_after_bars * exercise.meter.bar
    seconds = float(end * exercise.tempo.quarter(Fraction(1)))
    return _rule(expected(exercise, kit, seconds), exercise)


def _rule(dues: Sequence[Due], exercise: Exercise) -> Rule:
    return Rule(_window(dues, exercise), _closest(dues), _grace_pads(dues))


def _bars(exercise: Exercise) -> Bars:
    """The exercise's bars, for as long as its entrance is looked for, and once round more."""
    bar, tempo = exercise.meter.bar, exercise.tempo
    if not tempo.is_steady:
        many = int(exercise.length / bar)
        lines = [float(tempo.seconds(Fraction(0), i * bar)) for i in range(many + 1)]
        return Bars(lines, 0, 0, 1)
    length = float(bar * tempo.quarter(Fraction(1)))
    first, once = int(exercise.loop_start / bar), exercise.returns_after_bars
    beats = int(bar / exercise.meter.beat) or 1
    many = first + 2 * once + int(_LOOK_AHEAD / length) + 1
    return Bars([i * length for i in range(many + 1)], first, once, beats)


def _window(dues: Sequence[Due], exercise: Exercise) -> float:
    """How far a stroke may be from where it is due: not half way to the next of its pad."""
    last: dict[str, float] = {}
    closest = float(exercise.step * exercise.tempo.quarter(Fraction(1))) * 2
    for due in dues:
        if due.pad in last and due.time > last[due.pad]:
            closest = min(closest, due.time - last[due.pad])
        last[due.pad] = due.time
    return max(_LEAST_WINDOW, min(_MOST_WINDOW, 0.5 * closest))


def _grace_pads(dues: Sequence[Due]) -> dict[str, frozenset[str]]:
    pads: dict[str, set[str]] = defaultdict(set)
    for due in dues:
        for hit in due.hits:
            if hit.ornament and hit.ornament.voice:
                pads[due.pad].add(pad_of(hit.ornament.voice))
    return {pad: frozenset(others) for pad, others in pads.items()}


def _closest(dues: Sequence[Due]) -> float:
    gaps = [two.time - one.time for one, two in pairwise(dues) if two.time > one.time]
    return min(gaps, default=1.0)
