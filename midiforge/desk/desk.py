"""What one run of `midiforge open` has before it: a folder of drills, a log, who plays."""

import threading
from collections import Counter, OrderedDict
from collections.abc import Iterator
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.desk.drill_file import DrillFile, read_drill_file
from midiforge.desk.work import Work
from midiforge.errors import MidiforgeError, quoted
from midiforge.files.disk import check_name, real
from midiforge.files.names import spelled

if TYPE_CHECKING:  # imported once a lesson is asked for: the page's address is said before
    from midiforge.desk.lesson_sheet import LessonSheet
    from midiforge.session import Session

DRILL = ".toml"
STARTER = Path(__file__).parent / "starter.toml"
_DEEPEST = 3  # folders within the folder
_MOST_DRILLS = 500
_KEPT = 6  # lessons that are ready to be looked at again


class Desk:
    """What is worked on, and what is known of it.

    folder: that all drills, and all that is made, are in. log, player: as for `Session`.
    making: what is made of lessons. reviewing: what is heard of takes.
    """

    def __init__(self, folder: Path, log: str = "", player: str = "") -> None:
        self.folder = folder.resolve()
        self.log = log
        self.player = player
        self.making, self.reviewing = Work(), Work()
        self._overtaken: Counter[str] = Counter()  # how often, by the drill
        self.opened = ""  # the drill that was opened last, by its name
        self._sheets: OrderedDict[tuple[str, str], LessonSheet] = OrderedDict()
        self._lock = threading.Lock()

    def close(self) -> None:
        """Stops what is under way; nothing half-written stays."""
        self.making.close()
        self.reviewing.close()

    def drills(self) -> list[str]:
        """The drills of the folder, as they are called on the page: "week 1/bossa.toml"."""
        names = [self.name_of(path) for path in self._files(self.folder, _DEEPEST)]
        return sorted(names, key=lambda name: (name.count("/"), name.casefold()))[:_MOST_DRILLS]

    def titles(self) -> dict[str, str]:
        """What each drill is called by its names; of those with one title, which one it is."""
        titles = {name: self._title(name) for name in self.drills()}
        times = Counter(titles.values())
        return {
            name: f"{title} ({name.removesuffix(DRILL)})" if times[title] > 1 else title
            for name, title in titles.items()
        }

    def _title(self, name: str) -> str:
        title: object = ""
        with suppress(MidiforgeError):  # the page says what is wrong with it
            title = self.drill_file(name).content.get("title")
        return title if isinstance(title, str) and title.strip() else name.removesuffix(DRILL)

    def _files(self, folder: Path, deeper: int) -> Iterator[Path]:
        try:
            inside = sorted(folder.iterdir())
        except OSError:
            return
        for path in inside:
            if not is_own(path):
                continue
            if path.is_dir():
                if deeper:
                    yield from self._files(path, deeper - 1)
            elif path.suffix == DRILL and _is_drill(path):
                yield path

    def name_of(self, path: Path) -> str:
        """What a file of the folder is called on the page."""
        return path.relative_to(self.folder).as_posix()

    def path(self, name: str) -> Path:
        """A file of the folder by the name the page has for it.

        Raises MidiforgeError for one that is elsewhere, or hidden.
        """
        path = self.folder / name
        check_name(path)
        parts = Path(name).parts
        hidden = any(part.startswith(".") for part in parts)
        if not name or "\0" in name or hidden or not real(path).is_relative_to(self.folder):
            raise MidiforgeError(f"{quoted(name)} is not in the folder that is open")
        return path

    def drill_file(self, name: str) -> DrillFile:
        """A drill's file as it is now; MidiforgeError if it cannot be read."""
        path = self.path(name)
        if path.suffix != DRILL:
            raise MidiforgeError(f"{quoted(name)} is no drill", hint=f"they end in {DRILL}")
        return read_drill_file(path)

    def sheet(
        self, name: str, file: DrillFile | None = None, may_be_overtaken: bool = False
    ) -> "LessonSheet":
        """A drill's lesson, ready to be shown; made once as long as its file stays as it is.

        may_be_overtaken: whether it is given up when `overtake` says so meanwhile.
        Raises MidiforgeError for a file that is no drill; Overtaken.
        """
        from midiforge.desk.lesson_sheet import LessonSheet

        file = file or self.drill_file(name)
        key = name, file.digest
        with self._lock:
            if key in self._sheets:
                self._sheets.move_to_end(key)
                return self._sheets[key]
        before = self._overtaken[name]
        sheet = LessonSheet(file, lambda: not may_be_overtaken or self._overtaken[name] == before)
        with self._lock:
            self._sheets[key] = sheet
            while len(self._sheets) > _KEPT:
                self._sheets.popitem(last=False)
        return sheet

    def overtake(self, name: str) -> None:
        """Has lessons of a drill that are being made given up: there is something newer."""
        self._overtaken[name] += 1

    def session(self, name: str, player: str | None = None) -> "Session":
        """A session with a drill of the folder, its log and whoever plays; MidiforgeError."""
        from midiforge.session import Session

        drill = self.sheet(name).drill
        return Session(drill, self.log, self.player if player is None else player, flags=False)

    def warm(self, name: str = "") -> None:
        """Engraves what the page is going to ask for first, while the browser opens."""
        with suppress(MidiforgeError, IndexError):
            sheet = self.sheet(name or self.drills()[0])
            for family in range(min(2, len(sheet.families))):
                sheet.music(family)

    def new_drill(self, title: str, like: str = "") -> str:
        """Begins a drill from the one that every lesson may begin with; gives its name.

        like: one to begin from instead, by its name; the new one lies beside it.
        Raises MidiforgeError if it cannot be written.
        """
        title = " ".join(title.split())
        if not title:
            raise MidiforgeError("what is the lesson called?", "title")
        stem = spelled(title).strip("._ ")[:80] or "lesson"
        folder = self.path(like).parent if like else self.folder
        begins = self.drill_file(like).text if like else STARTER.read_text(encoding="utf-8")
        for number in count(1):
            ending = f"_{number}" if number > 1 else ""
            path = folder / f"{stem}{ending}{DRILL}"
            if DrillFile(path, begins).changed({"title": title}).write():
                break
        return self.name_of(path)


def is_own(path: Path) -> bool:
    """Whether something in a folder is shown on the page: not hidden, no link, which may lead
    anywhere, and by a name that is a text."""
    if path.name.startswith(".") or path.is_symlink():
        return False
    try:
        path.name.encode()
    except UnicodeEncodeError:  # bytes that are not UTF-8
        return False
    return True


def _is_drill(path: Path) -> bool:
    """Whether a TOML file is not plainly something else: a kit, a program's settings."""
    try:
        file = read_drill_file(path)
        return "sticking" in file.content or (bool(file.shown()) and "notes" not in file.content)
    except MidiforgeError:
        return True  # it is said what is wrong with it
