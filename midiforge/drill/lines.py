"""Lines that repeat, as a drill has them: what the feet play, layers, grooves of the hands."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from midiforge.drill.drill import Voicing
from midiforge.errors import MidiforgeError, shortened
from midiforge.keys.values import limb
from midiforge.library import shelf
from midiforge.model.hit import FEET, Limb
from midiforge.model.meter import Meter
from midiforge.moves.grid import note_values
from midiforge.phrase.pattern import Line, Pattern, counts_struck, parse_pattern
from midiforge.printable import listed

_FEET = {Limb.RIGHT_FOOT: "Bass drum", Limb.LEFT_FOOT: "Hi-hat foot"}


def read_line(text: object, meter: Meter, step: Fraction, free: tuple[Limb, ...]) -> Line:
    """A repeating part: an ostinato's name or a typed pattern, "on LIMB", "as VOICE".

    step: of the grid, in quarter notes.
    free: limbs to give a typed pattern to, the first of them; none for no limb at all, which
        also takes a library part from its limb.
    """
    match = re.fullmatch(
        r"\s*(.+?)(?:\s+on\s+([a-z ]+?))?(?:\s+as\s+([\w-]+))?\s*", str(text), re.I
    )
    if not match:
        raise MidiforgeError("an ostinato's name or a pattern was expected")
    what, on, sound = match.groups()
    voice = shelf.voice(sound).name if sound else ""
    given = limb(on) if on else None
    if re.fullmatch(r"[x>g.\s|]+", what) or re.match(r"\s*[>|0-9]", what):
        pattern, known = _typed(what, meter, step), None
        name, usual = shortened(" ".join(what.split())), free[0] if free else None
    else:
        known = shelf.ostinato(what)
        name, pattern, usual = known.name, known.pattern, known.limb if free else None
        if not voice and (given is None or given.is_hand):
            voice = known.voice
    player = given or usual
    if player is None and not voice:
        raise MidiforgeError(
            f"{name!r} has no sound of its own",
            hint=f"say which: '{name} as cowbell', or '{name} on RF'",
        )
    if known:
        return Line(name, known.title, player, voice, pattern, home=known.meter)
    title, logged = _typed_titles(player, voice, pattern, meter, step)
    return Line(name, title, player, voice, pattern, logged=logged)


def read_lines(
    items: Iterable[object], meter: Meter, step: Fraction, free: tuple[Limb, ...]
) -> tuple[Line, ...]:
    """Several of them, each as if it were the only one."""
    return tuple(read_line(item, meter, step, free) for item in items)


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


# What a typed pattern is called


def _typed_titles(
    limb: Limb | None, voice: str, pattern: Pattern, meter: Meter, step: Fraction
) -> tuple[str, str]:
    """What sounds, and when, as a drummer calls it: "Bass drum on every beat", "Eighths on the bass
    drum", "Bass drum on 1, 1a and 2&"; of what is not the same in every bar, or too long to be
    said, its length: "in a pattern of 24 steps". And what logs call it, by its counts or length.

    voice: "" for what the limb usually plays.
    """
    if voice:
        what = shelf.voices()[voice].title
    else:
        assert limb is not None  # or it would have no sound
        what = _FEET.get(limb, limb.title.capitalize())
    counts = counts_struck(pattern, meter, step)
    when = f"in a pattern of {pattern.length / step} steps"
    logged = f"{what} on {' '.join(counts)}" if counts else f"{what} {when}"
    times = [time for time, _ in pattern.over(meter.bar)]
    notes = note_values(pattern.period, meter.beat) if pattern.is_even else ""
    if counts and times == [*meter.beats]:
        title = f"{what} on every beat"
    elif counts and times == [beat + meter.beat / 2 for beat in meter.beats]:
        title = f"{what} on the off-beats"
    elif notes and times[:1] == [0] and (pattern.period < meter.beat or not counts):
        by = "with" if what == _FEET[Limb.LEFT_FOOT] else "on"
        title = f"{notes.capitalize()} {by} the {what[0].lower()}{what[1:]}"
    else:
        title = f"{what} on {listed(counts)}" if counts else f"{what} {when}"
    return title, logged


def retitled(
    lines: Iterable[Line], voicing: Voicing, meter: Meter, step: Fraction
) -> Iterator[Line]:
    """The lines; typed ones called after the voice that the drill gives their limb."""
    for line in lines:
        voices = voicing.get((line.limb, "")) if line.limb else None
        if voices and line.home is None and not line.voice:
            title, logged = _typed_titles(line.limb, voices[0], line.pattern, meter, step)
            line = replace(line, title=title, logged=logged)
        yield line


# What the feet play


def foot_patterns(items: Iterable[object], meter: Meter, step: Fraction) -> tuple[Line, ...]:
    """The patterns as given; one without a limb goes to the first foot that is free.

    "none" alone is no pattern, as for the band.
    """
    feet: list[Line] = []
    items = list(items)
    for item in items if items != ["none"] else ():
        free = _free(feet) or FEET
        line = read_line(item, meter, step, free)
        if line.limb is None:
            line = read_line(f"{item} on {free[0].value}", meter, step, free)
        if line.limb and line.limb.is_hand:
            raise MidiforgeError(
                f"a foot was expected: {line.name!r} is for the {line.limb.title} here",
                hint=f"'{line.name} on RF', or put it under layers",
            )
        feet.append(line)
    return tuple(feet)


def partners(wish: str, feet: tuple[Line, ...], meter: Meter, step: Fraction) -> tuple[Line, ...]:
    """What comes along with foot patterns, for a foot that is free.

    wish: "usual", "none", or an ostinato.
    """
    if wish == "none" or (wish == "usual" and not feet):
        return ()
    if not feet:
        raise MidiforgeError("there are no feet to go with", hint="feet = ...")
    free = _free(feet)
    if wish != "usual":
        line = read_line(wish, meter, step, free or FEET)
        if line.limb not in free:
            limb = line.limb.title if line.limb else "foot"
            raise MidiforgeError(f"{line.name!r} needs the {limb}, which is taken")
        return (replace(line, partner=True),)
    ostinatos = (shelf.ostinatos().get(line.name) for line in feet if free)
    usual = next((known.partner for known in ostinatos if known and known.partner), None)
    if usual is None:
        return ()
    line = read_line(f"{usual} on {free[0].value}", meter, step, free)
    return (replace(line, partner=True),)


def _free(lines: Iterable[Line]) -> tuple[Limb, ...]:
    used = {line.limb for line in lines}
    return tuple(limb for limb in FEET if limb not in used)
