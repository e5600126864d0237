"""What stands in the rows of a stave: strokes, accents, counts, voices, bar by bar."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.insight.words import bars_named
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, Strength
from midiforge.model.spelling import spelled_hit
from midiforge.stave.grid import Grid

LIMBS = (*HANDS, *FEET)
REST = "."
_SECTION_WORDS = {
    "entry": "the first time only",
    "time": "time",
    "call": "call",
    "response": "response: you alone",
}

# Styles are names of parts; the screen gives them colours, or not.
COUNT, ACCENT, STROKE = "count", "accent", "stroke"
GHOST, FAINT, HEADING = "ghost", "faint", "heading"
_STYLES = {Strength.GHOST: GHOST, Strength.ACCENT: ACCENT}


@frozen
class Cell:
    """What stands in one column of one row: `body` in the column, the rest to its sides."""

    before: str
    body: str
    after: str = ""
    style: str = STROKE

    @property
    def right(self) -> int:
        """How many characters it takes from its column on."""
        return len(self.body) + len(self.after)


Cells = Mapping[Fraction, Cell]  # by time within the bar, in quarter notes


@frozen
class Row:
    """One row of one bar; `dots` where a rest is marked."""

    label: str
    cells: Cells
    dots: tuple[Fraction, ...] = ()


@frozen
class Bar:
    """A bar, and every bar that is the same."""

    numbers: tuple[int, ...]
    note: str
    rows: tuple[Row, ...]

    @property
    def heading(self) -> str:
        """Which bars they are, and what is said of them."""
        return f"{bars_named(self.numbers)}{': ' if self.note else ''}{self.note}"


class Rows:
    """The rows of an exercise's bars.

    bars: those that differ. hits: all that are shown.
    main_voice, voice_keys: by the row's name, what it is mostly played on, and the figure for
        each other voice. layer_labels: how the rows beside the player are called.
    grid: when they are, and how that is counted.
    """

    def __init__(self, exercise: Exercise) -> None:
        self.exercise = exercise
        self.hits = tuple(_shown(exercise))
        self._by_row = _by_row(self.hits)
        self.main_voice = {
            name: _most_common(
                [hit.voice for hit in hits if hit.strength is Strength.TAP]
                or [hit.voice for hit in hits]
            )
            for name, hits in self._by_row.items()
        }
        self.voice_keys = self._voice_keys()
        self.layer_labels = self._layer_labels()
        self.grid = Grid(exercise, self.hits)
        self.bars = self._bars()

    def _bars(self) -> list[Bar]:
        exercise = self.exercise
        meter = exercise.meter
        last = min(exercise.loop_bar + exercise.returns_after_bars, exercise.bars)
        notes = self._notes()
        same: dict[tuple[object, ...], list[int]] = {}
        content: dict[tuple[object, ...], tuple[str, tuple[Row, ...]]] = {}
        for number in range(last):
            hits = self.grid.bar(number)
            note = notes.get(number, "")
            key = (note, *((within, hit.limb, hit.voice, hit.strength, hit.ornament, hit.layer)
                           for within, hit in hits))  # fmt: skip
            same.setdefault(key, []).append(number + 1)
            if key not in content:
                start = number * meter.bar
                content[key] = (note, tuple(self._rows([hit for _, hit in hits], start)))
        return [Bar(tuple(same[key]), *content[key]) for key in content]

    def _notes(self) -> dict[int, str]:
        """What is to be said of a bar, by its number from 0."""
        bar = self.exercise.meter.bar
        return {
            number: _SECTION_WORDS[section.kind]
            for section in self.exercise.sections
            if section.kind in _SECTION_WORDS
            for number in range(
                int(section.start / bar), int((section.start + section.length) / bar)
            )
        }

    def _rows(self, hits: Sequence[Hit], start: Fraction) -> Iterator[Row]:
        for label, said in self.grid.counted.items():
            yield Row(label, {time: _count(text) for time, text in said.items()})
        accents = {
            hit.time - start: Cell("", ">", style=ACCENT) for hit in hits if _over(hit, hits)
        }
        yield Row("accent", accents)
        playing = _by_row(hits)
        for label in self._by_row:
            now = playing.get(label, [])
            cells = {hit.time - start: _cell(hit, _over(hit, hits)) for hit in now}
            yield Row(self.layer_labels.get(label, label), cells, self.grid.steps)
            keys = self.voice_keys.get(label, {})
            if keys:
                yield Row(
                    "  on",
                    {
                        hit.time - start: Cell("", keys[hit.voice], style=FAINT)
                        for hit in now
                        if hit.voice in keys
                    },
                )

    def _voice_keys(self) -> dict[str, dict[str, str]]:
        """For each row with several voices, the figure under the strokes of each further one."""
        keys = {}
        for name, hits in self._by_row.items():
            further = [
                voice
                for voice in dict.fromkeys(hit.voice for hit in hits)
                if voice != self.main_voice[name]
            ]
            keys[name] = {voice: "123456789"[i % 9] for i, voice in enumerate(further)}
        return keys

    def _layer_labels(self) -> dict[str, str]:
        limbs = {limb.title for limb in LIMBS}
        layers = [name for name in self._by_row if name not in limbs]
        if len(layers) == 1:
            return {layers[0]: "beside you"}
        return {name: f"beside you {i}" for i, name in enumerate(layers, start=1)}


def _shown(exercise: Exercise) -> Iterator[Hit]:
    """The player's hits and those of time layers; of tracks only their names are told."""
    aside = {CLICK, *(track.name for track in exercise.tracks)}
    for hit in (*exercise.hits, *exercise.answers):
        if hit.layer not in aside and 0 <= hit.time < exercise.length:
            yield hit


def _by_row(hits: Iterable[Hit]) -> dict[str, list[Hit]]:
    """The hits of each limb, hands first, then those of each layer beside the player."""
    rows: dict[str, list[Hit]] = {limb.title: [] for limb in LIMBS}
    for hit in hits:
        rows.setdefault(hit.limb.title if hit.limb else hit.layer, []).append(hit)
    return {name: each for name, each in rows.items() if each}


def _over(hit: Hit, hits: Sequence[Hit]) -> bool:
    """Whether the accent of a hit goes into the row above the hands: not if only one of two."""
    if hit.strength is not Strength.ACCENT or hit.limb is None or not hit.limb.is_hand:
        return False
    return all(
        other.strength is Strength.ACCENT
        for other in hits
        if other.time == hit.time and other.limb is not None and other.limb.is_hand
    )


def _cell(hit: Hit, accent_above: bool) -> Cell:
    style = _STYLES.get(hit.strength, STROKE)
    return Cell(*spelled_hit(hit, Strength.TAP if accent_above else None), style)


def _count(text: str) -> Cell:
    return Cell("", text, style=COUNT if text != REST else FAINT)


def _most_common(names: Sequence[str]) -> str:
    return max(dict.fromkeys(names), key=names.count)
