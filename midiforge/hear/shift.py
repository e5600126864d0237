"""What limbs play as it is written, but earlier or later."""

from collections import Counter
from collections.abc import Collection, Iterator

from midiforge.hear.expected import pad_of
from midiforge.hear.match import match
from midiforge.hear.review import Judged, Review
from midiforge.model.hit import Limb

_NEAR = 0.35  # of a grid step; ours


def shifts(review: Review, limbs: Collection[Limb]) -> Iterator[tuple[int, Counter[int]]]:
    """For each number of grid steps up to half a bar, the least first, how many strokes that are
    due of these limbs in each bar are there so many steps later; below 0 earlier.

    Nothing where other limbs strike the same pads.
    """
    due_at: dict[str, list[tuple[float, int]]] = {}
    others: set[str] = set()
    for due in (it.due for it in review.judged if it.due):
        if all(hit.limb in limbs for hit in due.hits):
            due_at.setdefault(due.pad, []).append((due.time, due.bar))
        else:
            others.add(due.pad)
    if due_at.keys() & others:
        return
    struck: dict[str, list[float]] = {pad: [] for pad in due_at}
    for it in review.judged:
        if it.time is not None and (pad := _pad(it)) in struck:
            struck[pad].append(it.time)
    step, exercise = review.step_ms / 1000, review.exercise
    most = round(exercise.meter.bar / exercise.step) // 2
    for steps in sorted((n for n in range(-most, most + 1) if n), key=lambda n: (abs(n), -n)):
        met = Counter[int]()
        for pad, some in due_at.items():
            by = steps * step / review.line.stretch
            later = review.line.all(time + by for time, _ in some)
            met.update(some[i][1] for i, _ in match(later, sorted(struck[pad]), _NEAR * step))
        yield steps, met


def _pad(judged: Judged) -> str:
    return judged.due.pad if judged.due and judged.kind == "hit" else pad_of(judged.voice)
