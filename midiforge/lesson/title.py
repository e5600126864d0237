"""What an exercise is called, everywhere: on pages, in the terminal, in files and in the log."""

from dataclasses import replace

from midiforge.drill.drill import Drill, Stage
from midiforge.drill.stages import EVERYTHING, FULL
from midiforge.lesson.variants import Material, describe
from midiforge.model.exercise import Variant
from midiforge.model.hit import FEET


def shown(material: Material, stage: Stage) -> tuple[Variant, str]:
    """As much of a variant as a stage shows, and what the feet play in it, in words."""
    variant, feet = material.variant, ""
    if stage.limbs.isdisjoint(FEET):
        variant = replace(variant, feet_placement=0, feet_placement_name="")
    else:
        feet = " and ".join(line.title for line in material.feet if not line.partner)
    if material.phrase is None or stage.limbs.isdisjoint(material.phrase.limbs):
        variant = Variant(
            "",
            accents="",
            feet_placement=variant.feet_placement,
            feet_placement_name=variant.feet_placement_name,
        )
    return variant, feet


def title_of(drill: Drill, material: Material, stage: Stage) -> str:
    """What a person calls the exercise: "Single Paradiddle from 1e, hands on one surface".

    What a hand repeats is not in it: a title stays short.
    """
    variant, feet = shown(material, stage)
    if not variant.sticking:
        moved = f" from {variant.feet_placement_name}" if variant.feet_placement else ""
        return f"{feet or drill.title}{moved}, {stage.title}"
    text = describe(replace(variant, sticking=material.title))
    if stage.name != FULL:
        return f"{text}, {stage.title}"
    if feet:
        return f"{text}, over {feet}"
    own = material.phrase.limbs if material.phrase else ()
    by_hands = stage.title == EVERYTHING and not any(limb.is_foot for limb in own)
    return f"{text}, {'hands over the kit' if by_hands else stage.title}"
