"""What an exercise is called where its music stands below."""

from midiforge.insight.words import listed
from midiforge.model.counts import counts_of_grid, is_grid
from midiforge.model.exercise import Exercise


def title_of(exercise: Exercise) -> str:
    """The title, with counts for what was typed as marks, and without what the music shows."""
    variant = exercise.variant
    title = exercise.title
    if is_grid(variant.accents):
        said = listed(counts_of_grid(exercise.meter, exercise.step, variant.accents))
        title = title.replace(f"accents {variant.accents}", f"accents on {said}")
    if variant.sticking:
        title = title.replace(variant.sticking, variant.sticking.replace(">", ""))
    return title
