"""How the page is answered: plain data, or what is wrong, in the command's own sentence."""

import json
import logging
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from midiforge.desk.gate import TooLarge
from midiforge.desk.spoken import TYPED, said
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.files.disk import reason

if TYPE_CHECKING:
    from midiforge.desk.desk import Desk

_LOG = logging.getLogger(__name__)
GONE, WRONG, ELSEWHERE, TOO_LARGE = 400, 422, 409, 413
# What somebody's page may do when it is looked at here: run its own scripts, and nothing else. It
# is a stranger to this server, which does not answer it.
_ALONE = (
    "sandbox allow-scripts allow-modals allow-downloads; default-src 'none'; "
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; "
    "media-src data: blob:; font-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
Asked = Mapping[str, Any]


class Plain(JSONResponse):
    """Plain data; a name of a file that is no text, in a sentence, does not keep it from going."""

    def render(self, content: Any) -> bytes:
        plain = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        return plain.encode("utf-8", "replace")


class Changed(Exception):
    """A drill's file is not what the page believes it is; told: what it is now."""

    def __init__(self, told: dict[str, Any]) -> None:
        super().__init__()
        self.told = told


def get(path: str, answer: Callable[["Desk", Asked], Any]) -> Route:
    """A question: its parameters stand in the address."""
    return Route(path, _endpoint(answer), methods=["GET"])


def post(path: str, answer: Callable[["Desk", Asked], Any]) -> Route:
    """Something to be done: what with is JSON."""
    return Route(path, _endpoint(answer), methods=["POST"])


def upload(path: str, answer: Callable[["Desk", Asked, bytes], Any]) -> Route:
    """A file that is given: the body, of what its parameters in the address say."""

    async def endpoint(request: Request) -> Response:
        async def given() -> Any:
            content = await request.body()
            asked = dict(request.query_params)
            return await run_in_threadpool(answer, desk_of(request), asked, content)

        return await _answered(given)

    return Route(path, endpoint, methods=["POST"])


def over(path: str, work: str, state: Callable[["Desk", Asked], Any]) -> tuple[Route, Route]:
    """A job is stopped, or one that is over forgotten; then as `state` has it. work: which of the
    desk's."""

    def stop(desk: "Desk", asked: Asked) -> Any:
        getattr(desk, work).stop(whole(asked, "number"))
        return state(desk, asked)

    def forget(desk: "Desk", asked: Asked) -> Any:
        getattr(desk, work).forget(whole(asked, "number"))
        return state(desk, asked)

    return post(f"{path}/stop", stop), post(f"{path}/forget", forget)


def stranger(path: Path) -> Response:
    """A page that somebody made: it runs its own scripts, and this server does not answer it."""
    return FileResponse(path, headers={"Content-Security-Policy": _ALONE})


def desk_of(request: Any) -> "Desk":
    """The desk that a request, or a socket, is about."""
    desk: Desk = request.app.state.desk
    return desk


def text(asked: Asked, name: str, default: str = "") -> str:
    """A text that was asked with; MidiforgeError for anything else."""
    value = asked.get(name, default)
    if not isinstance(value, str):
        raise MidiforgeError("is not a text", name)
    return value


def whole(asked: Asked, name: str) -> int:
    """A whole number that was asked with, 0 or more; MidiforgeError for anything else."""
    value = asked.get(name)
    if isinstance(value, str) and value.isdecimal() and len(value) < 10:
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise MidiforgeError("is not a whole number", name)
    return value


def told(error: MidiforgeError) -> dict[str, Any]:
    """An error as the page is told of it. key: the key of the drill that it is about, or the
    parameter, if any."""
    from midiforge.drill.keys import BY_NAME

    places = [place for place in error.where if not place.endswith(".toml")]
    names = (".".join(places[:2]), *places[:1])
    key = next((name for name in names if name in BY_NAME), "")
    if isinstance(error, WrongArgument):
        key = error.parameter
    what, hint = said(error.what) or error.what, said(error.hint)
    where = [place for place in places or error.where if not TYPED.match(place)]
    whole = MidiforgeError(what, *where, hint=hint)
    return {"what": what, "hint": hint, "key": key, "said": str(whole)}


def _endpoint(answer: Callable[["Desk", Asked], Any]) -> Callable[[Request], Any]:
    async def endpoint(request: Request) -> Response:
        async def given() -> Any:
            asked = await _asked(request)
            return await run_in_threadpool(answer, desk_of(request), asked)

        return await _answered(given)

    return endpoint


async def _answered(given: Callable[[], Awaitable[Any]]) -> Response:
    """What is given, or why it is not."""
    try:
        answer = await given()
        return answer if isinstance(answer, Response) else Plain(answer)
    except MidiforgeError as error:
        return Plain({"error": told(error)}, WRONG)
    except OSError as error:  # such as a name that is too long, a file that goes meanwhile
        return Plain({"error": told(MidiforgeError(f"that cannot be: {reason(error)}"))}, WRONG)
    except Changed as changed:
        return Plain(changed.told, ELSEWHERE)
    except TooLarge:
        return Plain({"error": told(MidiforgeError("that is too large"))}, TOO_LARGE)
    except ClientDisconnect:  # the page was loaded again, or closed, while it was sending
        return Response(status_code=GONE)
    except Exception:
        _LOG.exception("an answer failed")
        said = "something went wrong inside midiforge; what was open is as it was"
        return Plain({"error": told(MidiforgeError(said))}, 500)


def _no_number(name: str) -> None:
    raise ValueError(name)  # NaN and the like are not JSON (RFC 8259, section 6)


async def _asked(request: Request) -> Asked:
    asked: dict[str, Any] = dict(request.query_params)
    if request.method == "POST":
        try:
            content = json.loads(await request.body() or b"{}", parse_constant=_no_number)
            json.dumps(content, ensure_ascii=False).encode()  # half of a letter is no text
        except (ValueError, RecursionError):
            raise MidiforgeError("was not asked in JSON") from None
        if not isinstance(content, dict):
            raise MidiforgeError("was not asked by name")
        asked |= content
    return asked
