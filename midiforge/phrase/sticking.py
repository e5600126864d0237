"""Stickings as text: reading and writing them.

>     >
R L R R  L R L L       one capital letter a grid step: R and L hands, B both together,
                       K the bass-drum foot, H the hi-hat foot, - a rest
lR   llR               lower-case letters before a stroke: its grace notes (flam, drag)
(L)  (LL)              brackets: ghost notes
Rz                     z after a stroke: a buzz
R+K                    together on one step
>R                     an accent; or a > above the stroke, on a line of its own
spaces and |           for the reader only
"""

from dataclasses import dataclass, field, replace

from midiforge.errors import MidiforgeError, within
from midiforge.model.hit import HANDS, Limb, Strength
from midiforge.model.spelling import spelled
from midiforge.phrase.phrase import Phrase, Step, Stroke

_STROKES: dict[str, tuple[Limb, ...]] = {limb.letter: (limb,) for limb in Limb} | {"B": HANDS}
_GRACE = {hand.letter.lower(): hand for hand in HANDS}
_READER_ONLY = " \t|"
_NO_STROKE = _READER_ONLY + "-+z)"
_MOST_GRACE_NOTES = 4
_MOST_STEPS = 1024
_LETTERS = "R L B K H, r l for grace notes, ( ) z + > - and |"


def parse_sticking(text: str, name: str = "") -> Phrase:
    """The phrase that a sticking's text writes; MidiforgeError with line and column if none."""
    steps: list[Step] = []
    marks: set[int] | None = None
    lines = text.expandtabs().splitlines()
    for number, line in enumerate(lines, start=1):
        place = f"line {number}" if len([*filter(str.strip, lines)]) > 1 else ""
        if not line.strip():
            continue
        if ">" in line and not line.strip(" >.|"):
            if marks is not None:
                raise MidiforgeError("two accent lines follow each other", place)
            marks = {column for column, letter in enumerate(line) if letter == ">"}
            continue
        with within(place):
            steps += _Scanner(line, marks or set()).read()
        marks = None
    if marks is not None:
        raise MidiforgeError("an accent line has no sticking below it")
    if not any(steps):
        raise MidiforgeError("the sticking has no strokes", hint="such as RLRR LRLL")
    if len(steps) > _MOST_STEPS:
        raise MidiforgeError(f"the sticking has {len(steps)} steps", hint=f"up to {_MOST_STEPS}")
    phrase = Phrase(name, tuple(steps))
    return replace(phrase, name=name or _typed_name(text, phrase))


def _typed_name(text: str, phrase: Phrase) -> str:
    """The sticking as typed, if that is one line in groups; else written anew."""
    if len(text.strip().splitlines()) > 1:
        return write_sticking(phrase)
    groups = text.replace("|", " ").split()
    if 1 < len(groups) == len(phrase):  # step by step: bar lines are the groups, if any
        groups = ["".join(part.split()) for part in text.split("|") if part.strip()]
        return " ".join(groups) if len(groups) > 1 else write_sticking(phrase)
    return " ".join(groups)


@dataclass(slots=True)
class _Scanner:
    """Reads one line, letter by letter.

    marks: the columns over which a line of accents has a >; used: those that met a stroke.
    grace: the grace notes that wait for their stroke; ghost_from: the column of the open bracket,
    -1 for none; accent, joined: whether > or + wait for a stroke.
    """

    line: str
    marks: set[int]
    steps: list[Step] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    column: int = 0
    grace: str = ""
    ghost_from: int = -1
    accent: bool = False
    joined: bool = False

    def read(self) -> list[Step]:
        """The steps of the line, the strokes whose columns are in `marks` accented."""
        for column, letter in enumerate(self.line):
            self.column = column
            self._expected(letter)
            if letter in _STROKES:
                self._stroke(letter)
            elif letter in _GRACE:
                self.grace += letter
                if len(self.grace) > _MOST_GRACE_NOTES:
                    raise self._wrong(f"more than {_MOST_GRACE_NOTES} grace notes")
            elif letter == "-":
                self.steps.append(())
            elif letter == "z":
                self._buzz()
            elif letter == "(":
                if self.ghost_from >= 0:
                    raise self._wrong("brackets inside brackets")
                self.ghost_from = self.column
            elif letter == ")":
                if self.ghost_from < 0:
                    raise self._wrong("')' without '('")
                self.ghost_from = -1
            elif letter == ">":
                self.accent = True
            elif letter == "+":
                if not (self.steps and self.steps[-1]) or self.line[self.column - 1] in " |-":
                    raise self._wrong("'+' stands behind no stroke")
                self.joined = True
            elif letter not in _READER_ONLY:
                raise self._wrong(f"{letter!r} is not a letter of a sticking", hint=_LETTERS)
        self.column = len(self.line)
        self._expected("")
        if self.ghost_from >= 0:
            raise self._wrong("'(' is never closed", self.ghost_from)
        if self.marks - self.used:
            first = min(self.marks - self.used)
            raise self._wrong("the '>' above stands over no stroke", first)
        return self.steps

    def _wrong(self, what: str, column: int | None = None, hint: str = "") -> MidiforgeError:
        place = self.column if column is None else column
        return MidiforgeError(what, f"column {place + 1}", hint=hint)

    def _expected(self, letter: str) -> None:
        """Raises MidiforgeError where something else had to follow; "" is the end of the line."""
        if self.grace and letter not in _STROKES and letter not in _GRACE:
            raise self._wrong(f"the grace note {self.grace!r} has no stroke after it")
        waits = self.accent or self.joined
        if (self.accent and letter == ">") or (waits and letter in _NO_STROKE):
            raise self._wrong(
                f"a stroke was expected, not {letter!r}"
                if letter
                else "the line ends where a stroke was expected"
            )

    def _stroke(self, letter: str) -> None:
        strokes = self._strokes(letter)
        over = self.marks & set(range(self.column - len(self.grace), self.column + 1))
        if self.accent or over:
            self.used |= over
            strokes = tuple(replace(stroke, strength=Strength.ACCENT) for stroke in strokes)
        elif self.ghost_from >= 0:
            strokes = tuple(replace(stroke, strength=Strength.GHOST) for stroke in strokes)
        if self.joined:
            strokes = self._together(self.steps.pop(), strokes)
        self.steps.append(strokes)
        self.grace, self.accent, self.joined = "", False, False

    def _strokes(self, letter: str) -> Step:
        """The strokes of a capital letter with the grace notes before it."""
        limbs, grace = _STROKES[letter], self.grace
        if grace and (len(limbs) > 1 or limbs[0].is_foot):
            raise self._wrong(f"{letter!r} cannot have grace notes")
        # A ruff's grace notes alternate; those of a flam and a drag are the other hand's.
        if grace and _GRACE[grace[-1]] is limbs[0]:
            raise self._wrong(f"'{grace}{letter}': the grace note and its stroke are of one hand")
        if len(set(grace)) > 1:
            raise self._wrong(f"'{grace}{letter}': grace notes of both hands")
        return tuple(Stroke(limb, grace=len(grace)) for limb in limbs)

    def _together(self, before: Step, strokes: Step) -> Step:
        """Strokes on the step of those before them."""
        twice = {stroke.limb for stroke in strokes} & {stroke.limb for stroke in before}
        if twice:
            raise self._wrong(f"two strokes of the {twice.pop().title} at once")
        step = before + strokes
        limbs = {stroke.limb for stroke in step}
        for stroke in step:
            if stroke.grace and stroke.limb.opposite in limbs:
                hand = stroke.limb.opposite.title
                raise self._wrong(f"the {hand} has a grace note and a stroke at once")
        return step

    def _buzz(self) -> None:
        before = self.line[self.column - 1]
        if not (self.steps and self.steps[-1] and before in _STROKES):
            raise self._wrong("'z' (buzz) stands behind no stroke")
        *others, last = self.steps[-1]
        step = (*others, replace(last, buzz=True))
        if before == "B":
            step = tuple(replace(stroke, buzz=True) for stroke in step)
        if not all(stroke.limb.is_hand for stroke in step if stroke.buzz):
            raise self._wrong("a foot cannot play a buzz")
        self.steps[-1] = step


def write_sticking(phrase: Phrase, group: int = 0) -> str:
    """A phrase as one line of text that `parse_sticking` reads back, in groups of steps.

    group: steps to a group; if not given, four, three, or all, whichever comes out even.
    """
    written = steps_written(phrase)
    size = group or next((size for size in (4, 3) if len(phrase) % size == 0), len(phrase))
    return " ".join("".join(written[i : i + size]) for i in range(0, len(written), size))


def steps_written(phrase: Phrase) -> list[str]:
    """The text of each step: "R", ">L", "lR", "-"."""
    return [_write_step(step) for step in phrase.steps]


def _write_step(step: Step) -> str:
    if not step:
        return "-"
    first = step[0]
    pair = {stroke.limb for stroke in step} >= {Limb.RIGHT_HAND, Limb.LEFT_HAND}
    if pair and len(step) == 2 and step[0] == replace(step[1], limb=first.limb):
        return _write_stroke(first, "B")
    return "+".join(_write_stroke(stroke, stroke.limb.letter) for stroke in step)


def _write_stroke(stroke: Stroke, letter: str) -> str:
    grace = stroke.limb.opposite.letter.lower() * stroke.grace
    return str(spelled(letter, grace, stroke.buzz, stroke.strength))
