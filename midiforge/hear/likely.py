"""How like a take each of several exercises is, by the take's beginning.

Each is looked at once, and at no more tempos than it takes: first at those that the exercises are
to be played at. One that is clearly like the take tells its tempo, and the others are tried at that
one besides; every tempo is tried only until one is. Where only the likeliest matter, those are not
looked at that explain clearly less of what that one is told by, wherever they may begin.

Of very many exercises only some are looked at: those in which the same strokes follow each other,
after as long, as in the take. That can be told without knowing where the take begins; at which
tempo it is, a few of them tell, however like it they are.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median
from typing import Any

from midiforge.frozen import frozen
from midiforge.hear.accents import Strokes, strokes
from midiforge.hear.expected import pad_of
from midiforge.hear.opening import Start
from midiforge.hear.pads import NEAR
from midiforge.hear.placing import explained, likely_start
from midiforge.hear.start import CLOSE, FASTEST, SLOWEST
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.model.tempo import TempoMap

CLEARLY_LIKE = 0.85  # a take that its exercise explains less of may be of another
_OPENING = 2000  # strokes that are looked at to compare exercises
_SAMPLES = 3  # exercises that tell the tempo
_FOLLOWED, _REACH, _PARTS = 256, 2.0, 12  # strokes, how far they reach, and parts of a quarter
_AT_ONCE = 0.04  # seconds within which strokes are meant for one moment; ours
_SAME = 0.03  # as a share: tempos no further apart are told by one try
_CLEARLY_LESS = 0.1  # explained of the same strokes: it is not as like the take; ours


@frozen
class _Looked:
    """What was found of an exercise. paces: the tempos that it was tried at besides its own, in
    quarter notes a minute; None for all."""

    start: Start | None
    paces: Sequence[float] | None


class Likely:
    """The exercises that a take may be of."""

    def __init__(self, take: Take, kit: Kit) -> None:
        self._take, self._kit = replace(take, strokes=take.strokes[:_OPENING]), kit
        self._keys: dict[Number, tuple[Strokes, TempoMap]] = {}
        self._looked: dict[tuple[Strokes, TempoMap], _Looked] = {}
        self._own: Sequence[float] = ()  # at which they are to be played, quarter notes a minute
        self._pace: float | None = None  # of what is clearly like the take

    def compare(
        self, exercises: Sequence[Exercise], paces: Iterable[float], best: bool = False
    ) -> Sequence[Exercise]:
        """Looks at several, and gives those.

        paces: at which they are to be played, in quarter notes a minute. best: whether only those
        matter that are most like the take.
        """
        self._own = sorted({*self._own, *paces})
        if best and self._pace is None:
            exercises = sorted(exercises, key=self._explains, reverse=True)
        for exercise in exercises:
            if self._pace is not None:
                break
            self._look(exercise, self._own)
        if best and self._pace is not None:
            start = self.start(max(exercises, key=self.like))
            if start and start.share >= CLEARLY_LIKE:
                least = start.share - _CLEARLY_LESS
                exercises = [
                    each for each in exercises if self._explains(each, start.offset) >= least
                ]
        for exercise in sorted(exercises, key=self.like, reverse=True):
            self.start(exercise)
        return exercises

    def _explains(self, exercise: Exercise, since: float = 0.0) -> float:
        """How much of the strokes since then the exercise explains, 0 to 1, wherever it begins, at
        the tempos that are known."""
        return explained(self._take, exercise, self._kit, since, _stretches(exercise, self._paces))

    def most_like(
        self, exercises: Sequence[Exercise], paces: Iterable[float], most: int
    ) -> list[Exercise]:
        """So many of very many exercises as may be what was played, the likeliest first.

        paces: at which they are to be played, in quarter notes a minute.
        """
        heard = [
            (stroke.time, pad_of(voice))
            for stroke in self._take.strokes[:_FOLLOWED]
            if (voice := self._kit.voice(stroke.number, stroke.pedal))
        ]
        samples = exercises[:: -(-len(exercises) // _SAMPLES)]
        usual = _usual_gap([at for at, _ in heard], _AT_ONCE)
        asked = (_usual_gap([at for at, *_ in self._key(each)[0]], 0) for each in samples)
        self.compare(samples, {*paces, *(60 * gap / usual for gap in asked if gap and usual)})
        told = (_pace(each) / start.stretch for each in samples if (start := self.start(each)))
        self._own = sorted({*self._own, *told})
        played = [_followings([(at * pace / 60, pad) for at, pad in heard]) for pace in self._own]

        def shared(exercise: Exercise) -> float:
            asked = _followings([(at, pad) for at, pad, _ in self._key(exercise)[0]])
            return max((in_common(each, asked) for each in played), default=0.0)

        return sorted(exercises, key=shared, reverse=True)[:most]

    def start(self, exercise: Exercise) -> Start | None:
        """Where the take's beginning may be of the exercise; None if it has nothing of it."""
        return self._look(exercise, None if self._pace is None else self._paces)

    def like(self, exercise: Exercise) -> float:
        """How much of the take's beginning the exercise explains, 0 to 1, as far as was looked."""
        looked = self._looked.get(self._key(exercise))
        return looked.start.share if looked and looked.start else 0.0

    def fit(self, exercise: Exercise) -> float:
        """How much of the take's beginning the exercise explains, and how closely; 1 at best."""
        start = self.start(exercise)
        return start.fit if start else 0.0

    def tempo(self, exercise: Exercise) -> float:
        """The tempo at which the take's beginning is played if it is of this exercise, in pulses a
        minute; the exercise's own where none of it is."""
        start = self.start(exercise)
        return float(exercise.tempo.first) / (start.stretch if start else 1.0)

    @property
    def _paces(self) -> Sequence[float]:
        return self._own if self._pace is None else [*self._own, self._pace]

    def _key(self, exercise: Exercise) -> tuple[Strokes, TempoMap]:
        number = exercise.number
        if number not in self._keys:
            self._keys[number] = strokes(exercise, self._kit), exercise.tempo
        return self._keys[number]

    def _look(self, exercise: Exercise, paces: Sequence[float] | None) -> Start | None:
        key, quarter = self._key(exercise), _pace(exercise)
        looked = self._looked.get(key)
        if looked is None or _is_more(paces, looked.paces, quarter):
            stretches = None if paces is None else _stretches(exercise, paces)
            start = likely_start(self._take, exercise, self._kit, stretches)
            looked = self._looked[key] = _Looked(start, paces)
            if start and start.share >= CLEARLY_LIKE and start.apart <= CLOSE:
                self._pace = self._pace or quarter / start.stretch
        return looked.start


def _pace(exercise: Exercise) -> float:
    """In quarter notes a minute."""
    return float(exercise.tempo.first * exercise.tempo.pulse)


def _stretches(exercise: Exercise, paces: Iterable[float]) -> list[float]:
    """Seconds of the take to one of the exercise, where it is played at these tempos."""
    ratios = (_pace(exercise) / pace for pace in paces)
    return [each for each in ratios if SLOWEST <= each <= FASTEST]


def _usual_gap(times: Sequence[float], least: float) -> float:
    """How far moments with a stroke are apart, in the middle; 0 where there is one only."""
    return median([two - one for one, two in pairwise(times) if two - one > least] or [0.0])


def _followings(strokes: Sequence[tuple[float, str]]) -> Mapping[tuple[str, str, int], float]:
    """How often a stroke on one pad is followed by one on another after so many parts of a quarter
    note, as shares of all. strokes: when, in quarter notes, and on which pad, in order of time."""
    counted: Counter[tuple[str, str, int]] = Counter()
    for i, (at, pad) in enumerate(strokes):
        for later, other in strokes[i + 1 : i + 1 + NEAR]:
            if later - at > _REACH:
                break
            counted[pad, other, round(_PARTS * (later - at))] += 1
    total = counted.total()
    return {key: times / total for key, times in counted.items()}


def in_common(one: Mapping[Any, float], other: Mapping[Any, float]) -> float:
    """How much two sets of shares have in common, 0 to 1."""
    return sum(min(share, other.get(key, 0.0)) for key, share in one.items())


def _is_more(paces: Sequence[float] | None, tried: Sequence[float] | None, own: float) -> bool:
    """Whether there are tempos that were not tried."""
    if tried is None:
        return False
    if paces is None:
        return True
    return any(all(abs(pace / each - 1) > _SAME for each in (own, *tried)) for pace in paces)
