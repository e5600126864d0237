"""Who plays beside the drummer: percussion, bass and chords, from the keys of a drill."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar

from midiforge.drill import values
from midiforge.drill.drill import Beside, Part, Player
from midiforge.errors import MidiforgeError, NoOstinato, nearest, quoted
from midiforge.frozen import frozen
from midiforge.library import shelf
from midiforge.model.band import Track
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.phrase.material import Line
from midiforge.phrase.pattern import Pattern

if TYPE_CHECKING:
    from midiforge.library.band import Percussion, Style

T = TypeVar("T")

GM_DRUMS = 10  # the channel that General MIDI keeps for percussion
SOFTEST, LOUDEST = 5, 150  # per cent

_DIRECTIONS = ("3-2", "2-3")
_USUAL, _NONE = "usual", "none"
# The style where neither drill nor feet name one, by what its bar divides into.
_PLAIN_STYLES = ("rock", "jazz-waltz", "twelve-eight")


@frozen
class Wishes:
    """The keys of the play-along, as they were given."""

    chords: str
    style: str
    percussion: tuple[str, ...]
    clave: str
    vary: int
    bass: str
    comp: str


def beside(
    wishes: Wishes,
    meter: Meter,
    step: Fraction,
    feet: Sequence[Line],
    layers: Sequence[Line],
    taken: int,
) -> Beside:
    """Who plays beside the drummer; nobody if nothing asks for them.

    taken: the channel of the kit, which bass and chords leave free.

    Raises MidiforgeError that names the key.
    """
    asked = [key for key in ("bass", "comp") if getattr(wishes, key) not in (_USUAL, _NONE)]
    if asked and not wishes.chords:
        raise MidiforgeError("there are no chords to play", asked[0], hint="chords = 'Dm7 | G7'")
    percussion, key = wishes.percussion, "percussion"
    style: Style | None = None
    if wishes.style or wishes.chords:
        style = _within("style", lambda: _style(wishes.style, meter, feet))
        if style and percussion == (_USUAL,):
            percussion, key = style.percussion, "style"
    if percussion in ((_USUAL,), (_NONE,)):
        percussion = ()
    clave = wishes.clave or direction((*layers, *feet), percussion)
    if style and not clave:
        clave = style.clave
    parts: list[Part] = []
    for item in percussion:
        try:
            part = _part(item, meter, step, clave)
        except MidiforgeError as error:
            raise error.within(key) from None
        if any(each.track.name == part.track.name for each in parts):
            raise MidiforgeError(f"{part.track.name!r} is there twice", key)
        if any(line.name == part.track.name for line in layers):
            if key == "style":
                continue  # it is played already
            raise MidiforgeError(
                f"{part.track.name!r} is under layers too", key, hint="name it in one of the two"
            )
        parts.append(part)
    if not wishes.chords or style is None:
        return Beside(tuple(parts), wishes.vary, clave)

    from midiforge.band.progression import read_progression

    progression = _within("chords", lambda: read_progression(wishes.chords, meter))
    channels = [each for each in range(2, 17) if each not in (taken, GM_DRUMS)]
    bass = _within("bass", lambda: _player(wishes.bass, "bass", style, channels[0]))
    comp = _within("comp", lambda: _player(wishes.comp, "comp", style, channels[1]))
    return Beside(tuple(parts), wishes.vary, clave, progression, style, bass, comp)


def direction(lines: Iterable[Line], percussion: Iterable[str] = ()) -> str:
    """The way round that the clave goes among them, as the first that says so has it; "" if none.

    percussion: parts as they are typed; a name that does not say "3-2" or "2-3" follows.
    """
    for text in percussion:
        for way in _DIRECTIONS:
            if way in text:
                return way
    return next(filter(None, map(leaning, lines)), "")


def leaning(line: Line) -> str:
    """The way round that a line leans on the clave; "" if it does not.

    A typed pattern is known by its strokes.
    """
    known = shelf.ostinatos().get(line.name)
    if known is not None and known.pattern == line.pattern:
        return known.clave
    times = _strokes(line.pattern)
    for each in shelf.ostinatos().values():
        if each.clave and each.pattern.length == line.pattern.length:
            if _strokes(each.pattern) == times:
                return each.clave
            if _strokes(_turned(each.pattern)) == times:
                return _other(each.clave)
    return ""


def _strokes(pattern: Pattern) -> frozenset[Fraction]:
    return frozenset(time for time, _ in pattern.strokes)


def _turned(pattern: Pattern) -> Pattern:
    """Begun with its second half."""
    return pattern.shifted(pattern.length / 2)


def _other(way: str) -> str:
    return _DIRECTIONS[1 - _DIRECTIONS.index(way)]


def _within(key: str, reader: Callable[[], T]) -> T:
    """What a reader gives, its errors naming the key."""
    try:
        return reader()
    except MidiforgeError as error:
        raise error.within(key) from None


# Styles


def _style(name: str, meter: Meter, feet: Sequence[Line]) -> "Style | None":
    """The style by its name, else the one that goes with the feet; None where they are of a kind
    that has none here, so that no other band plays to them."""
    from midiforge.library.band import style, styles

    if name:
        found = style(name)
        if not _meets(found.meter, found.meter.bar, meter):
            raise MidiforgeError(
                f"{found.name!r} is at home in {found.meter}, the drill is in {meter}",
                hint=_styles_for(meter),
            )
        return found
    fitting = [each for each in styles().values() if _meets(each.meter, each.meter.bar, meter)]
    for line in feet:
        for each in fitting:
            if line.name in each.goes_with:
                return each
    if any(line.home and not line.partner and line.limb is Limb.RIGHT_FOOT for line in feet):
        return None
    for each in fitting:
        if each.name in _PLAIN_STYLES:
            return each
    raise MidiforgeError(
        f"no style is at home in {meter}", hint="leave the chords out; percussion can play alone"
    )


def _styles_for(meter: Meter) -> str:
    from midiforge.library.band import styles

    names = [each.name for each in styles().values() if _meets(each.meter, each.meter.bar, meter)]
    return f"for {meter}: " + ", ".join(names) if names else f"there is none for {meter}"


def _meets(home: Meter, length: Fraction, meter: Meter) -> bool:
    """Whether a part of a length, at home in one meter, can be played in another."""
    return not (meter.is_mixed or home.unit > meter.unit * 2) and meter.meets(home, length)


def _player(wish: str, role: str, style: "Style", channel: int) -> Player | None:
    from midiforge.library.band import instrument

    name, level = _level(wish)
    if name == _NONE:
        return None
    figure = style.bass if role == "bass" else style.comp
    found = instrument(figure.instrument if name == _USUAL else name, role)
    level *= figure.level
    return Player(Track(role, role, found.title, channel, found.program, level), found)


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


# Percussion


def _part(text: str, meter: Meter, step: Fraction, clave: str) -> Part:
    """A percussion part: from the library, or any ostinato or typed pattern with a voice."""
    from midiforge.library.band import percussion

    what, level = _level(text)
    slug = shelf.slug(what)
    for each in percussion().values():
        if slug in (each.name, *each.also, shelf.slug(each.title)):
            return _library_part(each, level, meter, clave)
    line = _line(what, meter, step)
    line = replace(line, limb=None)
    if line.home and not _meets(line.home, line.pattern.length, meter):
        raise _no_meeting(line.name, line.home, meter)
    way = leaning(line)
    if clave and way and way != clave and not any(each in what for each in _DIRECTIONS):
        line, way = _turned_line(line, way), clave
    track = Track(line.name, "percussion", line.title, level=level)
    return Part(track, (line,), (), way)


def _line(what: str, meter: Meter, step: Fraction) -> Line:
    try:
        return values.line(what, meter, step, ())
    except NoOstinato:
        from midiforge.library.band import percussion

        known = [*percussion(), *shelf.ostinatos()]
        raise MidiforgeError(
            f"no percussion part is called {quoted(what)}", hint=nearest(shelf.slug(what), known)
        ) from None


def _turned_line(line: Line, way: str) -> Line:
    """The line the other way round; its name too, where the library has one."""
    other = _other(way)
    known = shelf.ostinatos().get(line.name.replace(way, other))
    if known and known.name != line.name:
        return replace(line, name=known.name, title=known.title, pattern=known.pattern)
    title = line.title.replace(way, other)
    return replace(line, title=title, pattern=_turned(line.pattern))


def _library_part(found: "Percussion", level: Fraction, meter: Meter, clave: str) -> Part:
    turned = bool(clave and found.clave and found.clave != clave)

    def lines(varied: bool) -> tuple[Line, ...]:
        return tuple(
            Line(
                name=found.name,
                title=found.title,
                limb=None,
                voice=shelf.voice(voice).name,
                pattern=_turned(pattern) if turned else pattern,
                home=found.meter,
            )
            for voice, pattern in found.patterns(varied).items()
        )

    usual, varied = lines(False), lines(True)
    if not _all_meet(usual, meter):
        raise _no_meeting(found.name, found.meter, meter)
    if not _all_meet(varied, meter):
        varied = ()
    track = Track(found.name, "percussion", found.title, level=level)
    return Part(track, usual, varied, (clave if turned else found.clave))


def _all_meet(lines: Iterable[Line], meter: Meter) -> bool:
    """Whether patterns can be played in a meter: what repeats with every beat can in any."""
    return all(
        line.home is not None
        and (_meets(line.home, line.pattern.period, meter) or _is_of_beats(line.pattern, meter))
        for line in lines
    )


def _is_of_beats(pattern: Pattern, meter: Meter) -> bool:
    return {pattern.period} == set(meter.beat_lengths)


def _no_meeting(name: str, home: Meter, meter: Meter) -> MidiforgeError:
    return MidiforgeError(
        f"{name!r} is at home in {home}, the drill is in {meter}: they do not meet",
        hint="leave it out, or type a pattern such as 'x.x. as shaker'",
    )
