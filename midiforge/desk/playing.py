"""What is live, for the page: a socket for each, by which it asks and is told."""

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from midiforge.desk.answers import Asked, desk_of, text, told
from midiforge.desk.desk import Desk
from midiforge.desk.live import Listener, Live
from midiforge.errors import MidiforgeError


def _play(desk: Desk, asked: Asked) -> dict[str, Any]:
    """What plays a drill of the folder; MidiforgeError if there is none."""
    file = desk.drill_file(text(asked, "drill"))
    return {"text": file.text, "path": str(file.path)}


# What the page can begin, and what is added to what it says.
_JOBS: dict[str, Callable[[Desk, Asked], dict[str, Any]]] = {"play": _play}


async def _live(socket: WebSocket) -> None:
    await socket.accept()
    live: Live = socket.app.state.live
    page = Listener(socket.send_text)
    try:
        while True:
            asked = _asked(await socket.receive_text())
            match asked.get("do"):
                case "clock":
                    await page.tell({"clock": live.clock(), "asked": asked.get("asked")})
                case "ports":
                    await live.watch_ports(page)
                case str(job) if job in _JOBS:
                    await _begin(socket, live, page, asked)
                case _:
                    live.say(page, asked)
    except WebSocketDisconnect:
        pass
    finally:
        live.leave(page)


def _asked(line: str) -> dict[str, Any]:
    """What a page said; {} for what means nothing."""
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return asked if isinstance(asked, dict) else {}


async def _begin(socket: WebSocket, live: Live, page: Listener, asked: dict[str, Any]) -> None:
    try:
        more = await run_in_threadpool(_JOBS[asked["do"]], desk_of(socket), asked)
    except MidiforgeError as error:
        await page.tell({"wrong": told(error), "id": asked.get("id")})
        await page.tell({"over": True, "id": asked.get("id")})
        return
    await live.begin(page, asked | more, asked.get("over") is True)


ROUTES = (WebSocketRoute("/api/live", _live),)
