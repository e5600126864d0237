"""A drill's lesson as the page shows it: family by family, each engraved when it is looked at."""

import hashlib
import pickle
import threading
from collections.abc import Sequence
from functools import cached_property
from itertools import islice
from typing import Any

from midiforge.desk.drill_file import DrillFile
from midiforge.drill.drill import Drill
from midiforge.drill.read import drill_in
from midiforge.engraving.drawing import sign_definitions
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.errors import MidiforgeError
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.outline import Outline
from midiforge.lesson.remarks import remarks
from midiforge.model.counts import count_said, steps_in_bar
from midiforge.model.family import Family, families
from midiforge.moves.grid import own_steps
from midiforge.pages.booklet import group_of
from midiforge.pages.html import WIDEST, section
from midiforge.phrase.phrase import Sticking
from midiforge.phrase.sticking import steps_written

MOST_PIECES = 60  # of a lesson that the page shows; all are built, printed and practised
_MOST_BARS_KNOWN = 4000  # that an engraver keeps


class _Desk:
    """The engraver of this process; verovio works for one thread at a time."""

    lock = threading.Lock()
    engraver: Engraver | None = None


class LessonSheet:
    """A drill's lesson, made once.

    Raises MidiforgeError, naming the key, for a file that is no drill.
    """

    def __init__(self, file: DrillFile) -> None:
        self.file = file
        self.drill: Drill = drill_in(file.text, file.path)
        self.lesson = Lesson(self.drill)
        self.outlines: Sequence[Outline] = tuple(self.lesson.outlines())
        self._set: dict[int, dict[str, Any]] = {}

    @cached_property
    def families(self) -> tuple[Family, ...]:
        """The families of what the page shows."""
        shown = islice(self.outlines, MOST_PIECES)
        exercises = (exercise for outline in shown for exercise in outline.exercises())
        return tuple(families(exercises))

    @cached_property
    def remarks(self) -> list[str]:
        """What a person should know of the drill."""
        return [*self.drill.notes, *remarks(self.drill)]

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """A name for each family, the same for the same music on the same page."""
        return tuple(_key(family) for family in self.families)

    def told(self) -> dict[str, Any]:
        """What the page is told of the lesson, of JSON's own kinds."""
        return {
            "pieces": [
                {"number": outline.number, "title": outline.title, "tempos": len(outline.tempos)}
                for outline in self.outlines
            ],
            "exercises": sum(len(outline.tempos) for outline in self.outlines),
            "families": list(self.keys),
            "unshown": max(0, len(self.outlines) - MOST_PIECES),
            "remarks": self.remarks,
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

    def music(self, number: int) -> dict[str, Any]:
        """A family as the page sets it: `markup`, what is `heard`, the music `signs` it draws.

        Raises MidiforgeError for what a staff cannot show, and where there is no such family.
        """
        if not 0 <= number < len(self.families):
            raise MidiforgeError(f"there is no family {number}")
        with _Desk.lock:
            if number not in self._set:
                self._set[number] = self._engraved(self.families[number])
            return self._set[number]

    def _engraved(self, family: Family) -> dict[str, Any]:
        engraver = _Desk.engraver
        if engraver is None or engraver.bars_known > _MOST_BARS_KNOWN:
            engraver = _Desk.engraver = Engraver()
        layout = Layout(WIDEST, 0.0, False)
        part = section(group_of(family, engraver, layout), self.drill.kit)
        signs = sign_definitions(engraver.glyphs, part.drawn)
        return {"markup": part.markup, "heard": list(part.heard), "signs": str(signs)}


def _key(family: Family) -> str:
    return hashlib.sha256(pickle.dumps(family)).hexdigest()[:16]
