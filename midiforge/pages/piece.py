"""Pieces of a score, which stand side by side: whole bars, or beats of long ones."""

from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.svg import NOTHING, Svg


@frozen
class Piece:
    """Beats of one bar, drawn.

    content: SVG within the piece's own coordinates: tenths of a staff space, 0 0 at its top left.
    times: where the columns of the grid and the strokes stand: (quarter notes from the first
        downbeat, x).
    glyphs: the music signs it draws.
    begins_bar: whether it is the first of its bar. is_simile: whether it is nothing but a sign
        for the bar before.
    again: chord symbols that go on from the piece before, drawn where it begins a line.
    written_out: what stands in its place there if it is nothing but a sign.
    """

    width: float
    content: Svg
    times: tuple[tuple[Fraction, float], ...]
    bar: int
    glyphs: frozenset[str]
    begins_bar: bool = True
    is_simile: bool = False
    again: Svg = NOTHING
    written_out: "Piece | None" = None


@frozen
class Setting:
    """A score as pieces.

    head: clef and time signature, drawn like a piece; it stands before the first.
    clef: the clef alone, for further lines, whose bars then stand below those of the first.
    height: of every piece.
    staff: how far below the top the player's staff begins.
    """

    head: Piece
    clef: Piece
    pieces: tuple[Piece, ...]
    height: float
    staff: float
