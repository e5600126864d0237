"""What there is to know of a key of a drill."""

from typing import Any

from midiforge.frozen import frozen


@frozen
class Key:
    """One key of a drill.

    kind: "text", "texts", "whole", "number", "yes-no" or "table" (which has no flag of its own).
    example: what follows the flag in its help.
    choices: the only words a text may be; empty for any.
    counted: whether its texts may be patterns typed by count, in which commas join counts.
    places: whether its texts say where something begins, as counts or grid steps.
    names: the shelf whose names it may be: "rudiments", "ostinatos", "voices" or "kits", or one of
        the play-along's.
    """

    name: str
    kind: str
    help: str
    example: str = ""
    default: Any = ""
    choices: tuple[str, ...] = ()
    names: str = ""
    counted: bool = False
    places: bool = False

    @property
    def flag(self) -> str:
        """The flag of the command line that says the same."""
        return "--" + self.name.replace(".", "-").replace("_", "-")
