"""A form as the text of a drill: bars as drummers write them, and their road map."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from fractions import Fraction

from midiforge.drill.road_map import ORNAMENTS
from midiforge.frozen import frozen
from midiforge.groove.bits import instrument_of
from midiforge.groove.cells import Cell
from midiforge.groove.form import Form
from midiforge.groove.grid import Grid
from midiforge.groove.limbs import CYMBALS, deal_hands, foot_of
from midiforge.groove.written import Key, Written
from midiforge.hear.expected import pad_of
from midiforge.model.hit import FEET, HANDS, Limb, Strength
from midiforge.model.spelling import MARKS

_ORDER: Mapping[Limb | None, int] = {
    limb: place for place, limb in enumerate((*HANDS, *FEET, None))
}
_ORNAMENTS = {ornament: mark for mark, ornament in ORNAMENTS.items()}
_WORDS = {"f": "flam", "d": "drag", "r": "ruff", "z": "buzz"}
_BEFORE_A_FILL = 3  # bars of the groove
_FEWEST_STEPS = 3  # to a beat, where the form has more
_NOTHING = "."  # all rests

Player = tuple[Limb | None, str]  # limb and voice


@frozen
class Tab:
    """road_map: the order. bars: the text of each cell, by name. players: all limbs and voices,
    with their marks in the first cell that has them."""

    road_map: str
    bars: Mapping[str, str]
    players: Mapping[Player, str]

    @property
    def ornaments(self) -> dict[str, int]:
        """How many of each kind stand in its bars."""
        marks = Counter(
            mark
            for text in self.bars.values()
            for line in text.splitlines()
            if not line.startswith("like ")
            for mark in line.split(maxsplit=2)[-1].lower()
        )
        return {word: marks[mark] for mark, word in _WORDS.items() if marks[mark]}


def as_tab(form: Form, grid: Grid, quarter: float, only_fills: bool) -> Tab:
    """The form written out; only its fills, each behind three bars of the groove, if so wished.

    quarter: seconds.
    """
    cells = {cell.name: cell for cell in form.cells}
    road_map = form.road_map
    if only_fills:
        whole = [cell for cell in form.cells if not cell.instrument]
        groove = max(whole, key=lambda cell: (not cell.is_fill, cell.times))
        fills = [cell for cell in whole if cell.is_fill]
        road_map = ", ".join(f"{_BEFORE_A_FILL} {groove.name}, {cell.name}" for cell in fills)
        cells = {cell.name: cell for cell in (groove, *fills)}
    rows: dict[str, dict[Player, str]] = {}
    for name, cell in cells.items():  # bars first, then what is laid over them
        below = [cells[together[0]] for together in form.order if name in together[1:]]
        rows[name] = _rows(cell, below, form, grid, quarter)
        silent = {player for under in below for player in rows[under.name]} - rows[name].keys()
        if cell.instrument:
            own = {player for player in silent if instrument_of(player[1]) == cell.instrument}
            struck = {voice for _, voice in rows[name]}
            rows[name] |= {
                player if player[1] in struck else (None, player[1]): _NOTHING
                for player in sorted(own, key=_order)
            }
    players: dict[Player, str] = {}
    for lines in rows.values():
        for player, marks in lines.items():
            players.setdefault(player, marks)
    bars = {
        name: _text(own, rows.get(cells[name].like), cells[name].like) for name, own in rows.items()
    }
    return Tab(road_map, bars, {player: players[player] for player in sorted(players, key=_order)})


def _order(player: Player) -> tuple[int, str]:
    return _ORDER[player[0]], player[1]


def _rows(
    cell: Cell, below: Sequence[Cell], form: Form, grid: Grid, quarter: float
) -> dict[Player, str]:
    """The marks of each limb and voice, in beats. below: what a change is laid over."""
    per_beat = _per_beat(cell, form, grid)
    size = form.unit // per_beat
    steps = int(grid.meter.bar / grid.meter.beat * per_beat)
    second = float(grid.meter.beat) * quarter / form.unit
    marks: dict[Player, list[str]] = {}
    dealt = _dealt(_sounding(cell, below).values(), form.unit, second)
    hands = {(written.place, limb) for written, limb in dealt}
    for written, limb in dealt:
        voice = written.stroke.struck.voice
        if (voice, written.place) in cell.strokes:
            row = marks.setdefault((limb, voice), ["."] * steps)
            row[written.place // size] = _mark(written, limb, hands)
    lengths = [int(length / grid.meter.beat * per_beat) for length in grid.meter.beat_lengths]
    return {
        player: _grouped("".join(marks[player]), lengths if per_beat > 1 else [steps])
        for player in sorted(marks, key=_order)
    }


def _per_beat(cell: Cell, form: Form, grid: Grid) -> int:
    """The fewest steps to a beat that have all of its strokes and swing alike: of those of the
    form and of its own bar, but no sixteenths as eighths among sixteenths."""
    meter = grid.meter
    swings = grid.swing.moves(meter.beat / cell.steps)
    least = min(form.steps, _FEWEST_STEPS)
    return next(
        (
            n
            for n in range(least, max(form.steps, cell.steps) + 1)
            if (form.steps % n == 0 or cell.steps % n == 0)
            and all(place % (form.unit // n) == 0 for _, place in cell.strokes)
            and grid.swing.moves(meter.beat / n) == swings
            and all((length / meter.beat * n).denominator == 1 for length in meter.beat_lengths)
        ),
        cell.steps,
    )


def _strokes(marks: str) -> dict[Fraction, str]:
    """What is struck when, in bars: the same on any grid."""
    steps = marks.replace(" ", "")
    return {Fraction(i, len(steps)): mark for i, mark in enumerate(steps) if mark != "."}


def _sounding(cell: Cell, below: Sequence[Cell]) -> Mapping[Key, Written]:
    """A bar's strokes; a change's with those that sound beside it in the bar it is mostly over.

    A hand that strikes a crash leaves the cymbal that it keeps time on.
    """
    if not below:
        return cell.strokes
    under = below[0] if len(below) == 1 else max(below, key=below.count)
    struck = {place for _, place in cell.strokes} if cell.instrument == "crash" else set()
    kept = {
        key: written
        for key, written in under.strokes.items()
        if instrument_of(key[0]) != cell.instrument
        and not (key[1] in struck and pad_of(key[0]) in CYMBALS)
    }
    return {**kept, **cell.strokes}


def _mark(written: Written, limb: Limb | None, hands: AbstractSet[tuple[int, Limb | None]]) -> str:
    """An ornament's where a hand has it and the other is free for its grace notes."""
    stroke = written.stroke
    own = (min(stroke.grace, 3), False) if stroke.grace else (0, stroke.buzz)
    mark = _ORNAMENTS.get(own)
    free = not stroke.grace or (limb and (written.place, limb.opposite) not in hands)
    if not (mark and limb and limb.is_hand and free):
        return MARKS[written.strength]
    return mark.upper() if written.strength is Strength.ACCENT else mark


def _grouped(marks: str, lengths: Sequence[int]) -> str:
    groups, at = [], 0
    for length in lengths:
        groups.append(marks[at : at + length])
        at += length
    return " ".join(groups)


def _dealt(
    strokes: Iterable[Written], unit: int, second: float
) -> list[tuple[Written, Limb | None]]:
    """The limb of each stroke; None for what no limb is free for."""
    dealt: list[tuple[Written, Limb | None]] = []
    hands: dict[int, list[tuple[str, int, Written]]] = {}
    feet: set[tuple[int, Limb]] = set()
    for written in sorted(strokes, key=lambda written: written.place):
        struck = written.stroke.struck
        foot = foot_of(struck.voice)
        if foot is None:
            hands.setdefault(written.place, []).append((struck.voice, struck.velocity, written))
        else:
            free = (written.place, foot) not in feet
            feet.add((written.place, foot))
            dealt.append((written, foot if free else None))
    return [*dealt, *deal_hands(hands, second, unit)]


def _text(own: Mapping[Player, str], base: Mapping[Player, str] | None, like: str) -> str:
    """The lines of a cell; of a variant those that differ, where that is shorter."""
    rows = dict(own)
    first: list[str] = []
    if base:
        changed = {
            player: marks
            for player, marks in own.items()
            if player not in base or _strokes(base[player]) != _strokes(marks)
        }
        changed |= {player: _NOTHING for player in base if player not in own}
        if len(changed) < len(own):
            rows, first = changed, [f"like {like}"]
    names = {
        player: f"{player[0].value if player[0] else ''} {player[1]}".strip() for player in rows
    }
    widest = max(map(len, names.values()), default=0)
    lines = [f"{names[player]:{widest}}  {marks}" for player, marks in rows.items()]
    lines = [*first, *lines] or [_SILENCE]
    return "\n".join(lines) if len(lines) > 1 else " ".join(lines[0].split())


_SILENCE = "RF bass-drum  ."
