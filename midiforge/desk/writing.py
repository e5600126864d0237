"""Writing a lesson: its drill is changed key by key, and the page shows what comes of it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from midiforge.desk.answers import Asked, Changed, get, post, text, told, whole
from midiforge.desk.desk import Desk
from midiforge.desk.drill_file import DrillFile, shown
from midiforge.desk.lesson_sheet import LessonSheet, Overtaken
from midiforge.desk.shelf import shelves
from midiforge.drill.keys import GROUPS
from midiforge.errors import MidiforgeError
from midiforge.library.shelf import ostinato
from midiforge.pages.due import hearing
from midiforge.phrase.sticking import parse_sticking, write_sticking

_EXAMPLE = Path("example.toml")


def _drills(desk: Desk, _: Asked) -> dict[str, Any]:
    titles = desk.titles()
    return {
        "folder": str(desk.folder),
        "drills": [*titles],
        "titles": titles,
        "opened": desk.opened if desk.opened in titles else "",
        "player": desk.player,
    }


def _new(desk: Desk, asked: Asked) -> dict[str, Any]:
    return {"drill": desk.new_drill(text(asked, "title"), text(asked, "like"))}


def _fields(_: Desk, __: Asked) -> dict[str, Any]:
    """All keys of a drill, in the order of the help, and what may be chosen for them."""
    groups = [
        {
            "title": title,
            "keys": [
                {
                    "name": key.name,
                    "kind": key.kind,
                    "help": key.help,
                    "example": key.example,
                    "default": shown(key, key.default),
                    "choices": [choice for choice in key.choices if choice],
                    "shelf": key.names,
                }
                for key in keys
            ],
        }
        for title, keys in GROUPS.items()
    ]
    return {"groups": groups, "shelves": shelves()}


def _lesson(desk: Desk, asked: Asked) -> dict[str, Any]:
    name = text(asked, "drill")
    file = desk.drill_file(name)
    desk.opened = name
    try:
        return _told(desk.sheet(name, file))
    except MidiforgeError as error:
        return {  # the page shows the text, so that it can be put right
            "digest": file.digest,
            "text": file.text,
            "values": _values(file),
            "error": told(error),
        }


def _values(file: DrillFile) -> dict[str, str]:
    try:
        return file.shown()
    except MidiforgeError:  # it is no TOML
        return {}


def _told(sheet: LessonSheet) -> dict[str, Any]:
    file = sheet.file
    return {
        "digest": file.digest,
        "text": file.text,
        "values": file.shown(),
        "hearing": hearing(sheet.drill.kit),
        "title": sheet.drill.title,
        **sheet.told(),
    }


def _current(desk: Desk, asked: Asked) -> tuple[str, DrillFile]:
    """The drill that the page has before it, if it is still what the page believes it is."""
    name = text(asked, "drill")
    file = desk.drill_file(name)
    if file.digest != text(asked, "base"):
        raise Changed(_lesson(desk, asked))
    return name, file


def _kept(desk: Desk, name: str, before: DrillFile, file: DrillFile) -> dict[str, Any]:
    """Writes what a lesson comes of; what none comes of is refused, and the file stays.

    The lesson may take its time: whoever wrote meanwhile, here or in another process, comes first;
    and if something newer is typed, it is given up.
    """
    try:
        sheet = desk.sheet(name, file, may_be_overtaken=True)
    except Overtaken:
        return {"overtaken": True}
    if file.text != before.text and not file.write(before):
        raise Changed(_lesson(desk, {"drill": name}))
    return _told(sheet)


def _changed(desk: Desk, asked: Asked) -> dict[str, Any]:
    name, file = _current(desk, asked)
    changes = asked.get("changes")
    if not isinstance(changes, Mapping) or not all(isinstance(v, str) for v in changes.values()):
        raise MidiforgeError("are no keys with their texts", "changes")
    return _kept(desk, name, file, file.changed(changes))


def _overtaken(desk: Desk, asked: Asked) -> dict[str, Any]:
    """What the page waits for is not what it is going to send next."""
    desk.overtake(text(asked, "drill"))
    return {}


def _rewritten(desk: Desk, asked: Asked) -> dict[str, Any]:
    """The whole text, as somebody wrote it: undone, or by hand."""
    name, file = _current(desk, asked)
    return _kept(desk, name, file, DrillFile(file.path, text(asked, "text")))


def _stepped(desk: Desk, asked: Asked) -> dict[str, Any]:
    """A sticking, step by step; the others of the drill stay."""
    name, file = _current(desk, asked)
    number, steps = whole(asked, "sticking"), asked.get("steps")
    stickings = desk.sheet(name, file).drill.stickings
    if not isinstance(steps, list) or not all(isinstance(step, str) for step in steps):
        raise MidiforgeError("are no steps", "sticking")
    if number > len(stickings):
        raise MidiforgeError("there is no such sticking", "sticking")
    written = [sticking.title for sticking in stickings]
    try:
        written[number : number + 1] = [write_sticking(parse_sticking(" ".join(steps)))]
    except MidiforgeError as error:
        raise error.within("sticking") from None
    typed = ", ".join(written) if len(written) > 1 else written[0]
    return _kept(desk, name, file, file.changed({"sticking": typed}))


def _music(desk: Desk, asked: Asked) -> dict[str, Any]:
    name, file = _current(desk, {**asked, "base": text(asked, "digest")})
    return desk.sheet(name, file).music(whole(asked, "family"), whole(asked, "part"))


def _preview(_: Desk, asked: Asked) -> dict[str, Any]:
    """A foot pattern by name, as it stands in a lesson and sounds."""
    named = ostinato(text(asked, "feet"))
    keys = {"feet": named.name, "meter": str(named.meter), "steps": str(named.steps)}
    return LessonSheet(DrillFile(_EXAMPLE, "").changed({**keys, "tempos": "84"})).music(0)


ROUTES = (
    get("/api/drills", _drills),
    post("/api/drills", _new),
    get("/api/fields", _fields),
    get("/api/lesson", _lesson),
    post("/api/lesson", _changed),
    post("/api/lesson/overtaken", _overtaken),
    post("/api/lesson/text", _rewritten),
    post("/api/lesson/steps", _stepped),
    get("/api/music", _music),
    get("/api/preview", _preview),
)
