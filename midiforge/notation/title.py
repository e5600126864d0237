"""What those who play beside the player are called on pages."""

from midiforge.library import shelf


def beside_title(name: str) -> str:
    """The title of what plays beside the player; a typed pattern as it is."""
    found = shelf.ostinatos().get(name)
    return found.title if found else name
