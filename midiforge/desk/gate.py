"""Who gets in: this computer's own browser, on the page that `midiforge open` opened.

A page from elsewhere can make a browser ask anything of this computer, also under a name that its
owner lets point here. So a request must name the secret of this run in its address, the server as
it is really called (Host), and, if it says where it comes from, this server (Origin; Fetch
Metadata says the same in other words). Nothing is kept in cookies.
"""

import hmac
import secrets
from collections.abc import Mapping

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
LARGEST_BODY = 32 * 2**20  # bytes; a take of an hour has less than one
_OURSELVES = ("same-origin", "none")  # "none": typed, or opened by this command
_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; media-src 'self' blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def new_secret() -> str:
    """A secret for one run."""
    return secrets.token_urlsafe(24)


class Gate:
    """Lets through to an application what comes from the page itself.

    secret: the first part of every address. port: that the server listens on.
    """

    def __init__(self, inside: ASGIApp, secret: str, port: int) -> None:
        self._inside = inside
        self._secret = secret
        self._names = {f"{LOOPBACK}:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._inside(scope, receive, send)
            return
        headers = Headers(scope=scope)
        first, _, rest = scope["path"].removeprefix("/").partition("/")
        known = hmac.compare_digest(first.encode(), self._secret.encode())
        if not known or not self._comes_from_here(headers, scope["type"] == "websocket"):
            await _turned_away(scope, receive, send)
            return
        inner = {**scope, "path": f"/{rest}", "raw_path": f"/{rest}".encode()}
        await self._inside(inner, _bounded(receive), _with_headers(send))

    def _comes_from_here(self, headers: Mapping[str, str], is_socket: bool) -> bool:
        host, origin = headers.get("host", ""), headers.get("origin")
        if host not in self._names:
            return False
        if origin is None:  # a browser always says it of a socket
            return not is_socket and headers.get("sec-fetch-site", "none") in _OURSELVES
        return origin == f"http://{host}"


async def _turned_away(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4404})
        return
    await PlainTextResponse("Nothing is here.\n", 404)(scope, receive, send)


class TooLarge(Exception):
    """More was sent than `LARGEST_BODY`."""


def _bounded(receive: Receive) -> Receive:
    had = 0

    async def counted() -> Message:
        nonlocal had
        message = await receive()
        had += len(message.get("body", b"")) if message["type"] == "http.request" else 0
        if had > LARGEST_BODY:
            raise TooLarge
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def headed(message: Message) -> None:
        if message["type"] == "http.response.start":
            theirs = [*message.get("headers", ())]  # what an answer says itself holds for it
            ours = [(name.lower().encode(), text.encode()) for name, text in _HEADERS.items()]
            given = {name for name, _ in theirs}
            message = {
                **message,
                "headers": theirs + [each for each in ours if each[0] not in given],
            }
        await send(message)

    return headed
