"""A bar on the screen: its steps in lines that are no wider than it, divided at beats."""

from collections.abc import Sequence

from midiforge.live.columns import Column
from midiforge.live.terminal import FAINT, HERE, LOUD, PLAIN

ROWS = 4  # of a line: the counts, both hands, the feet
_ROOMY = 5  # characters that a step has at most where there is room for them


class Stave:
    """A bar's steps, set for a width.

    beats: the step that each beat begins with.
    lines: which steps share a line.
    """

    def __init__(self, steps: Sequence[Column], beats: Sequence[int], room: int) -> None:
        self._steps = steps
        widest = max((len(cell) for each in steps for cell in (each.count, *each.rows)), default=1)
        self.lines = _lines(len(steps), beats, max(room // (widest + 1), 1))
        longest = max(map(len, self.lines))
        self._wide = max(widest + 1, min(_ROOMY, room // longest))

    def shown(self, here: int, most: int) -> range:
        """Which lines are shown where there is room for so many: the one with the step `here`, and
        those that come after it."""
        current = next((i for i, line in enumerate(self.lines) if here in line), 0)
        most = min(max(most, 1), len(self.lines))
        first = min(current, len(self.lines) - most)
        return range(first, first + most)

    def rows(self, line: int, here: int, counts_only: bool) -> list[str]:
        """The rows of a line, the step `here` marked; nothing is struck in a count-in."""
        found = []
        for row in range(ROWS):
            text = "  "
            for i in self.lines[line]:
                cell = self._steps[i].rows[row - 1] if row else self._steps[i].count
                if counts_only and row:
                    cell = ""
                style = HERE if i == here else LOUD if row else FAINT
                marked = cell or ("." if row and i == here else " ")
                text += f"{style}{marked:<{self._wide - 1}}{PLAIN} "
            found.append(text)
        return found


def _lines(steps: int, beats: Sequence[int], most: int) -> list[range]:
    """The steps in lines of at most `most`, with as many beats in each as in the others."""
    if steps <= most:
        return [range(steps)]
    parts = [
        part
        for begin, end in zip(beats, [*beats[1:], steps], strict=True)
        for part in _divided(begin, end, most)
    ]
    lines = parts
    for number in range(1, len(parts) + 1):
        size = -(-len(parts) // number)
        lines = [
            range(some[0].start, some[-1].stop)
            for some in (parts[i : i + size] for i in range(0, len(parts), size))
        ]
        if all(len(line) <= most for line in lines):
            break
    return lines


def _divided(begin: int, end: int, most: int) -> list[range]:
    """A beat, or where it has too many steps for a line equal parts of it."""
    size = -(-(end - begin) // -(-(end - begin) // most))
    return [range(i, min(i + size, end)) for i in range(begin, end, size)]
