"""One reader for each kind of value a drill holds: text in, checked value out.

Every reader raises MidiforgeError without saying which key it read; the caller adds that.
"""

import re
from collections.abc import Mapping
from fractions import Fraction

from midiforge.drill.drill import (
    Chosen,
    Ramp,
    Shape,
    ShapeKind,
    Span,
    Voicing,
    ladder,
)
from midiforge.drill.typed import typed_title
from midiforge.errors import MidiforgeError, nearest, quoted, shortened
from midiforge.keys.values import limb, whole
from midiforge.library import shelf
from midiforge.model.hit import FEET, HANDS, Limb, Strength
from midiforge.model.meter import Meter
from midiforge.model.number import Named, read_span
from midiforge.model.piece import SectionKind
from midiforge.phrase.cycle import MOST_BARS
from midiforge.phrase.pattern import Line, Pattern, parse_pattern

SLOWEST, FASTEST = 10, 500
MOST_CHOSEN = 1000


def tempo(value: object) -> Fraction:
    """Pulses a minute, such as 92 or 92.5."""
    text = str(value).strip()
    if not isinstance(value, Fraction) and not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", text):
        raise MidiforgeError(f"{quoted(value)} is not a tempo", hint="such as 92")
    found = Fraction(text)
    if not SLOWEST <= found <= FASTEST:
        raise MidiforgeError(
            f"{quoted(value)} is not a tempo", hint=f"{SLOWEST} to {FASTEST} pulses a minute"
        )
    return found


def tempos(items: list[object]) -> tuple[Fraction, ...]:
    """Tempos in the order given; "60 to 100 by 10" stands for the ladder between."""
    found: list[Fraction] = []
    for item in items:
        steps = re.fullmatch(r"\s*(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s*", str(item))
        if steps:
            found += ladder(tempo(steps[1]), tempo(steps[2]), _rise(steps[3]))
        else:
            found.append(tempo(item))
    if len(set(found)) < len(found):
        twice = next(each for each in found if found.count(each) > 1)
        raise MidiforgeError(f"the tempo {twice} is there twice")
    return tuple(found)


def ramp(text: str) -> Ramp:
    """ "60 to 100 by 4 every 2 bars"."""
    match = re.fullmatch(
        r"\s*(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s+every\s+([0-9]{1,4})\s+bars?\s*", text, re.IGNORECASE
    )
    if not match:
        raise MidiforgeError(
            f"{quoted(text)} is not a ramp", hint="such as '60 to 100 by 4 every 2 bars'"
        )
    bars = whole(int(match[4]), 1, MOST_BARS, "bars")
    return Ramp(tempo(match[1]), tempo(match[2]), _rise(match[3]), bars)


def _rise(text: str) -> Fraction:
    found = Fraction(text) if re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,4})?", text) else Fraction(0)
    if not Fraction(1, 10) <= found <= FASTEST:
        raise MidiforgeError(f"{quoted(text)} is not a step between tempos", hint="such as 4")
    return found


def running(items: list[object]) -> tuple[Chosen, ...]:
    """Exercises by number: "3b", "7-9", "3 at 70", "3 at 70 repeats 4"."""
    found: list[Chosen] = []
    for item in items:
        match = re.fullmatch(
            r"\s*([0-9]\S*(?:\s*-\s*[0-9]\S*)?)(?:\s+at\s+(\S+))?(?:\s+repeats\s+(\S+))?\s*",
            str(item),
            re.IGNORECASE,
        )
        if not match:
            raise _chooses_nothing(item)
        try:
            span = read_span(match[1])
        except MidiforgeError:
            raise _chooses_nothing(item) from None
        first, last = span.first, span.last
        if not first.piece or (first != last and first.letter + last.letter):
            raise _chooses_nothing(item)
        if len(found) + last.piece - first.piece >= MOST_CHOSEN:
            raise MidiforgeError("too many exercises are chosen", hint=f"up to {MOST_CHOSEN:,}")
        at = tempo(match[2]) if match[2] else None
        repeats = whole(match[3], 1, MOST_BARS, "repeats") if match[3] else 0
        if first == last:
            found.append(Chosen(first, at, repeats))
        else:
            pieces = range(first.piece, last.piece + 1)
            found += (Chosen(Named(piece), at, repeats) for piece in pieces)
    return tuple(found)


def _chooses_nothing(item: object) -> MidiforgeError:
    return MidiforgeError(
        f"{quoted(item)} does not choose an exercise",
        hint="such as '3b', '7-9' or '3 at 70 repeats 4'",
    )


def rise(text: str) -> Fraction | None:
    """How much faster, as a share: "5%"; None for "next", the drill's own next tempo."""
    if text.strip() == "next":
        return None
    match = re.fullmatch(r"\s*([0-9]{1,3}(?:\.[0-9]{1,2})?)\s*%\s*", text)
    share = Fraction(match[1]) / 100 if match else Fraction(0)
    if not Fraction(1, 100) <= share <= 1:
        raise MidiforgeError(f"{quoted(text)} is no rise", hint="'next', or 1% to 100%")
    return share


def line(text: str, meter: Meter, step: Fraction, free: tuple[Limb, ...]) -> Line:
    """A repeating part: an ostinato's name or a typed pattern, "on LIMB", "as VOICE".

    free: limbs to give a typed pattern to, the first of them; none for no limb at all, which
        also takes a library part from its limb.
    """
    match = re.fullmatch(r"\s*(.+?)(?:\s+on\s+([a-z ]+?))?(?:\s+as\s+([\w-]+))?\s*", text, re.I)
    if not match:
        raise MidiforgeError("an ostinato's name or a pattern was expected")
    what, on, sound = match.groups()
    voice = shelf.voice(sound).name if sound else ""
    given = limb(on) if on else None
    if re.fullmatch(r"[x>g.\s|]+", what) or re.match(r"\s*[>|0-9]", what):
        pattern = _typed(what, meter, step)
        name = shortened(" ".join(what.split()))
        player = given or (free[0] if free else None)
        if player is None and not voice:
            raise MidiforgeError(
                f"{name!r} has no sound of its own",
                hint=f"say which: '{name} as cowbell', or '{name} on RF'",
            )
        title = typed_title(player, voice, pattern, meter, step)
        return Line(name, title, player, voice, pattern)
    found = shelf.ostinato(what)
    player = given or (found.limb if free else None)
    if not voice and (given is None or given.is_hand):
        voice = found.voice
    if player is None and not voice:
        raise MidiforgeError(
            f"{found.name!r} has no sound of its own",
            hint=f"say which: '{found.name} as cowbell', or '{found.name} on RF'",
        )
    return Line(found.name, found.title, player, voice, found.pattern, home=found.meter)


def _typed(text: str, meter: Meter, step: Fraction) -> Pattern:
    """A typed pattern, on the drill's grid; counts that it lacks are taken on finer ones."""
    try:
        return parse_pattern(text, meter, step)
    except MidiforgeError as first:
        for parts in (4, 3):
            try:
                return parse_pattern(text, meter, meter.beat / parts)
            except MidiforgeError:
                continue
        raise first


def voicing(content: object) -> Voicing:
    """Rules from a table, or from texts such as "RH accent=ride-bell"; / divides taking turns."""
    pairs: list[tuple[str, object]] = []
    if isinstance(content, Mapping):
        pairs = [(str(left), right) for left, right in content.items()]
    else:
        items = content if isinstance(content, list) else str(content).split(",")
        for item in items:
            left, equals, text = str(item).partition("=")
            if not equals:
                raise MidiforgeError(
                    f"{quoted(item)} is not a rule", hint="such as RH accent=ride-bell"
                )
            pairs.append((left, text))
    rules: dict[tuple[Limb, str], tuple[str, ...]] = {}
    for left, right in pairs:
        for player, strength in _rule(left):
            items = right if isinstance(right, list) else str(right).split("/")
            try:
                voices = tuple(shelf.voice(str(each)).name for each in items)
            except MidiforgeError as error:
                raise error.within(left.strip()) from None
            if not voices:
                raise MidiforgeError("no voice is given", left)
            if (player, strength) in rules:
                raise MidiforgeError("there are two rules for this", left.strip())
            if strength == "grace" and len(voices) > 1:
                raise MidiforgeError("grace notes cannot take turns", left)
            rules[player, strength] = voices
    return rules


def _rule(text: str) -> list[tuple[Limb, str]]:
    """The limbs and strength before a rule's equals sign: "RH", "LH accent", "hands grace"."""
    *words, last = text.split() or [""]
    strengths = (*(each.value for each in Strength), "grace")
    strength = last.lower() if last.lower() in strengths and words else ""
    name = " ".join(words) if strength else " ".join((*words, last))
    if name.lower() == "hands":
        limbs: tuple[Limb, ...] = HANDS
    elif name.lower() == "feet":
        limbs = FEET
    else:
        try:
            limbs = (limb(name),)
        except MidiforgeError:
            raise MidiforgeError(
                f"{quoted(text.strip())} is not a limb and a strength",
                hint="RH, LH, RF, LF, hands or feet; accent, tap, ghost or grace",
            ) from None
    return [(each, strength) for each in limbs]


def form(text: str) -> tuple[Span, ...]:
    """ "3 time 1 exercise", "2 call 2 response"."""
    if not text.strip():
        return ()
    kinds = (SectionKind.TIME, SectionKind.EXERCISE, SectionKind.CALL, SectionKind.RESPONSE)
    words = text.replace(",", " ").split()
    spans: list[Span] = []
    for count, kind in zip(words[::2], words[1::2], strict=False):
        if kind not in kinds:
            raise MidiforgeError(f"{quoted(kind)} is not part of a form", hint=nearest(kind, kinds))
        spans.append(Span(whole(count, 1, MOST_BARS, "bars"), SectionKind(kind)))
    if len(words) % 2 or not spans:
        raise MidiforgeError(f"{quoted(text)} is not a form", hint="such as '3 time 1 exercise'")
    told = [span.kind for span in spans]
    if not {"exercise", "call"} & set(told):
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
        raise MidiforgeError(f"{quoted(text)} is not a gap", hint="such as '2 on 2 off', in bars")
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
    raise MidiforgeError(
        f"{quoted(text)} is not a change of level",
        hint="such as 'crescendo over 4 bars' or 'soft repeat'",
    )


def _level(text: str) -> Fraction:
    return Fraction(whole(text, 10, 150, "per cent"), 100)
