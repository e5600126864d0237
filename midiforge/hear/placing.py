"""Where in a take its exercise lies."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from operator import attrgetter
from statistics import median

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.hear.asked import Asked, asked
from midiforge.hear.expected import (
    MOST_A_STROKE,
    MOST_BESIDES,
    MOST_STROKES,
    Due,
    expected,
)
from midiforge.hear.follow import Line, follow
from midiforge.hear.match import match
from midiforge.hear.opening import Heard, Start, by_pad
from midiforge.hear.pads import (
    Hearing,
    companions,
    graces,
    hear,
    pads_of,
)
from midiforge.hear.start import explained_of, find_start
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise

LIKE = 0.45  # explains less of the first strokes: the take is of something else
# So much more may be played than the tempo of the beginning has room for; ours.
_RUSHED = 1.25
_SAME_CLICK = 0.001  # as a share: files round a tempo to microseconds a quarter
# Where so much of a take's strokes is not explained, it may begin with its first strokes, if the
# exercise explains so much of so many of them, and then so much more of all; ours.
_PART, _FIRST, _OF_IT_TOO = 0.04, 32, 0.7
_MOST_DELAY = 0.4  # seconds; more is no delay but another start
# The player's time is taken to be even over so many strokes, and seconds.
_STRETCH_STROKES, _LEAST_STRETCH = 8, 1.0


def hear_take(take: Take, exercise: Exercise, kit: Kit) -> Hearing:
    """The take's strokes as the kit knows them; MidiforgeError if it knows none."""
    own = [h for h in (*exercise.hits, *exercise.answers) if h.limb]
    others = {hit.voice for hit in exercise.hits if not hit.limb}
    before = {h.ornament.voice for h in own if h.ornament and h.ornament.voice}
    players = pads_of({hit.voice for hit in own} | before, kit)
    if not own:
        raise MidiforgeError(f"exercise {exercise.number} asks the player for nothing")
    hearing = hear(take, kit, pads_of(others, kit), players)
    if not hearing.strokes:
        if not hearing.unknown:
            raise MidiforgeError("there is no stroke of a drummer in it", take.source)
        notes = ", ".join(map(str, [*hearing.unknown][:8]))
        raise MidiforgeError(
            f"the kit {kit.name} knows none of the take's notes ({notes})",
            take.source,
            hint="name the kit it was played on",
        )
    return hearing


@frozen
class Placed:
    """Where an exercise lies in a take.

    window: how far a stroke may be from where it is due, in seconds.
    dues: all that could be due in the take. companions: strokes that go with a louder one.
    """

    start: Start
    window: float
    line: Line
    dues: list[Due]
    companions: frozenset[int]


@frozen
class _Begun:
    """Where it begins, what is asked for, and the strokes that the player's time is told by."""

    start: Start
    asked: Asked
    strokes: list[Heard]
    companions: frozenset[int]


def _begun(
    take: Take,
    exercise: Exercise,
    kit: Kit,
    hearing: Hearing,
    brief: bool = False,
    stretches: Sequence[float] | None = None,
) -> _Begun:
    it = asked(exercise, kit)
    aside = _aside(it, hearing)
    strokes = [stroke for stroke in hearing.strokes if stroke.which not in aside]
    start = None
    if take.start is not None:
        start = _at_mark(it, strokes, take.start)
    if start is None:
        line = None if brief else _line_of_file(take, exercise)
        start = find_start(it, strokes, brief, stretches, line)
    return _Begun(start, it, strokes, aside)


def _aside(it: Asked, hearing: Hearing) -> frozenset[int]:
    """Strokes that go with a louder one."""
    rule = it.rule
    return companions(hearing.strokes, rule.companion) | graces(
        hearing.strokes, rule.grace, rule.graces
    )


def place(take: Take, exercise: Exercise, kit: Kit, hearing: Hearing) -> Placed:
    """Where the exercise lies in the take."""
    begun = _begun(take, exercise, kit, hearing)
    placed = _followed(take, exercise, kit, begun)
    strokes, met = begun.strokes, placed.line.met
    if take.start is not None or met >= (1 - _PART) * len(strokes):
        return placed
    # A tempo that changes, or a place that is lost, leaves the beginning to tell itself best.
    first = find_start(begun.asked, strokes[:_FIRST], brief=True)
    if first.share < _OF_IT_TOO or len(strokes) < _FIRST:
        return placed
    whole = _followed(take, exercise, kit, replace(begun, start=first))
    all_of_it = placed.dues[0].time + begun.start.offset <= strokes[0].time + placed.window
    if all_of_it and first.stretch == begun.start.stretch and not whole.line.jumps:
        return placed  # nothing is left, and of all ways through the take this is settled
    return whole if whole.line.met >= met + _PART * len(strokes) else placed


def _followed(take: Take, exercise: Exercise, kit: Kit, begun: _Begun) -> Placed:
    start, strokes = begun.start, begun.strokes
    window = begun.asked.rule.window * min(start.stretch, 1.0)  # what is faster lies closer
    span = _RUSHED * (strokes[-1].time - start.offset) / start.stretch + 1.0
    most = min(MOST_A_STROKE * len(strokes) + MOST_BESIDES, MOST_STROKES)
    dues = expected(exercise, kit, span, most)
    if take.start is None:
        dues = _heard(dues, strokes[0].time - window, start, exercise)
    dense = (dues[-1].time - dues[0].time) / max(len(dues) - 1, 1)
    quarter = float(exercise.tempo.quarter(Fraction(1)))
    line = follow(
        dues,
        strokes,
        start,
        window,
        max(_STRETCH_STROKES * dense, _LEAST_STRETCH),
        float(exercise.step) * quarter,
        float(exercise.meter.beat) * quarter,
        float(exercise.meter.bar) * quarter,
        float(exercise.meter.bar) * quarter * exercise.returns_after_bars,
    )
    return Placed(start, window, line, dues, begun.companions)


def _heard(dues: list[Due], first: float, start: Start, exercise: Exercise) -> list[Due]:
    """What is due since the take begins, if that begins in the midst of the exercise."""
    beat = float(exercise.meter.beat * exercise.tempo.quarter(Fraction(1)))
    since = (first - start.offset) / start.stretch
    if since <= beat:
        return dues
    heard = bisect_left(dues, since, key=attrgetter("time"))
    return dues[min(heard, len(dues) - 1) :]


def likeness(take: Take, exercise: Exercise, kit: Kit) -> float:
    """How much of the take's beginning the exercise explains, 0 to 1."""
    start = likely_start(take, exercise, kit)
    return start.share if start else 0.0


def likely_start(
    take: Take, exercise: Exercise, kit: Kit, stretches: Sequence[float] | None = None
) -> Start | None:
    """Where the take's beginning may be of the exercise; None if it has nothing of it.

    stretches: other tempos that are tried, as for `find_start`.
    """
    try:
        hearing = hear_take(take, exercise, kit)
        return _begun(take, exercise, kit, hearing, brief=True, stretches=stretches).start
    except MidiforgeError:
        return None


def explained(
    take: Take, exercise: Exercise, kit: Kit, since: float, stretches: Sequence[float]
) -> float:
    """How much of the strokes from a moment of the take on the exercise explains, 0 to 1, wherever
    it begins; 1 of one whose tempo changes, which is not told by its first strokes.

    stretches: the tempos that are tried, as for `find_start`.
    """
    if not exercise.tempo.is_steady:
        return 1.0
    try:
        hearing = hear_take(take, exercise, kit)
    except MidiforgeError:
        return 0.0
    it = asked(exercise, kit)
    aside, edge = _aside(it, hearing), since - it.rule.window
    strokes = [each for each in hearing.strokes if each.time >= edge and each.which not in aside]
    return explained_of(it, strokes, stretches)


def keeps_tempo(take: Take, exercise: Exercise) -> bool:
    """Whether the take's file has the exercise's tempo throughout, as one recorded to a click."""
    if len(take.tempos) != 1 or not exercise.tempo.is_steady:
        return False
    asked = float(exercise.tempo.first * exercise.tempo.pulse)
    return abs(take.tempos[0][1] / asked - 1) <= _SAME_CLICK


def _line_of_file(take: Take, exercise: Exercise) -> float | None:
    """When a bar of the take's file begins, if those are the exercise's."""
    meter = exercise.meter
    same = take.meter is None or Fraction(4 * take.meter[0], take.meter[1]) == meter.bar
    return 0.0 if same and keeps_tempo(take, exercise) else None


def _at_mark(it: Asked, strokes: Sequence[Heard], mark: float) -> Start | None:
    """The start that the take names, moved by its delay; None if that explains nothing."""
    window = it.rule.window
    found = find_start(it, [stroke for stroke in strokes if stroke.time > mark - window])
    near = round((found.offset - mark) / window) if window else 0
    if found.stretch == 1 and abs(found.offset - mark) <= _MOST_DELAY and near <= 8:
        return found
    offsets = []
    for pad, heard in by_pad(strokes).items():
        due = it.part.lines[pad].times if pad in it.part.lines else []
        at = [time + mark for time in due]
        pairs = match(at, [each.time for each in heard], window)
        offsets += [heard[j].time - at[i] for i, j in pairs]
    if len(offsets) < 4:
        return None
    return Start(mark + median(offsets), 1.0, max(found.share, LIKE))
