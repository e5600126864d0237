"""What is live, for the page: a socket for each, by which it asks and is told."""

import asyncio
import base64
import json
import pickle
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket

from midiforge.desk.answers import Asked, desk_of, get, stranger, text, told
from midiforge.desk.desk import DRILL, Desk
from midiforge.desk.engine.browser import way_of
from midiforge.desk.lesson_sheet import set_alone
from midiforge.desk.live import Listener, Live, Said
from midiforge.errors import MidiforgeError
from midiforge.files.names import spelled
from midiforge.kits.kit import Kit

PRACTISED = "practised"  # the folder for takes of sessions, a folder each
_DAY = "day.html"
_MOST_DAYS = 60
_MINUTES = 30
_LONGEST = 60  # letters of a kit's name


def _drill(desk: Desk, name: object) -> dict[str, str]:
    """A drill of the folder as a process is told of it; MidiforgeError if there is none."""
    file = desk.drill_file(name if isinstance(name, str) else "")
    return {"text": file.text, "path": str(file.path), "digest": file.digest}


def _play(desk: Desk, asked: Asked) -> dict[str, Any]:
    return _drill(desk, asked.get("drill"))


def _practise(desk: Desk, asked: Asked) -> dict[str, Any]:
    names, minutes = asked.get("drills"), asked.get("minutes", _MINUTES)
    if not isinstance(names, list) or not names:
        raise MidiforgeError("no lesson is chosen", "drills")
    if not isinstance(minutes, int):
        raise MidiforgeError("is no whole number of minutes", "minutes")
    return {
        "drills": [_drill(desk, name) for name in names],
        "log": desk.log,
        "player": text(asked, "player", desk.player),
        "takes": str(desk.folder / PRACTISED / time.strftime("%Y-%m-%d-%H%M%S")),
    }


def _learn(desk: Desk, asked: Asked) -> dict[str, Any]:
    """The kit file that comes of it, in the folder, by what the kit is called."""
    stem = spelled(" ".join(text(asked, "name").split())).strip("._ ")[:_LONGEST]
    if not stem:
        raise MidiforgeError("what is the kit called?", "name")
    return {"out": str(desk.path(f"{stem}{DRILL}")), "starts_from": text(asked, "starts_from")}


# What the page can begin, and what is added to what it says.
_JOBS: dict[str, Callable[[Desk, Asked], dict[str, Any]]] = {
    "play": _play,
    "practise": _practise,
    "learn": _learn,
}


async def _live(socket: WebSocket) -> None:
    await socket.accept()
    live: Live = socket.app.state.live
    page = Listener(socket.send_text)
    try:
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            asked = _asked(message.get("text") or "")
            match asked.get("do"):
                case "clock":
                    await page.tell({"clock": live.clock(), "asked": asked.get("asked")})
                case "ports":
                    await live.watch_ports(page)
                case "edit":  # what plays is played as it is written now
                    with suppress(MidiforgeError):
                        drill = await run_in_threadpool(_drill, desk_of(socket), asked.get("drill"))
                        live.say(page, asked | drill)
                case str(job) if job in _JOBS:
                    await _begin(socket, live, page, asked)
                case _:
                    live.say(page, asked)
    finally:
        live.leave(page)


def _asked(line: str) -> dict[str, Any]:
    """What a page said; {} for what means nothing."""
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(asked, dict):
        return {}
    whole = json.dumps(asked, ensure_ascii=False).encode("utf-8", "replace")  # no half letters
    plain: dict[str, Any] = json.loads(whole)
    return plain


def _check(asked: Asked) -> None:
    """Raises MidiforgeError where what something is begun with is of a wrong kind."""
    for name in ("port", "input", "band"):
        text(asked, name)
    muted = asked.get("muted", [])
    if not isinstance(muted, list) or not all(isinstance(layer, str) for layer in muted):
        raise MidiforgeError("are no names of layers", "muted")


async def _begin(socket: WebSocket, live: Live, page: Listener, asked: dict[str, Any]) -> None:
    desk, job = desk_of(socket), asked["do"]
    try:
        _check(asked)
        more = await run_in_threadpool(_JOBS[job], desk, asked)
        tell = page.tell
        if job == "practise":
            sheet = await run_in_threadpool(desk.sheet, asked["drills"][0])
            tell = _Engraving(page, sheet.drill.kit).tell
        await live.begin(page, asked | more, tell, asked.get("over") is True)
    except MidiforgeError as error:
        await page.tell({"wrong": told(error), "id": asked.get("id")})
        await page.tell({"over": True, "id": asked.get("id")})


class _Engraving:
    """Tells a page what a session says, and engraves the exercises that it comes to, which the
    session has no time for."""

    def __init__(self, page: Listener, kit: Kit) -> None:
        self._page, self._kit = page, kit
        self._tasks: set[asyncio.Task[None]] = set()

    async def tell(self, said: Said) -> None:
        if "exercise" not in said:
            await self._page.tell(said)
            return
        task = asyncio.create_task(self._engrave(said))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _engrave(self, said: Said) -> None:
        exercise = pickle.loads(base64.b64decode(said["pickled"]))  # from our own process
        try:
            music: Mapping[str, Any] = await run_in_threadpool(set_alone, exercise, self._kit)
        except MidiforgeError as error:
            music = {"markup": "", "heard": [], "signs": "", "why": error.what}
        await self._page.tell({"exercise": {**said["exercise"], **music}, "id": said.get("id")})


# What was practised


def _ready(desk: Desk, asked: Asked) -> dict[str, Any]:
    """What is known before a session with an input: its delay, in ms; the days of others."""
    from midiforge.at_the_kit import delay

    source, kit = text(asked, "input"), desk.sheet(text(asked, "drill")).drill.kit.name
    way = way_of(source, bool(text(asked, "browser")))
    return {
        "delay": delay.kept(kit, way) if source else None,
        "kit": kit,
        "player": desk.player,
        "days": [path.parent.name for path in _days(desk)],
    }


def _days(desk: Desk) -> list[Path]:
    """The pages of days, the newest first."""
    return sorted((desk.folder / PRACTISED).glob(f"*/{_DAY}"), reverse=True)[:_MOST_DAYS]


def _day(desk: Desk, asked: Asked) -> Response:
    """The page of a day."""
    path = desk.path(f"{PRACTISED}/{text(asked, 'of')}/{_DAY}")
    if not path.is_file():
        raise MidiforgeError("there is no such day")
    return stranger(path)


ROUTES = (
    WebSocketRoute("/api/live", _live),
    get("/api/practise", _ready),
    get("/api/practise/day", _day),
)
