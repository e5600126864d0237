"""Accents: where they come from, and where they start whatever the sticking does."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
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
from midiforge.phrase.phrase import Phrase, accented, rotated
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
        for accents, late in product(wish.sources, starts):
            count = "" if late is None else count_said(material.meter, material.step, late)
            placed = _Accented(material, material.phrase, accents, late)
            words = placed.words()
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
            yield material.then(source, said=said).then(start, phrase=placed.phrase())

    def many(self, material: Material, wish: AccentWishes) -> Mapping[str, int]:
        starts = wish.late(material)
        return {"accents": len(wish.sources), "accent_placements": len(starts)}


@frozen
class _Accented:
    """A placed phrase and the accents it is to have.

    late: grid steps by which these start later; None where the phrase's own go with it.
    """

    material: Material
    placed: Phrase
    accents: str
    late: int | None

    def phrase(self) -> Phrase:
        """The phrase with its accents where they belong; as long as both need to repeat."""
        placed, late = self.placed, self.late
        if self.accents == "none":
            return placed.unaccented()
        at_home = late is None or (late - self.material.late) % len(placed) == 0
        if self.accents == "own" and at_home:
            return placed
        still = placed.unaccented(frozenset(HANDS))
        mask = rotated(self._mask(), late or 0)
        size = lcm(len(still), len(mask))
        bars = ceil(size * self.material.step / self.material.meter.bar)
        within_limit(bars, "phrase and accents")
        steps = (still.steps[i % len(still)] for i in range(size))
        return replace(
            still,
            steps=tuple(
                accented(step) if mask[i % len(mask)] else step for i, step in enumerate(steps)
            ),
        )

    def words(self) -> str:
        """Where accents are that do not go with the sticking; "" for those that do."""
        accents, late = self.accents, self.late
        meter, step = self.material.meter, self.material.step
        if accents == "none":
            return "no accents"
        if accents == "own" and late is None:
            return ""
        if accents == "beats" and not late:
            return "accents on the beats"
        mask = self._mask()
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

    def _mask(self) -> tuple[bool, ...]:
        """For each grid step from the bar line on, whether it is accented; repeats."""
        meter, step = self.material.meter, self.material.step
        if self.accents == "own":
            return rotated(self.placed.accents, -self.material.late)
        if self.accents == "beats":
            length, times = meter.bar, set(meter.beats)
        else:
            with within("accents"):
                pattern = parse_pattern(self.accents, meter, step)
            length, times = pattern.length, {time for time, _ in pattern.strokes}
        steps_in_bar(meter, step)
        return tuple(i * step in times for i in range(int(length / step)))


def read_accents(text: str) -> str:
    """ "own", "beats", "none", or a pattern by count or grid."""
    accents = " ".join(text.split())
    a_word = re.fullmatch(r"[a-z-]{2,}", accents) and not re.fullmatch(r"[xg]+", accents)
    if a_word and accents not in _WORDS:
        raise MidiforgeError(
            f"{quoted(text)} does not say where accents are", hint=nearest(accents, _WORDS)
        )
    return accents
