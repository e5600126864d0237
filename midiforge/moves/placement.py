"""Placement: the phrase begun later, and the feet; where that is, by count or grid step."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction

from midiforge.errors import MidiforgeError, quoted, within
from midiforge.frozen import frozen
from midiforge.keys.key import Key
from midiforge.keys.reader import KeyReader
from midiforge.keys.values import whole
from midiforge.model.counts import count_index, count_said, spoken, steps_in_bar
from midiforge.model.meter import Meter
from midiforge.model.piece import Moved
from midiforge.moves.move import Material, Move

MOST_PLACEMENTS = 1024


@frozen
class Places:
    """Placements, before grid and phrase are known.

    word: "beat", "phrase" or "bar" for each of its steps; "" for those in `wanted`.
    wanted: grid steps, as numbers, or counts such as "2&" and "2".
    """

    word: str = ""
    wanted: tuple[int | str, ...] = (0,)


def places(items: list[object]) -> Places:
    """ "beat", "phrase", "bar"; or counts, "1, 1e, 2&", and grid steps later, "+0, +3".

    0 is where it is. Beside a 0, which is no count, other bare numbers are grid steps too, as
    drills of earlier days have them: "0, 3, 2&".
    """
    if len(items) == 1 and items[0] in ("beat", "phrase", "bar"):
        return Places(word=str(items[0]), wanted=())
    texts = [str(item).strip() for item in items]
    wanted: list[int | str] = []
    for text in texts:
        steps = re.fullmatch(r"\+([0-9]{1,6})", text)
        if steps or ("0" in texts and re.fullmatch(r"[0-9]{1,6}", text)):
            wanted.append(whole(int(text.lstrip("+")), 0, MOST_PLACEMENTS, "grid steps"))
        elif re.fullmatch(r"[0-9]{1,6}|[0-9]{0,3}([e&a+]|\.[0-9]{1,3})", text):
            wanted.append(text)
        else:
            raise MidiforgeError(
                f"{quoted(text)} is not a placement",
                hint="beat, phrase, bar, counts such as 1, 1e, 2&, 4.1, or grid steps later, +3; "
                "several are separated by commas",
            )
    return Places(wanted=tuple(wanted))


def resolved(wanted: Places, material: Material, key: str) -> tuple[int, ...]:
    """The grid steps that placements mean for a material; errors name the key."""
    meter, step = material.meter, material.step
    with within(key):
        if wanted.word == "phrase":
            return tuple(range(material.size))
        if wanted.word:
            steps = steps_in_bar(meter, step)
            return tuple(range(steps if wanted.word == "bar" else int(meter.beat / step)))
        return tuple(_place(place, meter, step) for place in wanted.wanted)


def _place(count: int | str, meter: Meter, step: Fraction) -> int:
    if isinstance(count, int):
        return count
    if count.isdigit() and not 1 <= int(count) <= len(meter.groups):
        beats = len(meter.groups)
        raise MidiforgeError(
            f"{quoted(count)}: a bar of {meter} has no beat {count}",
            hint=f"1 to {beats}; {count} grid steps later is '+{count}'",
        )
    return count_index(meter, step, count)


@frozen
class Placements:
    """Where the phrase starts; late: whether it is silent until there the first time through."""

    places: Places
    late: bool


class Placement(Move[Placements]):
    """Where the phrase starts."""

    name = "placement"
    columns = ("placement",)
    keys = (
        Key(
            "placements",
            "texts",
            "Where the phrase starts: every step of the beat, phrase or bar, or a list of counts "
            "('1, 1e, 2&') and of grid steps later ('+0, +3').",
            "beat|phrase|bar|1,1e,2&",
            default="0",
            places=True,
        ),
        Key(
            "entry",
            "text",
            "A late phrase the first time through: wrapped round, or entering late.",
            "wrapped|late",
            default="wrapped",
            choices=("wrapped", "late"),
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> Placements:  # noqa: ARG002
        return Placements(keys.read("placements", places), keys.text("entry") == "late")

    def turned(self, material: Material, wish: Placements) -> Iterator[Material]:
        for late in resolved(wish.places, material, "placements"):
            count = count_said(material.meter, material.step, late)
            moved = Moved(
                self.name,
                late,
                begins=True,
                count=count,
                name=f"from {count}",
                does=f"begins on {spoken(count)}",
                columns=(("placement", count),),
                thing="where the sticking begins",
            )
            phrase = material.phrase.placed(late) if material.phrase else None
            yield material.then(moved, phrase=phrase, late=late, entry=late if wish.late else 0)

    def many(self, material: Material, wish: Placements) -> Mapping[str, int]:
        return {"placements": len(resolved(wish.places, material, "placements"))}


FEET_PLACEMENT = "feet placement"


class FeetPlacement(Move[Places]):
    """Where the feet start."""

    name = FEET_PLACEMENT
    columns = ("feet_placement",)
    of_feet = True
    keys = (
        Key(
            "feet_placements",
            "texts",
            "Where the feet start, against still hands.",
            "beat|bar|1,1&",
            default="0",
            places=True,
        ),
    )

    def read(self, keys: KeyReader, meter: Meter) -> Places:  # noqa: ARG002
        return keys.read("feet_placements", places)

    def turned(self, material: Material, wish: Places) -> Iterator[Material]:
        for late in resolved(wish, material, "feet_placements"):
            count = count_said(material.meter, material.step, late)
            moved = Moved(
                self.name,
                late,
                of_feet=True,
                begins=True,
                count=count,
                aside=f"feet from {count}" if late else "",
                sentence=f"The feet begin on {spoken(count)}." if late else "",
                columns=(("feet_placement", count),),
                thing="where the feet begin",
                usual=f"feet from {count}",
            )
            feet = material.feet
            if late:
                later = late * material.step
                feet = tuple(replace(line, pattern=line.pattern.shifted(later)) for line in feet)
            yield material.then(moved, feet=feet)

    def many(self, material: Material, wish: Places) -> Mapping[str, int]:
        return {"feet_placements": len(resolved(wish, material, "feet_placements"))}
