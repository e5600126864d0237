"""Accents: where they come from, and where they start whatever the sticking does."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import product
from math import ceil, lcm

from midiforge.errors import MidiforgeError, nearest, quoted, within
from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.model.counts import count_said, steps_in_bar
from midiforge.model.hit import HANDS, Strength
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move
from midiforge.moves.placement import Places, places, resolved
from midiforge.phrase.cycle import within_limit
from midiforge.phrase.pattern import Pattern, counts_struck, parse_pattern
from midiforge.phrase.phrase import Phrase, Step, accented, rotated
from midiforge.printable import listed

_FOLLOW = "follow"
_WORDS = ("own", "beats", "none")
ACCENT_PLACEMENT = "accent placement"
_THING = "where the accents are"


@frozen
class AccentWishes:
    """Where accents come from, "own", "beats", "none" or a pattern as typed, and where they start;
    None where the phrase's own go with it."""

    sources: tuple[str, ...]
    starts: Places | None

    def late(self, material: Material) -> tuple[int | None, ...]:
        """The grid steps by which they start later."""
        if self.starts is None:
            return (None,)
        return resolved(self.starts, material, "accent_placements")


class AccentsMove(Move[AccentWishes]):
    """The accents of the hands."""

    name = "accents"
    columns = ("accents", "accent_placement")
    keys = (
        Key(
            "accents",
            "texts",
            "Accents: the phrase's own, on the beats, none, or typed by count or grid; '1 3, 2 4' "
            "and 'own; 1, 3' are two patterns.",
            "own|beats|none|'1 2& 4'",
            default="own",
            counted=True,
        ),
        Key(
            "accent_placements",
            "texts",
            "Where the accents start, whatever the sticking does; 'follow' lets the phrase's own "
            "go with it.",
            "follow|beat|phrase|1,1e",
            default=_FOLLOW,
            places=True,
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> AccentWishes:  # noqa: ARG002
        sources = keys.read("accents", lambda items: tuple(read_accents(str(i)) for i in items))
        follow = keys.items("accent_placements") == [_FOLLOW]
        return AccentWishes(sources, None if follow else keys.read("accent_placements", places))

    def turned(self, material: Material, wish: AccentWishes) -> Iterator[Material]:
        starts = wish.late(material)
        if material.phrase is None:
            return
        ways = [_Accented(material, material.phrase, accents) for accents in wish.sources]
        for way, late in product(ways, starts):
            accents, words = way.accents, way.words(late)
            count = "" if late is None else count_said(material.meter, material.step, late)
            manner = "without accents" if accents == "none" else f"with {words}"
            source = Moved(
                self.name,
                accents,
                aside=words,
                manner=manner if words else "",
                columns=(("accents", accents), ("accent_placement", count)),
                thing=_THING,
                usual="accents as written",
            )
            start = Moved(ACCENT_PLACEMENT, late, begins=True, count=count, thing=_THING)
            # Its own, in the letters, are not where they are played.
            said = material.said.replace(">", "") if words else material.said
            yield material.then(source, start, said=said, phrase=way.phrase(late))

    def many(self, material: Material, wish: AccentWishes) -> Mapping[str, int]:
        starts = wish.late(material)
        return {"accents": len(wish.sources), "accent_placements": len(starts)}


class _Accented:
    """A placed phrase and where the accents come from that it is to have.

    Of each way, `late` says by how many grid steps these start later; None where the phrase's own
    go with it. Ways that come out the same are one phrase.
    """

    def __init__(self, material: Material, placed: Phrase, accents: str) -> None:
        self.accents = accents
        self._material, self._placed = material, placed
        self._with: dict[tuple[bool, ...], Phrase] = {}

    def phrase(self, late: int | None) -> Phrase:
        """The phrase with its accents where they belong; as long as both need to repeat."""
        placed = self._placed
        if self.accents == "none":
            return placed.unaccented()
        at_home = late is None or (late - self._material.late) % len(placed) == 0
        if self.accents == "own" and at_home:
            return placed
        mask = rotated(self._mask, late or 0)
        if mask not in self._with:
            self._with[mask] = self._accented(mask)
        return self._with[mask]

    def _accented(self, mask: Sequence[bool]) -> Phrase:
        still, loud = self._still_and_loud
        size = lcm(len(still), len(mask))
        bars = ceil(size * self._material.step / self._material.meter.bar)
        within_limit(bars, "phrase and accents")
        steps = ((loud if mask[i % len(mask)] else still)[i % len(still)] for i in range(size))
        return replace(self._placed, steps=tuple(steps))

    @cached_property
    def _still_and_loud(self) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
        still = self._placed.unaccented(frozenset(HANDS)).steps
        return still, tuple(map(accented, still))

    def words(self, late: int | None) -> str:
        """Where accents are that do not go with the sticking; "" for those that do."""
        accents = self.accents
        if accents == "none":
            return "no accents"
        if accents == "own" and late is None:
            return ""
        if accents == "beats" and not late:
            return "accents on the beats"
        return _words(accents, late, self._mask, self._material.meter, self._material.step)

    @cached_property
    def _mask(self) -> tuple[bool, ...]:
        """For each grid step from the bar line on, whether it is accented; repeats."""
        meter, step = self._material.meter, self._material.step
        if self.accents == "own":
            return rotated(self._placed.accents, -self._material.late)
        if self.accents == "beats":
            length, times = meter.bar, set(meter.beats)
        else:
            with within("accents"):
                pattern = parse_pattern(self.accents, meter, step)
            length, times = pattern.length, {time for time, _ in pattern.strokes}
        steps_in_bar(meter, step)
        return tuple(i * step in times for i in range(int(length / step)))


@lru_cache(maxsize=1024)  # each is asked for wherever the phrase is placed
def _words(
    accents: str, late: int | None, mask: tuple[bool, ...], meter: Meter, step: Fraction
) -> str:
    """Where accents are; mask: as they are before they start later."""
    moved = rotated(mask, late or 0)
    strokes = tuple((i * step, Strength.ACCENT) for i, struck in enumerate(moved) if struck)
    if not strokes:
        return ""
    counts = counts_struck(Pattern(len(mask) * step, strokes), meter, step)
    if counts:
        return f"accents on {listed(counts)}"
    typed = "" if accents in _WORDS else f" {accents}"
    if late is None:
        return f"accents{typed}"
    return f"accents{typed} from {count_said(meter, step, late + mask.index(True))}"


def read_accents(text: str) -> str:
    """ "own", "beats", "none", or a pattern by count or grid."""
    accents = " ".join(text.split())
    a_word = re.fullmatch(r"[a-z-]{2,}", accents) and not re.fullmatch(r"[xg]+", accents)
    if a_word and accents not in _WORDS:
        raise MidiforgeError(
            f"{quoted(text)} does not say where accents are", hint=nearest(accents, _WORDS)
        )
    return accents
