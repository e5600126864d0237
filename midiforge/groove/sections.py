"""A take as its player would tell it: so many bars of A, then B, with fills."""

from collections import Counter
from collections.abc import Mapping, Sequence

from midiforge.frozen import frozen
from midiforge.groove.cells import Cell

# A new section must say so many more bars than the one before would: eight bars of B between
# bars of A are one, four are not.
_PHRASE = 3
_NAMED = 1 / 6  # of a section: rarer kinds of bar are not named
_FILL = "fill"


@frozen
class Section:
    """first: bar of the form, from 0. kinds: of bar, variants apart, the most usual one first;
    fills: how many bars of it are some."""

    first: int
    bars: int
    kinds: tuple[str, ...]
    fills: int

    def said(self, first_bar: int) -> str:
        """Such as "39-154 A and B with 3 fills". first_bar: of the form, in the file."""
        first = self.first + first_bar
        bars = f"{first}-{first + self.bars - 1}" if self.bars > 1 else f"{first}"
        fills = f" with {self.fills} fill{'s' * (self.fills > 1)}" if self.fills else ""
        return f"{bars} {' and '.join(self.kinds)}{fills}"


# Above the bars of a drill that need not be read at first, by the order they stand in.
_HEADINGS = (
    "",
    "Fills, and bars that come now and then.",
    "Variants of the bars above.",
    "What is laid over bars.",
)


def in_order(
    cells: Sequence[Cell], told: Sequence[Section]
) -> tuple[tuple[Cell, ...], Mapping[str, str]]:
    """Cells as they are read: those that sections name first; what stands above some of them."""
    named = {kind for section in told for kind in section.kinds}

    def place(cell: Cell) -> int:
        return 3 if cell.instrument else 2 if cell.like else 0 if cell.name in named else 1

    ordered = tuple(sorted(cells, key=place))
    firsts = {place(cell): cell.name for cell in reversed(ordered)}
    return ordered, {name: _HEADINGS[at] for at, name in firsts.items() if at}


def sections(cells: Sequence[Cell], order: Sequence[Sequence[str]]) -> tuple[Section, ...]:
    """The fewest sections that say the most bars. order: names of what sounds together."""
    whole = [cell for cell in cells if not cell.instrument]
    usual = [cell.name for cell in whole if not (cell.like or cell.is_fill)]
    usual = usual or [whole[0].name]
    kind_of: Mapping[str, str] = {
        cell.name: _FILL if cell.is_fill else cell.like or cell.name for cell in whole
    }
    played = [kind_of[together[0]] for together in order]
    # The cheapest way to each bar with each kind, and the kind of the bar before (Viterbi);
    # a fill ends a section, it begins none.
    costs: dict[str, int] = dict.fromkeys(usual, 0)
    before: list[dict[str, str]] = []
    for kind in played:
        best = min(usual, key=costs.__getitem__)
        turned = costs[best] + _PHRASE
        before.append({name: name if cost < turned else best for name, cost in costs.items()})
        costs = {
            name: min(cost, turned) + (kind not in (name, _FILL)) for name, cost in costs.items()
        }
    told = [min(usual, key=costs.__getitem__)]
    for came in reversed(before[1:]):
        told.append(came[told[-1]])
    told.reverse()
    starts = [i for i, name in enumerate(told) if not i or name != told[i - 1]]
    found = []
    for start, end in zip(starts, [*starts[1:], len(told)], strict=True):
        times = Counter(played[start:end])
        fills = times.pop(_FILL, 0)
        among = [kind for kind, own in times.most_common() if own >= _NAMED * (end - start)]
        kinds = dict.fromkeys((told[start], *among))
        found.append(Section(start, end - start, tuple(kinds), fills))
    return tuple(found)
