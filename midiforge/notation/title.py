"""What an exercise is called where its music stands below."""

from midiforge.library import shelf
from midiforge.model.exercise import Exercise


def title_of(exercise: Exercise) -> str:
    """The title, without the accents of its sticking, which the music shows."""
    sticking = exercise.variant.sticking
    if not sticking:
        return exercise.title
    return exercise.title.replace(sticking, sticking.replace(">", ""))


def beside_title(name: str) -> str:
    """The title of what plays beside the player; a typed pattern as it is."""
    found = shelf.ostinatos().get(name)
    return found.title if found else name
