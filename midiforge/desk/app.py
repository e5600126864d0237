"""The server's application: its files and its answers."""

from importlib import import_module
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route, Router
from starlette.types import ASGIApp, Receive, Scope, Send

from midiforge.desk.desk import Desk
from midiforge.desk.gate import Gate
from midiforge.desk.live import Live
from midiforge.engraving.drawing import STYLE
from midiforge.files.disk import is_file

_PACKAGE = Path(__file__).parents[1]
_PAGE = Path(__file__).parent / "page"
_PLAYER = _PACKAGE / "pages" / "player"
_FOLDERS = {"desk/page": _PAGE, "pages/player": _PLAYER}
_HANDED_OUT = {_PLAYER / name for name in ("main.js", "folds.js", "again.js")}  # for pages alone
_KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
# Modules of routes: those that the page asks first, and those that a view asks when it is opened.
_FIRST, _LATER = ("writing", "playing"), ("handing_out", "looking_back")


async def _index(_: Request) -> Response:
    """The page, which says at once which modules it is going to need."""
    page = (_PAGE / "index.html").read_text(encoding="utf-8")
    modules = (
        f'<link rel="modulepreload" href="{folder}/{path.name}">'
        for folder, home in _FOLDERS.items()
        for path in sorted(home.glob("*.js"))
        if path not in _HANDED_OUT
    )
    return HTMLResponse(page.replace("</head>", "\n".join((*modules, "</head>"))))


async def _style(_: Request) -> Response:
    """What a lesson's page looks like, and what is round it."""
    sheets = [_PACKAGE / "pages" / name for name in ("page.css", "player.css")]
    sheets += [_PAGE / "desk.css", *sorted({*_PAGE.glob("*.css")} - {_PAGE / "desk.css"})]
    texts = [sheet.read_text(encoding="utf-8") for sheet in sheets]
    return Response("\n".join((STYLE, *texts)), media_type="text/css")


async def _file(request: Request) -> Response:
    """A module or a picture, by the place it has in the package, so that they find each other."""
    folder = _FOLDERS[request.path_params["folder"]]
    path = folder / request.path_params["name"]
    if path.parent != folder or path.suffix not in _KINDS or not is_file(path):
        return PlainTextResponse("Nothing is here.\n", 404)
    # Read here: another thread would have to wait for the one that engraves ahead.
    return Response(path.read_bytes(), media_type=_KINDS[path.suffix])


def _files(folder: str) -> Route:
    async def answer(request: Request) -> Response:
        request.path_params["folder"] = folder
        return await _file(request)

    return Route(f"/{folder}/{{name}}", answer)


class _Rooms:
    """Routes of modules that are imported once one of them is asked for; the page itself has been
    answered by then. Together they import half of midiforge.

    others: who is asked for what is none of these.
    """

    def __init__(self, modules: tuple[str, ...], others: ASGIApp | None = None) -> None:
        self._modules, self._others = modules, others
        self._router: Router | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._router is None:
            self._router = await run_in_threadpool(self._opened)
        await self._router(scope, receive, send)

    def _opened(self) -> Router:
        modules = [import_module(f"midiforge.desk.{name}") for name in self._modules]
        return Router([route for own in modules for route in own.ROUTES], default=self._others)


def application(desk: Desk, secret: str, port: int) -> ASGIApp:
    """The application for a desk, behind its gate."""
    own = (Route("/", _index), Route("/style.css", _style))
    files = map(_files, _FOLDERS)
    inside = Starlette(routes=[*own, *files])
    inside.router.default = _Rooms(_FIRST, _Rooms(_LATER))
    inside.state.desk = desk
    inside.state.live = Live()
    return Gate(inside, secret, port)
