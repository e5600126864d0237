"""What a person should know of a drill before it is played."""

from collections.abc import Iterator

from midiforge.band.clave import leaning, other
from midiforge.drill.drill import Drill
from midiforge.lesson.size import grids
from midiforge.model.counts import count_name
from midiforge.model.swing import STRAIGHT
from midiforge.moves.grid import own_steps
from midiforge.moves.move import Material
from midiforge.moves.placement import FEET_PLACEMENT, resolved
from midiforge.phrase.pattern import Line


def remarks(drill: Drill) -> list[str]:
    """One sentence each: ostinatos that do not fit the bar, voices that the kit lacks, a band that
    swings where the drummer does not, and lines that cross the clave."""
    lines = {line.name: line for line in (*drill.feet, *drill.layers)}
    said = [
        f"{line.title} is at home in {line.home}, not in {drill.meter}"
        for line in lines.values()
        if line.home and not drill.meter.meets(line.home, line.pattern.period)
    ]
    voices = {voice for stage in drill.stages for rule in stage.voicing.values() for voice in rule}
    voices |= {line.voice for line in lines.values() if line.voice}
    for voice in sorted(voices):
        instead = drill.kit.stand_in(voice)
        if instead != voice:
            said.append(f"the kit {drill.kit.name} has no {voice}: {instead} plays instead")
    style = drill.band.style
    own = drill.steps or [own_steps(drill.meter, sticking.steps) for sticking in drill.stickings]
    if style and style.swings and drill.swing == STRAIGHT and any(steps % 3 for steps in own):
        said.append(
            f"the band swings in triplets ({style.name}), your own eighths are straight: "
            'swing = "2:1" swings them'
        )
    return [*said, *_crossings(drill)]


def _crossings(drill: Drill) -> Iterator[str]:
    """A sentence for each line that crosses the clave of the percussion and the time layers.

    The way round is theirs, as the first of them has it, the clave itself before those that lean;
    a line begun later by half the clave goes the other way round, and by any other distance off it.
    """
    percussion = [(part.lines[0], part.clave) for part in drill.band.percussion]
    layers = [(line, leaning(line)) for line in drill.layers]
    leads = sorted((*percussion, *layers), key=lambda lead: "clave" not in lead[0].name)
    clave = next((way for _, way in leads if way), "")
    if not clave:
        return
    for line, way in (*layers, *percussion):
        if way not in ("", clave):
            yield _crossing(line, way, clave)
    for line in drill.feet:
        if leaning(line):
            yield from _moved(line, drill, clave)


def _moved(line: Line, drill: Drill, clave: str) -> Iterator[str]:
    """What is to be said of a foot pattern, wherever the drill begins it."""
    material = Material(drill.meter, grids(drill)[0], drill.feet)
    own, off = leaning(line), []
    for late in resolved(drill.moves[FEET_PLACEMENT], material, "feet_placements"):
        share = (late * material.step / line.pattern.length) % 1
        count = count_name(drill.meter, material.step, late)
        if 2 * share in (0, 1):
            way = other(own) if share else own
            if way != clave:
                yield _crossing(line, way, clave, f" from {count}" if late else "")
        else:
            off.append(count)
    if off:
        yield f"{line.title} is off the clave, which goes {clave}, from {', '.join(off)}"


def _crossing(line: Line, way: str, clave: str, begun: str = "") -> str:
    return f"{line.title}{begun} goes {way}, the clave {clave}: they cross"
