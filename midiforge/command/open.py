"""midiforge open"""

from pathlib import Path
from typing import Annotated

import typer

from midiforge.command.flags import Log, Player
from midiforge.command.terminal import say
from midiforge.errors import MidiforgeError


def open_page(
    place: Annotated[str, typer.Argument(metavar="[FOLDER|DRILL.toml]", show_default=False)] = ".",
    port: int = 0,
    silent: bool = False,
    icon: bool = False,
    log: Log = "",
    player: Player = "",
) -> None:
    """Open all of it as a page in your browser.

    Lessons are written there, heard, handed out, practised and looked back on.
    Everything happens on this computer: nothing is sent anywhere, and nobody else gets in. It runs
    until Ctrl-C.

    --icon: Open nothing; put an icon on the desktop that opens the folder.
    --port N: The port to listen on. [any that is free]
    --silent: Open no browser; only say where the page is.
    """
    try:
        from midiforge.desk.desk import Desk
        from midiforge.desk.icon import place_icon
        from midiforge.desk.running import shown_again
        from midiforge.desk.serve import serve
    except ImportError as error:
        what = f"the page needs the package {error.name}"
        raise MidiforgeError(what, hint='pip install "midiforge[open]"') from None
    path = Path(place)
    if not path.exists():
        raise MidiforgeError("there is no such file or folder", place)
    folder, drill = (path, "") if path.is_dir() else (path.parent, path.name)
    if icon:
        for placed in place_icon(folder):
            say(f"An icon that opens {folder.resolve()}: {placed}")
        return
    if not (silent or port or log or player) and shown_again(folder, drill):
        say(f"midiforge is open on {folder.resolve()} already; its page is in your browser.")
        return
    desk = Desk(folder, log, player)
    if drill:
        desk.drill_file(drill)
    say(f"midiforge is open on {desk.folder}; Ctrl-C ends it.", flush=True)
    serve(desk, port, not silent, lambda address: say(address, flush=True), drill)
