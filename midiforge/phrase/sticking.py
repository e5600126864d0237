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

from dataclasses import replace

from midiforge.errors import MidiforgeError
from midiforge.model.hit import Limb, Strength
from midiforge.phrase.phrase import Phrase, Step, Stroke

_STROKES = {
    "R": (Limb.RIGHT_HAND,),
    "L": (Limb.LEFT_HAND,),
    "B": (Limb.RIGHT_HAND, Limb.LEFT_HAND),
    "K": (Limb.RIGHT_FOOT,),
    "H": (Limb.LEFT_FOOT,),
}
_GRACE = {"r": Limb.RIGHT_HAND, "l": Limb.LEFT_HAND}
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
        place = f"line {number}" if len([each for each in lines if each.strip()]) > 1 else ""
        if not line.strip():
            continue
        if ">" in line and not line.strip(" >.|"):
            if marks is not None:
                raise MidiforgeError("two accent lines follow each other", place)
            marks = {column for column, letter in enumerate(line) if letter == ">"}
            continue
        try:
            steps += _read_line(line, marks or set())
        except MidiforgeError as error:
            raise error.within(place) from None
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


def _read_line(line: str, marks: set[int]) -> list[Step]:
    """The steps of one line, the strokes whose columns are in `marks` accented."""

    def wrong(what: str, column: int, hint: str = "") -> MidiforgeError:
        return MidiforgeError(what, f"column {column + 1}", hint=hint)

    steps: list[Step] = []
    used: set[int] = set()
    grace = ""
    ghost_from = -1
    accent = joined = False
    for column, letter in enumerate(line):
        if grace and letter not in _STROKES and letter not in _GRACE:
            raise wrong(f"the grace note {grace!r} has no stroke after it", column)
        if (accent and letter == ">") or ((accent or joined) and letter in _NO_STROKE):
            raise wrong(f"a stroke was expected, not {letter!r}", column)
        if letter in _STROKES:
            strokes = _strokes(letter, grace)
            if isinstance(strokes, str):
                raise wrong(strokes, column)
            over = marks & set(range(column - len(grace), column + 1))
            if accent or over:
                used |= over
                strokes = tuple(replace(s, strength=Strength.ACCENT) for s in strokes)
            elif ghost_from >= 0:
                strokes = tuple(replace(s, strength=Strength.GHOST) for s in strokes)
            if joined:
                twice = {s.limb for s in strokes} & {s.limb for s in steps[-1]}
                if twice:
                    raise wrong(f"two strokes of the {twice.pop().title} at once", column)
                strokes = steps.pop() + strokes
                for stroke in strokes:
                    if stroke.grace and stroke.limb.opposite in {s.limb for s in strokes}:
                        hand = stroke.limb.opposite.title
                        raise wrong(f"the {hand} has a grace note and a stroke at once", column)
            steps.append(strokes)
            grace, accent, joined = "", False, False
        elif letter in _GRACE:
            grace += letter
            if len(grace) > _MOST_GRACE_NOTES:
                raise wrong(f"more than {_MOST_GRACE_NOTES} grace notes", column)
        elif letter in _READER_ONLY:
            continue
        elif letter == "-":
            steps.append(())
        elif letter == "z":
            if not (steps and steps[-1] and line[column - 1] in _STROKES):
                raise wrong("'z' (buzz) stands behind no stroke", column)
            last = steps[-1]
            steps[-1] = (*last[:-1], replace(last[-1], buzz=True))
            if line[column - 1] == "B":
                steps[-1] = tuple(replace(s, buzz=True) for s in steps[-1])
            if not all(s.limb.is_hand for s in steps[-1] if s.buzz):
                raise wrong("a foot cannot play a buzz", column)
        elif letter == "(":
            if ghost_from >= 0:
                raise wrong("brackets inside brackets", column)
            ghost_from = column
        elif letter == ")":
            if ghost_from < 0:
                raise wrong("')' without '('", column)
            ghost_from = -1
        elif letter == ">":
            accent = True
        elif letter == "+":
            if not (steps and steps[-1]) or line[column - 1] in " |-":
                raise wrong("'+' stands behind no stroke", column)
            joined = True
        else:
            raise wrong(f"{letter!r} is not a letter of a sticking", column, hint=_LETTERS)
    if grace:
        raise wrong(f"the grace note {grace!r} has no stroke after it", len(line))
    if accent or joined:
        raise wrong("the line ends where a stroke was expected", len(line))
    if ghost_from >= 0:
        raise wrong("'(' is never closed", ghost_from)
    if marks - used:
        raise wrong("the '>' above stands over no stroke", min(marks - used))
    return steps


def _strokes(letter: str, grace: str) -> Step | str:
    """The strokes of a capital letter with its grace notes, or what is wrong with it."""
    limbs = _STROKES[letter]
    if not grace:
        return tuple(Stroke(limb) for limb in limbs)
    if len(limbs) > 1 or limbs[0].is_foot:
        return f"{letter!r} cannot have grace notes"
    # A ruff's grace notes alternate; those of a flam and a drag are the other hand's.
    if _GRACE[grace[-1]] is limbs[0]:
        return f"'{grace}{letter}': the grace note and its stroke are of one hand"
    if len(set(grace)) > 1:
        return f"'{grace}{letter}': grace notes of both hands"
    return (Stroke(limbs[0], grace=len(grace)),)


def write_sticking(phrase: Phrase, group: int = 0) -> str:
    """A phrase as one line of text that `parse_sticking` reads back, in groups of steps.

    group: steps to a group; if not given, four, three, or all, whichever comes out even.
    """
    written = [_write_step(step) for step in phrase.steps]
    size = group or next((each for each in (4, 3) if len(phrase) % each == 0), len(phrase))
    return " ".join("".join(written[i : i + size]) for i in range(0, len(written), size))


def _write_step(step: Step) -> str:
    if not step:
        return "-"
    first = step[0]
    pair = {stroke.limb for stroke in step} >= {Limb.RIGHT_HAND, Limb.LEFT_HAND}
    if pair and len(step) == 2 and step[0] == replace(step[1], limb=first.limb):
        return _write_stroke(first, "B")
    return "+".join(_write_stroke(stroke, stroke.limb.letter) for stroke in step)


def _write_stroke(stroke: Stroke, letter: str) -> str:
    text = stroke.limb.opposite.letter.lower() * stroke.grace + letter + "z" * stroke.buzz
    if stroke.strength is Strength.ACCENT:
        return ">" + text
    return f"({text})" if stroke.strength is Strength.GHOST else text
