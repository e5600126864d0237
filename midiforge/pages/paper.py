"""Paper: its size, and how large the music is on it."""

from midiforge.errors import WrongArgument, nearest, quoted
from midiforge.frozen import frozen

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm; ISO 216, ANSI/ASME Y14.1
_MARGIN = 16.0
_SPACE, _LARGE_SPACE = 1.7, 2.5  # mm between staff lines


@frozen
class Paper:
    """A page; lengths in mm.

    space: between two lines of the staff.
    """

    name: str
    width: float
    height: float
    margin: float
    space: float

    @property
    def line(self) -> float:
        """How wide a line of music may be, in tenths of a staff space."""
        return (self.width - 2 * self.margin) / self.space * 10

    @property
    def is_large(self) -> bool:
        """Whether it is print for the music stand."""
        return self.space == _LARGE_SPACE


def paper_of(name: str, large: bool = False) -> Paper:
    """A paper by its name; `large` for print that can be read from a music stand."""
    if name.lower() not in PAPERS:
        hint = nearest(name.lower(), PAPERS)
        raise WrongArgument(f"no paper is called {quoted(name)}", "paper", hint=hint)
    width, height = PAPERS[name.lower()]
    return Paper(name.lower(), width, height, _MARGIN, _LARGE_SPACE if large else _SPACE)
