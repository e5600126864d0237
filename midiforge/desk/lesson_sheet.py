"""A drill's lesson as the page shows it: family by family, each engraved when it is looked at."""

import hashlib
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from operator import attrgetter
from typing import Any

from midiforge.desk.drill_file import DrillFile
from midiforge.desk.shelf import at_home_in
from midiforge.drill.drill import Drill
from midiforge.drill.keys import GROUPS
from midiforge.drill.read import drill_in
from midiforge.engraving.drawing import sign_definitions
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.errors import MidiforgeError
from midiforge.kits.kit import Kit
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.outline import Outline
from midiforge.lesson.remarks import remarks
from midiforge.model.counts import count_said, steps_in_bar
from midiforge.model.exercise import Exercise
from midiforge.model.family import Family, Tempos, kindred
from midiforge.moves.grid import own_steps
from midiforge.notation.score import Score
from midiforge.notation.write import unwritten, write
from midiforge.pages.booklet import group_of
from midiforge.pages.html import WIDEST, section
from midiforge.phrase.phrase import Sticking
from midiforge.phrase.sticking import steps_written

MOST_PIECES = 1000  # of a lesson that the page shows; all are built, printed and practised
# What changes no music, and of a piece nothing but its number and its title.
_UNHEARD = ("title", "text", "texts", "running", *(key.name for key in GROUPS["Practice"]))
# Pieces, until the heading stands again: all under one are written out before the first is seen.
_UNDER_A_HEADING = 24
_AT_ONCE = 2  # exercises of a family, which the page asks for and shows together
_MOST_BARS_KNOWN = 4000  # that an engraver keeps


class _Shared:
    """The engraver of this process; verovio works for one thread at a time."""

    lock = threading.Lock()
    engraver: Engraver | None = None


class Overtaken(Exception):
    """Nobody waits for a lesson any longer; it was given up."""


def _always() -> bool:
    return True


class LessonSheet:
    """A drill's lesson, made once.

    is_wanted: asked while it is made, which may take its time.
    Raises MidiforgeError, naming the key, for a file that is no drill; Overtaken.
    """

    def __init__(self, file: DrillFile, is_wanted: Callable[[], bool] = _always) -> None:
        self.file = file
        self.drill: Drill = drill_in(file.text, file.path)
        self.lesson = Lesson(self.drill)
        self.outlines: Sequence[Outline] = tuple(_outlines(self.lesson, is_wanted))
        self._scores: dict[int, tuple[Family[Tempos], list[Score]]] = {}
        self._set: dict[tuple[int, int], dict[str, Any]] = {}

    @cached_property
    def families(self) -> tuple[Family[Outline], ...]:
        """The families of what the page shows, large ones in parts."""
        whole = kindred(self.outlines[:MOST_PIECES], attrgetter("features"))
        return tuple(part for family in whole for part in _parts(family))

    @cached_property
    def remarks(self) -> list[str]:
        """What a person should know of the drill."""
        return [*self.drill.notes, *remarks(self.drill)]

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """A name for each family, the same for the same music on the same page."""
        own = {key: value for key, value in self.drill.given.items() if key not in _UNHEARD}
        around = repr((own, self.drill.kit)).encode()
        return tuple(_key(family, around) for family in self.families)

    def told(self) -> dict[str, Any]:
        """What the page is told of the lesson, of JSON's own kinds."""
        return {
            "pieces": len(self.outlines),
            "exercises": sum(len(outline.tempos) for outline in self.outlines),
            "families": [
                {
                    "key": key,
                    "parts": -(-len(family.pieces) // _AT_ONCE),
                    "pieces": [outline.number for _, outline in family.pieces],
                }
                for key, family in zip(self.keys, self.families, strict=True)
            ],
            "unshown": max(0, len(self.outlines) - MOST_PIECES),
            "remarks": self.remarks,
            "meter": str(self.drill.meter),
            "fitting": at_home_in(self.drill.meter),
            "stickings": [
                {
                    "title": sticking.title,
                    "steps": steps_written(sticking.phrase),
                    "counts": self._counts(sticking),
                }
                for sticking in self.drill.stickings
            ],
        }

    def _counts(self, sticking: Sticking) -> list[str]:
        """How its steps are counted, where it begins on the first beat."""
        meter = self.drill.meter
        grids = self.drill.steps or (own_steps(meter, sticking.steps),)
        step = meter.beat / grids[0]
        bar = steps_in_bar(meter, step)
        return [count_said(meter, step, number % bar) for number in range(len(sticking.phrase))]

    def music(self, number: int, part: int = 0) -> dict[str, Any]:
        """Some exercises of a family as the page sets them: `markup`, what is `heard`, the music
        `signs` it draws.

        Raises MidiforgeError for what a staff cannot show, and where there is no such family.
        """
        with _Shared.lock:
            if (number, part) not in self._set:
                self._set[number, part] = self._engraved(number, part)
            return self._set[number, part]

    def _engraved(self, number: int, part: int) -> dict[str, Any]:
        family, scores = self._known(number)
        parts = -(-len(scores) // _AT_ONCE)
        if not 0 <= part < parts:
            raise MidiforgeError(f"there is no part {part} of family {number}")
        some = slice(part * _AT_ONCE, (part + 1) * _AT_ONCE)
        scores[some] = [write(tempos) for _, tempos in family.pieces[some]]
        return _set(family, scores, some, self.drill.kit)

    def _known(self, number: int) -> tuple[Family[Tempos], list[Score]]:
        """A family's pieces, and of each as much of its score as their heading tells."""
        if not 0 <= number < len(self.families):
            raise MidiforgeError(f"there is no family {number}")
        if number not in self._scores:
            known = self.families[number]
            pieces = tuple((way, outline.exercises()) for way, outline in known.pieces)
            family = Family(known.title, known.thing, pieces)
            self._scores[number] = family, [unwritten(tempos) for _, tempos in pieces]
        return self._scores[number]


def set_alone(exercise: Exercise, kit: Kit) -> dict[str, Any]:
    """An exercise as the page sets it where it stands alone; as `LessonSheet.music`."""
    with _Shared.lock:
        tempos: Tempos = (exercise,)
        family = Family(exercise.title, "", (("", tempos),))
        return _set(family, [write(tempos)], slice(1), kit)


def _set(family: Family[Tempos], scores: Sequence[Score], some: slice, kit: Kit) -> dict[str, Any]:
    """Some of a family's pieces as the page sets them."""
    engraver = _Shared.engraver
    if engraver is None or engraver.bars_known > _MOST_BARS_KNOWN:
        engraver = _Shared.engraver = Engraver()
    layout = Layout(WIDEST, 0.0, False)
    group = group_of(family, scores, engraver, layout, some)
    if (some.stop or 0) < len(scores):
        group = replace(group, text=())
    own = section(group, kit, bool(some.start), len(scores) == 1)
    signs = sign_definitions(engraver.glyphs, own.drawn)
    return {"markup": own.markup, "heard": list(own.heard), "signs": str(signs)}


def _outlines(lesson: Lesson, is_wanted: Callable[[], bool]) -> Iterator[Outline]:
    def go_on(_: object = None) -> None:
        if not is_wanted():
            raise Overtaken

    for outline in lesson.outlines(go_on):
        go_on()
        yield outline


def _parts(family: Family[Outline]) -> Iterator[Family[Outline]]:
    """A family in parts of about as many pieces, each under the heading."""
    pieces = family.pieces
    parts = -(-len(pieces) // _UNDER_A_HEADING)
    size = _AT_ONCE * -(-len(pieces) // (parts * _AT_ONCE))
    for begin in range(0, len(pieces), size):
        yield Family(family.title, family.thing, pieces[begin : begin + size])


def _key(family: Family[Outline], around: bytes) -> str:
    pieces = [
        (way, outline.number, outline.title, outline.content, outline.text)
        for way, outline in family.pieces
    ]
    return hashlib.sha256(repr(pieces).encode() + around).hexdigest()[:16]
