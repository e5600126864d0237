"""Plays exercises of a drill through MIDI, as `midiforge play` does, steered by the page."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from threading import Thread

from midiforge.desk.engine.bars import Bars
from midiforge.desk.engine.edited import Edited
from midiforge.desk.line import Line, Said
from midiforge.drill.drill import Drill
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError
from midiforge.live.playing.controls import Chosen, Command
from midiforge.live.playing.layers import LAYERS, layers_named
from midiforge.live.playing.play import PlayOptions
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Make, Route, Times, Worker
from midiforge.live.ports.ports import input_named
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.session import Session, rounds

_FASTEST = 10_000  # pulses a minute; what an exercise can be played at is looked at by its way
# What the page may wish for by name.
WISHES = frozenset(Command) - {Command(layer) for layer in LAYERS}


def run(line: Line) -> None:
    """Plays until the end, or until the page wants no more."""
    job = line.job
    written = _drill(job)
    session = Session(_with_its_controls(written, job.get("input", "")), None)
    exercises = session.to_play()
    times = [_times(job)]
    options = PlayOptions(
        port=job.get("port", ""),
        virtual=bool(job.get("virtual")),
        band=job.get("band", ""),
        muted=silent(job.get("muted", ())),
        kit_input=job.get("input", ""),
        send_clock=bool(job.get("clock")),
    )

    ways: list[Edited] = []
    routes: list[Callable[[Sequence[Exercise]], Route]] = []

    def way(make: Make, worker: Worker) -> Edited:
        routes.append(lambda given: Route(given, make, lambda it: times[0](it), False, worker))
        route = routes[0](exercises)
        route.begin_with(chosen(exercises, job))
        ways.append(Edited(route, job.get("digest", "")))
        return ways[0]

    newest = [0]

    def edit(said: Said, number: int) -> None:
        """The lesson was changed: it is played from the next round on, or all begins anew."""
        try:
            drill = _drill(said)
            changed = Session(drill, None).to_play()
        except MidiforgeError:
            drill, changed = written, []
        if number != newest[0]:
            return
        if changed and _goes_on(written, drill) and channels(changed) <= channels(exercises):
            ways[0].give(routes[0](changed), said.get("digest", ""))
        else:
            line.tell(anew=True)

    @contextmanager
    def watch(player: Player) -> Iterator[Watcher]:
        bars, before = Bars(player, lambda bar: line.tell(bar=bar)), [""]
        way = ways[0]

        def asked(said: Said) -> None:
            what = said.get("do")
            if what == "stop":
                player.wish(Command.QUIT)
            elif what == "wish" and said.get("wish") in WISHES:
                player.wish(Command(said["wish"]))
            elif what == "choose":
                player.wish(chosen(way.exercises, said))
            elif what == "edit":
                newest[0] += 1
                Thread(target=edit, args=(said, newest[0]), daemon=True).start()
            elif what == "times":
                times[0] = _times(said)
            elif what == "mute":
                mute(player, silent(said.get("muted", ())))

        def idle(_: int) -> None:
            bars.look()
            state = {"paused": player.paused, "muted": sorted(player.sender.muted)}
            if str(state) != before[0]:
                before[0] = str(state)
                line.tell(state=state)

        line.listen(asked)
        line.tell(begun={"port": player.sender.output.name})
        yield Watcher(
            bar=lambda place: bars.bar(place, digest=way.digest),
            moment=lambda _: bars.look(),
            idle=idle,
            say=lambda text: line.tell(said=text),
        )

    figures = session.play_through(exercises, options, watch, way=way)
    line.tell(ended={"timing": str(figures)})


def _drill(said: Said) -> Drill:
    return drill_in(said["text"], Path(said["path"]))


def _goes_on(before: Drill, now: Drill) -> bool:
    """Whether a changed drill can be played on: through the same kit, and without rests, which are
    known by the numbers of exercises."""
    return before.kit == now.kit and not any(it.rest for it in (*before.running, *now.running))


def channels(exercises: Sequence[Exercise]) -> set[int]:
    """Those of the band, which are known when a player begins."""
    return {member.channel for exercise in exercises for member in exercise.band}


def _times(said: Said) -> Times:
    """How often exercises go round, as the page has it; None as the drill has it."""
    times = said.get("times")
    return rounds(times if isinstance(times, int) else None)


def chosen(exercises: Sequence[Exercise], said: Said) -> Chosen:
    """The exercise and its tempo that the page means, by number; None where it says nothing."""
    number, tempo = said.get("number"), said.get("tempo")
    index = None
    if number is not None:
        named = [i for i, it in enumerate(exercises) if str(it.number) == str(number)]
        if not named:
            raise MidiforgeError(f"there is no exercise {number}")
        index = named[0]
    if tempo is not None and not (isinstance(tempo, (int, float)) and 0 < tempo < _FASTEST):
        raise MidiforgeError(f"{tempo!r:.40} is no tempo")
    return Chosen(index, None if tempo is None else Fraction(str(tempo)))


def silent(names: Sequence[str]) -> frozenset[str]:
    """The layers that are silent, of the names that the page has for them."""
    return frozenset(layer for name in names for layer in layers_named(name))


def mute(player: Player, layers: frozenset[str]) -> None:
    """Silences these layers and no others."""
    for layer in layers ^ player.sender.muted:
        player.wish(Command(layer))


def _with_its_controls(drill: Drill, named: str) -> Drill:
    """The drill, its kit's pads and pedals bound to nothing where nobody says on which input of
    several they are."""
    try:
        if named or not drill.kit.controls or input_named(""):
            return drill
    except MidiforgeError:
        pass
    return replace(drill, kit=replace(drill.kit, controls={}))
