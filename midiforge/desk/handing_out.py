"""Handing a lesson out: pages, MIDI and loops, made beside its drill and kept there.

What is made of "bossa.toml" is in the folder "bossa lesson": pages under names that say for whom
they are, MIDI in `MIDI`, loops in `LOOPS`. Nothing but what midiforge wrote is ever replaced.
"""

from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.responses import FileResponse, Response, StreamingResponse

from midiforge.desk.answers import Asked, get, over, post, stranger, text
from midiforge.desk.desk import Desk, is_own
from midiforge.desk.work import Job, Tell
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError, WrongArgument, quoted
from midiforge.files.disk import writing
from midiforge.files.names import shortened
from midiforge.files.record import RECORD, Record
from midiforge.files.zipped import zipped
from midiforge.folders import loops
from midiforge.folders.lesson import LESSON
from midiforge.frozen import frozen
from midiforge.loops import KINDS, Shape, read_kinds
from midiforge.pages.paper import PAPERS, paper_of
from midiforge.pages.sheet import FORMATS
from midiforge.session import Session

MIDI, LOOPS = "midi", "loops"
_FOLDERS = {
    MIDI: ("MIDI files of the whole lesson (ZIP)", RECORD),
    LOOPS: ("Loops to play along with (ZIP)", loops.RECORD),
}
_SPELLED = {".musicxml": "MusicXML"}
_FIRST = (".pdf", ".html")  # what most people want
_LONGEST, _LARGEST = 40, 75  # letters, and bytes, of a part of a file's name


@frozen
class Wishes:
    """What is to be made, and how; as `Session.sheet`, `build` and `loops` take it.

    kind: an ending of `FORMATS`, `MIDI` or `LOOPS`. audio: "" for loops as MIDI alone.
    """

    kind: str
    only: str
    paper: str
    large: bool
    counts: bool
    student: str
    teacher: str
    date: str
    loop_kinds: str
    minutes: float
    count_in: bool
    audio: str

    @property
    def shape(self) -> Shape:
        """How loops are made; MidiforgeError for kinds that are none, or a length that is none."""
        return Shape(read_kinds(self.loop_kinds), 0, self.minutes, self.count_in)

    def name(self, stem: str) -> str:
        """What is made of a drill of that name, in the folder of what is."""
        if self.kind in _FOLDERS:
            return self.kind
        parts = (stem, self.only, self.student, "large print" if self.large else "")
        return " ".join(filter(None, map(_in_a_name, parts))) + self.kind


def _in_a_name(words: str) -> str:
    """Words as every file system takes them, spaces and letters of any language kept."""
    letters = (each if each.isalnum() or each in " ,-+&()'" else " " for each in words)
    return shortened(" ".join("".join(letters).split()), _LONGEST, _LARGEST)


def _kinds() -> list[str]:
    others = (ending for ending in FORMATS if ending not in _FIRST)
    return [*_FIRST, MIDI, LOOPS, *others]


def title_of(kind: str) -> str:
    """What a kind is called on the page."""
    if kind in _FOLDERS:
        return _FOLDERS[kind][0]
    gives = FORMATS[kind].gives
    return f"{gives[0].upper()}{gives[1:]} ({_SPELLED.get(kind, kind[1:].upper())})"


def _choices(_: Desk, __: Asked) -> dict[str, Any]:
    """What may be chosen."""
    return {
        "kinds": [
            {"kind": kind, "title": title_of(kind), "is_page": kind not in _FOLDERS}
            for kind in _kinds()
        ],
        "papers": [*PAPERS],
        "loops": [*KINDS],
        "audio": [*loops.FORMATS],
    }


# Making


def _make(desk: Desk, asked: Asked) -> dict[str, Any]:
    name, kinds = text(asked, "drill"), asked.get("kinds")
    if not isinstance(kinds, list) or not kinds:
        raise WrongArgument("what is to be made?", "kinds", hint="tick one or more")
    sheet = desk.sheet(name)
    wanted = [_wishes(asked, str(kind)) for kind in kinds]
    for wishes in wanted:
        _check(wishes, Session(sheet.drill, None))
    folder = folder_of(desk, name)
    for kind in _FOLDERS:
        desk.path(desk.name_of(folder / kind))  # nor do they lead elsewhere
    for wishes in wanted:
        called = wishes.name(Path(name).stem)
        made = {
            "text": sheet.file.text,
            "path": str(sheet.file.path),
            "folder": str(folder),
            "name": called,
            "exercises": sum(len(outline.tempos) for outline in sheet.outlines),
            "wishes": {field: getattr(wishes, field) for field in Wishes.__annotations__},
        }
        title = _FOLDERS[called][0] if called in _FOLDERS else called
        counts = "loops" if called == LOOPS else "exercises"
        desk.making.begin(name, title, make, made, folder, counts)
    return _state(desk, asked)


def _wishes(asked: Asked, kind: str) -> Wishes:
    if kind not in _kinds():
        raise WrongArgument(f"{quoted(kind)} is nothing that is made", "kinds")
    return Wishes(
        kind,
        text(asked, "only").strip() if kind != MIDI else "",
        text(asked, "paper", "a4"),
        asked.get("large") is True,
        asked.get("counts") is True,
        " ".join(text(asked, "student").split()),
        " ".join(text(asked, "teacher").split()),
        " ".join(text(asked, "date").split()),
        text(asked, "loop_kinds"),
        _minutes(text(asked, "minutes")),
        asked.get("count_in") is True,
        text(asked, "audio").strip().lower(),
    )


def _minutes(typed: str) -> float:
    try:
        return float(typed or 0)
    except ValueError:
        hint = "such as 2, or none for once round"
        raise WrongArgument(f"{quoted(typed)} is no number", "minutes", hint=hint) from None


def _check(wishes: Wishes, session: Session) -> None:
    """Raises MidiforgeError, naming the field, for what could not be made."""
    if wishes.only:
        session.lesson.select(wishes.only)
    if wishes.kind == LOOPS:
        try:
            _ = wishes.shape
        except WrongArgument:
            raise
        except MidiforgeError as error:
            raise WrongArgument(error.what, "loop_kinds", hint=error.hint) from None
    elif wishes.kind != MIDI:
        paper_of(wishes.paper, wishes.large)


def make(asked: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Makes what is wished for, in whatever process; gives what a person should know of it."""
    session = Session(drill_in(asked["text"], Path(asked["path"])), None)
    wishes, folder = Wishes(**asked["wishes"]), Path(asked["folder"])
    try:
        if wishes.kind in _FOLDERS:
            return _made_folder(session, wishes, folder / wishes.kind, asked["exercises"], tell)
        with writing(folder):
            folder.mkdir(exist_ok=True)
        names = (wishes.student, wishes.teacher, wishes.date)
        looks = (wishes.only, wishes.paper, wishes.large, wishes.counts)
        report = session.sheet(folder / asked["name"], *looks, *names, tell)
    finally:
        with suppress(OSError):
            folder.rmdir()  # where nothing came of it
    return _said(report.left_out, report.warnings)


def _made_folder(
    session: Session, wishes: Wishes, folder: Path, exercises: int, tell: Tell
) -> dict[str, Any]:
    if wishes.kind == MIDI:
        built = session.build(folder, lambda count: tell(count, exercises))
        return _said(built.left_out, built.warnings, built.built.kept)
    shape, audio = wishes.shape, wishes.audio
    report = session.loops(folder, shape, wishes.only, audio, progress=tell)
    missing = f"{report.missing}; the MIDI files are there" if report.missing else ""
    return _said(report.left_out, [missing] if missing else [], report.kept)


def _said(left_out: Any, warnings: Any, kept: Any = ()) -> dict[str, Any]:
    changed = [f"{name} was changed since, and is left alone" for name in kept]
    return {"left_out": [*map(str, left_out)], "mind": [*warnings, *changed]}


# What there is


def folder_of(desk: Desk, drill: str) -> Path:
    """The folder of what is made of a drill, which need not be there.

    Raises MidiforgeError for one that is elsewhere.
    """
    path = desk.path(drill)
    return desk.path(desk.name_of(path.with_name(f"{path.stem} lesson")))


def _state(desk: Desk, asked: Asked) -> dict[str, Any]:
    """What is being made of a drill, and what is there."""
    drill = text(asked, "drill")
    folder = folder_of(desk, drill)
    return {
        "jobs": [told_of(job) for job in desk.making.jobs(drill)],
        "folder": desk.name_of(folder),
        "made": [*_made(folder, desk.path(drill))],
    }


def told_of(job: Job) -> dict[str, Any]:
    """A job as it is told of, with what came of it."""
    return {**job.told(), "given": job.given}


def _made(folder: Path, drill: Path) -> Iterator[dict[str, Any]]:
    """What is there of it, newest first."""
    changed = drill.stat().st_mtime if drill.exists() else 0.0
    there: list[dict[str, Any]] = []
    for name, (title, record) in _FOLDERS.items():
        files = _files(folder / name, record)
        if files:
            stats = [path.stat() for path in files]
            when, size = max(stat.st_mtime for stat in stats), sum(stat.st_size for stat in stats)
            there.append({"name": name, "title": title, "files": len(files), "when": when})
            there[-1]["size"] = size
    with suppress(OSError):
        for path in folder.iterdir():
            if path.suffix in FORMATS and is_own(path) and path.is_file():
                stat = path.stat()
                of = {"title": title_of(path.suffix), "files": 0, "when": stat.st_mtime}
                there.append({"name": path.name, "size": stat.st_size, **of})
    for made in sorted(there, key=lambda made: (-made["when"], made["name"])):
        yield {**made, "older": made["when"] < changed}


def _files(folder: Path, record: str) -> list[Path]:
    """What midiforge wrote into a folder, as far as it is there."""
    if folder.is_symlink() or not folder.is_dir():
        return []
    with suppress(OSError, MidiforgeError):
        paths = (folder / name for name in Record(folder, record).sums)
        return sorted(path for path in paths if path.is_file() and not path.is_symlink())
    return []


def _taken(desk: Desk, asked: Asked) -> Response:
    """A file, or what is in a folder as a zip: to be kept, or "open" for a look at it."""
    drill, name = text(asked, "drill"), text(asked, "name")
    folder = folder_of(desk, drill)
    whole_lesson = folder / MIDI / LESSON
    if name == f"{MIDI}/{LESSON}" and whole_lesson in _files(folder / MIDI, RECORD):
        kept = f"{Path(drill).stem}.mid"
        return FileResponse(whole_lesson, media_type="audio/midi", filename=kept)
    if name not in {made["name"] for made in _made(folder, desk.path(drill))}:
        raise MidiforgeError(f"there is no {quoted(name)} any more")
    if name in _FOLDERS:
        files = _files(folder / name, _FOLDERS[name][1])
        title = f"{Path(drill).stem} {name}"
        headers = {"Content-Disposition": _attached(f"{title}.zip")}
        return StreamingResponse(zipped(files, title), 200, headers, "application/zip")
    path = folder / name
    if text(asked, "open") and path.suffix == ".html":
        FORMATS[path.suffix].seal.check(path)  # what somebody else wrote is only kept
        return stranger(path)
    if text(asked, "open") and path.suffix == ".pdf":
        return FileResponse(path, filename=name, content_disposition_type="inline")
    return FileResponse(path, filename=name)


def _attached(name: str) -> str:
    return f"attachment; filename*=utf-8''{quote(name, safe='')}"


ROUTES = (
    get("/api/hand-out", _choices),
    get("/api/made", _state),
    post("/api/made", _make),
    *over("/api/made", "making", _state),
    get("/api/made/file", _taken),
)
