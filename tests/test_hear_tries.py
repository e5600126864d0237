"""Few starts are paired, and the likeliest of all comes out: the bound that spares the others the
pairs is never below what pairs say.

No published source; the measure is pairing every start.
"""

import random
from collections.abc import Sequence

import pytest

from midiforge.hear import tries
from midiforge.hear.ceiling import Ceiling
from midiforge.hear.opening import LOUD, Heard, Opening, Part, Start, Wanted

PADS = ("snare", "bass-drum", "hi-hat")
STRETCHES = [0.55 * 1.012**i for i in range(100)]


def made_up(seed: int) -> tuple[Opening, float]:
    """Dues that come round, and strokes that are partly like them; the window too."""
    chance = random.Random(seed)
    step = chance.choice((0.07, 0.125, 0.1666, 0.25))
    pads = PADS[: chance.randint(1, 3)]
    loop = [
        (i * step, pad, chance.random() < 0.3, chance.random() < 0.1)
        for i in range(8)
        for pad in pads
        if chance.random() < 0.6
    ] or [(0.0, "snare", True, False)]
    dues = [Wanted(time + turn * 8 * step, *rest) for turn in range(12) for time, *rest in loop]
    stretch, spread = chance.uniform(0.6, 1.6), chance.choice((0.004, 0.02, 0.2))
    struck = sorted(
        (due.time * stretch + 2 + chance.gauss(0, spread), chance.choice((due.pad, *pads)))
        for due in dues
        if chance.random() < 0.8
    )
    strokes = [
        Heard(time, pad, chance.randint(30, 120), i) for i, (time, pad) in enumerate(struck[:40])
    ]
    return Opening(Part(dues), strokes), max(0.03, min(0.12, step / 2))


def by_pairing_all(
    opening: Opening, window: float, stretches: Sequence[float], strokes: int, dues: int
) -> list[tries.Try]:
    found = []
    for stretch in stretches:
        near = window * min(stretch, 1.0)
        best, seen = tries.Try(Start(0.0, stretch, 0.0)), set()
        for number, stroke in enumerate(opening.strokes[:strokes]):
            for due in opening.part.dues[:dues]:
                offset = stroke.time - due.time * stretch
                key = round(offset / (near / 3))
                if due.pad != stroke.pad or key in seen:
                    continue
                seen.add(key)
                earlier = sum(other.time < due.time for other in opening.part.dues)
                late = 0.004 * number + 0.0005 * earlier
                each = tries.tried(opening, offset, stretch, near, late)
                best = each if each.merit > best.merit else best
        found.append(best)
    found.sort(key=lambda each: each.merit, reverse=True)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_the_likeliest_start_is_that_of_pairing_every_one(seed: int) -> None:
    opening, window = made_up(seed)
    stretches = STRETCHES[::9]
    every = by_pairing_all(opening, window, stretches, 5, 10)
    assert tries.likeliest(opening, window, stretches, 5, 10, len(stretches)) == every
    assert tries.likeliest(opening, window, [1.0], 16, 96) == by_pairing_all(
        opening, window, [1.0], 16, 96
    )


@pytest.mark.parametrize("parts", [1, 3, 8])
def test_nothing_explains_more_than_its_ceiling(parts: int) -> None:
    for seed in range(40):
        opening, window = made_up(seed)
        chance = random.Random(seed)
        offsets = sorted(chance.uniform(-3, 4) for _ in range(20))
        ceiling = Ceiling(opening, window, offsets[-1] - offsets[0], parts)
        for stretch in (0.55, 0.8, 1.0, 1.7):
            near = window * min(stretch, 1.0)
            at_most = ceiling.at(stretch, near, offsets[0])
            for offset in offsets:
                start, loud = opening.explained(offset, stretch, near)
                assert start.fit + LOUD * loud <= at_most(offset)


def test_most_starts_are_not_paired(monkeypatch: pytest.MonkeyPatch) -> None:
    paired = 0
    explained = Opening.explained

    def counted(*given: object) -> tuple[Start, float]:
        nonlocal paired
        paired += 1
        return explained(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(Opening, "explained", counted)
    counts = []
    for way in (by_pairing_all, tries.likeliest):
        paired = 0
        for seed in range(6):
            opening, window = made_up(seed)
            way(opening, window, STRETCHES, 5, 10)
        counts.append(paired)
    assert counts[1] < counts[0] / 5
