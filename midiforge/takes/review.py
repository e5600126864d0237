"""A take beside its exercise: what was played, when, how hard, and what was not.

Times are told from the player's own time, which is followed through the take (`follow`), so that
drift is told once and not of every stroke. A constant delay (of the module, the cable, the sound)
and how far the player is from the click as a whole look alike in a MIDI file: where the take or
the caller says when the first downbeat was due, their sum is given; the limbs' means are told
from the middle of all strokes, or from the click where the delay is known.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise
from operator import itemgetter
from statistics import median

from midiforge.errors import MidiforgeError
from midiforge.insight.places import place_name
from midiforge.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit, Limb, Strength
from midiforge.takes.expected import Due, expected, pad_of
from midiforge.takes.figures import (
    CountFigures,
    DoubleFigures,
    Levels,
    LimbFigures,
    RoundFigures,
    Tally,
    TempoFigures,
    TogetherFigures,
    deviation,
    mean,
    overlap,
    slope,
    timing,
)
from midiforge.takes.follow import Heard, Line, Start, by_pad, find_start, follow
from midiforge.takes.hearing import (
    COMPANION_MS,
    Hearing,
    companions,
    explain,
    hear,
    pads_of,
)
from midiforge.takes.match import match
from midiforge.takes.take import Take

LIMBS = (*HANDS, *FEET)
_LEAST_WINDOW, _MOST_WINDOW = 0.03, 0.12  # seconds
_LOOK_AHEAD = 90.0  # seconds of the exercise among which the start is looked for
_LIKE = 0.45  # explains less of the first strokes: the take is of something else
_MOST_DELAY = 0.4  # seconds; more is no delay but another start
_SAME_TEMPO = 0.006  # as a share; nearer than this the take was played to the click
# The player's time is taken to be even over so many strokes, and seconds.
_STRETCH_STROKES, _LEAST_STRETCH = 8, 1.0


@dataclass(frozen=True, slots=True)
class Judged:
    """A stroke that was expected, played, or both.

    kind: "hit", "missed", "extra", "double trigger", "crosstalk", "grace" or "bounce".
    due: what was expected; None if nothing was.
    time: seconds in the take; None if missed.
    off_ms: how far from where it was due by the player's own time, below 0 ahead; None without
        both. voice: as the kit heard it, or as it was expected if missed.
    """

    kind: str
    due: Due | None
    time: float | None
    off_ms: float | None
    velocity: int | None
    voice: str


@dataclass(frozen=True, slots=True)
class Review:
    """What there is to say of a take.

    like: how much of the take's beginning the exercise explains, 0 to 1.
    start: of the first downbeat, in seconds of the take, by the player's own time.
    delay_ms: how far the whole lies from when it was due: delay and habit together; None where
        nothing says when it was due.
    known_delay_ms: what of that is delay, if the caller knew.
    tempo, played_tempo: pulses a minute, asked and played on average.
    drift_ms_per_bar: below 0 rushing, above 0 dragging, against a steady tempo; None of less
        than three bars.
    bars: how many were played, about. step_ms: of the grid, at the tempo played.
    other_zones: (expected voice, heard voice) and how often, where the pad was right.
    remarks: what a reader has to know besides, one sentence each.
    """

    exercise: Exercise
    source: str
    like: float
    start: float
    delay_ms: float | None
    known_delay_ms: float | None
    tempo: float
    played_tempo: float
    drift_ms_per_bar: float | None
    bars: float
    seconds: float
    step_ms: float
    tally: Tally
    judged: tuple[Judged, ...]
    limbs: tuple[LimbFigures, ...]
    counts: tuple[CountFigures, ...]
    rounds: tuple[RoundFigures, ...]
    together: tuple[TogetherFigures, ...]
    doubles: tuple[DoubleFigures, ...]
    tempos: tuple[TempoFigures, ...]
    unknown: Mapping[int, int]
    kinds: Mapping[str, int]
    other_zones: Mapping[tuple[str, str], int]
    remarks: tuple[str, ...]
    line: Line


def review(take: Take, exercise: Exercise, kit: Kit, known_delay_ms: float | None = None) -> Review:
    """Compares a take with the exercise it is of.

    known_delay_ms: between a stroke and its arrival, if it was measured; what is left of the
        whole's distance from the click is then the player's.
    Raises MidiforgeError where the exercise asks the player for nothing, or no stroke of the take
    is on a pad that the kit knows.
    """
    hearing = _hear(take, exercise, kit)
    placed = _place(take, exercise, kit, hearing)
    return _Judge(take, exercise, kit, hearing, placed, known_delay_ms).review()


def likeness(take: Take, exercise: Exercise, kit: Kit) -> float:
    """How much of the take's beginning the exercise explains, 0 to 1."""
    try:
        return _place(take, exercise, kit, _hear(take, exercise, kit)).start.share
    except MidiforgeError:
        return 0.0


def _hear(take: Take, exercise: Exercise, kit: Kit) -> Hearing:
    own = [h for h in (*exercise.hits, *exercise.answers) if h.limb]
    others = {hit.voice for hit in exercise.hits if not hit.limb}
    graces = {h.ornament.voice for h in own if h.ornament and h.ornament.voice}
    players = pads_of({hit.voice for hit in own} | graces, kit)
    if not own:
        raise MidiforgeError(f"exercise {exercise.order} asks the player for nothing")
    hearing = hear(take, kit, pads_of(others, kit), players)
    if not hearing.strokes:
        notes = ", ".join(map(str, [*hearing.unknown][:8]))
        raise MidiforgeError(
            f"the kit {kit.name} knows none of the take's notes ({notes})",
            take.source,
            hint="name the kit it was played on with --kit",
        )
    return hearing


@dataclass(frozen=True, slots=True)
class _Placed:
    start: Start
    window: float
    line: Line
    dues: list[Due]
    companions: frozenset[int]


def _place(take: Take, exercise: Exercise, kit: Kit, hearing: Hearing) -> _Placed:
    """Where the exercise lies in the take."""
    look = expected(exercise, kit, _LOOK_AHEAD)
    window = _window(look, exercise)
    # Half a window, so that no stroke of a fast exercise is taken for another's companion.
    aside = companions(hearing.strokes, min(COMPANION_MS / 1000, 0.8 * window))
    strokes = [stroke for stroke in hearing.strokes if stroke.index not in aside]
    start = None
    if take.start is not None:
        start = _at_mark(look, strokes, take.start, window)
    if start is None:
        start = find_start(look, strokes, window)
    span = (strokes[-1].time - start.offset) / start.stretch + 1.0
    dues = expected(exercise, kit, span)
    dense = (dues[-1].time - dues[0].time) / max(len(dues) - 1, 1)
    line = follow(dues, strokes, start, window, max(_STRETCH_STROKES * dense, _LEAST_STRETCH))
    return _Placed(start, window, line, dues, aside)


def _window(dues: Sequence[Due], exercise: Exercise) -> float:
    """How far a stroke may be from where it is due: not half way to the next of its pad."""
    last: dict[str, float] = {}
    closest = float(exercise.step * exercise.tempo.quarter(Fraction(1))) * 2
    for due in dues:
        if due.pad in last and due.time > last[due.pad]:
            closest = min(closest, due.time - last[due.pad])
        last[due.pad] = due.time
    return max(_LEAST_WINDOW, min(_MOST_WINDOW, 0.5 * closest))


def _at_mark(
    dues: Sequence[Due], strokes: Sequence[Heard], mark: float, window: float
) -> Start | None:
    """The start that the take names, moved by its delay; None if that explains nothing."""
    found = find_start(
        [due for due in dues if due.time < 30],
        [stroke for stroke in strokes if stroke.time > mark - window],
        window,
    )
    near = round((found.offset - mark) / window) if window else 0
    if found.stretch == 1 and abs(found.offset - mark) <= _MOST_DELAY and near <= 8:
        return found
    offsets = []
    at: dict[str, list[float]] = defaultdict(list)
    for due in dues:
        at[due.pad].append(due.time + mark)
    for pad, heard in by_pad(strokes).items():
        pairs = match(at[pad], [each.time for each in heard], window)
        offsets += [heard[j].time - at[pad][i] for i, j in pairs]
    if len(offsets) < 4:
        return None
    return Start(mark + median(offsets), 1.0, max(found.share, _LIKE))


class _Judge:
    """Works out the figures of one review."""

    def __init__(
        self,
        take: Take,
        exercise: Exercise,
        kit: Kit,
        hearing: Hearing,
        placed: _Placed,
        known_delay_ms: float | None,
    ) -> None:
        self.take, self.exercise, self.kit, self.hearing = take, exercise, kit, hearing
        self.placed, self.known_delay_ms = placed, known_delay_ms
        self.strokes = hearing.strokes
        self.stretch = placed.line.stretch
        self.quarter = float(exercise.tempo.quarter(Fraction(1)))
        self.bar = float(exercise.meter.bar) * self.quarter
        self.when = placed.line.all(due.time for due in placed.dues)
        self.dues = self._asked()
        self.met = self._match()
        self.offs = self._offs()

    def _asked(self) -> list[Due]:
        """What was due between the first and the last stroke that has to do with it."""
        last = self.strokes[-1].time + self.placed.window
        return self.placed.dues[: bisect_right(self.when, last)]

    def _match(self) -> dict[int, int]:
        """The stroke (by its place among the heard ones) of each due, by index."""
        when = self.when
        lines: dict[str, list[tuple[float, int]]] = defaultdict(list)
        for i, due in enumerate(self.dues):
            lines[due.pad].append((when[i], i))
        heard: dict[str, list[tuple[float, int]]] = defaultdict(list)
        for j, stroke in enumerate(self.strokes):
            heard[stroke.pad].append((stroke.time, j))
        met: dict[int, int] = {}
        window = self.placed.window * max(1.0, min(self.stretch, 1.5))
        aside = {
            j for j, stroke in enumerate(self.strokes) if stroke.index in self.placed.companions
        }
        for pad, some in lines.items():
            played = heard[pad]
            met |= self._paired(some, [each for each in played if each[1] not in aside], window)
            left = [each for each in some if each[1] not in met]
            used = set(met.values())
            others = [each for each in played if each[1] in aside and each[1] not in used]
            if left and others:
                met |= self._paired(left, others, window)
        return met

    def _paired(
        self, dues: Sequence[tuple[float, int]], played: Sequence[tuple[float, int]], window: float
    ) -> dict[int, int]:
        """Pairs of (time, index) by index."""
        pairs = match([time for time, _ in dues], [time for time, _ in played], window)
        return {dues[i][1]: played[j][1] for i, j in pairs}

    def _offs(self) -> dict[int, float]:
        """How far from its due each stroke that met one is, in ms, by the due's index."""
        strokes, when = self.strokes, self.when
        offs = {i: 1000 * (strokes[j].time - when[i]) for i, j in self.met.items()}
        whole = self._whole()
        known = self.known_delay_ms
        shift = whole - known if whole is not None and known is not None else 0.0
        if shift:
            offs = {i: off + shift for i, off in offs.items()}
        return offs

    def _whole(self) -> float | None:
        """How far the whole lies from when it was due, in ms."""
        due = self._downbeat_due()
        if due is None or not self.met:
            return None
        offs = [self.strokes[j].time - due - self.dues[i].time for i, j in self.met.items()]
        return 1000 * median(offs)

    def _downbeat_due(self) -> float | None:
        """When the first downbeat was due: by the take's mark, or by the beat of its file."""
        if abs(self.stretch - 1) > _SAME_TEMPO:
            return None
        if self.take.start is not None:
            return self.take.start
        return _file_s_beat(self.take, self.exercise, self.placed.start.offset)

    # The review

    def review(self) -> Review:
        kinds = explain(
            self.strokes,
            {self.strokes[j].index: self.dues[i] for i, j in self.met.items()},
            self.stretch,
        )
        judged = self._judged(kinds)
        count: dict[str, int] = defaultdict(int)
        for kind in kinds.values():
            count[kind] += 1
        step_ms = 1000 * float(self.exercise.step) * self.quarter * self.stretch
        self.step_ms = step_ms
        pulses = float(self.exercise.tempo.first)
        steady = len(self.exercise.tempo.changes) == 1
        played_bars = len({due.bar for i, due in enumerate(self.dues) if i in self.met})
        self.extras = [each for each in judged if each.kind == "extra"]
        return Review(
            exercise=self.exercise,
            source=self.take.source,
            like=self.placed.start.share,
            start=self.placed.line.at(0.0),
            delay_ms=self._whole(),
            known_delay_ms=self.known_delay_ms,
            tempo=pulses,
            played_tempo=pulses / self.stretch if steady else pulses,
            drift_ms_per_bar=self._drift(),
            bars=played_bars,
            seconds=self.strokes[-1].time - self.strokes[0].time,
            step_ms=step_ms,
            tally=Tally(len(self.dues), len(self.met), len(self.extras)),
            judged=judged,
            limbs=tuple(self._limbs()),
            counts=tuple(self._counts()),
            rounds=tuple(self._rounds()),
            together=tuple(self._together()),
            doubles=tuple(self._doubles()),
            tempos=tuple(self._tempos()),
            unknown=self.hearing.unknown,
            kinds=dict(count),
            other_zones=self._other_zones(),
            remarks=tuple(self._remarks()),
            line=self.placed.line,
        )

    def _judged(self, kinds: Mapping[int, str]) -> tuple[Judged, ...]:
        voices = self.hearing.voices
        found: list[tuple[float, Judged]] = []
        for i, due in enumerate(self.dues):
            j = self.met.get(i)
            if j is None:
                missed = Judged("missed", due, None, None, None, due.hit.voice)
                found.append((self.when[i], missed))
                continue
            stroke = self.strokes[j]
            voice = voices[stroke.index] or due.hit.voice
            hit = Judged("hit", due, stroke.time, self.offs[i], stroke.velocity, voice)
            found.append((stroke.time, hit))
        for stroke in self.strokes:
            kind = kinds.get(stroke.index)
            if kind:
                voice = voices[stroke.index] or stroke.pad
                other = Judged(kind, None, stroke.time, None, stroke.velocity, voice)
                found.append((stroke.time, other))
        return tuple(each for _, each in sorted(found, key=itemgetter(0)))

    def _drift(self) -> float | None:
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
        return abs(self.stretch - 1) <= _SAME_TEMPO

    def _limb_of(self, hit: Hit) -> Limb:
        assert hit.limb is not None
        return hit.limb

    def _limbs(self) -> Iterator[LimbFigures]:
        pads: dict[str, set[Limb]] = defaultdict(set)
        for due in self.placed.dues[:4096]:
            pads[due.pad].update(self._limb_of(hit) for hit in due.hits)
        for limb in LIMBS:
            mine = [
                (i, hit) for i, due in enumerate(self.dues) for hit in due.hits if hit.limb is limb
            ]
            if not mine:
                continue
            struck = [(i, hit) for i, hit in mine if i in self.met]
            own = {self.dues[i].pad for i, _ in mine}
            extra = sum(1 for each in self.extras if pads.get(pad_of(each.voice), set()) == {limb})
            yield LimbFigures(
                limb,
                Tally(len(mine), len(struck), extra),
                timing([self.offs[i] for i, _ in struck], self.step_ms),
                self._levels(struck),
                certain=all(pads[pad] == {limb} for pad in own),
            )

    def _levels(self, struck: Sequence[tuple[int, Hit]]) -> Levels:
        by: dict[Strength, list[float]] = defaultdict(list)
        for i, hit in struck:
            by[hit.strength].append(self.strokes[self.met[i]].velocity)
        accent, tap = mean(by[Strength.ACCENT]), mean(by[Strength.TAP])
        return Levels(
            accent,
            tap,
            mean(by[Strength.GHOST]),
            accent / tap if accent and tap else None,
            overlap(by[Strength.TAP], by[Strength.ACCENT]),
        )

    def _counts(self) -> Iterator[CountFigures]:
        meter, step = self.exercise.meter, self.exercise.step
        at: dict[Fraction, list[int]] = defaultdict(list)
        for i, due in enumerate(self.dues):
            at[due.place].append(i)
        extras = self._extras_at(sorted(at))
        for place in sorted(at):
            some = at[place]
            hit = [i for i in some if i in self.met]
            missed: dict[Limb, int] = defaultdict(int)
            for i in some:
                if i not in self.met:
                    missed[self._limb_of(self.dues[i].hit)] += 1
            yield CountFigures(
                place_name(meter, step, place),
                Tally(len(some), len(hit), extras.get(place, 0)),
                timing([self.offs[i] for i in hit], self.step_ms),
                max(missed, key=lambda limb: missed[limb], default=None),
            )

    def _extras_at(self, places: Sequence[Fraction]) -> dict[Fraction, int]:
        """At which of the bar's places extra strokes lie nearest."""
        found: dict[Fraction, int] = defaultdict(int)
        times = self.when[: len(self.dues)]
        for each in self.extras:
            assert each.time is not None
            i = bisect_left(times, each.time)
            near = [k for k in (i - 1, i) if 0 <= k < len(times)]
            if near and places:
                nearest = min(near, key=lambda k: abs(times[k] - each.time))  # type: ignore[operator]
                found[self.dues[nearest].place] += 1
        return found

    def _rounds(self) -> Iterator[RoundFigures]:
        at: dict[int, list[int]] = defaultdict(list)
        for i, due in enumerate(self.dues):
            at[due.round].append(i)
        line, times = self.placed.line, sorted(each.time or 0.0 for each in self.extras)
        for number, some in at.items():
            hit = [i for i in some if i in self.met]
            first, last = self.dues[some[0]].time, self.dues[some[-1]].time
            begin, end = line.at(first), line.at(last)
            window = self.placed.window
            extra = bisect_right(times, end + window) - bisect_left(times, begin - window)
            rate = (end - begin) / (last - first) if last > first else self.stretch
            yield RoundFigures(
                number,
                Tally(len(some), len(hit), extra),
                timing([self.offs[i] for i in hit], self.step_ms),
                float(self.exercise.tempo.first) / rate,
            )

    def _together(self) -> Iterator[TogetherFigures]:
        """Limbs that are due at one time on different pads."""
        gaps: dict[tuple[Limb, Limb, Fraction], list[float]] = defaultdict(list)
        i = 0
        while i < len(self.dues):
            j = i + 1
            while j < len(self.dues) and self.dues[j].time == self.dues[i].time:
                j += 1
            if j > i + 1:
                struck = sorted(
                    (LIMBS.index(self._limb_of(self.dues[k].hit)), k)
                    for k in range(i, j)
                    if k in self.met
                )
                for (one, k), (two, m) in combinations(struck, 2):
                    gap = self.strokes[self.met[m]].time - self.strokes[self.met[k]].time
                    gaps[LIMBS[one], LIMBS[two], self.dues[k].place].append(1000 * gap)
            i = j
        meter, step = self.exercise.meter, self.exercise.step
        for (one_limb, other, place), found in sorted(
            gaps.items(),
            key=lambda item: (LIMBS.index(item[0][0]), LIMBS.index(item[0][1]), item[0][2]),
        ):
            middle = mean(found)
            assert middle is not None
            yield TogetherFigures(
                (one_limb, other),
                place_name(meter, step, place),
                len(found),
                middle,
                deviation(found),
            )

    def _doubles(self) -> Iterator[DoubleFigures]:
        """Two strokes of one hand in a row, as the sticking has them."""
        order = [
            (i, due.hit.limb, due.hit.strength)
            for i, due in enumerate(self.dues)
            if len(due.hits) == 1 and due.hit.limb in HANDS
        ]
        step = float(self.exercise.step) * self.quarter
        late: dict[Limb, list[float]] = defaultdict(list)
        softer: dict[Limb, list[float]] = defaultdict(list)
        before: Limb | None = None
        for (i, hand, one), (j, other, two) in pairwise(order):
            gap = self.dues[j].time - self.dues[i].time
            third, before = before is hand, hand
            if hand is not other or hand is None or third or gap > 1.5 * step:
                continue
            if i in self.met and j in self.met:
                late[hand].append(self.offs[j] - self.offs[i])
                if one is two:
                    first = self.strokes[self.met[i]].velocity
                    softer[hand].append(self.strokes[self.met[j]].velocity / first)
        for hand, found in late.items():
            middle = mean(found)
            assert middle is not None
            yield DoubleFigures(
                hand, len(found), middle, deviation(found), mean(softer[hand]) or 1.0
            )

    def _tempos(self) -> Iterator[TempoFigures]:
        changes = self.exercise.tempo.changes
        if len(changes) == 1:
            return
        starts = [float(self.exercise.tempo.seconds(Fraction(0), at)) for at, _ in changes]
        for (start, end), (_, pulses) in zip(
            pairwise([*starts, float("inf")]), changes, strict=True
        ):
            some = [i for i, due in enumerate(self.dues) if start <= due.time < end]
            hit = [i for i in some if i in self.met]
            step_ms = (
                1000 * float(self.exercise.step) * 60 / float(pulses * self.exercise.tempo.pulse)
            )
            if some:
                yield TempoFigures(
                    float(pulses),
                    Tally(len(some), len(hit)),
                    timing([self.offs[i] for i in hit], step_ms),
                )

    def _other_zones(self) -> dict[tuple[str, str], int]:
        found: dict[tuple[str, str], int] = defaultdict(int)
        for i, j in self.met.items():
            wanted = self.kit.stand_in(self.dues[i].hit.voice)
            heard = self.hearing.voices[self.strokes[j].index]
            if heard and heard != wanted and len(self.dues[i].hits) == 1:
                found[wanted, heard] += 1
        return dict(found)

    def _remarks(self) -> Iterator[str]:
        yield from self.take.remarks
        hearing = self.hearing
        if hearing.unknown:
            said = ", ".join(f"{number} ({times})" for number, times in hearing.unknown.items())
            yield f"the kit {self.kit.name} does not know these notes (times): {said}"
        if hearing.elsewhere:
            yield (
                f"{hearing.elsewhere} notes on other channels than {hearing.channel} are left out"
            )
        if hearing.beside:
            yield f"{hearing.beside} notes of the click or of what plays beside you are left out"
        for due, _ in self.placed.line.jumps:
            yield f"the place was lost in bar {int(due // self.bar) + 1} and found again elsewhere"
        if self.placed.start.share < _LIKE:
            yield "the take is hardly like this exercise"


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
    if len(take.tempos) != 1 or not take.strokes:
        return None
    quarters = take.tempos[0][1]
    wanted = float(60 / exercise.tempo.quarter(Fraction(1)))
    if abs(quarters / wanted - 1) > 0.001:
        return None
    beat = 60 / quarters * float(exercise.meter.pulse)
    nearest = round(offset / beat) * beat
    return nearest if abs(nearest - offset) < min(beat / 4, 0.12) else None
