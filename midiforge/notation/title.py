"""What an exercise is called where its music stands below."""

from midiforge.insight.words import listed
from midiforge.library import shelf
from midiforge.model.counts import counts_of_grid, is_grid
from midiforge.model.exercise import Exercise


def title_of(exercise: Exercise) -> str:
    """The title, with counts for what was typed as marks, and without what the music shows."""
    variant = exercise.variant
    title = exercise.title
    if is_grid(variant.accents):
        said = listed(counts_of_grid(exercise.meter, exercise.step, variant.accents))
        # Where they are moved it is said where they begin, which is enough.
        moved = f"accents {variant.accents}, accents from"
        title = title.replace(moved, "accents from")
        title = title.replace(f"accents {variant.accents}", f"accents on {said}")
    if variant.sticking:
        title = title.replace(variant.sticking, variant.sticking.replace(">", ""))
    return title


def beside_title(name: str) -> str:
    """The title of what plays beside the player; a typed pattern as it is."""
    found = shelf.ostinatos().get(name)
    return found.title if found else name
