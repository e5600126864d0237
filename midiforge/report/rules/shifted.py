"""Limbs that play what is written, but all of it earlier or later than it is written."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate

from midiforge.frozen import frozen
from midiforge.hear.shift import shifts
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.meter import NOTE_VALUES
from midiforge.printable import listed, many
from midiforge.report.rules.besides import BESIDES
from midiforge.report.rules.case import Case, Finding
from midiforge.report.rules.missing import missed_in
from midiforge.report.view import View

# So much of what is written lies elsewhere, and so much at most where it is written, for so many
# bars up to the end; before, so much was in place. Ours.
_ELSEWHERE, _IN_PLACE, _FEWEST_BARS, _BEFORE = 0.85, 0.6, 3, 0.85
_FEWEST = 6  # strokes
_MOST_COUNTS = 4  # more are not named


@frozen
class _Shift:
    """Limbs that play so many grid steps late from a bar on; below 0 early."""

    limbs: Sequence[Limb]
    steps: int
    bar: int
    strokes: int


def shifted(case: Case) -> Finding | None:
    """A limb, or the hands, or the feet, beside where they are written, by one and the same."""
    view = case.view
    shift = max(_shifts(view), key=lambda shift: shift.strokes, default=None)
    if shift is None:
        return None
    limbs = shift.limbs
    lanes = [lane for lane in view.lanes if set(lane.limbs) <= set(limbs)]
    since = f" from bar {shift.bar} on" if shift.bar > 1 else ""
    who = limbs[0].title if len(limbs) == 1 else "hands" if limbs[0] in HANDS else "feet"
    late = f"{_long(view, shift.steps)} {'behind' if shift.steps > 0 else 'ahead of'}"
    if len(limbs) > 1:
        others = "feet" if limbs[0] in HANDS else "hands"
        text = f"your {who} are {late} the {others}{since}: count aloud, and begin slowly again."
    else:
        bar, step = view.review.exercise.meter.bar, view.review.exercise.step
        places = list(dict.fromkeys(lane.place for lane in lanes))
        there = sorted((place + shift.steps * step) % bar for place in places)
        counts = (
            f"on {listed([*map(view.count, there)])} instead of "
            f"{listed([*map(view.count, places)])}"
            if len(places) <= _MOST_COUNTS
            else f"{late} where it is written"
        )
        text = (
            f"your {who} plays {counts}{since}: count aloud, and say its counts before you play "
            "them."
        )
    missed = missed_in(lanes)
    return Finding(
        case.by_sticking(limbs if len(limbs) == 1 else (), text),
        case.of_strokes(2 * shift.strokes, sum(lane.tally.expected for lane in lanes)),
        missed | {BESIDES, *((kind, limb) for kind in ("pulled", "moved") for limb in limbs)},
    )


def _long(view: View, steps: int) -> str:
    """ "a sixteenth", "a triplet eighth", "5 grid steps"."""
    length = abs(steps) * view.review.exercise.step
    values = {quarters: name for name, quarters in NOTE_VALUES.items()}
    if length in values:
        name = values[length]
        return f"{'an' if name.startswith('eighth') else 'a'} {name}"
    if length * 3 / 2 in values:
        return f"a triplet {values[length * 3 / 2]}"
    return many(abs(steps), "grid step")


def _shifts(view: View) -> Iterator[_Shift]:
    present = [limb.limb for limb in view.review.limbs]
    groups = [tuple(limb for limb in group if limb in present) for group in (HANDS, FEET)]
    if all(groups):
        yield from (shift for limbs in groups if len(limbs) > 1 for shift in _of(view, limbs))
    for limb in present if len(present) > 1 else ():
        if limb not in view.uncertain:
            yield from _of(view, (limb,))


@frozen
class _Bars:
    """Of each bar how many strokes are due, and how many of them are there: as written, or so
    many steps later."""

    asked: dict[int, int]
    met: dict[int, int]

    def shares(self, bars: Sequence[int]) -> list[tuple[float, float]]:
        """What share is there before each bar, and from it on."""
        asked, met = (
            [0, *accumulate(of.get(bar, 0) for bar in bars)] for of in (self.asked, self.met)
        )
        return [
            (hit / of if of else 1.0, (met[-1] - hit) / (asked[-1] - of))
            for hit, of in zip(met[:-1], asked[:-1], strict=True)
        ]


def _of(view: View, limbs: Sequence[Limb]) -> Iterator[_Shift]:
    asked, here = Counter[int](), Counter[int]()
    for lane in view.lanes:
        if {*lane.limbs} <= {*limbs}:
            here.update(lane.bars)
            for some in (lane.bars, lane.missed, lane.moved, lane.pulled):
                asked.update(some)
    bars = sorted(asked)
    in_place = _Bars(asked, here).shares(bars)[: 1 - _FEWEST_BARS]
    begins = [
        i
        for i, (before, since) in enumerate(in_place)
        if since <= _IN_PLACE and (before >= _BEFORE or not i)
    ]
    if not begins:
        return
    for steps, there in shifts(view.review, limbs):
        elsewhere = _Bars(asked, there).shares(bars)
        for i in begins:
            bar = bars[i]
            if elsewhere[i][1] >= _ELSEWHERE and there[bar] >= _ELSEWHERE * asked[bar]:
                strokes = sum(max(there[it] - here[it], 0) for it in bars[i:])
                if strokes >= _FEWEST:
                    yield _Shift(limbs, steps, bar if i else 1, strokes)
                    return
