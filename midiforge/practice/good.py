"""What is good: a take is judged against what its exercise is for, limb by limb.

    lack      of a take that
    bars      is shorter than the exercise is long: once round and four bars, at most eight
    lost      loses the place
    strokes   has too few clean strokes, of all or of one limb
    pads      has too few, for strokes that came in time on another pad
    tempo     ends faster or slower than it began
    place     has a limb ahead of or behind the others, or all of it beside the click
    together  has two limbs apart where they are due together
    steady    has a limb that is not steady
    accents   has accents that do not stand out, from the same limb or the other hand
    ghosts    has ghost notes as strong as other strokes

`clean` and `steady` of a drill's table [practice] are the limits of strokes and of steadiness,
which is asked for in per cent of a grid step, so that it is that of the tempo played; the others,
with their sources, are in `hear.limits`. What the log does not know of a take is no lack of it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator

from midiforge.drill.drill import Practice
from midiforge.frozen import frozen
from midiforge.hear.figures import of_step
from midiforge.hear.limits import (
    ACCENT_RATIO,
    FEWEST_STROKES,
    GHOST_RATIO,
    LEAST_TIMES,
    NOTICED,
    OFF_THE_CLICK_MS,
    OVERLAP,
    STEADY_MS,
    Place,
    are_flat,
    beside,
    is_sure,
    near_ms,
)
from midiforge.model.hit import Limb
from midiforge.practice.entry import Entry, LimbEntry
from midiforge.printable import many

LEAST_BARS, MOST_BARS = 4, 8  # that a take must have; common practice
# What a lack is of, behind whose it is.
_SUBJECTS = {
    "bars": "too short to judge",
    "lost": "the place lost",
    "strokes": "strokes missed or extra",
    "pads": "strokes on another pad",
    "tempo": "a tempo that changes",
    "place": "ahead or behind",
    "together": "limbs that are not together",
    "steady": "not steady",
    "accents": "accents that do not stand out",
    "ghosts": "ghost notes too loud",
}
ONE_SLIP = 1  # wrong stroke of a limb that a take may have, whatever its share; ours


@frozen
class Lack:
    """One thing that a take lacks to be good.

    what: a word of the table above. limb: whose it is; None of all.
    said: with the figure, and with what is wanted.
    """

    what: str
    limb: Limb | None
    said: str


def is_good(entry: Entry, settings: Practice) -> bool:
    """Whether a take is good for its exercise, by a drill's settings."""
    return not lacks(entry, settings)


def lacks(entry: Entry, settings: Practice) -> tuple[Lack, ...]:
    """What a take lacks to be good; what is to be put right first comes first."""
    return (
        *_bars(entry),
        *_lost(entry),
        *_strokes(entry, settings),
        *_tempo(entry),
        *_place(entry),
        *_together(entry),
        *_steady(entry, settings),
        *_accents(entry),
        *_ghosts(entry),
    )


def bars_wanted(comes_round: float) -> float:
    """How many bars a take of an exercise must have that comes round after so many."""
    return min(max(comes_round, LEAST_BARS), MOST_BARS)


def is_long_enough(entry: Entry, comes_round: float = 0) -> bool:
    """Whether there is enough of a take to judge it.

    comes_round: after how many bars its exercise does, where the entry does not know.
    """
    return entry.bars >= bars_wanted(entry.comes_round or comes_round)


def not_judged(entry: Entry) -> str:
    """What cannot be judged of a take that is otherwise good, in words; "" for nothing."""
    if entry.accent_ratio is not None and entry.accent_overlap is None:
        return "accents cannot be judged: no taps are played on their drums"
    if not entry.even_velocity:
        return ""
    return (
        "accents cannot be judged: every stroke has the same velocity, so turn the module's "
        "dynamics on"
    )


def verdict(entry: Entry, settings: Practice) -> str:
    """Why a take counts as good or not, in one sentence."""
    lacking = lacks(entry, settings)
    if lacking:
        return f"Not yet good for this exercise: {'; '.join(lack.said for lack in lacking)}."
    praise = ", ".join(_praise(entry))
    return f"Good for this exercise: {'; '.join(filter(None, (praise, not_judged(entry))))}."


def most_often(lacks: Iterable[Lack], takes: int) -> str:
    """What came up most often in several takes, and how often; "" for nothing that came twice.

    takes: how many there were.
    """
    counted = Counter((lack.what, lack.limb) for lack in lacks)
    [((what, limb), times)] = counted.most_common(1) or [(("", None), 0)]
    if times < 2:
        return ""
    who = f"{limb.title}, " if limb else ""
    return f"What came up most: {who}{_SUBJECTS[what]}, in {times} of {many(takes, 'take')}."


def _praise(entry: Entry) -> Iterator[str]:
    """What makes a take good, as far as the log knows."""
    several = len(_judged(entry)) > 1
    yield many(round(entry.bars), "bar")
    yield f"{_share(entry.clean)} clean, steady{' in each limb' if several else ''}"
    if several:
        yield "limbs together"
    if entry.first_third is not None:
        yield "tempo kept"
    if entry.accent_overlap is not None:
        yield "accents clear"
    if entry.ghost_ratio is not None:
        yield "ghost notes soft"


def _bars(entry: Entry) -> Iterator[Lack]:
    if not is_long_enough(entry):
        wanted = bars_wanted(entry.comes_round or 0)
        played = many(round(entry.bars), "bar")
        yield Lack("bars", None, f"{played} played, {wanted:g} are wanted to judge")


def _lost(entry: Entry) -> Iterator[Lack]:
    if entry.lost:
        often = "once" if entry.lost == 1 else f"{entry.lost} times"
        yield Lack("lost", None, f"the place is lost {often}")


def _strokes(entry: Entry, settings: Practice) -> Iterator[Lack]:
    if entry.clean < settings.clean:
        what = "strokes" if entry.in_time < settings.clean else "pads"
        said = f"{_share(entry.clean)} clean, {_share(settings.clean)} is wanted"
        yield Lack(what, None, said)
    for part in entry.limbs:
        total = part.expected + part.extra
        wanted = settings.clean * total
        if part.expected < FEWEST_STROKES or total - part.hit <= ONE_SLIP or part.hit >= wanted:
            continue
        what = "strokes" if part.hit + part.moved < wanted else "pads"
        yield Lack(what, part.limb, f"{part.limb.title}: {_wrong(part)}")


def _wrong(part: LimbEntry) -> str:
    counts = {
        "missed": part.expected - part.hit - part.moved - part.pulled,
        "on another pad": part.moved,
        "a place early or late": part.pulled,
        "extra": part.extra,
    }
    wrong = ", ".join(f"{count:,} {what}" for what, count in counts.items() if count > 0)
    return f"{wrong} of {part.expected:,} strokes"


def _tempo(entry: Entry) -> Iterator[Lack]:
    if entry.first_third is None or entry.last_third is None:
        return
    change = entry.last_third / entry.first_third - 1
    if abs(change) >= NOTICED:
        said = f"{'rushing' if change > 0 else 'dragging'} by {_share(abs(change))}"
        wanted = f"less than {_share(NOTICED)} is wanted"
        yield Lack("tempo", None, f"{said}, the first third to the last, {wanted}")


def _place(entry: Entry) -> Iterator[Lack]:
    own = entry.own_ms
    if own is not None and abs(own) >= OFF_THE_CLICK_MS:
        said = f"{_apart(own)} the click, less than {OFF_THE_CLICK_MS:.0f} ms is wanted"
        yield Lack("place", None, said)
    for limb, off in _beside(entry).items():
        said = f"{limb.title} {_apart(off)} the rest, less than {near_ms(limb):.0f} ms is wanted"
        yield Lack("place", limb, said)


def _beside(entry: Entry) -> dict[Limb, float]:
    return beside(
        Place(part.limb, part.hit, part.mean_ms, part.deviation_ms or 0.0)
        for part in entry.limbs
        if part.mean_ms is not None
    )


def _together(entry: Entry) -> Iterator[Lack]:
    """What is not one limb's place everywhere, but that of two on the counts that they share."""
    blamed = {*_beside(entry)}
    for meeting in entry.meetings:
        near, gap_ms = near_ms(*meeting.limbs), meeting.gap_ms
        sure = is_sure(gap_ms, meeting.deviation_ms, meeting.times)
        if meeting.times < LEAST_TIMES or blamed & {*meeting.limbs} or not sure:
            continue
        if abs(gap_ms) >= near:
            names = " and ".join(limb.title for limb in meeting.limbs)
            said = f"{abs(gap_ms):.0f} ms apart, less than {near:.0f} ms is wanted"
            yield Lack("together", None, f"{names} {said}")


def _steady(entry: Entry, settings: Practice) -> Iterator[Lack]:
    judged = _judged(entry)
    if not judged and entry.deviation_percent is None:
        yield Lack("steady", None, "too few strokes to tell how steady")
    for part in judged or (entry,):
        # As it is told, and more than what a module adds.
        percent, spread_ms = round(part.deviation_percent or 0.0, 1), part.deviation_ms
        if percent > settings.steady and (spread_ms is None or spread_ms > STEADY_MS):
            limb = part.limb if isinstance(part, LimbEntry) else None
            said = f"steady to {of_step(percent)} of a step, {settings.steady:g}% is wanted"
            yield Lack("steady", limb, f"{limb.title} {said}" if limb else said)


def _judged(entry: Entry) -> list[LimbEntry]:
    """The limbs that have enough strokes to be judged each by itself."""
    return [part for part in entry.limbs if part.hit >= FEWEST_STROKES]


def _accents(entry: Entry) -> Iterator[Lack]:
    flat: list[Entry | LimbEntry] = [part for part in entry.limbs if _is_flat(part)]
    for part in flat or ([entry] if _is_flat(entry) else []):
        limb = part.limb if isinstance(part, LimbEntry) else None
        ratio, overlap = part.accent_ratio or 1.0, part.accent_overlap or 0.0
        said = f"{ratio:.2f} times taps, {ACCENT_RATIO:g} is wanted"
        if ratio >= ACCENT_RATIO:
            said = f"{_share(overlap)} of taps are as loud, at most {_share(OVERLAP)} is wanted"
        whose = f"{limb.title}'s accents" if limb else "accents"
        yield Lack("accents", limb, f"{whose} do not stand out ({said})")


def _is_flat(part: Entry | LimbEntry) -> bool:
    """Not where accents have drums of their own: how those pads are set is not known, and three in
    twenty recordings of professionals would fail."""
    return are_flat(part.accent_ratio, part.accent_overlap)


def _ghosts(entry: Entry) -> Iterator[Lack]:
    ratio = entry.ghost_ratio
    if ratio is not None and ratio > GHOST_RATIO:
        said = f"ghost notes {_share(ratio)} as strong as other strokes, "
        yield Lack("ghosts", None, f"{said}at most {_share(GHOST_RATIO)} is wanted")


# In words


def _apart(off_ms: float) -> str:
    return f"{abs(off_ms):.0f} ms {'ahead of' if off_ms < 0 else 'behind'}"


def _share(value: float) -> str:
    return f"{100 * value:.1f}%".replace(".0%", "%")
