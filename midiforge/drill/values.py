"""One reader for each kind of value a drill holds: text in, checked value out.

Every reader raises MidiforgeError without saying which key it read; the caller adds that.
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil

from midiforge.drill.drill import Chosen, Ramp, Shape, ShapeKind, Span, Voicing, ladder
from midiforge.errors import MidiforgeError, is_not, nearest, quoted, within
from midiforge.keys.values import limb, whole
from midiforge.library import shelf
from midiforge.model.hit import FEET, HANDS, Limb, Strength
from midiforge.model.meter import Meter
from midiforge.model.number import Named, read_span, read_spans
from midiforge.model.number import Span as Numbers
from midiforge.model.piece import SectionKind
from midiforge.model.tempo import plain
from midiforge.phrase.cycle import MOST_BARS

SLOWEST, FASTEST = 10, 500
MOST_CHOSEN = 1000
MOST_REST = 600  # seconds
_LONGEST_QUARTER = Fraction(0xFFFFFF, 1_000_000)  # seconds; a MIDI file has three bytes for it

# Tempos


def tempo(value: object) -> Fraction:
    """Pulses a minute, such as 92 or 92.5."""
    text = str(value).strip()
    if not isinstance(value, Fraction) and not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", text):
        raise is_not(value, "a tempo", "such as 92")
    pulses = Fraction(text)
    if not SLOWEST <= pulses <= FASTEST:
        raise is_not(value, "a tempo", f"{SLOWEST} to {FASTEST} pulses a minute")
    return pulses


def tempos(items: list[object]) -> tuple[Fraction, ...]:
    """Tempos in the order given, "60, 72" or "60 72"; "60 to 100 by 10" stands for the ladder
    between."""
    wanted: list[Fraction] = []
    for item in items:
        steps = re.fullmatch(r"\s*(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s*", str(item))
        if steps:
            wanted += ladder(tempo(steps[1]), tempo(steps[2]), _rise(steps[3]))
        elif re.fullmatch(r"\s*[0-9.]+(\s+[0-9.]+)+\s*", str(item)):
            wanted += map(tempo, str(item).split())
        else:
            wanted.append(tempo(item))
    twice = next((tempo for tempo in wanted if wanted.count(tempo) > 1), None)
    if twice:
        raise MidiforgeError(f"the tempo {twice} is there twice")
    return tuple(wanted)


def ramp(text: str) -> Ramp | None:
    """ "60 to 100 by 4 every 2 bars"."""
    if not text:
        return None
    match = re.fullmatch(
        r"\s*(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s+every\s+([0-9]{1,4})\s+bars?\s*", text, re.IGNORECASE
    )
    if not match:
        raise is_not(text, "a ramp", "such as '60 to 100 by 4 every 2 bars'")
    bars = whole(int(match[4]), 1, MOST_BARS, "bars")
    return Ramp(tempo(match[1]), tempo(match[2]), _rise(match[3]), bars)


def _rise(text: str) -> Fraction:
    step = Fraction(text) if re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,4})?", text) else Fraction(0)
    if not Fraction(1, 10) <= step <= FASTEST:
        raise is_not(text, "a step between tempos", "such as 4")
    return step


def fast_enough(tempos: tuple[Fraction, ...], meter: Meter) -> tuple[Fraction, ...]:
    """The tempos, if a MIDI file can say how long a quarter note lasts: below 16.8 seconds."""
    for tempo in tempos:
        if 60 / (tempo * meter.pulse) > _LONGEST_QUARTER:
            raise MidiforgeError(
                f"{plain(tempo)} {meter.pulse_name} notes a minute is too slow for a MIDI file",
                hint=f"{slowest_tempo(meter)} or more",
            )
    return tempos


def slowest_tempo(meter: Meter) -> int:
    """The slowest whole tempo that a MIDI file can hold in a meter."""
    return ceil(60 / (_LONGEST_QUARTER * meter.pulse))


def rise(text: str) -> Fraction | None:
    """How much faster, as a share: "5%"; None for "next", the drill's own next tempo."""
    if text.strip() == "next":
        return None
    match = re.fullmatch(r"\s*([0-9]{1,3}(?:\.[0-9]{1,2})?)\s*%\s*", text)
    share = Fraction(match[1]) / 100 if match else Fraction(0)
    if not Fraction(1, 100) <= share <= 1:
        raise MidiforgeError(f"{quoted(text)} is no rise", hint="'next', or 1% to 100%")
    return share


# Exercises, voices, forms, levels


def running(items: list[object]) -> tuple[Chosen, ...]:
    """Exercises by number: "3b", "7-9", "3 at 70", "3 at 70 repeats 4"; and "rest 3:00" between."""
    chosen: list[Chosen] = []
    for item in items:
        if rest := re.fullmatch(r"\s*rest\s+(\S+)\s*", str(item), re.IGNORECASE):
            if not chosen:
                raise MidiforgeError(
                    "a rest comes after an exercise", hint="'3 at 70', 'rest 3:00'"
                )
            chosen[-1] = replace(chosen[-1], rest=chosen[-1].rest + _rest(rest[1]))
            continue
        match = re.fullmatch(
            r"\s*([0-9]\S*(?:\s*-\s*[0-9]\S*)?)(?:\s+at\s+(\S+))?(?:\s+repeats\s+(\S+))?\s*",
            str(item),
            re.IGNORECASE,
        )
        span = _span(match[1]) if match else None
        if not match or not span:
            raise MidiforgeError(
                f"{quoted(item)} does not choose an exercise",
                hint="such as '3b', '7-9' or '3 at 70 repeats 4'",
            )
        first, last = span.first, span.last
        if len(chosen) + last.piece - first.piece >= MOST_CHOSEN:
            raise MidiforgeError("too many exercises are chosen", hint=f"up to {MOST_CHOSEN:,}")
        at = tempo(match[2]) if match[2] else None
        repeats = whole(match[3], 1, MOST_BARS, "repeats") if match[3] else 0
        pieces = map(Named, range(first.piece, last.piece + 1))
        chosen += (Chosen(number, at, repeats) for number in ([first] if first == last else pieces))
    return tuple(chosen)


def _rest(text: str) -> int:
    """Seconds, from "90" or "1:30"."""
    match = re.fullmatch(r"(?:([0-9]{1,2}):(?=[0-5][0-9]$))?([0-9]{1,3})", text)
    seconds = 60 * int(match[1] or 0) + int(match[2]) if match else 0
    if not 0 < seconds <= MOST_REST:
        hint = f"up to {MOST_REST // 60} minutes, such as 'rest 3:00'"
        raise MidiforgeError(f"{quoted(text)} is no rest", hint=hint)
    return seconds


def _span(text: str) -> Numbers | None:
    """Exercises by their numbers, whole pieces where they are several; None if it is no such."""
    try:
        span = read_span(text)
    except MidiforgeError:
        return None
    whole_pieces = span.first == span.last or not span.first.letter + span.last.letter
    return span if span.first.piece and whole_pieces else None


def texts(content: Mapping[str, object]) -> tuple[tuple[tuple[Numbers, ...], str], ...]:
    """What is to be read with exercises, by their numbers."""
    read = []
    for numbers, text in content.items():
        with within(str(numbers)):
            if not isinstance(text, str):
                raise MidiforgeError(f"{quoted(str(text))} is not a text")
            read.append((read_spans(str(numbers)), text))
    return tuple(read)


def voicing(content: object) -> Voicing:
    """Rules from a table, or from texts such as "RH accent=ride-bell"; / divides taking turns."""
    pairs: list[tuple[str, object]] = []
    if isinstance(content, Mapping):
        pairs = [(str(left), right) for left, right in content.items()]
    else:
        for rule in content if isinstance(content, (list, tuple)) else str(content).split(","):
            left, equals, voices = str(rule).partition("=")
            if not equals:
                raise is_not(rule, "a rule", "such as RH accent=ride-bell")
            pairs.append((left, voices))
    rules: dict[tuple[Limb, str], tuple[str, ...]] = {}
    for left, right in pairs:
        for player, strength in _rule(left):
            names = right if isinstance(right, (list, tuple)) else str(right).split("/")
            try:
                turns = tuple(shelf.voice(str(name)).name for name in names)
            except MidiforgeError as error:
                raise error.within(left.strip()) from None
            if not turns:
                raise MidiforgeError("no voice is given", left)
            if (player, strength) in rules:
                raise MidiforgeError("there are two rules for this", left.strip())
            if strength == "grace" and len(turns) > 1:
                raise MidiforgeError("grace notes cannot take turns", left)
            rules[player, strength] = turns
    return rules


def _rule(text: str) -> list[tuple[Limb, str]]:
    """The limbs and strength before a rule's equals sign: "RH", "LH accent", "hands grace"."""
    *words, last = text.split() or [""]
    strengths = (*(each.value for each in Strength), "grace")
    strength = last.lower() if last.lower() in strengths and words else ""
    name = " ".join(words if strength else (*words, last))
    limbs = {"hands": HANDS, "feet": FEET}.get(name.lower())
    try:
        return [(player, strength) for player in limbs or (limb(name),)]
    except MidiforgeError:
        hint = "RH, LH, RF, LF, hands or feet; accent, tap, ghost or grace"
        raise is_not(text.strip(), "a limb and a strength", hint) from None


def form(text: str) -> tuple[Span, ...]:
    """ "3 time 1 exercise", "2 call 2 response"."""
    if not text.strip():
        return ()
    kinds = (SectionKind.TIME, SectionKind.EXERCISE, SectionKind.CALL, SectionKind.RESPONSE)
    words = text.replace(",", " ").split()
    spans: list[Span] = []
    for count, kind in zip(words[::2], words[1::2], strict=False):
        if kind not in kinds:
            raise is_not(kind, "part of a form", nearest(kind, kinds))
        spans.append(Span(whole(count, 1, MOST_BARS, "bars"), SectionKind(kind)))
    if len(words) % 2 or not spans:
        raise is_not(text, "a form", "such as '3 time 1 exercise'")
    if not {"exercise", "call"} & {span.kind for span in spans}:
        raise MidiforgeError(f"{quoted(text)} has no bar of the exercise")
    for before, span in zip([None, *spans], spans, strict=False):
        call = Span(span.bars, SectionKind.CALL)
        if span.kind is SectionKind.RESPONSE and before != call:
            raise MidiforgeError(
                "a response follows a call of as many bars", hint="such as '2 call 2 response'"
            )
    return tuple(spans)


def gap(text: str) -> tuple[int, int] | None:
    """ "2 on 2 off"."""
    if not text.strip():
        return None
    match = re.fullmatch(r"\s*([0-9]{1,4})\s+on\s*,?\s*([0-9]{1,4})\s+off\s*", text)
    if not match or not int(match[1]) or not int(match[2]):
        raise is_not(text, "a gap", "such as '2 on 2 off', in bars")
    return int(match[1]), int(match[2])


def shape(text: str) -> Shape | None:
    """ "crescendo over 4 bars", "diminuendo 100% to 50% over 2 bars", "soft repeat at 50%"."""
    if not text.strip():
        return None
    level = r"([0-9]{1,3})\s*%"
    swell = re.fullmatch(
        rf"\s*(crescendo|diminuendo)(?:\s+{level}\s+to\s+{level})?\s+over\s+([0-9]{{1,4}})\s+bars?\s*",
        text,
    )
    if swell:
        kind, start, end, bars = swell.groups()
        usual = ("50", "110") if kind == "crescendo" else ("110", "50")
        low, high = _level(start or usual[0]), _level(end or usual[1])
        if (low < high) != (kind == "crescendo"):
            raise MidiforgeError(f"{quoted(text)}: that is no {kind}")
        return Shape(ShapeKind.SWELL, low, high, whole(bars, 1, MOST_BARS, "bars"))
    soft = re.fullmatch(rf"\s*soft\s+repeat(?:\s+at\s+{level})?\s*", text)
    if soft:
        return Shape(ShapeKind.REPEAT, Fraction(1), _level(soft[1] or "55"))
    raise is_not(text, "a change of level", "such as 'crescendo over 4 bars' or 'soft repeat'")


def _level(text: str) -> Fraction:
    return Fraction(whole(text, 10, 150, "per cent"), 100)
