"""The server's application: its files and its answers."""

from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp

from midiforge.desk import handing_out, looking_back, playing, writing
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
ROUTES: tuple[BaseRoute, ...] = (
    *writing.ROUTES,
    *playing.ROUTES,
    *handing_out.ROUTES,
    *looking_back.ROUTES,
)


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


def application(desk: Desk, secret: str, port: int) -> ASGIApp:
    """The application for a desk, behind its gate."""
    own = (Route("/", _index), Route("/style.css", _style))
    files = map(_files, _FOLDERS)
    inside = Starlette(routes=[*own, *files, *ROUTES])
    inside.state.desk = desk
    inside.state.live = Live()
    return Gate(inside, secret, port)
