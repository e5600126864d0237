"""A session at the kit, as `midiforge practise` runs it, shown by the page."""

import base64
import pickle
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from midiforge.at_the_kit import delay as delays
from midiforge.at_the_kit.catching_up import caught_up
from midiforge.at_the_kit.practise import Practice
from midiforge.at_the_kit.scene import Scene
from midiforge.at_the_kit.words import WISHES
from midiforge.desk.engine.bars import Bars
from midiforge.desk.engine.browser import Browser, later_ms, way_of
from midiforge.desk.engine.play import silent
from midiforge.desk.engine.stage import exercise_told, scene_told
from midiforge.desk.line import Line, Said
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError
from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.controls import Command
from midiforge.live.playing.play import PlayOptions
from midiforge.live.playing.player import Player
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.practice.teacher import to_a_click
from midiforge.practice.words import CAUTION
from midiforge.session import Session

_SPARE = 4_000_000  # nanoseconds that looking at the scene takes at most
_MOST_OFTEN = 0.05  # seconds from one look to the next


def run(line: Line) -> None:
    """Runs the session until its end, or until the page wants no more of it."""
    job, log = line.job, line.job.get("log", "")
    drills = [drill_in(drill["text"], Path(drill["path"])) for drill in job["drills"]]
    player, source, folder = job.get("player", ""), job.get("input", ""), Path(job["takes"])
    kit, way = drills[0].kit, way_of(source, bool(job.get("browser")))
    known = None if job.get("measure") or not source else delays.kept(kit.name, way)
    sessions = [Session(to_a_click(drill), log, player, flags=False) for drill in drills]
    for path in caught_up(sessions, sorted(folder.parent.glob("*")), known):
        line.tell(said=f"A session was cut short; its last take is in the log now: {path.name}")
    if source:
        _make(folder)
    practice = Practice(
        Session(drills[0], log, player, flags=False),
        job.get("minutes", 30),
        bool(source),
        folder if source else None,
        known,
        measures=known is None,
        shows=not job.get("unheard"),
        apart=True,
        others=drills[1:],
        later_ms=later_ms(job),
    )
    options = PlayOptions(
        port=Browser(line, kit) if job.get("browser") else job.get("port", ""),
        virtual=bool(job.get("virtual")),
        band=job.get("band", ""),
        kit_input=source,
        muted=silent(job.get("muted", ("hands", "feet"))),
    )
    stage = Stage(line)
    failed = ""
    try:
        practice.play(options, stage.shows)
    except MidiforgeError as error:
        failed = error.what
        raise
    finally:
        ended = _ended(practice, kit.name, way, failed)
        practice.close()
        with suppress(OSError):
            folder.rmdir()  # where nothing was kept in it
        if not failed:
            line.tell(ended=ended)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MidiforgeError(f"cannot be made: {error.strerror}", str(folder)) from None


class Stage:
    """Tells the page what the kit's own screen shows."""

    def __init__(self, line: Line) -> None:
        self._line = line
        self._known: dict[int, tuple[Exercise, int]] = {}  # each kept, so that its id is its own
        self._contents: dict[bytes, int] = {}

    @contextmanager
    def shows(self, scene: Scene, player: Player) -> Iterator[Watcher]:
        """Shows a session as long as the context lasts."""
        line, message, last = self._line, [""], [0.0]
        before: list[object] = [None]
        bars = Bars(player, lambda bar: line.tell(bar=bar))

        def asked(said: Said) -> None:
            if said.get("do") == "stop":
                player.wish(Command.QUIT)
            elif said.get("do") == "wish" and said.get("wish") in WISHES:
                player.wish(Command(said["wish"]))

        def say(text: str) -> None:
            message[0] = text

        def idle(spare: int) -> None:
            bars.look()
            now = time.monotonic()
            if spare < _SPARE or now - last[0] < _MOST_OFTEN:
                return
            waits = player.paused or player.waits
            state = (scene.changes, int(scene.elapsed), scene.mode, scene.left, message[0], waits)
            if state == before[0]:
                return
            before[0], last[0] = state, now
            told = scene_told(scene, message[0], waits)
            told["paused"] = player.paused
            told["exercise"] = self._name(scene.task.exercise) if scene.task else 0
            line.tell(scene=told)

        line.listen(asked)
        line.tell(begun={"port": player.sender.output.name})
        yield Watcher(
            bar=bars.bar, moment=lambda _: bars.look(), idle=idle, say=say, made=self.made
        )

    def made(self, playable: PlayableExercise) -> None:
        """An exercise is about to be played; from any thread."""
        self._name(playable.exercise)

    def _name(self, exercise: Exercise) -> int:
        """A number for an exercise, which the server is told of at first: it engraves it."""
        if id(exercise) not in self._known:
            content = pickle.dumps(exercise, protocol=5)
            if content not in self._contents:
                self._contents[content] = number = len(self._contents) + 1
                told = {"name": number, **exercise_told(exercise)}
                self._line.tell(exercise=told, pickled=base64.b64encode(content).decode())
            self._known[id(exercise)] = exercise, self._contents[content]
        return self._known[id(exercise)][1]


def _ended(practice: Practice, kit: str, way: str, failed: str) -> dict[str, Any]:
    """What is left of a session, as the page is told of it."""
    if not practice.scene.hears or not practice.has_begun:
        return {"lines": [], "troubles": [], "page": "", "caution": ""}
    try:
        ended = practice.ended()
        said = delays.kept_anew(kit, way, practice.scene.delay_ms, practice.known_delay)
    except MidiforgeError as error:
        troubles = [] if error.what == failed else [error.what]
        return {"lines": [], "troubles": troubles, "page": "", "caution": ""}
    return {
        "lines": [*map(list, ended.lines), *([[0, said]] if said else [])],
        "troubles": [*ended.troubles],
        "page": ended.page.parent.name if ended.page else "",
        "caution": CAUTION,
    }
