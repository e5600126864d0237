"""A groove as the text of a drill."""

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction

from midiforge.files.own_file import Seal
from midiforge.files.toml_text import toml_lines
from midiforge.frozen import frozen
from midiforge.groove.grid import Grid
from midiforge.groove.limbs import Played
from midiforge.groove.loop import Place
from midiforge.library import shelf
from midiforge.model.hit import FEET, HANDS, Limb, Strength
from midiforge.model.spelling import MARKS
from midiforge.phrase.pattern import Pattern
from midiforge.phrase.phrase import Phrase, Step, Stroke
from midiforge.phrase.sticking import write_sticking
from midiforge.printable import printable

MOST_STEPS = 1024  # of a pattern and of a sticking
_USUAL_VOICE = {Limb.RIGHT_FOOT: "bass-drum", Limb.LEFT_FOOT: "hihat-pedal"}
MADE = Seal("# Made by midiforge import, {:.16}\n", on_top=True)
_LIMBS: Mapping[Limb | None, int] = {
    limb: place for place, limb in enumerate((*FEET, *HANDS, None))
}


@frozen
class Part:
    """What one limb (None: nobody) plays on one voice, as marks on the steps of the loop."""

    limb: Limb | None
    voice: str
    marks: str
    bars: int


@frozen
class Written:
    """The keys of a drill, in order.

    plain: ornaments that it cannot say, written as plain strokes: (place, what and why).
    """

    keys: Mapping[str, object]
    plain: tuple[tuple[Place, str], ...]


def parts(played: Sequence[Played], steps: int, bars: int) -> list[Part]:
    """One part for each limb and voice."""
    found: dict[tuple[Limb | None, str], list[str]] = {}
    for each in played:
        marks = found.setdefault((each.limb, each.place.voice), ["."] * steps)
        marks[each.place.step] = MARKS[each.place.strength]
    order = sorted(found, key=lambda key: (_LIMBS[key[0]], key[1]))
    return [Part(limb, voice, "".join(found[limb, voice]), bars) for limb, voice in order]


def as_ostinato(played: Sequence[Played], grid: Grid, bars: int) -> Written:
    """Everything as repeating parts."""
    feet, layers = _lines(parts(played, grid.bar_steps * bars, bars), grid)
    why = "an ostinato has none; a phrase may"
    plain = tuple((each.place, _plainly(each, why)) for each in played if ornament(each.place))
    return Written(_given({"feet": feet, "layers": layers}), plain)


def as_phrase(played: Sequence[Played], grid: Grid, bars: int) -> Written:
    """The hands as a sticking; the feet in it if they never coincide with the hands."""
    length = grid.bar_steps * bars
    hands = {each.place.step for each in played if each.limb in HANDS}
    feet = {each.place.step for each in played if each.limb in FEET}
    linear = not hands & feet
    inside = [each for each in played if each.limb and (linear or each.limb.is_hand)]
    outside = [each for each in played if each not in inside]
    phrase, plain, graces = _phrase(inside, length)
    size = grid.bar_steps
    lines = [
        write_sticking(Phrase("", phrase[start : start + size]), grid.steps)
        for start in range(0, length, size)
    ]
    plain += [
        (each.place, _plainly(each, "it is not in the sticking"))
        for each in outside
        if ornament(each.place)
    ]
    rest, layers = _lines(parts(outside, length, bars), grid)
    text = lines[0] if len(lines) == 1 else "\n".join(lines) + "\n"
    keys = {"sticking": text, "feet": rest, "layers": layers}
    return Written(_given(keys) | {"voicing": _voicing(inside, graces)}, tuple(plain))


def _given(keys: Mapping[str, object]) -> dict[str, object]:
    return {key: value for key, value in keys.items() if value}


def ornament(place: Place) -> str:
    """What is added to a stroke, in a word; "" for nothing."""
    return "buzz" if place.buzz else ("", "flam", "drag", "ruff")[min(place.grace, 3)]


def _plainly(played: Played, why: str) -> str:
    return f"{ornament(played.place)} written as a plain stroke: {why}"


def _phrase(
    inside: Sequence[Played], length: int
) -> tuple[tuple[Step, ...], list[tuple[Place, str]], dict[Limb, list[str]]]:
    """The steps, the ornaments that no hand is free for, and the grace notes' voices by hand."""
    at: dict[int, list[Played]] = {}
    for each in sorted(inside, key=lambda each: _HAND_ORDER[each.limb]):
        at.setdefault(each.place.step, []).append(each)
    plain: list[tuple[Place, str]] = []
    graces: dict[Limb, list[str]] = {}
    steps: list[Step] = []
    for step in range(length):
        struck = at.get(step, [])
        busy = {each.limb: each.place.voice for each in struck}
        strokes = []
        for each in struck:
            assert each.limb is not None
            grace = each.place.grace
            if each.limb.is_foot and ornament(each.place):
                plain.append((each.place, _plainly(each, "a foot has none")))
                grace = 0
            elif grace and each.limb.opposite in busy:
                voice = busy[each.limb.opposite]
                why = f"the other hand is at the {voice} just then"
                plain.append((each.place, _plainly(each, why)))
                grace = 0
            if grace:
                graces.setdefault(each.limb.opposite, []).append(
                    each.place.grace_voice or each.place.voice
                )
            buzz = each.place.buzz and each.limb.is_hand
            strokes.append(Stroke(each.limb, each.place.strength, grace, buzz and not grace))
        steps.append(tuple(strokes))
    return tuple(steps), plain, graces


_HAND_ORDER: Mapping[Limb | None, int] = {
    limb: place for place, limb in enumerate((*HANDS, *FEET, None))
}


def _voicing(inside: Sequence[Played], graces: Mapping[Limb, Sequence[str]]) -> dict[str, object]:
    """Which limb at which strength plays which voice; several take turns."""
    rules: dict[str, object] = {}
    for limb in (*HANDS, *FEET):
        own = sorted(
            (each.place for each in inside if each.limb is limb), key=lambda place: place.step
        )
        voices = Counter(place.voice for place in own)
        struck = graces.get(limb, [])
        if not own and not struck:
            continue
        usual = (voices or Counter(struck)).most_common(1)[0][0]
        if usual != _USUAL_VOICE.get(limb) or len(voices) > 1:
            rules[limb.value] = usual
        if len(voices) > 1:
            for strength in Strength:
                turns = [place.voice for place in own if place.strength is strength]
                if turns and set(turns) != {usual}:
                    turns = turns[: _period(turns)]
                    rules[f"{limb.value} {strength}"] = turns if len(turns) > 1 else turns[0]
        if struck:
            voice = Counter(struck).most_common(1)[0][0]
            if voice != usual:
                rules[f"{limb.value} grace"] = voice
    return rules


def _period(items: Sequence[str]) -> int:
    for length in range(1, len(items)):
        if len(items) % length == 0 and list(items[length:]) == list(items[:-length]):
            return length
    return len(items)


def _lines(found: Sequence[Part], grid: Grid) -> tuple[list[str], list[str]]:
    """The parts of the feet, and all others."""
    feet: list[str] = []
    layers: list[str] = []
    for part in found:
        text = grouped(part, grid)
        if part.limb:
            text += f" on {part.limb.value}"
        if part.limb is None or part.voice != _USUAL_VOICE.get(part.limb):
            text += f" as {part.voice}"
        (feet if part.limb in FEET else layers).append(text)
    return feet, layers


def grouped(part: Part, grid: Grid) -> str:
    """The marks of a part, as short as they repeat in whole beats, in beats and bars."""
    marks, bar = part.marks, grid.bar_steps
    beat = bar if grid.meter.is_mixed else grid.steps
    for length in range(beat, len(marks), beat):
        repeats = len(marks) % length == 0 and marks[length:] == marks[:-length]
        if repeats and (length % bar == 0 or bar % length == 0):
            marks = marks[:length]
            break
    beats = [int(each / grid.step) for each in grid.meter.beat_lengths]
    bars = []
    for start in range(0, len(marks), bar):
        line, groups, at = marks[start : start + bar], [], 0
        for size in beats:
            groups.append(line[at : at + size])
            at += size
        joined = "" if grid.steps == 1 else " "
        bars.append(joined.join(filter(None, groups)))
    return " | ".join(bars)


def known_as(part: Part, grid: Grid) -> list[str]:
    """The library's foot patterns that have the same strokes."""
    if part.limb not in FEET:
        return []
    strokes = tuple(
        (i * grid.step, strength)
        for i, mark in enumerate(part.marks)
        for strength, letter in MARKS.items()
        if letter == mark
    )
    whole = Pattern(len(part.marks) * grid.step, strokes)
    return [
        each.name
        for each in shelf.ostinatos().values()
        if each.kind == "foot"
        and each.limb is part.limb
        and part.voice == (each.voice or _USUAL_VOICE[part.limb])
        and _once(each.pattern) == _once(whole)
    ]


def _once(pattern: Pattern) -> tuple[Fraction, tuple[tuple[Fraction, Strength], ...]]:
    period = pattern.period
    return period, tuple(each for each in pattern.strokes if each[0] < period)


# TOML


def toml(keys: Mapping[str, object], remarks: Sequence[str], notes: Mapping[str, str]) -> str:
    """A drill file: remarks on top, the keys, tables last; `notes` stand above their keys."""
    lines = [f"# {printable(remark)}".rstrip() for remark in remarks]
    body = "\n".join([*lines, *[""] * bool(lines), *toml_lines(keys, notes)]) + "\n"
    return MADE.sealed(body.encode()).decode()
