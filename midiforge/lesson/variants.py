"""Every way a drill turns its material over, and which of them come out the same."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from math import ceil, lcm

from midiforge.drill.drill import Accents, Drill, Line, Places, Sticking
from midiforge.drill.grid import own_steps
from midiforge.drill.typed import counts_said
from midiforge.drill.values import resolve_places
from midiforge.errors import MidiforgeError, shortened
from midiforge.lesson.cycle import within_limit
from midiforge.lesson.sameness import digest, phrase_text
from midiforge.model.counts import count_said, steps_in_bar
from midiforge.model.exercise import Variant
from midiforge.model.hit import HANDS, Strength
from midiforge.phrase.pattern import Pattern, parse_pattern
from midiforge.phrase.phrase import Phrase, accented, rotated
from midiforge.phrase.sticking import write_sticking

STEP_NAMES = {
    3: "triplets",
    5: "quintuplets",
    6: "sextuplets",
    7: "septuplets",
}


@dataclass(frozen=True, slots=True)
class Material:
    """The drill's material moved one way, ready for every stage.

    title: of the sticking.
    phrase: from the first downbeat on, placed and accented; None where the drill has only feet
        and layers.
    feet: the foot patterns, moved.
    entry: grid steps that stay silent the first time through.
    """

    variant: Variant
    title: str
    phrase: Phrase | None
    step: Fraction
    feet: tuple[Line, ...]
    entry: int = 0


@dataclass(frozen=True, slots=True)
class Dropped:
    """A variant left out: it comes out as `same_as`, or does with the hands changed over."""

    variant: Variant
    same_as: Variant
    swapped: bool

    @property
    def why(self) -> str:
        what = "the same with the hands changed over" if self.swapped else "the same"
        return f"{describe(self.variant)}: {what} as {describe(self.same_as)}"


_LEADS = {"R": "right lead", "L": "left lead", "": "hands changed over"}


def describe(variant: Variant) -> str:
    """A variant in words, such as "RLRR LRLL from 1e, accents on the beats"."""
    sticking = variant.sticking_said or variant.sticking
    if variant.accents_said:  # its own are not where they are played
        sticking = sticking.replace(">", "")
    parts = [f"{_named(sticking, variant.grid)} from {variant.placement_name}".strip()]
    if variant.backward:
        parts.append("backward")
    parts += filter(None, (variant.lead_said, variant.accents_said))
    if variant.feet_placement:
        parts.append(f"feet from {variant.feet_placement_name}")
    return ", ".join(parts)


def _named(sticking: str, grid: str) -> str:
    return " ".join(filter(None, (shortened(sticking), grid)))


def variants(drill: Drill) -> Iterator[Material | Dropped]:
    """Every variant of a drill in teaching order; those that come out the same as `Dropped`."""
    seen: dict[bytes, Variant] = {}
    for material in _turned(drill):
        found, swapped = _seen_before(material, seen, drill.drop_swapped)
        if found is None:
            yield material
        else:
            yield Dropped(material.variant, found, swapped)


def _seen_before(
    material: Material, seen: dict[bytes, Variant], drop_swapped: bool
) -> tuple[Variant | None, bool]:
    phrase = material.phrase
    feet = [(line.name, line.limb, line.pattern) for line in material.feet]
    rest = (material.step, feet, material.entry)
    key = digest(phrase_text(phrase), *rest)
    if key in seen:
        return seen[key], False
    if drop_swapped and phrase:
        swapped = digest(phrase_text(phrase.swapped()), *rest)
        if swapped in seen:
            return seen[swapped], True
    seen[key] = material.variant
    return None, False


def _turned(drill: Drill) -> Iterator[Material]:
    if not drill.stickings and not drill.every:
        step = drill.meter.beat / (drill.steps[0] if drill.steps else own_steps(drill.meter, 0))
        for late in resolved(drill, drill.feet_placements, step, 1, "feet_placements"):
            name = count_said(drill.meter, step, late)
            variant = Variant("", feet_placement=late, feet_placement_name=name)
            yield Material(variant, "", None, step, _moved_feet(drill.feet, late * step))
        return
    for sticking in drill.material():
        grids = drill.steps or (own_steps(drill.meter, sticking.steps),)
        for steps, backward, swapped in product(grids, drill.directions, drill.leads):
            yield from _placed(drill, sticking, steps, backward, swapped)


def _placed(
    drill: Drill, sticking: Sticking, steps: int, backward: bool, swapped: bool
) -> Iterator[Material]:
    meter, step = drill.meter, drill.meter.beat / steps
    phrase = sticking.phrase
    phrase = phrase.reversed() if backward else phrase
    phrase = phrase.swapped() if swapped else phrase
    grid = f"in {STEP_NAMES.get(steps, f'{steps} to a beat')}" if len(drill.steps) > 1 else ""
    size = len(phrase)
    places = resolved(drill, drill.placements, step, size, "placements")
    feet_places = resolved(drill, drill.feet_placements, step, size, "feet_placements")
    accent_places: tuple[int | None, ...] = (None,)
    if drill.accent_placements is not None:
        accent_places = resolved(drill, drill.accent_placements, step, size, "accent_placements")

    def name_of(late: int) -> str:
        return count_said(meter, step, late)

    for late, accents, accents_late, feet_late in product(
        places, drill.accents, accent_places, feet_places
    ):
        variant = Variant(
            sticking=sticking.phrase.name,
            placement=late,
            placement_name=name_of(late),
            accents=accents.name,
            accent_placement=accents_late,
            accent_placement_name="" if accents_late is None else name_of(accents_late),
            lead=phrase.lead,
            swapped=swapped,
            backward=backward,
            feet_placement=feet_late,
            feet_placement_name=name_of(feet_late),
            accents_said=_accents_said(drill, phrase, accents, accents_late, step),
            lead_said=_LEADS[phrase.lead] if swapped or len(drill.leads) > 1 else "",
            grid=grid,
            sticking_said=_led(sticking.phrase, phrase) if swapped else "",
        )
        yield Material(
            variant=variant,
            title=sticking.title,
            phrase=_accented(drill, phrase, accents, late, accents_late, step),
            step=step,
            feet=_moved_feet(drill.feet, feet_late * step),
            entry=late if drill.entry == "late" else 0,
        )


def _led(written: Phrase, swapped: Phrase) -> str:
    """The letters of a sticking led by the other hand; "" for one that has a name, or that neither
    hand leads: then it is said as written, and that the hands change over."""
    letters = write_sticking(written, len(written))
    if not swapped.lead or written.name.replace(" ", "") != letters:
        return ""
    return write_sticking(swapped)


def resolved(drill: Drill, spec: Places, step: Fraction, size: int, key: str) -> tuple[int, ...]:
    """The grid steps that placements mean, for a phrase of `size` steps; errors name the key."""
    try:
        return resolve_places(spec, drill.meter, step, size)
    except MidiforgeError as error:
        raise error.within(key) from None


def _moved_feet(feet: tuple[Line, ...], late: Fraction) -> tuple[Line, ...]:
    if not late:
        return feet
    return tuple(replace(line, pattern=line.pattern.shifted(late)) for line in feet)


def _accented(
    drill: Drill,
    phrase: Phrase,
    accents: Accents,
    late: int,
    accents_late: int | None,
    step: Fraction,
) -> Phrase:
    """The phrase placed, with its accents where they belong; as long as both need to repeat."""
    if accents.word == "none":
        return phrase.unaccented().placed(late)
    if accents.word == "own" and (accents_late is None or (accents_late - late) % len(phrase) == 0):
        return phrase.placed(late)
    still = phrase.unaccented(frozenset(HANDS)).placed(late)
    mask = rotated(_mask(drill, phrase, accents, step), accents_late or 0)
    size = lcm(len(still), len(mask))
    within_limit(ceil(size * step / drill.meter.bar), "phrase and accents")
    return replace(
        still,
        steps=tuple(
            accented(still.steps[i % len(still)])
            if mask[i % len(mask)]
            else still.steps[i % len(still)]
            for i in range(size)
        ),
    )


def _accents_said(
    drill: Drill, phrase: Phrase, accents: Accents, late: int | None, step: Fraction
) -> str:
    """Where accents are that do not go with the sticking, in words; "" for those that do."""
    if accents.word == "none":
        return "no accents"
    if accents.word == "own" and late is None:
        return ""
    if accents.word == "beats" and not late:
        return "accents on the beats"
    mask = rotated(_mask(drill, phrase, accents, step), late or 0)
    strokes = tuple((i * step, Strength.ACCENT) for i, struck in enumerate(mask) if struck)
    if not strokes:
        return ""
    words = counts_said(Pattern(len(mask) * step, strokes), drill.meter, step)
    if words:
        return f"accents on {words}"
    typed = "" if accents.word else f" {accents.name}"
    if late is None:
        return f"accents{typed}"
    first = _mask(drill, phrase, accents, step).index(True)
    return f"accents{typed} from {count_said(drill.meter, step, late + first)}"


def _pattern(drill: Drill, accents: Accents, step: Fraction) -> Pattern:
    try:
        return parse_pattern(accents.text, drill.meter, step)
    except MidiforgeError as error:
        raise error.within("accents") from None


def _mask(drill: Drill, phrase: Phrase, accents: Accents, step: Fraction) -> tuple[bool, ...]:
    """For each grid step from the bar line on, whether it is accented; repeats."""
    if accents.word == "own":
        return phrase.accents
    if accents.word == "beats":
        length, times = drill.meter.bar, set(drill.meter.beats)
    else:
        pattern = _pattern(drill, accents, step)
        length, times = pattern.length, {time for time, _ in pattern.strokes}
    steps_in_bar(drill.meter, step)
    return tuple(i * step in times for i in range(int(length / step)))
