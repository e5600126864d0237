"""Moves: how a drill's material is turned over, from the notes it is in to who plays a stroke."""

from typing import Any

from midiforge.moves.accents import AccentsMove
from midiforge.moves.direction_and_lead import Direction, Lead
from midiforge.moves.grid import Grid
from midiforge.moves.move import Move
from midiforge.moves.placement import FeetPlacement, Placement
from midiforge.moves.replacement import Replacement

# In the order in which they are made; the last changes fastest.
MOVES: tuple[Move[Any], ...] = (
    Grid(),
    Direction(),
    Lead(),
    Placement(),
    AccentsMove(),
    FeetPlacement(),
    Replacement(),
)
