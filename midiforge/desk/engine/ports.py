"""The MIDI ports of this computer, told whenever there are others."""

import sys
import time
from typing import Any

from midiforge.desk.line import Line
from midiforge.errors import MidiforgeError
from midiforge.live.ports.ports import is_ours
from midiforge.live.ports.rtmidi_system import IN, OUT, close_client, jack_server, new_client

_EVERY = 1.0  # seconds from one look to the next


def run(line: Line) -> None:
    """Looks again and again, through the same clients; ends with the system that it looks at."""
    line.listen(lambda _: None)
    clients: dict[str, Any] = {}
    told: dict[str, Any] | None = None
    try:
        for direction in (OUT, IN):
            clients[direction] = new_client(direction)
    except MidiforgeError as error:
        hint = f"; {error.hint}" if error.hint else ""
        line.tell(ports={OUT: [], IN: [], "virtual": False, "why": f"{error.what}{hint}"})
    server = jack_server(clients[OUT]) if clients else None
    try:
        while clients and jack_server(clients[OUT]) == server:
            ports: dict[str, Any] = {
                direction: [name for name in client.get_ports() if not is_ours(name)]
                for direction, client in clients.items()
            }
            ports |= {"virtual": sys.platform != "win32", "why": ""}
            if ports != told:
                told = ports
                line.tell(ports=ports)
            time.sleep(_EVERY)
        time.sleep(_EVERY)  # before somebody asks again
    finally:
        for client in clients.values():
            close_client(client)
