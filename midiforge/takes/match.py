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
    count, first = len(expected), 0
    low, high = _candidates(expected, played, window)
    while first < count:
        if low[first] == high[first]:
            first += 1
            continue
        last = first + 1
        end = high[first]
        while last < count and low[last] < end:
            end = max(end, high[last])
            last += 1
        start = low[first]
        if last == first + 1 and end == start + 1:
            pairs.append((first, start))
        elif last == first + 1:
            pairs.append((first, _nearest(expected[first], played, start, end)))
        elif end == start + 1:
            pairs.append((_nearest(played[start], expected, first, last), start))
        else:
            pairs += _best(expected, played, range(first, last), low, high, window)
        first = last
    return pairs


def _candidates(
    expected: Sequence[float], played: Sequence[float], window: float
) -> tuple[list[int], list[int]]:
    """For each expected stroke the first played one in its window, and the first after it."""
    low, high = [], []
    start = end = 0
    size = len(played)
    for time in expected:
        while start < size and time - played[start] > window:
            start += 1
        end = max(end, start)
        while end < size and played[end] - time <= window:
            end += 1
        low.append(start)
        high.append(end)
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
    before_start = low[some[0]]
    steps: list[bytearray] = []
    for i in some:
        start, end, time = low[i], high[i], expected[i]
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
    i, j = some[-1], high[some[-1]]
    while i >= some[0]:
        j = min(j, high[i])
        step = steps[i - some[0]][j - low[i]] if j > low[i] else _LEFT_OUT
        if step == _PASSED:
            j -= 1
            continue
        if step == _TAKEN:
            j -= 1
            pairs.append((i, j))
        i -= 1
    pairs.reverse()
    return pairs
