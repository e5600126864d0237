"""midiforge ports"""

from midiforge.command.flags import AsJson
from midiforge.command.terminal import say, say_json


def ports(
    as_json: AsJson = False,
) -> None:
    """List the MIDI ports of this machine."""
    from midiforge.live.ports.ports import ports as found

    everything = found()
    if as_json:
        rows = [{"number": p.number, "name": p.name, "direction": p.direction} for p in everything]
        say_json(rows)
        return
    if not everything:
        say("no MIDI ports; plug in a module or start a synthesiser")
    for port in everything:
        say(f"{port.direction:6} {port.number:3}  {port.name}")
