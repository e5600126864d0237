"""Which bars of a take stand for all of them, and what is changed in them.

Bars are chosen, each the one that stands best for those that no chosen one is like yet, until
nearly all strokes are explained (the greedy choice of medoids: Kaufman and Rousseeuw, Finding
Groups in Data, 1990, chapter 2). What is left is explained in the same way by what single
instruments play in some bars instead: another line of the bass drum, a crash. Each is written as
most of the bars have it that it stands for (`typical`).
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from heapq import heapify, heappop, heapreplace
from math import inf

from midiforge.frozen import frozen
from midiforge.groove.bits import MISSED, Bits, Sounds, instrument_of
from midiforge.groove.limbs import DRUMS, FEET_VOICES
from midiforge.groove.typical import typical
from midiforge.groove.written import Key, Written
from midiforge.hear.expected import pad_of
from midiforge.model.hit import Strength

FEWEST_KINDS, USUAL_KINDS, MOST_KINDS = 8, 32, 64  # of bars; eight can be kept in mind
_BARS = 8  # of a take; for each so many there is another kind, if nobody says how many
_LINES = 12  # of a drill, for each kind of bar, changes and all
_LEFT_OVER = 0.03  # of all that is heard: so much may stay unexplained
_WORTH = 0.001  # share of the strokes that each line must explain
_WORD = 6  # two taps: a change that explains no more is not worth its word
_TRIED = 8  # bars that are nearest, with changes over them
_OVER = 2  # changes over one bar; more nobody reads
_HEARD = 0.012  # share of the strokes from which on a voice must be in something
_UNLIKE = 0.35  # of the strokes of both: bars that differ by more have letters of their own
_FILL = 0.4  # share of the strokes by which a fill differs from what is usual
_KEEPING_TIME = 0.6  # of the usual strokes on cymbals; a fill has fewer
_OPEN = "hihat-open"
# Strokes of a groove that others count for: a crash is heard by all, a pedal by hardly anyone.
_WEIGHTS = {"crash": 2.0, "pedal": 0.5}

_Way = tuple[int, tuple[int, ...]]  # which chosen bar a bar is told by, and which changes


@frozen
class Cell:
    """A bar, or what one instrument played in it.

    number: of the bar in the take, from 0. steps: to a beat. strokes: by voice and place.
    like: another cell, of which it is a variant. times: how often it stands in the form.
    instrument: whose strokes it changes; "" for a whole bar.
    """

    name: str
    number: int
    steps: int
    strokes: Mapping[Key, Written]
    like: str
    times: int
    instrument: str

    @property
    def is_fill(self) -> bool:
        """Whether it is one."""
        return self.name.startswith("fill")


class _Open:
    """What is to be explained of one instrument, or of all.

    cases: what was played, how far that is from what explains it so far, how often it was.
    lines: that a candidate takes in a drill.
    """

    def __init__(
        self,
        instrument: str,
        cases: Mapping[tuple[Bits, float], int],
        lines: Callable[[Bits], int],
    ) -> None:
        self.instrument = instrument
        self.weight = _WEIGHTS.get(instrument, 1.0)
        self.word = _WORD if instrument else 0.0
        self.played = [bits for bits, _ in cases]
        self.apart = [self.weight * apart for _, apart in cases]
        self.times = list(cases.values())
        self.candidates = list(dict.fromkeys(self.played))
        self.lines = [lines(bits) for bits in self.candidates]
        # How far each candidate is from each that was played: asked again and again.
        told = [(bits, bits.size) for bits in self.played]
        self.away = [
            [
                self.word
                + self.weight
                * (
                    MISSED * (size - (other & near).bit_count())
                    + whole
                    - (own & other_near).bit_count()
                )
                for (other, other_near), size in told
            ]
            for (own, near), whole in ((bits, bits.size) for bits in self.candidates)
        ]

    def gain(self, place: int) -> float:
        """How many strokes a candidate would explain."""
        return sum(
            [
                (now - away) * times
                for now, away, times in zip(self.apart, self.away[place], self.times, strict=True)
                if now > away
            ]
        )

    def take(self, place: int) -> Bits:
        self.apart = list(map(min, self.apart, self.away[place]))
        return self.candidates[place]

    @property
    def left(self) -> float:
        return sum(now * times for now, times in zip(self.apart, self.times, strict=True))


def _chosen(
    opens: Sequence[_Open], most: int, lines: int, whole: int
) -> tuple[list[tuple[str, Bits]], int]:
    """What explains most that nothing explains yet for each line it takes, again and again; and
    how many lines are left.

    most: how many. lines: that there may be. whole: all strokes.
    """
    left = sum(each.left for each in opens)
    waiting = [
        (-each.gain(place) / each.lines[place], number, place)
        for number, each in enumerate(opens)
        for place in range(len(each.candidates))
    ]
    heapify(waiting)
    chosen: list[tuple[str, Bits]] = []
    while waiting and left > _LEFT_OVER * whole and len(chosen) < most:
        # Gains only fall: one that is still the greatest need not be compared with the others.
        _, number, place = waiting[0]
        of = opens[number]
        now = of.gain(place)
        if len(waiting) > 1 and -now / of.lines[place] > min(waiting[1:3])[0]:
            heapreplace(waiting, (-now / of.lines[place], number, place))
            continue
        heappop(waiting)
        if now < max(2, _WORTH * whole * of.lines[place]):
            break
        if of.lines[place] > lines and chosen:
            continue
        chosen.append((of.instrument, of.take(place)))
        lines -= of.lines[place]
        left -= now
    return chosen, lines


@frozen
class Told:
    """A bar of the take as the form tells it: what sounds together, strokes of the take that fit,
    those of the form that were not played, and whether little of it is told."""

    names: tuple[str, ...]
    fit: AbstractSet[Key]
    missing: tuple[Key, ...]
    rough: bool


@frozen
class Choice:
    """bars: of the take, as they are told. parts: strokes of each cell, by name; number: the bar
    each was played in; like: which each is a variant of; instruments: of changes."""

    bars: tuple[Told, ...]
    parts: Mapping[str, Mapping[Key, Written]]
    number: Mapping[str, int]
    like: Mapping[str, str]
    instruments: Mapping[str, str]

    def cells(self, steps: Sequence[int]) -> tuple[Cell, ...]:
        """The cells by name. steps: to a beat, of each bar of the take."""
        times = Counter(name for told in self.bars for name in told.names)
        return tuple(
            Cell(
                name,
                self.number[name],
                steps[self.number[name]],
                self.parts[name],
                self.like.get(name, ""),
                times[name],
                self.instruments.get(name, ""),
            )
            for name in sorted(self.parts, key=self._by_name)
            if times[name]
        )

    def _by_name(self, name: str) -> tuple[bool, str, int]:
        """Letters before what is called otherwise."""
        letters = name.rstrip("0123456789")
        return not letters.isupper(), letters, int(name[len(letters) :] or 1)


def choose(
    played: Sequence[Mapping[Key, Written]],
    steps: Sequence[int],
    reach: float,
    count: Callable[[int], str],
    kinds: int = 0,
) -> Choice:
    """The bars that stand for all, and the changes in them.

    played: the strokes of each bar. steps: of its grid. reach: of what is
        heard as the same. All in units of the form.
    count: a place as it is counted. kinds: of bars, at most; 0 for as many as its length asks for.
    """
    kinds = kinds or min(USUAL_KINDS, FEWEST_KINDS + len(played) // _BARS)
    sounds = Sounds(played, reach)
    masks, bits = sounds.masks, [sounds.bits(bar) for bar in played]
    first: dict[Bits, int] = {}
    for number, bar in enumerate(bits):
        first.setdefault(bar, number)
    whole = sum(bar.size for bar in bits)

    def lines(bar: Bits) -> int:
        """A line for each voice, another where both hands have it; three for more than one."""
        struck = [(bar.own & mask).bit_count() for mask in sounds.voices.values()]
        number = sum(map(bool, struck)) or 1
        return number + 2 if number > 1 else 1

    every = _Open("", Counter((bar, MISSED * bar.size) for bar in bits), lines)
    kinds_chosen, left = _chosen([every], kinds, _LINES * kinds, whole)
    numbers = [first[bar] for _, bar in kinds_chosen] or [0]
    divided = [_divided(bar) for bar in played]
    units = [divided[n] for n in numbers]
    by: list[str] = []

    def usual(ways: Sequence[_Way]) -> list[dict[Key, Written]]:
        """Units as most bars have them that are told by them."""
        told_by = _told_by(ways, by, len(bars), masks)
        for (u, instrument), own in told_by.items():
            units[u] = {
                **units[u],
                instrument: typical(
                    units[u].get(instrument, {}),
                    [divided[n].get(instrument, {}) for n in own],
                    reach,
                    steps[numbers[u]],
                ),
            }
        return [{key: w for part in unit.values() for key, w in part.items()} for unit in units]

    bars = [bits[n] for n in numbers]
    bars = list(map(sounds.bits, usual([(c, ()) for c in _nearest(bits, bars)])))
    homes = [bars[c] for c in _nearest(bits, bars)]
    changes = _changes(bits, homes, masks, lines, left, whole)
    changes += _for_lost_voices(played, bits, sounds, [*bars, *(each for _, each in changes)])
    by += [instrument for instrument, _ in changes]
    numbers += [
        next(n for n, bar in enumerate(bits) if bar.within(masks[instrument]) == change)
        for instrument, change in changes
    ]
    units += [
        {instrument: divided[n].get(instrument, {})}
        for instrument, n in zip(by, numbers[len(bars) :], strict=True)
    ]
    struck = usual(_told(bits, bars, changes, masks))
    bars = [sounds.bits(bar) for bar in struck[: len(bars)]]
    changes = list(zip(by, map(sounds.bits, struck[len(bars) :]), strict=True))
    ways = _told(bits, bars, changes, masks)
    names, like = _named(bars, [c for c, _ in ways], struck)
    times = Counter(i for _, own in ways for i in own)
    names += _names_of_changes(by, struck[len(bars) :], times, count)
    instruments = dict(zip(names[len(bars) :], by, strict=True))
    number_of = dict(zip(names, numbers, strict=True))
    parts = dict(zip(names, struck, strict=True))
    told: list[Told] = []
    votes: dict[tuple[str, Key], Counter[Strength]] = defaultdict(Counter)
    for strokes, own, (c, over) in zip(played, bits, ways, strict=True):
        laid = {changes[i][0]: names[len(bars) + i] for i in over}
        sounding = {key: names[c] for key in parts[names[c]] if instrument_of(key[0]) not in laid}
        sounding |= {key: name for name in laid.values() for key in parts[name]}
        for key in sounding.keys() & strokes.keys():
            name = like.get(sounding[key], sounding[key])
            votes[name, key][strokes[key].strength] += 1
        heard = bars[c].within(~sum(masks[instrument] for instrument in laid))
        for i in over:
            heard |= changes[i][1]
        told.append(
            Told(
                (names[c], *laid.values()),
                {key for key in strokes if sounds.heard(key, heard.near)},
                tuple(key for key in sounding if not sounds.heard(key, own.near)),
                own.apart(heard) > _UNLIKE * (own.size + heard.size),
            )
        )
    for name, part in parts.items():
        for key, written in part.items():
            most = votes[like.get(name, name), key].most_common(1)
            part[key] = written._replace(strength=most[0][0]) if most else written
    return Choice(tuple(told), parts, number_of, like, instruments)


def _changes(
    bits: Sequence[Bits],
    homes: Sequence[Bits],
    masks: Mapping[str, int],
    lines: Callable[[Bits], int],
    most: int,
    whole: int,
) -> list[tuple[str, Bits]]:
    """What instruments play instead of what the bar has that stands for theirs."""
    opens = []
    for instrument, mask in masks.items():
        cases: Counter[tuple[Bits, float]] = Counter()
        for bar, home in zip(bits, homes, strict=True):
            own = bar.within(mask)
            cases[own, own.told_by(home.within(mask))] += 1
        opens.append(_Open(instrument, cases, lines))
    return _chosen(opens, most, most, whole)[0]


def _for_lost_voices(
    played: Sequence[Mapping[Key, Written]],
    bits: Sequence[Bits],
    sounds: Sounds,
    chosen: Sequence[Bits],
) -> list[tuple[str, Bits]]:
    """Changes for voices which are struck often and in nothing that was chosen."""
    struck = Counter(voice for bar in played for voice, _ in bar)
    heard = {
        voice for voice, mask in sounds.voices.items() if any(bar.own & mask for bar in chosen)
    }
    more = []
    for voice, times in struck.most_common():
        if voice not in heard and times >= _HEARD * struck.total():
            best = max(range(len(played)), key=lambda n: sum(v == voice for v, _ in played[n]))
            instrument = instrument_of(voice)
            more.append((instrument, bits[best].within(sounds.masks[instrument])))
            heard |= {v for v, _ in played[best] if instrument_of(v) == instrument}
    return more


def _told(
    bits: Sequence[Bits],
    bars: Sequence[Bits],
    changes: Sequence[tuple[str, Bits]],
    masks: Mapping[str, int],
) -> list[_Way]:
    """For each bar the chosen one and the changes that tell it best."""
    alike = list(dict.fromkeys(bits))
    by_instrument = []
    for instrument, mask in masks.items():
        weight = _WEIGHTS.get(instrument, 1.0)
        homes = [home.within(mask) for home in bars]
        over = [(change, i) for i, (of, change) in enumerate(changes) if of == instrument]
        told: dict[Bits, list[tuple[float, float, int]]] = {}
        own = [bar.within(mask) for bar in alike]
        for part in own:
            if part not in told:
                # How far each chosen bar is, what the best change over it gains, and its number.
                best, i = min(
                    ((weight * part.told_by(change) + _WORD, i) for change, i in over),
                    default=(inf, 0),
                )
                away = [weight * part.told_by(home) for home in homes]
                told[part] = [(each, each - best, i) for each in away]
        by_instrument.append([told[part] for part in own])
    ways = []
    for bar, rows in zip(alike, zip(*by_instrument, strict=True), strict=True):
        tried: list[tuple[float, _Way]] = []
        for c in sorted(range(len(bars)), key=lambda c: bar.told_by(bars[c]))[:_TRIED]:
            heard = [row[c] for row in rows]
            gains = [(gain, i) for _, gain, i in heard if gain > 0]
            gains = sorted(gains, reverse=True)[:_OVER]
            cost = sum(each for each, *_ in heard) - sum(gain for gain, _ in gains)
            tried.append((cost, (c, tuple(i for _, i in gains))))
        ways.append(min(tried)[1])
    way_of = dict(zip(alike, ways, strict=True))
    return [way_of[bar] for bar in bits]


def _nearest(bits: Sequence[Bits], bars: Sequence[Bits]) -> list[int]:
    """The chosen bar that each is nearest to."""
    found = {
        bar: min(range(len(bars)), key=lambda c: (bar.told_by(bars[c]), c)) for bar in set(bits)
    }
    return [found[bar] for bar in bits]


def _divided(bar: Mapping[Key, Written]) -> dict[str, dict[Key, Written]]:
    """What each instrument plays in it."""
    found: dict[str, dict[Key, Written]] = defaultdict(dict)
    for key, written in bar.items():
        found[instrument_of(key[0])][key] = written
    return found


def _told_by(
    ways: Sequence[_Way], by: Sequence[str], bars: int, instruments: Iterable[str]
) -> dict[tuple[int, str], list[int]]:
    """Which bars of the take each chosen bar and each change stands for, by instrument.

    by: the instrument of each change; changes are numbered from `bars` on.
    """
    found: dict[tuple[int, str], list[int]] = defaultdict(list)
    for number, (c, over) in enumerate(ways):
        laid = {by[i]: bars + i for i in over}
        for instrument in instruments:
            found[laid.get(instrument, c), instrument].append(number)
    return found


def _named(
    chosen: Sequence[Bits], home: Sequence[int], units: Sequence[Mapping[Key, Written]]
) -> tuple[list[str], dict[str, str]]:
    """What bars are called, and which other each is written as a variant of.

    Letters in order of how often they are played; A2 is like A but for a few strokes.
    """
    times = Counter(home)
    order = sorted(
        range(len(chosen)), key=lambda c: (-times[c], home.index(c) if c in times else inf)
    )
    main = chosen[order[0]]
    cymbals = _keeping_time(units[order[0]])
    names = [""] * len(chosen)
    like: dict[str, str] = {}
    families: dict[int, int] = {}
    fills = 0
    for c in order:
        own = chosen[c]
        near = min(families, key=lambda f: own.apart(chosen[f]), default=None)
        apart = own.apart(chosen[near]) if near is not None else 0
        both = own.size + chosen[near].size if near is not None else 0
        at_end = times[c] == 1 and len(home) > 1 and own.size < 0.6 * main.size
        if not own.size:
            names[c] = "rest"
        elif near is not None and apart <= _UNLIKE * both:
            families[near] += 1
            names[c] = f"{names[near]}{families[near]}"
            like[names[c]] = names[near]
        elif home[-1] == c and at_end:
            names[c] = "ending"
        elif home[0] == c and at_end:
            names[c] = "pickup"
        elif near is not None and _is_fill(units[c], cymbals, apart, both):
            fills += 1
            names[c] = "fill" if fills == 1 else f"fill-{fills}"
        else:
            families[c] = 1
            names[c] = chr(ord("A") + len(families) - 1) if len(families) <= 26 else f"Z-{c}"
    return names, like


def _names_of_changes(
    instruments: Sequence[str],
    changed: Sequence[Mapping[Key, Written]],
    times: Mapping[int, int],
    count: Callable[[int], str],
) -> list[str]:
    """As drummers say it: crash, crash-on-4, open-hihat, no-bass; else by the instrument, the usual
    one first: bass, bass-2."""
    names: dict[int, str] = {}
    for i in sorted(range(len(changed)), key=lambda i: (-times[i], i)):
        instrument, strokes = instruments[i], changed[i]
        pads = {pad_of(voice) for voice, _ in strokes}
        places = {place for _, place in strokes}
        name = instrument if strokes else f"no-{instrument}"
        if any(voice == _OPEN for voice, _ in strokes):
            name = f"open-{instrument}"
        elif len(pads) == len(places) == 1:
            own, at = instrument, count(min(places))
            if instrument == "crash":
                own = min(pads).partition("-")[0]
            if instrument != "crash" or at != "1":
                own += f"-on-{at}"
            name = own if at.isalnum() and own not in names.values() else name
        numbered = (f"{name}-{number}" for number in range(2, len(changed) + 2))
        names[i] = next(n for n in (name, *numbered) if n not in names.values())
    return [names[i] for i in range(len(changed))]


def _keeping_time(bar: Mapping[Key, Written]) -> int:
    return sum(1 for voice, _ in bar if voice not in FEET_VOICES and pad_of(voice) not in DRUMS)


def _is_fill(bar: Mapping[Key, Written], cymbals: int, apart: int, both: int) -> bool:
    """Whether the hands leave off keeping time for drums."""
    drums = sum(1 for voice, _ in bar if pad_of(voice) in DRUMS)
    own = _keeping_time(bar)
    return apart >= _FILL * both and own < _KEEPING_TIME * cymbals and drums > own
