"""Where a folder is open already, so that it is opened but once: an icon is soon struck twice."""

import json
import os
import re
import webbrowser
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from hashlib import sha256
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from urllib.parse import quote

from midiforge.desk.gate import LOOPBACK
from midiforge.errors import MidiforgeError
from midiforge.files.disk import data_folder, read_file

_PATIENCE = 2.0  # seconds
_LARGEST = 10_000  # bytes, of a note
_LARGEST_ANSWER = 1 << 24  # bytes
_ADDRESS = re.compile(rf"http://{re.escape(LOOPBACK)}:([0-9]{{1,5}})(/[A-Za-z0-9_-]+/)")


def _note_of(folder: Path) -> Path:
    name = sha256(os.fsencode(folder.resolve())).hexdigest()[:24]
    return data_folder() / "open" / f"{name}.json"


def shown_again(folder: Path, drill: str = "") -> bool:
    """Shows the page of a folder that is open in the browser once more; False where it is not."""
    address = address_of(folder)
    return bool(address) and webbrowser.open(page_of(address, drill))


def page_of(address: str, drill: str) -> str:
    """The address of the page, at a drill if one is named."""
    return f"{address}#drill={quote(drill)}" if drill else address


def address_of(folder: Path) -> str:
    """The address of the page of a folder that is open; "" where it is not, and where somebody
    else answers there, such as a program that has the port now."""
    with suppress(
        MidiforgeError, OSError, ValueError, TypeError, KeyError, HTTPException, RecursionError
    ):
        address = str(json.loads(read_file(_note_of(folder), _LARGEST))["address"])
        if own := _ADDRESS.fullmatch(address):
            with closing(HTTPConnection(LOOPBACK, int(own[1]), timeout=_PATIENCE)) as asking:
                asking.request("GET", f"{own[2]}api/drills")
                told = json.loads(asking.getresponse().read(_LARGEST_ANSWER))
            as_told = str(folder.resolve()).encode("utf-8", "replace").decode()
            return address if told["folder"] == as_told else ""
    return ""


@contextmanager
def noted(folder: Path, address: str) -> Iterator[None]:
    """While the context lasts others find the page; the note, which has its secret, is for this
    user alone. Where it cannot be kept the folder is opened all the same."""
    path: Path | None = None
    with suppress(MidiforgeError, OSError):
        path = _note_of(folder)
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.unlink(missing_ok=True)
        path.touch(mode=0o600, exist_ok=False)
        path.write_text(json.dumps({"address": address}), encoding="utf-8")
    try:
        yield
    finally:
        with suppress(OSError, ValueError, TypeError, KeyError, RecursionError):
            if path and json.loads(path.read_text("utf-8"))["address"] == address:
                path.unlink()
