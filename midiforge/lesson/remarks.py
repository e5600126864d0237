"""What a person should know of a drill before it is played."""

from midiforge.drill.drill import Drill
from midiforge.lesson.clave import crossings
from midiforge.model.swing import STRAIGHT
from midiforge.moves.grid import own_steps


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
        other = drill.kit.stand_in(voice)
        if other != voice:
            said.append(f"the kit {drill.kit.name} has no {voice}: {other} plays instead")
    style = drill.beside.style
    grids = drill.steps or [own_steps(drill.meter, each.steps) for each in drill.stickings]
    if style and style.swings and drill.swing == STRAIGHT and any(steps % 3 for steps in grids):
        said.append(
            f"the band swings in triplets ({style.name}), your own eighths are straight: "
            'swing = "2:1" swings them'
        )
    return said + crossings(drill)
