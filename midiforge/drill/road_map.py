"""Bars that were written out, and the order they are played in."""

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from midiforge.errors import MidiforgeError, is_not, nearest, quoted
from midiforge.frozen import frozen
from midiforge.keys.values import limb
from midiforge.library import shelf
from midiforge.model.hit import Limb, Strength
from midiforge.model.meter import Meter
from midiforge.model.spelling import MARKS
from midiforge.phrase.cycle import within_limit
from midiforge.phrase.pattern import Line, Pattern

_STRENGTHS = {mark: strength for strength, mark in MARKS.items()}
# Ornaments: grace notes before the stroke, and whether it is a buzz; capitals are accents.
ORNAMENTS = {"f": (1, False), "d": (2, False), "r": (3, False), "z": (0, True)}
_LIMBS = {each.value: each for each in Limb}
_LIKE = "like"
_NAME = r"[A-Za-z][\w-]*"
_MOST_MARKS = 192  # in a bar
_SUCH_AS = "such as '3 A, fill', '2 (A A B)' or 'A+crash'"


class _Part(NamedTuple):
    limb: Limb | None
    voice: str


class _Stroke(NamedTuple):
    """time: quarter notes from the first bar line; step: of the bar it is written in."""

    time: Fraction
    strength: Strength
    step: Fraction
    grace: int = 0
    buzz: bool = False


@frozen
class Bars:
    """A few bars under one name: what each limb plays on each voice."""

    count: int
    parts: Mapping[_Part, tuple[_Stroke, ...]]


def read_bars(content: Mapping[str, object], meter: Meter) -> dict[str, Bars]:
    """Bars by name, each a text: a line for each limb and voice, "RH ride x.x. x.x. | x... x...".

    A bar has as many steps as it has marks. "like A" in the first line: these lines over A's.
    """
    bars: dict[str, Bars] = {}
    for name, text in content.items():
        if not re.fullmatch(_NAME, name):
            raise is_not(name, "a name of bars", "a letter, then letters, digits, - and _")
        try:
            bars[name] = _bars(text, meter, bars)
        except MidiforgeError as error:
            raise error.within(name) from None
    return bars


def _bars(text: object, meter: Meter, known: Mapping[str, Bars]) -> Bars:
    lines = [line.split() for line in str(text).splitlines() if line.strip()]
    base = Bars(0, {})
    if lines and lines[0][0] == _LIKE:
        name = " ".join(lines.pop(0)[1:])
        if name not in known:
            raise MidiforgeError(
                f"no bars {quoted(name)} stand before", hint=nearest(name, known) if known else ""
            )
        base = known[name]
    parts: dict[_Part, tuple[_Stroke, ...]] = {}
    count = base.count
    for words in lines:
        part, marks = _part(words)
        if part in parts:
            raise MidiforgeError(f"{' '.join(words[:-1])} is there twice")
        written = marks.split("|")
        if count and len(written) != count and marks != ".":
            raise MidiforgeError(
                f"{part.voice} has {len(written)} bars, others have {count}",
                hint="bars are divided by |; a rest alone is a bar without strokes",
            )
        count = count or len(written)
        parts[part] = tuple(
            stroke
            for number, bar in enumerate(written)
            for stroke in _strokes(bar, number * meter.bar, meter.bar)
        )
    if not count:
        raise MidiforgeError("there is nothing in it", hint="such as 'RH ride x.x. x.x. x.x. x.x.'")
    return _over(base, Bars(count, parts))


def _over(base: Bars, change: Bars) -> Bars:
    """Lines take the place of the base's for the same limb and voice, a rest alone leaves one out,
    all lines of the voice if it is nobody's; what the same hand or foot would have elsewhere at
    that moment, it leaves out too."""
    busy: set[tuple[Limb | None, Fraction]] = set()
    for part, strokes in change.parts.items():
        if part.limb:
            busy |= {(part.limb, stroke.time) for stroke in strokes}
            busy |= {(part.limb.opposite, stroke.time) for stroke in strokes if stroke.grace}
    kept = {
        part: tuple(
            stroke
            if part.limb and (part.limb.opposite, stroke.time) not in busy
            else stroke._replace(grace=0)
            for stroke in strokes
            if (part.limb, stroke.time) not in busy
        )
        for part, strokes in base.parts.items()
        if change.parts.get(_Part(None, part.voice)) != ()
    }
    return Bars(change.count, {**kept, **change.parts})


def _part(words: list[str]) -> tuple[_Part, str]:
    """Who plays what, and the marks."""
    player = _LIMBS.get(words[0])
    rest = words[1:] if player else words
    if len(rest) < 2:
        raise is_not(" ".join(words), "a line", "limb, voice and marks: 'RH ride x.x. x.x.'")
    if player is None and len(rest[0]) == 2 and rest[0].isupper():
        player, rest = limb(rest[0]), rest[1:]
    voice = shelf.voice(rest[0]).name
    marks = "".join(rest[1:])
    wrong = re.search(r"[^x>g.|fdrz]", marks, re.IGNORECASE) or re.search("[XG]", marks)
    if wrong:
        raise MidiforgeError(
            f"{quoted(wrong[0])} is no mark",
            hint="x a tap, > an accent, g a ghost note, . a rest; f a flam, d a drag, r a ruff, "
            "z a buzz, as capitals accented",
        )
    ornament = re.search("[fdrz]", marks, re.IGNORECASE)
    if ornament and not (player and player.is_hand):
        raise MidiforgeError(
            f"{quoted(ornament[0])} is for a hand", voice, hint="RH or LH before it"
        )
    return _Part(player, voice), marks


def _strokes(marks: str, start: Fraction, bar: Fraction) -> list[_Stroke]:
    if not 0 < len(marks) <= _MOST_MARKS:
        raise MidiforgeError(f"a bar has {len(marks)} marks", hint=f"1 to {_MOST_MARKS}")
    step = bar / len(marks)
    strokes = []
    for i, mark in enumerate(marks):
        if mark in _STRENGTHS:
            strokes.append(_Stroke(start + i * step, _STRENGTHS[mark], step))
        elif mark != ".":
            strength = Strength.ACCENT if mark.isupper() else Strength.TAP
            ornament = ORNAMENTS[mark.lower()]
            strokes.append(_Stroke(start + i * step, strength, step, *ornament))
    return strokes


def read_road_map(text: str, bars: Mapping[str, Bars]) -> tuple[Bars, ...]:
    """The names in the order they are played: "3 A, fill", "2 (A A B)", "A+crash"."""
    words = re.findall(rf"[0-9]+|{_NAME}(?:\s*\+\s*{_NAME})*|[()]|[^\s,]", text)
    # Each level has what it has gathered, and how often its group is played.
    levels: list[tuple[list[Bars], int]] = [([], 1)]
    times = 0
    for word in words:
        if re.fullmatch("[0-9]+", word) and not times:
            times = within_limit(int(word[:9]), "the road map")
            if times:
                continue
        if word == "(":
            levels.append(([], times or 1))
        elif word == ")" and len(levels) > 1 and not times:
            names, turns = levels.pop()
            levels[-1][0].extend(names * turns)
        elif re.match(_NAME, word):
            levels[-1][0].extend([_together(word, bars)] * (times or 1))
        else:
            raise is_not(text, "a road map", _SUCH_AS)
        times = 0
        within_limit(sum(each.count for each in levels[-1][0]), "the road map")
    if len(levels) > 1 or times or not levels[0][0]:
        raise is_not(text, "a road map", _SUCH_AS)
    return tuple(levels[0][0])


def _together(word: str, bars: Mapping[str, Bars]) -> Bars:
    """Bars, and what is played over them: "A+crash"."""
    together: Bars | None = None
    for name in re.findall(_NAME, word):
        if name not in bars:
            hint = nearest(name, bars) if bars else "[bars] has them"
            raise MidiforgeError(f"no bars are called {quoted(name)}", hint=hint)
        own = bars[name]
        if together and own.count != together.count:
            raise MidiforgeError(
                f"{quoted(word)} puts {own.count} bars over {together.count}",
                hint="as many as there are",
            )
        together = _over(together, own) if together else own
    assert together is not None
    return together


def lines_of(order: tuple[Bars, ...], meter: Meter) -> tuple[Line, ...]:
    """Bars written out: a line for each limb, voice and step, once through them."""
    strokes: dict[tuple[_Part, Fraction], list[tuple[Fraction, Strength]]] = {}
    ornaments: dict[tuple[_Part, Fraction], list[tuple[Fraction, int, bool]]] = {}
    start = Fraction(0)
    for bars in order:
        for part, own in bars.parts.items():
            for time, strength, step, grace, buzz in own:
                strokes.setdefault((part, step), []).append((start + time, strength))
                if grace or buzz:
                    ornaments.setdefault((part, step), []).append((start + time, grace, buzz))
        start += bars.count * meter.bar
    voices = shelf.voices()
    return tuple(
        Line(
            part.voice,
            f"{voices[part.voice].title} by the road map",
            part.limb,
            part.voice,
            Pattern(start, tuple(placed), tuple(ornaments.get((part, step), ()))),
        )
        for (part, step), placed in strokes.items()
    )
