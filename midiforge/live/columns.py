"""A bar as columns, one a grid step: its count, and what hands and feet do."""

from collections.abc import Sequence
from dataclasses import dataclass

from midiforge.model.counts import counts
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit, Strength


@dataclass(frozen=True, slots=True)
class Column:
    """One grid step of a bar: its time in quarter notes, and what stands in each row."""

    at: float
    count: str
    rows: tuple[str, ...]


def columns(exercise: Exercise, number: int) -> tuple[Column, ...]:
    """The steps of a bar, by number; in the count-in only the beats are counted."""
    meter, step = exercise.meter, exercise.step
    start = number * meter.bar
    said = counts(meter, step)
    at_step: dict[int, list[Hit]] = {}
    for hit in (*exercise.hits, *exercise.answers):
        if hit.layer != "click" and start <= hit.time < start + meter.bar:
            at_step.setdefault(int((hit.time - start) / step), []).append(hit)
    found = []
    for i, count in enumerate(said):
        hits = at_step.get(i, [])
        rows = tuple(_cell(hits, limbs) for limbs in ((HANDS[0],), (HANDS[1],), FEET))
        found.append(Column(float(exercise.swing.played(i * step)), count, rows))
    return tuple(found)


def _cell(hits: Sequence[Hit], limbs: Sequence[object]) -> str:
    text = ""
    for hit in hits:
        if hit.limb in limbs and hit.limb is not None:
            grace = hit.ornament.grace_notes if hit.ornament else 0
            letter = hit.limb.opposite.letter.lower() * grace + hit.limb.letter
            if hit.strength is Strength.GHOST:
                letter = f"({letter})"
            text += (">" if hit.strength is Strength.ACCENT else "") + letter
    return text
