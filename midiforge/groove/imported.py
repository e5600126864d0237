"""A drill from a MIDI file, and how it was made."""

from collections.abc import Mapping

from midiforge.frozen import frozen
from midiforge.groove.sections import Section
from midiforge.kits.kit import Kit
from midiforge.model.meter import Meter

TIME_LAYER = "time layer"


@frozen
class Wrong:
    """Something in the file that is not in the drill.

    bar: from 1, of the file. count: as it is said, such as "2&". what: in words.
    """

    bar: int
    count: str
    voice: str
    what: str

    def __str__(self) -> str:
        return f"bar {self.bar}, count {self.count}: {self.voice}, {self.what}"


@frozen
class Imported:
    """A drill and how it was made.

    text: of the drill file. kind: "form", "fills", "ostinato" or "phrase".
    tempo: pulses of the meter a minute, as the drill has it; slowest, fastest: in the file.
    tempo_from: "file", "given", "found" from the strokes, or "assumed" for want of either;
        meter_from: the same.
    sure: 0 to 1, that beat and first beat are right; 1 where they are the file's own.
    steps: to a beat. swing: long to short; "" for straight. swing_pair: what swings; "" if none.
    bars: of the loop. first_bar: of the file, from 1, with which it begins. rounds: how often it
        goes round in the file.
    exact: whether every stroke of the loop is where the file has it, to a tick.
    mean_shift, largest_shift: ms that strokes were moved by to the grid, from the player's own
        time; late: ms that they were behind the file's beats on average, below 0 ahead; 0 by
        beats that were found.
    strokes: in the file, ornaments apart. explained: of these, by the loop.
    doubles: second triggers left out; bounces: of these, of the bass drum's beater.
    clicks: notes that were a click.
    unknown: note numbers that the kit does not know, and how often they came.
    elsewhere: other channels with notes, and how many.
    parts: limb and voice, marks, and the library's names for the same strokes.
    ornaments: in the drill, by kind.
    road_map: of a form, the order of its bars; sections: the same in short; cells: how many
        bars of it are different; changes: how many lines are laid over them.
    wrong: what did not fit, in order. remarks: what else is to be known, one sentence each.
    """

    text: str
    title: str
    kind: str
    kit: Kit
    kit_chosen: bool
    tempo: float
    slowest: float
    fastest: float
    tempo_from: str
    meter: Meter
    meter_from: str
    sure: float
    steps: int
    swing: str
    swing_pair: str
    bars: int
    first_bar: int
    rounds: float
    exact: bool
    mean_shift: float
    largest_shift: float
    late: float
    strokes: int
    explained: int
    doubles: int
    clicks: int
    channel: int
    unknown: Mapping[int, int]
    elsewhere: Mapping[int, int]
    parts: tuple[tuple[str, str, tuple[str, ...]], ...]
    ornaments: Mapping[str, int]
    wrong: tuple[Wrong, ...]
    remarks: tuple[str, ...]
    road_map: str = ""
    sections: tuple[Section, ...] = ()
    cells: int = 0
    changes: int = 0
    bounces: int = 0
