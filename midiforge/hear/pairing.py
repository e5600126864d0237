"""Expected strokes and played ones, paired."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from operator import attrgetter
from statistics import fmean, median
from typing import NamedTuple

from midiforge.hear.expected import Due
from midiforge.hear.figures import slope
from midiforge.hear.follow import SAME_TEMPO, Line
from midiforge.hear.kinds import ORNAMENT_MS, Dues, Kinds, told
from midiforge.hear.match import match
from midiforge.hear.opening import Heard
from midiforge.hear.pads import SOFTER, Hearing, explain
from midiforge.hear.placing import Placed, keeps_tempo
from midiforge.hear.start import due_time
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS

_PLAYED_ALONG = 0.34  # of a call; who plays less of it listens, as the form asks


_Times = tuple[list[float], list[int]]  # and the number of what was then


class Same(NamedTuple):
    """A stroke of the music. due: the first time; all, met: each time, by index of the due, and
    those when it was played as written."""

    due: Due
    all: list[int]
    met: list[int]


class Pairing:
    """Which played stroke is which expected one, and how far from it.

    dues: what was expected while the take lasted. when: in the take, by the player's own time.
    coming: what would have been due next, and when; its grace notes may be in the take.
    strokes, before: since the exercise begins, and what was played before.
    met: the stroke, by its place in `strokes`, of each due that was played as written, by index.
    moved, pulled: that of each due that came on another pad, or a place early or late.
    velocities: of the stroke of each due that was played as written, by the due's index.
    became: which of these, or "missed", each due is, by index.
    offs: how far from its due the stroke of each due is, in ms, by the due's index.
    kinds: what strokes are that belong to no due, by index in the take.
    extras, added: those that are wrong, and those that are music all the same.
    stretch: seconds of the take to a second of the exercise.
    """

    def __init__(
        self,
        take: Take,
        exercise: Exercise,
        kit: Kit,
        hearing: Hearing,
        placed: Placed,
        known_delay_ms: float | None,
    ) -> None:
        self.take, self.exercise, self.kit, self.hearing = take, exercise, kit, hearing
        self.placed, self.known_delay_ms = placed, known_delay_ms
        self.stretch = placed.line.stretch
        self.quarter = float(exercise.tempo.quarter(Fraction(1)))
        self.bar = float(exercise.meter.bar) * self.quarter
        tempo = exercise.tempo
        self._tempo_starts = [float(tempo.seconds(Fraction(0), at)) for at, _ in tempo.changes]
        self._pulses = [float(pulses) for _, pulses in tempo.changes]
        self.window = placed.window * max(1.0, min(self.stretch, 1.5))
        self.when = placed.line.all(due.time for due in placed.dues)
        begins = min(placed.start.offset, *self.when[:1]) - max(self.window, ORNAMENT_MS / 1000)
        since = bisect_left(hearing.strokes[:-1], begins, key=attrgetter("time"))
        self.strokes, self.before = hearing.strokes[since:], hearing.strokes[:since]
        self.dues = self._in_time()
        self.met = self._match()
        self.dues = self._asked()
        self.coming = self._coming()
        self._leave_out(self._calls_listened_to())
        self.step_ms = self._step_ms()
        kinds = self._told()
        self.moved, self.pulled = kinds.moved, kinds.pulled
        before = dict.fromkeys((stroke.which for stroke in self.before), "before")
        self.kinds = {**before, **kinds.besides}
        self.became = self._became()
        self.velocities = {i: self.strokes[j].velocity for i, j in self.met.items()}
        self.extras, self.added = self._besides("extra"), self._besides("added")
        self.offs = self._offs()

    def _step_ms(self) -> float:
        """A grid step in ms; on average, where the tempo changes."""
        quarter = self.quarter
        if not self.exercise.tempo.is_steady and self.dues:
            tempos = [self.pulses_at(due.time) for due in self.dues]
            quarter = 60 / float(self.exercise.tempo.pulse) * len(tempos) / sum(tempos)
        return 1000 * float(self.exercise.step) * quarter * self.stretch

    def pulses_at(self, due: float) -> float:
        """The tempo asked for at a time of the exercise, in pulses a minute."""
        return self._pulses[max(bisect_right(self._tempo_starts, due + 1e-9), 1) - 1]

    def _in_time(self) -> list[Due]:
        """What may have been due up to the last stroke."""
        last = self.strokes[-1].time + self.placed.window
        return self.placed.dues[: bisect_right(self.when, last)]

    def _asked(self) -> list[Due]:
        """What was due: up to the last stroke, and nothing after it of who did not go on."""
        self._without_last_graces()
        last = self.strokes[-1].time
        end = bisect_right(self.when, last, hi=len(self.dues))
        if self.met:
            reached = self.dues[max(self.met)].time
            end = max(end, bisect_right(self.dues, reached, key=due_time))
        return self.dues[:end]

    def _without_last_graces(self) -> None:
        """A grace note before a downbeat that never comes is no stroke on it.

        A loop ends with what leads into its beginning.
        """
        while self.met:
            i = max(self.met)
            stroke, due = self.strokes[self.met[i]], self.dues[i]
            ornament = due.hit.ornament
            if stroke.time >= self.when[i] or ornament is None or not ornament.grace_notes:
                return
            others = [
                self.strokes[j].velocity
                for k, j in self.met.items()
                if k < i and self.dues[k].hit.strength is due.hit.strength
            ]
            if not others or stroke.velocity > SOFTER * median(others):
                return
            del self.met[i]

    def _coming(self) -> list[tuple[Due, float]]:
        end, dues = len(self.dues), self.placed.dues
        stop = end
        while stop < len(dues) and dues[stop].time == dues[end].time:
            stop += 1
        return [(dues[i], self.when[i]) for i in range(end, stop)]

    def _calls_listened_to(self) -> set[int]:
        """The dues, by index, of calls that were not played along with, unmet as they are."""
        found: set[int] = set()
        numbered = enumerate(self.dues)
        for call, some in groupby(numbered, key=lambda each: each[1].call):
            if not call:
                continue
            mine: dict[bool, list[int]] = {True: [], False: []}
            for i, due in some:
                mine[due.hit.limb in HANDS].append(i)
            for own in mine.values():
                missed = [i for i in own if i not in self.met]
                if len(missed) > (1 - _PLAYED_ALONG) * len(own):
                    found.update(missed)
        return found

    def _leave_out(self, some: set[int]) -> None:
        if not some:
            return
        kept = [i for i in range(len(self.dues)) if i not in some]
        self.met = {new: self.met[old] for new, old in enumerate(kept) if old in self.met}
        self.dues = [self.dues[i] for i in kept]
        self.when = [self.when[i] for i in kept]

    def _match(self) -> dict[int, int]:
        """The stroke (by its place among the heard ones) of each due, by index."""
        lines: dict[str, _Times] = defaultdict(lambda: ([], []))
        for i, (due, time) in enumerate(zip(self.dues, self.when, strict=False)):
            times, numbers = lines[due.pad]
            times.append(time)
            numbers.append(i)
        heard: dict[str, _Times] = defaultdict(lambda: ([], []))
        aside: dict[str, _Times] = defaultdict(lambda: ([], []))
        companions = self.placed.companions
        for j, stroke in enumerate(self.strokes):
            some = aside if stroke.which in companions else heard
            times, numbers = some[stroke.pad]
            times.append(stroke.time)
            numbers.append(j)
        met: dict[int, int] = {}
        for pad, line in lines.items():
            mine = self._paired(line, heard[pad])
            if aside[pad][0] and len(mine) < len(line[0]):
                left = [k for k, i in enumerate(line[1]) if i not in mine]
                line = [line[0][k] for k in left], [line[1][k] for k in left]
                mine |= self._paired(line, aside[pad])
            met |= mine
        return met

    def _paired(self, dues: _Times, played: _Times) -> dict[int, int]:
        """Pairs by number."""
        pairs = match(dues[0], played[0], self.window)
        return {dues[1][i]: played[1][j] for i, j in pairs}

    def _told(self) -> Kinds:
        besides = explain(
            self.strokes,
            {self.strokes[j].which: self.dues[i] for i, j in self.met.items()},
            self.stretch,
            self.coming,
        )
        pads: dict[bool, set[str]] = {True: set(), False: set()}
        for due in self.dues:
            pads[due.hit.limb in HANDS].add(due.pad)
        dues = Dues(self.dues, self.when, self.step_ms / 1000, self.quarter * self.stretch)
        hands, feet = (frozenset(pads[is_hand]) for is_hand in (True, False))
        return told(dues, self.strokes, self.met, besides, self.window, hands, feet)

    def _became(self) -> list[str]:
        """What became of each due, by its index."""
        became = ["missed"] * len(self.dues)
        for kind, paired in (("hit", self.met), ("moved", self.moved), ("pulled", self.pulled)):
            for i in paired:
                became[i] = kind
        return became

    @cached_property
    def coming_round(self) -> list[Same]:
        """The dues, those together that are one stroke of the music, time after time."""
        numbers: dict[int, list[int]] = {}
        for i, due in enumerate(self.dues):
            if (key := id(due.hits)) in numbers:
                numbers[key].append(i)
            else:
                numbers[key] = [i]
        met = self.met
        return [
            Same(self.dues[some[0]], some, [i for i in some if i in met])
            for some in numbers.values()
        ]

    def _besides(self, kind: str) -> list[Heard]:
        return [stroke for stroke in self.strokes if self.kinds.get(stroke.which) == kind]

    def _offs(self) -> dict[int, float]:
        """How far from its due each stroke that has one is, in ms, by the due's index."""
        strokes, when = self.strokes, self.when
        paired = (*self.met.items(), *self.moved.items(), *self.pulled.items())
        offs = {i: 1000 * (strokes[j].time - when[i]) for i, j in paired}
        due, known = self._downbeat_due(), self.known_delay_ms
        if due is None or known is None or not self.met:
            return offs
        apart = [1000 * (when[i] - due - self.dues[i].time) - known for i in self.met]
        if max(apart) - min(apart) <= 1000 * self.window:
            return {
                i: 1000 * (strokes[j].time - due - self.dues[i].time) - known for i, j in paired
            }
        # Who wanders from the click is told by the own time, as far from the click as the whole is.
        shift = fmean(apart)
        return {i: off + shift for i, off in offs.items()}

    def whole(self) -> float | None:
        """How far the whole lies from when it was due, in ms."""
        due = self._downbeat_due()
        if due is None or not self.met:
            return None
        offs = [self.strokes[j].time - due - self.dues[i].time for i, j in self.met.items()]
        return 1000 * median(offs)

    @property
    def start(self) -> float:
        """When the first downbeat is, in seconds of the take: by the click, if that is known."""
        due = self._downbeat_due()
        return self.placed.line.start if due is None else due

    def _downbeat_due(self) -> float | None:
        """When the first downbeat was due: by the take's mark, or by the beat of its file."""
        if abs(self.stretch - 1) > SAME_TEMPO:
            return None
        if self.take.start is not None:
            return self.take.start
        return _file_s_beat(self.take, self.exercise, self.placed.start.offset)

    def drift(self) -> float | None:
        """How much later each bar comes than a steady tempo would have it, in ms."""
        line = self.placed.line
        if len(line.dues) < 3 or line.dues[-1] - line.dues[0] < 2 * self.bar:
            return None
        stretch = 1.0 if self._to_the_click() else self.stretch
        points = [
            (due / self.bar, 1000 * (time - due * stretch - _jumped(line, due)))
            for due, time in zip(line.dues, line.times, strict=True)
        ]
        found = slope(points)
        # Off the click a steady tempo of one's own is no drift; a changing one is.
        return found if self._to_the_click() else _bend(points)

    def _to_the_click(self) -> bool:
        return abs(self.stretch - 1) <= SAME_TEMPO


def _jumped(line: Line, due: float) -> float:
    """By how much the player went on later where the place was lost before `due`, in seconds."""
    return sum(shift for at, shift in line.jumps if at <= due)


def _bend(points: Sequence[tuple[float, float]]) -> float | None:
    """How much the pace changes from the first half to the second, as a slope in ms a bar."""
    half = len(points) // 2
    first, second = slope(points[: half + 1]), slope(points[half:])
    if first is None or second is None:
        return None
    return (second - first) / 2


def _file_s_beat(take: Take, exercise: Exercise, offset: float) -> float | None:
    """The beat of the file that is nearest to the start, if the file keeps the exercise's tempo."""
    if not keeps_tempo(take, exercise):
        return None
    beat = 60 / take.tempos[0][1] * float(exercise.meter.pulse)
    nearest = round(offset / beat) * beat
    return nearest if abs(nearest - offset) < min(beat / 4, 0.12) else None
