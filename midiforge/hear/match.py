"""Which played stroke is which expected one.

Both lie on a line of time. Among all ways to pair them one to one, with no pair further apart
than a window, `match` gives one with the most pairs, and of those the one whose distances add up
to the least. On a line such pairs never need to cross (crossing pairs can be swapped without
making either further apart), so it is found from left to right, in time that grows with the
number of strokes times how many lie in one window; sorting them before is n log n.
"""

from collections.abc import Sequence

Pair = tuple[int, int]


def match(expected: Sequence[float], played: Sequence[float], window: float) -> list[Pair]:
    """Pairs (index of expected, index of played), rising.

    expected, played: times in any one unit, rising. window: the largest distance of a pair.
    """
    pairs: list[Pair] = []
    count, size = len(expected), len(played)
    i = j = 0
    while i < count and j < size:
        time, apart = expected[i], played[j] - expected[i]
        if apart > window:
            i += 1
        elif apart < -window:
            j += 1
        elif (j + 1 == size or played[j + 1] - time > window) and (
            i + 1 == count or expected[i + 1] - played[j] > window
        ):
            pairs.append((i, j))
            i, j = i + 1, j + 1
        else:
            low, high = _rivals(expected, played, i, j, window)
            last, end = i + len(low), max(high)
            if last == i + 1:
                pairs.append((i, _nearest(time, played, j, end)))
            elif end == j + 1:
                pairs.append((_nearest(played[j], expected, i, last), j))
            else:
                pairs += _best(expected, played, range(i, last), low, high, window)
            i, j = last, end
    return pairs


def _rivals(
    expected: Sequence[float], played: Sequence[float], first: int, start: int, window: float
) -> tuple[list[int], list[int]]:
    """Of expected strokes that compete for the same played ones, from the first on: each one's
    first played one in its window, and the first after it."""
    low: list[int] = []
    high: list[int] = []
    size, end, most = len(played), start, start
    for i in range(first, len(expected)):
        time = expected[i]
        while start < size and time - played[start] > window:
            start += 1
        if low and start >= most:
            break
        end = max(end, start)
        while end < size and played[end] - time <= window:
            end += 1
        low.append(start)
        high.append(end)
        most = max(most, end)
    return low, high


def _nearest(time: float, times: Sequence[float], start: int, end: int) -> int:
    return min(range(start, end), key=lambda i: abs(times[i] - time))


def _best(
    expected: Sequence[float],
    played: Sequence[float],
    some: range,
    low: Sequence[int],
    high: Sequence[int],
    window: float,
) -> list[Pair]:
    """The best pairs among neighbours that compete for the same strokes.

    For each expected stroke in turn: what it and those before it are worth at most with the
    played ones before place j, for j from the start to the end of its window. Before that range
    nothing matters any more, after it nothing has changed yet.
    """
    # A pair is worth 1 less a share of its distance so small that it never outweighs a pair.
    share = 1 / ((window or 1.0) * (len(some) + 1))
    before: list[float] = [0.0]
    before_start = low[0]
    steps: list[bytearray] = []
    for i, start, end in zip(some, low, high, strict=True):
        time = expected[i]
        last = len(before) - 1
        worth = before[min(start - before_start, last)]
        now = [worth]
        step = bytearray(end - start + 1)
        for j in range(start, end):
            without = before[min(j + 1 - before_start, last)]
            taken = before[min(j - before_start, last)] + 1 - abs(played[j] - time) * share
            if taken > without and taken > worth:
                worth, step[j + 1 - start] = taken, _TAKEN
            elif worth > without:
                step[j + 1 - start] = _PASSED
            else:
                worth = without
            now.append(worth)
        steps.append(step)
        before, before_start = now, start
    return _traced(some, steps, low, high)


_LEFT_OUT, _TAKEN, _PASSED = 0, 1, 2  # the expected stroke; paired; the played stroke


def _traced(
    some: range, steps: Sequence[bytearray], low: Sequence[int], high: Sequence[int]
) -> list[Pair]:
    """The pairs, followed back from the end."""
    pairs = []
    i, j = len(some) - 1, high[-1]
    while i >= 0:
        j = min(j, high[i])
        step = steps[i][j - low[i]] if j > low[i] else _LEFT_OUT
        if step == _PASSED:
            j -= 1
            continue
        if step == _TAKEN:
            j -= 1
            pairs.append((some[i], j))
        i -= 1
    pairs.reverse()
    return pairs
