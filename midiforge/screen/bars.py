"""The bars of an exercise that differ: accents above their strokes, other voices below them."""

from collections.abc import Iterator
from dataclasses import replace

from midiforge.frozen import frozen
from midiforge.insight.words import bars_named
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS, Strength
from midiforge.model.spelling import spelled
from midiforge.stave import ACCENT, FAINT, Cell, Row, Stave, struck

_SECTION_WORDS = {
    "entry": "the first time only",
    "time": "time",
    "call": "call",
    "response": "response: you alone",
}


@frozen
class Bar:
    """A bar, and every bar that is the same."""

    numbers: list[int]
    note: str
    rows: tuple[Row, ...]

    def heading(self, beat: int) -> str:
        """Which bars they are, from which beat on, and what is said of them."""
        if beat:
            return f"{bars_named(self.numbers)}, from beat {beat + 1}"
        return ": ".join(filter(None, (bars_named(self.numbers), self.note)))


class Bars:
    """An exercise's bars, as far as they differ.

    labels: how the rows beside the drummer are called. main_voice: what each player is mostly on.
    voice_keys: the figure that stands under the strokes on each other voice.
    """

    def __init__(self, exercise: Exercise) -> None:
        self.stave = Stave(exercise)
        players = self.stave.players
        beside = [name for name, hits in players.items() if hits[0].limb is None]
        self.labels = {name: f"beside you {i}" for i, name in enumerate(beside, start=1)}
        if len(beside) == 1:
            self.labels = {beside[0]: "beside you"}
        self.main_voice: dict[str, str] = {}
        self.voice_keys: dict[str, dict[str, str]] = {}
        for name, hits in players.items():
            voices = [hit.voice for hit in hits]
            taps = [hit.voice for hit in hits if hit.strength is Strength.TAP]
            main, *further = sorted(dict.fromkeys(voices), key=(taps or voices).count, reverse=True)
            further.sort(key=voices.index)
            self.main_voice[name] = main
            self.voice_keys[name] = {voice: f"{i % 9 + 1}" for i, voice in enumerate(further)}
        self.differing = self._differing(exercise)

    def _differing(self, exercise: Exercise) -> list[Bar]:
        length = exercise.meter.bar
        last = exercise.loop_bar + exercise.returns_after_bars
        notes = {
            number: _SECTION_WORDS[each.kind]
            for each in exercise.sections
            if each.kind in _SECTION_WORDS
            for number in range(int(each.start / length), int((each.start + each.length) / length))
        }
        bars: dict[tuple[object, ...], Bar] = {}
        for number in range(min(last, exercise.bars)):
            note = notes.get(number, "")
            rows = tuple(self._rows(number))
            seen = (note, *(tuple(row.cells.items()) for row in rows))
            bars.setdefault(seen, Bar([], note, rows)).numbers.append(number + 1)
        return list(bars.values())

    def _rows(self, number: int) -> Iterator[Row]:
        rows = self.stave.bar(number)
        hands = [row for row in rows if row.label in (hand.title for hand in HANDS)]
        strengths = [(time, hit.strength) for row in hands for time, hit in row.hits.items()]
        softer = {time for time, strength in strengths if strength is not Strength.ACCENT}
        above = {time for time, _ in strengths} - softer  # not where one of two is accented
        yield from self.stave.counts
        yield Row("accent", {time: Cell(spelled(">"), ACCENT) for time in sorted(above)})
        for row in rows:
            cells = dict(row.cells)
            if row in hands:
                plain = {time: row.hits[time] for time in above & row.hits.keys()}
                cells |= {time: struck(hit, Strength.TAP) for time, hit in plain.items()}
            yield replace(row, label=self.labels.get(row.label, row.label), cells=cells)
            if keys := self.voice_keys[row.label]:
                elsewhere = ((time, keys.get(hit.voice)) for time, hit in row.hits.items())
                yield Row("  on", {time: Cell(spelled(k), FAINT) for time, k in elsewhere if k})
