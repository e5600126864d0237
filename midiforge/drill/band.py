"""The band, from the keys of a drill: percussion, bass and chords."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from midiforge.band.band import Band, Part, PitchedPart
from midiforge.band.chord import read_progression
from midiforge.band.clave import WAYS, direction, leaning, turned_figure, turned_part
from midiforge.drill.lines import read_line
from midiforge.errors import MidiforgeError, NoOstinato, nearest, quoted
from midiforge.keys.reader import KeyReader
from midiforge.library import shelf
from midiforge.library.band import Figure, Percussion, Style, instruments_of, percussion, styles
from midiforge.model.band import BASS, COMP, PERCUSSION, Member
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.phrase.cycle import MOST_BARS
from midiforge.phrase.pattern import Line

GM_DRUMS = 10  # the channel that General MIDI keeps for percussion
SOFTEST, LOUDEST = 5, 150  # per cent

_USUAL, _NONE = "usual", "none"
# The style where neither drill nor feet name one, by what its bar divides into.
_PLAIN_STYLES = ("rock", "jazz-waltz", "twelve-eight")


def read_band(
    keys: KeyReader,
    meter: Meter,
    step: Fraction,
    feet: Sequence[Line],
    layers: Sequence[Line],
    taken: int,
) -> Band:
    """The band that the keys ask for; nobody if none does.

    taken: the channel of the kit, which bass and chords leave free.

    Raises MidiforgeError that names the key.
    """
    chords = keys.text("chords")
    for key in (BASS, COMP):
        if not chords and keys.text(key) not in (_USUAL, _NONE):
            raise MidiforgeError("there are no chords to play", key, hint="chords = 'Dm7 | G7'")
    style: Style | None = None
    if chords or keys.text("style"):
        style = keys.read("style", lambda name: _style(name, meter, feet))
    key, asked = "percussion", [str(item) for item in keys.items("percussion")]
    if style and asked == [_USUAL]:
        key, asked = "style", list(style.percussion)
    if asked in ([_USUAL], [_NONE]):
        asked = []
    clave = keys.text("clave") or direction((*layers, *feet), asked)
    clave = clave or (style.clave if style else "")
    parts: list[Part] = []
    for text in asked:
        try:
            part = _percussion(text, meter, step, clave)
        except MidiforgeError as error:
            raise error.within(key) from None
        name = part.member.name
        if any(name == other.member.name for other in parts):
            raise MidiforgeError(f"{name!r} is there twice", key)
        if all(name != line.name for line in layers):
            parts.append(part)
        elif key != "style":  # else it is played already
            raise MidiforgeError(
                f"{name!r} is under layers too", key, hint="name it in one of the two"
            )
    band = Band(tuple(parts), keys.whole("vary", 0, MOST_BARS))
    if not chords or style is None:
        return band
    bass, comp = style.bass, style.comp
    if style.clave and clave != style.clave:
        bass, comp = turned_figure(bass), turned_figure(comp)
    free = [channel for channel in range(2, 17) if channel not in (taken, GM_DRUMS)]
    return replace(
        band,
        progression=keys.read("chords", lambda text: read_progression(text, meter)),
        style=style,
        bass=keys.read(BASS, lambda wish: _pitched(wish, BASS, bass, free[0])),
        comp=keys.read(COMP, lambda wish: _pitched(wish, COMP, comp, free[1])),
    )


# Styles


def _style(name: str, meter: Meter, feet: Sequence[Line]) -> Style | None:
    """The style by its name, else the one that goes with the feet; None where they are of a kind
    that has none here, so that no other band plays to them."""
    home = [style for style in styles().values() if _meets(style.meter, style.meter.bar, meter)]
    if name:
        named = shelf.find(name, styles(), "style")
        if named not in home:
            names = ", ".join(style.name for style in home)
            raise MidiforgeError(
                f"{named.name!r} is at home in {named.meter}, the drill is in {meter}",
                hint=f"for {meter}: {names}" if home else f"there is none for {meter}",
            )
        return named
    for line in feet:
        for style in home:
            if line.name in style.goes_with:
                return style
    if any(line.home and not line.partner and line.limb is Limb.RIGHT_FOOT for line in feet):
        return None
    for style in home:
        if style.name in _PLAIN_STYLES:
            return style
    raise MidiforgeError(
        f"no style is at home in {meter}", hint="leave the chords out; percussion can play alone"
    )


def _meets(home: Meter, length: Fraction, meter: Meter) -> bool:
    """Whether a part of a length, at home in one meter, can be played in another."""
    return not (meter.is_mixed or home.unit > meter.unit * 2) and meter.meets(home, length)


def _level(text: str) -> tuple[str, Fraction]:
    """What is said, and at which level: "congas at 70%"."""
    match = re.fullmatch(r"\s*(.+?)(?:\s+at\s+([0-9.+-]+)\s*%?)?\s*", text, re.DOTALL)
    if not match:
        raise MidiforgeError("nothing is named")
    if match[2] is None:
        return match[1], Fraction(1)
    whole = match[2].isdigit() and len(match[2]) < 4
    if not whole or not SOFTEST <= int(match[2]) <= LOUDEST:
        raise MidiforgeError(
            f"{match[2]}% is no level", quoted(match[1]), hint=f"{SOFTEST} to {LOUDEST}%"
        )
    return match[1], Fraction(int(match[2]), 100)


# Bass and chords


def _pitched(wish: str, kind: str, figure: Figure, channel: int) -> PitchedPart | None:
    name, level = _level(wish)
    if name == _NONE:
        return None
    usual = figure.instrument if name == _USUAL else name
    instrument = shelf.find(usual, instruments_of(kind), f"{kind} instrument")
    member = Member(kind, kind, instrument.title, channel, instrument.program, level * figure.level)
    low, high = max(figure.lowest, instrument.lowest), min(figure.highest, instrument.highest)
    return PitchedPart(member, instrument, replace(figure, lowest=low, highest=high))


# Percussion


def _percussion(text: str, meter: Meter, step: Fraction, clave: str) -> Part:
    """A percussion part: from the library, or any ostinato or typed pattern with a voice."""
    what, level = _level(text)
    known = shelf.among(what, percussion())
    if known:
        lines, variation = _lines(known, False), _lines(known, True)
        fits, way = _all_meet(lines, meter), known.clave
        variation = variation if _all_meet(variation, meter) else ()
        line = lines[0]
    else:
        line = _line(what, meter, step)
        fits, way = not line.home or _meets(line.home, line.pattern.length, meter), leaning(line)
        lines, variation = (line,), ()
    if not fits:
        raise MidiforgeError(
            f"{line.name!r} is at home in {line.home}, the drill is in {meter}: they do not meet",
            hint="leave it out, or type a pattern such as 'x.x. as shaker'",
        )
    part = Part(Member(line.name, PERCUSSION, line.title, level=level), lines, variation, way)
    crosses = clave and way not in ("", clave) and not any(each in what for each in WAYS)
    return turned_part(part) if crosses else part


def _line(what: str, meter: Meter, step: Fraction) -> Line:
    try:
        return replace(read_line(what, meter, step, ()), limb=None)
    except NoOstinato:
        names = [*percussion(), *shelf.ostinatos()]
        raise MidiforgeError(
            f"no percussion part is called {quoted(what)}", hint=nearest(shelf.slug(what), names)
        ) from None


def _lines(known: Percussion, varied: bool) -> tuple[Line, ...]:
    patterns = known.patterns(varied).items()
    name, title, home = known.name, known.title, known.meter
    return tuple(Line(name, title, None, voice, each, home=home) for voice, each in patterns)


def _all_meet(lines: Iterable[Line], meter: Meter) -> bool:
    """Whether library lines can be played in a meter: what repeats with every beat can in any."""
    beats = set(meter.beat_lengths)
    lengths = ((line.home or meter, line.pattern.period) for line in lines)
    return all(_meets(home, period, meter) or {period} == beats for home, period in lengths)
