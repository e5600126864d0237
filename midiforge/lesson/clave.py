"""Whether all that leans on the clave leans on it the same way round."""

from collections.abc import Iterator

from midiforge.drill.band import leaning
from midiforge.drill.drill import Drill
from midiforge.model.counts import count_name
from midiforge.moves.feet_placement import FEET_PLACEMENT
from midiforge.moves.grid import own_steps
from midiforge.moves.move import Material
from midiforge.moves.places import resolved
from midiforge.phrase.material import Line


def crossings(drill: Drill) -> list[str]:
    """A sentence for each line that crosses the clave of the percussion and the time layers.

    The way round is theirs, as the first of them has it; a line begun later by half the clave
    goes the other way round, and by any other distance off it.
    """
    way = next(_ways(drill), "")
    if not way:
        return []
    said = []
    for line in drill.layers:
        if leaning(line) not in ("", way):
            said.append(_sentence(line, leaning(line), way))
    for part in drill.beside.parts:
        if part.clave not in ("", way):
            said.append(_sentence(part.lines[0], part.clave, way))
    for line in drill.feet:
        if leaning(line):
            said += _moved(line, drill, way)
    return said


def _ways(drill: Drill) -> Iterator[str]:
    """The ways round that percussion and layers go, the clave itself before those that lean."""
    lines = [(part.lines[0], part.clave) for part in drill.beside.parts]
    lines += [(line, leaning(line)) for line in drill.layers]
    found = [(line, way) for line, way in lines if way]
    yield from (way for line, way in found if "clave" in line.name)
    yield from (way for _, way in found)


def _moved(line: Line, drill: Drill, way: str) -> Iterator[str]:
    """What is to be said of a foot pattern, wherever the drill begins it."""
    wish = drill.stickings[0].steps if drill.stickings else 0
    steps = drill.steps[0] if drill.steps else own_steps(drill.meter, wish)
    material = Material(drill.meter, "", "", None, 1, steps, drill.feet)
    step = material.step
    own, off = leaning(line), []
    for late in resolved(drill.moves[FEET_PLACEMENT], material, "feet_placements"):
        share = (late * step / line.pattern.length) % 1
        count = count_name(drill.meter, step, late)
        begun = f" from {count}" if late else ""
        if share == 0 and own != way:
            yield _sentence(line, own, way, begun)
        elif 2 * share == 1 and own == way:
            yield _sentence(line, "2-3" if own == "3-2" else "3-2", way, begun)
        elif share and 2 * share != 1:
            off.append(count)
    if off:
        yield f"{line.title} is off the clave, which goes {way}, from {', '.join(off)}"


def _sentence(line: Line, own: str, way: str, begun: str = "") -> str:
    return f"{line.title}{begun} goes {own}, the clave {way}: they cross"
