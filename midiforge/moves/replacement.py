"""Replacement: the strokes of one limb played by another, all of them or those on given counts."""

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import lcm

from midiforge.errors import MidiforgeError, quoted, within
from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.keys.values import limb
from midiforge.library import shelf
from midiforge.model.counts import count_said, steps_in_bar
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.phrase.cycle import meet, within_limit
from midiforge.phrase.pattern import Line, Pattern, parse_pattern
from midiforge.phrase.phrase import Phrase, Stroke
from midiforge.printable import listed

NONE = "none"


@frozen
class Replaced:
    """The strokes of `limb` by another; counts: on which of them, none for all."""

    limb: Limb
    by: Limb
    counts: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        return f" on {listed(self.counts)}" if self.counts else ""

    def __str__(self) -> str:
        typed = f" on {' '.join(self.counts)}" if self.counts else ""
        return f"{self.limb} by {self.by}{typed}"


class Replacement(Move[tuple[Replaced | None, ...]]):
    """Replacements, one after the other; None for the strokes as they are written."""

    name = "replacement"
    columns = ("replacement",)
    of_feet = True
    keys = (
        Key(
            "replacements",
            "texts",
            "Strokes of one limb played by another, in the sticking and in what repeats: all, or "
            "those on counts; 'none' is as written.",
            "'none, LH by RF, RH by RF on 2 4'",
            default=NONE,
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> tuple[Replaced | None, ...]:  # noqa: ARG002
        return keys.read("replacements", lambda items: tuple(_read(str(item)) for item in items))

    def turned(self, material: Material, wish: tuple[Replaced | None, ...]) -> Iterator[Material]:
        for replaced in wish:
            if replaced is None:
                yield material
                continue
            limb, by, where = replaced.limb, replaced.by, replaced.where
            moved = Moved(
                self.name,
                str(replaced),
                aside=f"{limb.title} by {by.title}{where}",
                sentence=f"The {by.title} plays what the {limb.title} has{where}.",
                columns=(("replacement", str(replaced)),),
                limbs=frozenset((limb, by)),
                thing="which limb plays what",
            )
            hand_over = _HandOver(replaced, material)
            turned = material.then(
                moved,
                phrase=material.phrase and hand_over.phrase(material.phrase),
                feet=hand_over.lines(material.feet),
                layers=hand_over.lines(material.layers),
            )
            clash = (
                _clash(turned, by) if hand_over.handed else f"the {limb.title} has no stroke{where}"
            )
            yield replace(turned, clash=material.clash or clash)


def _read(text: str) -> Replaced | None:
    """ "LH by RF", "right hand by left foot on 1 3&"; None from "none"."""
    if text.strip().lower() == NONE:
        return None
    match = re.fullmatch(r"\s*(.+?)\s+by\s+(.+?)(?:\s+on\s+(.+?))?\s*", text, re.IGNORECASE)
    if not match:
        raise MidiforgeError(
            f"{quoted(text)} replaces nothing", hint="such as 'LH by RF', or 'LH by RF on 2 4'"
        )
    counts = (match[3] or "").split()
    for count in counts:
        if not re.fullmatch(r"[0-9]{1,3}([e&a+]|\.[0-9]{1,3})?", count):
            raise MidiforgeError(
                f"{quoted(count)} is not a count", hint="such as 'LH by RF on 2 4&'"
            )
    replaced = Replaced(limb(match[1]), limb(match[2]), tuple(counts))
    if replaced.limb is replaced.by:
        raise MidiforgeError(f"{quoted(text)}: that is the same limb")
    return replaced


class _HandOver:
    """Gives strokes of one limb to another, wherever they stand in a material."""

    def __init__(self, replaced: Replaced, material: Material) -> None:
        self.limb, self.by = replaced.limb, replaced.by
        self.meter, self.step = material.meter, material.step
        self.times = _times(replaced, self.meter, self.step)
        self.handed = 0  # strokes

    def takes(self, time: Fraction) -> bool:
        """Whether the stroke of the limb at that time is handed over."""
        return self.times is None or time % self.meter.bar in self.times

    def phrase(self, phrase: Phrase) -> Phrase:
        """The phrase, as long as it and the bars of the counts need to repeat."""
        size = len(phrase)
        if self.times is not None:
            size = lcm(size, steps_in_bar(self.meter, self.step))
            within_limit(int(size * self.step / self.meter.bar), "phrase and counts")
        steps = [phrase.steps[i % len(phrase)] for i in range(size)]
        return replace(
            phrase,
            steps=tuple(
                tuple(map(self._stroke, step)) if self.takes(i * self.step) else step
                for i, step in enumerate(steps)
            ),
        )

    def _stroke(self, stroke: Stroke) -> Stroke:
        if stroke.limb is not self.limb:
            # Its grace notes were those of the limb.
            leads = stroke.grace and stroke.limb.opposite is self.limb
            return replace(stroke, grace=0) if leads else stroke
        self.handed += 1
        if self.by.is_hand:
            return replace(stroke, limb=self.by)
        return Stroke(self.by, stroke.strength)  # a foot has neither grace notes nor buzzes

    def lines(self, lines: tuple[Line, ...]) -> tuple[Line, ...]:
        return tuple(part for line in lines for part in self._line(line))

    def _line(self, line: Line) -> Iterator[Line]:
        """The line; what of it is handed over as a line of its own."""
        if line.limb is not self.limb:
            yield line
        elif self.times is None:
            self.handed += 1
            yield self._given(line)
        else:
            length = meet(line.pattern.length, self.meter.bar)
            within_limit(int(length / self.meter.bar), f"{line.title} and counts")
            strokes = [*line.pattern.over(length)]
            for taken in (False, True):
                some = tuple(stroke for stroke in strokes if self.takes(stroke[0]) is taken)
                if some:
                    part = replace(line, pattern=Pattern(length, some))
                    self.handed += taken
                    yield self._given(part) if taken else part

    def _given(self, line: Line) -> Line:
        """The line with the other limb; a foot plays its own drum, if none was named for it."""
        usual = shelf.ostinatos().get(line.name)
        voice = "" if usual and usual.voice == line.voice and self.by.is_foot else line.voice
        return replace(line, limb=self.by, voice=voice)


def _times(replaced: Replaced, meter: Meter, step: Fraction) -> frozenset[Fraction] | None:
    """The times in a bar that the counts name; None for all."""
    if not replaced.counts:
        return None
    with within("replacements"):
        pattern = parse_pattern(" ".join(replaced.counts), meter, step)
    return frozenset(time % meter.bar for time, _ in pattern.strokes)


def _clash(material: Material, limb: Limb) -> str:
    """That the limb would have two strokes at once, in words; "" if it has not."""
    played: list[tuple[Fraction, list[Fraction]]] = []  # each with its length and times
    if material.phrase:
        phrase, step = material.phrase, material.step
        times = [
            i * step
            for i, strokes in enumerate(phrase.steps)
            for stroke in strokes
            for struck in (stroke.limb, stroke.limb.opposite if stroke.grace else None)
            if struck is limb
        ]
        if len(set(times)) < len(times):
            twice = next(time for time in times if times.count(time) > 1)
            return _two_at_once(material, limb, twice)
        played.append((len(phrase) * step, times))
    lines = (line for line in (*material.feet, *material.layers) if line.limb is limb)
    played += ((line.pattern.length, [time for time, _ in line.pattern.strokes]) for line in lines)
    for (one, times), (other, others) in combinations(played, 2):
        # They meet somewhere if they are at one place of the length that both are multiples of.
        common = one * other / meet(one, other)
        places = {time % common for time in others}
        together = [time for time in times if time % common in places]
        if together:
            return _two_at_once(material, limb, together[0])
    return ""


def _two_at_once(material: Material, limb: Limb, time: Fraction) -> str:
    steps = time / material.step
    where = ""
    if steps.denominator == 1:
        count = count_said(material.meter, material.step, int(steps))
        where = f", as on {count}"
    return f"the {limb.title} would have two strokes at once{where}"
