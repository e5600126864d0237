"""Plays exercises of a drill through MIDI, as `midiforge play` does, steered by the page."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from midiforge.desk.engine.bars import Bars
from midiforge.desk.engine.line import Line, Said
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

# What the page may wish for by name.
WISHES = frozenset(Command) - {Command(layer) for layer in LAYERS}


def run(line: Line) -> None:
    """Plays until the end, or until the page wants no more."""
    job = line.job
    drill = _with_its_controls(drill_in(job["text"], Path(job["path"])), job.get("input", ""))
    session = Session(drill, None)
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

    def way(make: Make, worker: Worker) -> Route:
        route = Route(exercises, make, lambda it: times[0](it), False, worker)
        route.begin_with(chosen(exercises, job))
        return route

    @contextmanager
    def watch(player: Player) -> Iterator[Watcher]:
        bars, before = Bars(player, lambda bar: line.tell(bar=bar)), [""]

        def asked(said: Said) -> None:
            what = said.get("do")
            if what == "stop":
                player.wish(Command.QUIT)
            elif what == "wish" and said.get("wish") in WISHES:
                player.wish(Command(said["wish"]))
            elif what == "choose":
                player.wish(chosen(exercises, said))
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
            bar=bars.bar,
            moment=lambda _: bars.look(),
            idle=idle,
            say=lambda text: line.tell(said=text),
        )

    figures = session.play_through(exercises, options, watch, way=way)
    line.tell(ended={"timing": str(figures)})


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
