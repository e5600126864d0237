"""midiforge ports"""

from typing import Annotated

import typer

from midiforge.printable import printable


def ports(
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """List the MIDI ports of this machine."""
    from midiforge.live.ports import ports as found

    everything = found()
    if as_json:
        import json

        rows = [{"number": p.number, "name": p.name, "direction": p.direction} for p in everything]
        print(json.dumps(rows, indent=2, ensure_ascii=False))
        return
    if not everything:
        print("no MIDI ports; plug in a module or start a synthesiser")
    for port in everything:
        print(f"{port.direction:6} {port.number:3}  {printable(port.name)}")
