"""What became of strokes that are not as written: on another pad, a place early or late, added.

A stroke that was due is moved where it came in time on another pad, and pulled where it came on
its pad, but at a neighbouring place, as a foot does that is pulled to the beat or to a hand. A
stroke that was not due is added where it is music all the same: an ornament, or part of a fill.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from statistics import median

from midiforge.frozen import frozen
from midiforge.hear.expected import Due
from midiforge.hear.match import match
from midiforge.hear.opening import Heard
from midiforge.hear.pads import FOOT_PADS
from midiforge.model.hit import FEET

# Nearer to the next place than to its own, and clearly: 0.5 would be half way; ours.
NEXT_PLACE = 0.6
LEAST_PULLED_MS = 55.0  # less is a loose stroke, however near the next place is; ours
_LEAST_PULLED = LEAST_PULLED_MS / 1000
# A hand on its way to another pad comes so early or late as a rule; ours, from the recordings.
MOVED_MS = 60.0
# A pulled stroke is at most so many grid steps of its line from where it was due; an eighth, that
# is from an "and" to its beat, in any case.
MOST_STEPS, MOST_QUARTERS = 1.5, 0.6
# An ornament comes so shortly before or after a stroke, the time of a grace note or a bounce, and
# so much softer; a ghost note anywhere, softer by far than what else its pad plays; and so does a
# foot that rests its beater. A diddle comes between two strokes, one of its pad, within so many
# grid steps of both, and no louder than they are. Ours.
ORNAMENT_MS, ORNAMENT_SOFTER, GHOST_SOFTER, REST_SOFTER = 130.0, 0.7, 0.6, 0.4
DIDDLE_STEPS, DIDDLE_LOUDER = 1.1, 1.1
FEWEST_STROKES = 4  # of a fill; three may be one slip; ours
FILLS_AT_MOST = 0.35  # of all strokes of the hands; where it is more, it is no fill; ours


@frozen
class Kinds:
    """What became of strokes and dues.

    moved, pulled: the stroke of each due that was, by index of the due and place in the strokes.
    besides: what strokes are that no due has, by index in the take.
    """

    moved: Mapping[int, int]
    pulled: Mapping[int, int]
    besides: Mapping[int, str]


@frozen
class _Place:
    """A due stroke's surroundings, in seconds of the take.

    earlier, later: how far the neighbouring place is to either side. reach: how far the stroke
    may be pulled.
    """

    earlier: float
    later: float
    reach: float


class Dues:
    """What was due, and when in the take."""

    def __init__(
        self, dues: Sequence[Due], when: Sequence[float], step: float, quarter: float
    ) -> None:
        """step: of the grid, in seconds. quarter: in seconds; both of the take."""
        self.dues, self.when, self.step, self.quarter = dues, when, step, quarter

    def is_foot(self, i: int) -> bool:
        return self.dues[i].hit.limb in FEET

    def _place(self, i: int) -> _Place:
        """The nearest place to either side: of the grid, or where another stroke is due."""
        own = float(self.dues[i].hit.grid) * self.quarter or self.step
        gap = min(own, self.step)
        time, when = self.when[i], self.when
        least = LEAST_PULLED_MS / 1000
        before, after = bisect_left(when, time - least), bisect_right(when, time + least)
        earlier = min(gap, time - when[before - 1]) if before else gap
        later = min(gap, when[after] - time) if after < len(when) else gap
        reach = max(MOST_STEPS * max(gap, min(own, self.quarter / 2)), MOST_QUARTERS * self.quarter)
        return _Place(earlier, later, reach)

    def is_at_next(self, i: int, off: float) -> bool:
        """Whether a stroke so far from where it was due, in seconds, is nearer to another place."""
        if -_LEAST_PULLED < off < _LEAST_PULLED:
            return False
        place = self._place(i)
        return abs(off) > NEXT_PLACE * (place.earlier if off < 0 else place.later)

    def reach(self, i: int) -> float:
        """How far a stroke may be pulled, in seconds."""
        return self._place(i).reach


def told(
    dues: Dues,
    strokes: Sequence[Heard],
    met: dict[int, int],
    besides: Mapping[int, str],
    window: float,
    hands: frozenset[str],
    feet: frozenset[str],
) -> Kinds:
    """What became of the dues that `met` has not, and of the strokes that are "extra" in
    `besides`. What is at another place than its own goes out of `met`.

    window: how far a stroke in time may be from where it is due, in seconds.
    hands, feet: the pads of the exercise that are theirs.
    """
    left = {*range(len(dues.dues))} - met.keys()
    pulled = {i: j for i, j in met.items() if dues.is_at_next(i, strokes[j].time - dues.when[i])}
    for i in pulled:
        del met[i]
    extra = {which for which, kind in besides.items() if kind == "extra"}
    free = {j for j, stroke in enumerate(strokes) if stroke.which in extra}

    def taken(pairs: dict[int, int]) -> dict[int, int]:
        left.difference_update(pairs)
        free.difference_update(pairs.values())
        return pairs

    met |= taken(_on_its_pad(dues, strokes, left, free, LEAST_PULLED_MS / 1000))
    moved: dict[int, int] = {}
    near = max(window, MOVED_MS / 1000)
    foot = {pad: pad in feet or (pad in FOOT_PADS and pad not in hands) for pad in
            {stroke.pad for stroke in strokes}}  # fmt: skip
    for is_foot in (False, True):
        missing = {i for i in left if dues.is_foot(i) is is_foot}
        came = {j for j in free if foot[(pad := strokes[j].pad)] is is_foot or pad in hands & feet}
        pairs = _nearest(dues, strokes, missing, came, near)
        moved |= taken(
            {
                i: j
                for i, j in pairs
                if strokes[j].pad != dues.dues[i].pad
                and not dues.is_at_next(i, strokes[j].time - dues.when[i])
            }
        )
    pulled |= taken(_on_its_pad(dues, strokes, left, free))
    found = {which: kind for which, kind in besides.items() if kind != "extra"}
    found |= {strokes[j].which: "extra" for j in free}
    as_written = {strokes[j].which for j in met.values()}
    added = _added(strokes, foot, as_written, found, dues.quarter, dues.step)
    return Kinds(moved, pulled, found | dict.fromkeys(added, "added"))


def _nearest(
    dues: Dues, strokes: Sequence[Heard], left: Iterable[int], free: Iterable[int], window: float
) -> list[tuple[int, int]]:
    some, came = sorted(left), sorted(free)
    pairs = match([dues.when[i] for i in some], [strokes[j].time for j in came], window)
    return [(some[i], came[j]) for i, j in pairs]


def _on_its_pad(
    dues: Dues,
    strokes: Sequence[Heard],
    left: Iterable[int],
    free: Iterable[int],
    most: float = float("inf"),
) -> dict[int, int]:
    """The nearest free stroke on its pad of each due that is left, within its reach, and `most`."""
    by_pad: dict[str, tuple[list[int], list[int]]] = {}
    for i in left:
        by_pad.setdefault(dues.dues[i].pad, ([], []))[0].append(i)
    for j in free:
        if strokes[j].pad in by_pad:
            by_pad[strokes[j].pad][1].append(j)
    found = {}
    for some, came in by_pad.values():
        reach = {i: min(dues.reach(i), most) for i in some}
        for i, j in _nearest(dues, strokes, some, came, max(reach.values())):
            if abs(strokes[j].time - dues.when[i]) <= reach[i]:
                found[i] = j
    return found


def _added(
    strokes: Sequence[Heard],
    foot: Mapping[str, bool],
    as_written: set[int],
    kinds: Mapping[int, str],
    quarter: float,
    step: float,
) -> set[int]:
    """The strokes, by index in the take, that are ornaments, ghost notes or part of a fill."""
    free = {which for which, kind in kinds.items() if kind == "extra"}
    if not free:
        return set()
    played = [stroke for stroke in strokes if stroke.which not in kinds or stroke.which in free]
    hands = [stroke for stroke in played if not foot[stroke.pad]]
    found = set(_ornaments(hands, as_written, free, step))
    usual = _usual(played, as_written)
    for stroke in played:
        softer = REST_SOFTER if foot[stroke.pad] else GHOST_SOFTER
        if stroke.which in free and stroke.velocity <= softer * usual.get(stroke.pad, 0):
            found.add(stroke.which)
    for fill in _fills(hands, as_written, free, quarter):
        first, last = fill[0].time, fill[-1].time
        within = played[
            bisect_left(played, first, key=_time) : bisect_right(played, last, key=_time)
        ]
        found.update(stroke.which for stroke in within if stroke.which in free)
    return found


def _time(stroke: Heard) -> float:
    return stroke.time


def _usual(played: Sequence[Heard], as_written: set[int]) -> dict[str, float]:
    """How hard each pad is struck as a rule."""
    loud: dict[str, list[int]] = {}
    for stroke in played:
        if stroke.which in as_written:
            loud.setdefault(stroke.pad, []).append(stroke.velocity)
    return {pad: median(some) for pad, some in loud.items() if len(some) >= FEWEST_STROKES}


def _ornaments(
    hands: Sequence[Heard], as_written: set[int], free: set[int], step: float
) -> Iterable[int]:
    """What decorates a stroke that is louder, or doubles what is written."""
    times = [stroke.time for stroke in hands]
    within = ORNAMENT_MS / 1000
    for n, stroke in enumerate(hands):
        if stroke.which not in free:
            continue
        first = bisect_left(times, stroke.time - within)
        near = hands[first : bisect_right(times, stroke.time + within)]
        if any(stroke.velocity <= ORNAMENT_SOFTER * other.velocity for other in near) or _is_diddle(
            stroke, [*hands[max(n - 1, 0) : n], *hands[n + 1 : n + 2]], as_written, step
        ):
            yield stroke.which


def _is_diddle(stroke: Heard, sides: Sequence[Heard], as_written: set[int], step: float) -> bool:
    return any(other.pad == stroke.pad for other in sides) and all(
        other.which in as_written
        and abs(other.time - stroke.time) <= DIDDLE_STEPS * step
        and stroke.velocity <= DIDDLE_LOUDER * other.velocity
        for other in sides
    )


def _fills(
    hands: Sequence[Heard], as_written: set[int], free: set[int], quarter: float
) -> list[Sequence[Heard]]:
    """Runs of hands that play something else than what is written, with hardly a stroke of it."""
    runs: list[tuple[int, int]] = []
    start = last = -1
    other = 0
    for n, stroke in enumerate(hands):
        written = stroke.which in as_written
        far = last >= 0 and stroke.time - hands[last].time > quarter
        if start >= 0 and (far or (written and n - last >= 2)):
            if other >= FEWEST_STROKES:
                runs.append((start, last))
            start, last, other = -1, -1, 0
        if not written:
            start, last, other = (n, n, 1) if start < 0 else (start, n, other + 1)
    if other >= FEWEST_STROKES:
        runs.append((start, last))
    fills = [hands[first : end + 1] for first, end in runs]
    fills = [fill for fill in fills if any(stroke.which in free for stroke in fill)]
    return fills if sum(map(len, fills)) <= FILLS_AT_MOST * len(hands) else []
