"""The server of `midiforge open`: on this computer only, until it is stopped."""

import socket
import threading
import webbrowser
from collections.abc import Callable

from midiforge.desk.app import application
from midiforge.desk.desk import Desk
from midiforge.desk.gate import LOOPBACK, new_secret
from midiforge.desk.running import noted, page_of
from midiforge.errors import MidiforgeError

_TO_WARM = 2.0  # seconds at most that the end waits for what was engraved ahead
_LARGEST_MESSAGE = 1 << 20  # bytes, of a socket


def serve(
    desk: Desk,
    port: int = 0,
    browses: bool = True,
    say: Callable[[str], None] = print,
    drill: str = "",
) -> None:
    """Serves a desk until Ctrl-C or SIGTERM.

    port: to listen on; 0 for any that is free. browses: whether the browser is opened.
    say: told the page's address once it can be asked for. drill: that the page begins with.
    Raises MidiforgeError where the port is taken.
    """
    import uvicorn

    # With the protocol named, asyncio sends each packet at once; else the second of an answer waits
    # until the browser has acknowledged the first, which it does after 40 ms.
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, port))
        except (OSError, OverflowError) as error:
            why = getattr(error, "strerror", "") or "is no port"
            raise MidiforgeError(f"port {port}: {why}", "--port", hint="0 is any") from None
        port = listening.getsockname()[1]
        secret = new_secret()
        address = f"http://{LOOPBACK}:{port}/{secret}/"
        config = uvicorn.Config(
            application(desk, secret, port),
            log_level="warning",
            lifespan="off",
            ws="websockets-sansio",
            ws_max_size=_LARGEST_MESSAGE,
            timeout_graceful_shutdown=2,
            server_header=False,
        )
        server = uvicorn.Server(config)
        listening.listen()  # who asks before the server runs, waits
        warming = threading.Thread(target=desk.warm, args=(drill,), daemon=True)
        warming.start()
        page = page_of(address, drill)
        say(page)
        if browses:  # some browsers keep whoever opens them until they are closed
            threading.Thread(target=webbrowser.open, args=(page,), daemon=True).start()
        try:
            with noted(desk.folder, address):
                server.run(sockets=[listening])
        finally:
            desk.close()
            warming.join(_TO_WARM)
