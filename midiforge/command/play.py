"""midiforge play, midiforge ports"""

import gc
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.inputs import takes_a_drill
from midiforge.command.run import on_terminal
from midiforge.command.show import chosen_exercises
from midiforge.errors import MidiforgeError, nearest
from midiforge.printable import printable

if TYPE_CHECKING:
    from fractions import Fraction

    from midiforge.drill.drill import Drill
    from midiforge.live.bars import PlayableExercise
    from midiforge.live.display import Display
    from midiforge.live.levels import Levels
    from midiforge.live.player import Player
    from midiforge.live.ports import RtOutput
    from midiforge.live.recorder import Recorded
    from midiforge.live.route import Place, Route
    from midiforge.live.watched_input import Heard, WatchedInput
    from midiforge.model.exercise import Exercise


def ports(
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """List the MIDI ports of this machine."""
    from midiforge.live.ports import ports as found

    everything = found()
    if as_json:
        import json

        rows = [{"number": p.number, "name": p.name, "direction": p.direction} for p in everything]
        print(json.dumps(rows, indent=2, ensure_ascii=False))
        return
    if not everything:
        print("no MIDI ports; plug in a module or start a synthesiser")
    for port in everything:
        print(f"{port.direction:6} {port.number:3}  {printable(port.name)}")


@takes_a_drill
def play(
    drill: "Drill",
    port: Annotated[
        str, typer.Option("--port", metavar="NAME", help="The output: part of its name, or number.")
    ] = "",
    virtual: Annotated[
        bool, typer.Option("--virtual", help="Open a virtual output for others to connect to.")
    ] = False,
    only: Annotated[
        str, typer.Option("--only", metavar="N,N-N", help="Only these exercises, by number.")
    ] = "",
    first: Annotated[
        int, typer.Option("--from", metavar="N", min=0, help="Begin with this exercise.")
    ] = 0,
    times: Annotated[
        int, typer.Option("--times", metavar="N", min=0, help="How often each; 0 for ever. [1]")
    ] = 1,
    forever: Annotated[bool, typer.Option("--forever", help="Begin again at the end.")] = False,
    rest: Annotated[
        float, typer.Option("--rest", metavar="SECONDS", min=0, max=600, help="Between exercises.")
    ] = 0.0,
    mute: Annotated[
        str,
        typer.Option(
            "--mute", metavar="LAYERS", help="Silent: hands, feet, click, beside, bass, comp."
        ),
    ] = "",
    solo: Annotated[
        str, typer.Option("--solo", metavar="LAYERS", help="Only these layers sound.")
    ] = "",
    levels: Annotated[
        str,
        typer.Option(
            "--levels", metavar="LAYER=N,...", help="How loud layers are, in per cent: 20 to 150."
        ),
    ] = "",
    beside_port: Annotated[
        str,
        typer.Option(
            "--beside-port",
            metavar="NAME",
            help="Another output for all that plays beside you; percussion on channel 10 there.",
        ),
    ] = "",
    send_clock: Annotated[
        bool, typer.Option("--send-clock", help="Send MIDI beat clock to the port.")
    ] = False,
    follow: Annotated[
        str, typer.Option("--follow", metavar="NAME", help="Follow the beat clock on this input.")
    ] = "",
    control: Annotated[
        str,
        typer.Option("--input", metavar="NAME", help="The input that the kit is on."),
    ] = "",
    record: Annotated[
        Path | None,
        typer.Option("--record", metavar="FILE.mid", help="Record what comes from the kit."),
    ] = None,
    listen: Annotated[
        bool, typer.Option("--listen", help="Only record, play nothing; until q or Ctrl-C.")
    ] = False,
    as_lines: Annotated[
        bool, typer.Option("--plain", help="One line an exercise instead of a screen.")
    ] = False,
) -> None:
    """Play the exercises of a drill to a MIDI port.

    Recorded is one take an exercise: where several are played, its number comes before the ending.
    """
    from midiforge.live.player import Player
    from midiforge.live.ports import RtOutput
    from midiforge.live.timing import SystemClock, ask_for_priority

    if follow and send_clock:
        raise MidiforgeError("either follow a clock or send one", "--follow")
    if listen:
        _check_listening(record, (port, virtual, beside_port, follow, send_clock))
    muted = _layers(mute, "--mute") | _others(_layers(solo, "--solo"))
    loud = _levels(levels)
    exercises = chosen_exercises(drill, only)
    exercises = [each for each in exercises if each.order >= first]
    if not exercises:
        raise MidiforgeError(f"there is no exercise from {first} on", "--from")
    _check_channels(exercises, drill, bool(beside_port))
    recording = _Recording(record, exercises, drill, listen) if record else None
    if listen and recording:
        _only_listen(recording, drill, control)
        return
    with ExitStack() as held:
        if recording:
            held.callback(recording.keep)
        output = RtOutput(port, virtual)
        held.callback(output.close)
        beside = _beside(held, beside_port, output) if beside_port else None
        from midiforge.kit import DEFAULT, read_kit
        from midiforge.live.bars import playable
        from midiforge.live.route import Route
        from midiforge.live.sender import Sender
        from midiforge.live.worker import Worker

        worker = Worker()
        held.callback(worker.shutdown)

        beside_kit = read_kit(DEFAULT) if beside else None  # what a synthesiser of its own knows

        screen = _screen(as_lines)
        views: list[Display] = []

        def make(exercise: "Exercise", faster: "Fraction") -> "PlayableExercise":
            made = playable(exercise, drill.kit, faster, beside_kit)
            for view in views:
                view.prepare(made)
            return made

        route = Route(exercises, make, times, forever, worker)
        sender = Sender(output, beside, drill.kit.channel, drill.kit.program, muted, loud)
        player = Player(sender, SystemClock(), route, send_clock=send_clock, rest=round(rest * 1e9))
        master = _follow(player, follow) if follow else None
        if master:
            held.callback(master.close)
        kit = _kit_input(player, drill, control, recording)
        if kit:
            held.callback(kit.close)
        if screen:
            views.append(_show(held, player, route))
        else:
            _tell(player)
        _look_after(player, [each for each in (master, kit) if each])
        if kit and recording:
            recording.running = True
            player.watcher.began = recording.recorder.began
            player.watcher.say(f"recording {kit.name}")
        held.callback(_never_suspended())
        ask_for_priority()
        gc.collect()
        gc.freeze()
        gc.disable()
        held.callback(gc.enable)
        figures = player.play()
        if recording:
            time.sleep(_CLOSING)
    print(f"Timing: {figures}")


def _never_suspended() -> Callable[[], object]:
    """Ctrl-Z asks for nothing: it would leave notes sounding. Gives what ends that."""
    number = getattr(signal, "SIGTSTP", None)
    if number is None:
        return lambda: None
    before = signal.signal(number, signal.SIG_IGN)
    return lambda: signal.signal(number, before)


def _screen(as_lines: bool) -> bool:
    return not as_lines and on_terminal(sys.stdout) and on_terminal(sys.stdin)


def _layers(text: str, flag: str) -> set[str]:
    from midiforge.live.bars import LAYERS

    found = {part.strip() for part in text.split(",") if part.strip()}
    for layer in found:
        if layer not in LAYERS:
            raise MidiforgeError(f"{layer!r} is not a layer", flag, hint=nearest(layer, LAYERS))
    return found


def _others(layers: set[str]) -> set[str]:
    from midiforge.live.bars import LAYERS

    return set(LAYERS) - layers if layers else set()


def _levels(text: str) -> "Levels":
    from midiforge.live.levels import Levels, read_levels

    try:
        return Levels(read_levels(text))
    except MidiforgeError as error:
        raise error.within("--levels") from None


def _check_channels(exercises: "Sequence[Exercise]", drill: "Drill", beside: bool) -> None:
    """Nobody who plays tones is on the channel of the drums."""
    from midiforge.live.sender import PERCUSSION

    drums = PERCUSSION if beside else drill.kit.channel
    for track in {each for exercise in exercises for each in exercise.tracks}:
        if track.program and track.channel == drums:
            where = "of the percussion there" if beside else "of the kit"
            hint = "" if beside else "--beside-port sends it to another output"
            raise MidiforgeError(f"{track.name} is on channel {drums}, that {where}", hint=hint)


def _beside(held: ExitStack, wanted: str, output: "RtOutput") -> "RtOutput":
    """The other output."""
    from midiforge.live.ports import RtOutput

    try:
        beside = RtOutput(wanted)
    except MidiforgeError as error:
        raise error.within("--beside-port") from None
    held.callback(beside.close)
    if beside.name == output.name:
        raise MidiforgeError(
            f"{beside.name!r} is the other output too", "--beside-port", hint="leave it out"
        )
    return beside


def _kit_input(
    player: "Player", drill: "Drill", wanted: str, recording: "_Recording | None"
) -> "WatchedInput | None":
    """The kit's input, for commands and for strokes, if it is needed."""
    from midiforge.live.controls import Controls
    from midiforge.live.watched_input import WatchedInput

    if not (recording or wanted or drill.kit.controls):
        return None
    heard: list[Heard] = [Controls(drill.kit.controls, player.wish).heard]
    if recording:
        heard.insert(0, recording.recorder.heard)
    return WatchedInput(_KIT, wanted, heard, lambda text: player.watcher.say(text))


_KIT = "the kit's input"


def _look_after(player: "Player", inputs: "Sequence[WatchedInput]") -> None:
    """Looks after inputs in the time that is left over."""
    idle = player.watcher.idle

    def both(spare: int) -> None:
        idle(spare)
        if spare > _MUCH:
            for each in inputs:
                each.look()

    player.watcher.idle = both


_MUCH = 5_000_000  # nanoseconds to spare


def _follow(player: "Player", wanted: str) -> "WatchedInput":
    """Plays in the time of a master on an input; gives that."""
    from midiforge.live.followed_clock import FollowedClock
    from midiforge.live.watched_input import WatchedInput

    clock = FollowedClock()
    player.sync, player.transport = clock, clock.transport
    say = lambda text: player.watcher.say(text)  # noqa: E731  # whoever says it then
    return WatchedInput("the master's input", wanted, [clock.heard], say, clock=True)


def _show(held: ExitStack, player: "Player", route: "Route") -> "Display":
    """The screen, with keys."""
    from midiforge.live.display import Display
    from midiforge.live.keyboard import pressed, single_keys

    held.enter_context(single_keys())
    display = held.enter_context(Display(route, player.sender.muted, player.sender.levels))
    watcher = player.watcher

    def idle(spare: int) -> None:
        for command in pressed():
            player.wish(command)
        display.idle(spare, player.paused)

    watcher.bar, watcher.moment, watcher.say = display.bar, display.moment, display.say
    watcher.idle = idle
    return display


def _tell(player: "Player") -> None:
    """One line an exercise."""
    from midiforge.live.display import plain_line

    def bar(place: "Place") -> None:
        if place.begins:
            print(plain_line(place), flush=True)

    player.watcher.bar = bar
    player.watcher.say = lambda text: print(printable(text), flush=True)


# Recording


def _check_listening(record: Path | None, playing: Sequence[object]) -> None:
    if not record:
        raise MidiforgeError("records nothing without a file", "--listen", hint="--record take.mid")
    if any(playing):
        raise MidiforgeError(
            "plays nothing, so there is no output and no clock", "--listen", hint="name --input"
        )


_CLOSING = 0.25  # seconds that the last stroke may come after the end


class _Recording:
    """A recording, from the name of its file to what is said of it.

    listen: whether nothing is played, so that all is one take.
    running: whether the input is open.
    """

    def __init__(
        self, path: Path, exercises: "Sequence[Exercise]", drill: "Drill", listen: bool
    ) -> None:
        from midiforge.live.recorder import Recorder
        from midiforge.live.take_file import check_free

        self.running = False
        orders = [each.order for each in exercises]
        self._drill = drill
        self._digits = max(2, len(str(max(orders))))
        self._several = len(orders) > 1 and not listen
        self._path = check_free(path, orders if self._several else (), self._digits)
        alone = exercises[0] if len(orders) == 1 else None
        self.recorder = Recorder(time.monotonic_ns(), drill.kit.controls, alone)

    def keep(self) -> None:
        """Writes what was recorded and says so, whatever ended it."""
        from midiforge.live.take_file import take_path, write_take

        if not self.running:
            return
        lines, empty, written = list[str](), dict[int, None](), set[int]()
        review = ""
        with _undisturbed():
            for take in self.recorder.takes(time.monotonic_ns()):
                order = take.exercise.order if take.exercise else 0
                if not take.strokes:
                    empty[order] = None
                    continue
                path = self._path
                if take.exercise and self._several:
                    path = take_path(path, order, self._digits)
                path = write_take(path, take)
                written.add(order)
                lines.append(self._said(take, path))
                review = review or self._review(path, order)
        if not written:
            print("nothing was struck; no take is written")
            return
        silent = [each for each in empty if each and each not in written]
        lines += [f"exercise {each}: nothing was struck" for each in silent]
        if self.recorder.full:
            lines.append("more came than a take can hold; the end is left out")
        for line in (*lines, review):
            print(printable(line))

    def _said(self, take: "Recorded", path: Path) -> str:
        strokes = "1 stroke" if take.strokes == 1 else f"{take.strokes} strokes"
        aside = "" if path.parent == self._path.parent else "; its own folder took no file"
        return f"{path}: {strokes}, {(take.end - take.begin) / 1e9:.0f} s{aside}"

    def _review(self, path: Path, order: int) -> str:
        from shlex import quote

        number = f"{order:0{self._digits}d}" if order else "N"
        words = ["midiforge review", quote(str(path)), quote(self._drill.source)]
        asked = " ".join([*(words if self._drill.source else words[:2]), f"--exercise {number}"])
        flags = "" if self._drill.source else ", with the flags of this drill"
        return f"review: {asked}{flags}"


def _only_listen(recording: _Recording, drill: "Drill", wanted: str) -> None:
    """Records until somebody quits, by q, Ctrl-C or the kit."""
    from midiforge.live.controls import Controls
    from midiforge.live.keyboard import pressed, single_keys
    from midiforge.live.route import Command
    from midiforge.live.watched_input import WatchedInput

    wishes: list[Command] = []
    with ExitStack() as held:
        held.callback(recording.keep)
        held.enter_context(single_keys())
        controls = Controls(drill.kit.controls, wishes.append)
        heard = [recording.recorder.heard, controls.heard]
        kit = WatchedInput(_KIT, wanted, heard, lambda text: print(text, flush=True))
        held.callback(kit.close)
        recording.running = True
        print(f"recording {printable(kit.name)}; q or Ctrl-C ends it", flush=True)
        held.callback(_never_suspended())
        with suppress(KeyboardInterrupt):
            while Command.QUIT not in wishes:
                wishes.extend(pressed())
                kit.look()
                time.sleep(_LOOK)


_LOOK = 0.05  # seconds


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Signals that end a program wait until a file is written; that is soon."""
    before = {}
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None:
            before[number] = signal.signal(number, signal.SIG_IGN)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
