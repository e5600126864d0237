"""midiforge play, midiforge ports"""

import gc
import signal
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.inputs import takes_a_drill
from midiforge.command.run import on_terminal, printable
from midiforge.command.show import chosen_exercises
from midiforge.errors import MidiforgeError, nearest

if TYPE_CHECKING:
    from fractions import Fraction

    from midiforge.drill.drill import Drill
    from midiforge.live.bars import Part
    from midiforge.live.display import Display
    from midiforge.live.player import Player
    from midiforge.live.route import Place, Route
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
        str, typer.Option("--mute", metavar="LAYERS", help="Silent: hands, feet, click, beside.")
    ] = "",
    solo: Annotated[
        str, typer.Option("--solo", metavar="LAYERS", help="Only these layers sound.")
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
    as_lines: Annotated[
        bool, typer.Option("--plain", help="One line an exercise instead of a screen.")
    ] = False,
) -> None:
    """Play the exercises of a drill to a MIDI port."""
    from midiforge.live.player import Player
    from midiforge.live.ports import RtOutput
    from midiforge.live.timing import SystemClock, ask_for_priority

    if follow and send_clock:
        raise MidiforgeError("either follow a clock or send one", "--follow")
    muted = _layers(mute, "--mute") | _others(_layers(solo, "--solo"))
    exercises = chosen_exercises(drill, only)
    exercises = [each for each in exercises if each.order >= first]
    if not exercises:
        raise MidiforgeError(f"there is no exercise from {first} on", "--from")
    with ExitStack() as held:
        output = RtOutput(port, virtual)
        held.callback(output.close)
        worker = held.enter_context(ThreadPoolExecutor(1))
        from midiforge.live.bars import part
        from midiforge.live.route import Route

        screen = _screen(as_lines)
        views: list[Display] = []

        def make(exercise: "Exercise", faster: "Fraction") -> "Part":
            made = part(exercise, drill.kit, faster)
            for view in views:
                view.prepare(made)
            return made

        route = Route(exercises, make, times, forever, worker)
        player = Player(
            output,
            SystemClock(),
            route,
            channel=drill.kit.channel,
            program=drill.kit.program,
            muted=muted,
            send_clock=send_clock,
            rest=round(rest * 1e9),
        )
        if follow:
            held.callback(_follow(player, follow))
        if control or drill.kit.controls:
            held.callback(_listen(player, drill, control))
        if screen:
            views.append(_show(held, player, route))
        else:
            _tell(player)
        held.callback(_never_suspended())
        ask_for_priority()
        gc.collect()
        gc.freeze()
        gc.disable()
        held.callback(gc.enable)
        figures = player.play()
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


def _listen(player: "Player", drill: "Drill", wanted: str) -> Callable[[], None]:
    """Takes commands from the kit; gives what ends it."""
    from midiforge.live.controls import Controls
    from midiforge.live.ports import RtInput

    controls = Controls(drill.kit.controls, player.wish)
    return RtInput(wanted, controls.heard).close


def _follow(player: "Player", wanted: str) -> Callable[[], None]:
    """Plays in the time of a master on an input; gives what ends it."""
    from midiforge.live.followed import FollowedTime
    from midiforge.live.ports import RtInput

    time = FollowedTime()
    player.time, player.turned = time, time.turned
    return RtInput(wanted, time.heard, clock=True).close


def _show(held: ExitStack, player: "Player", route: "Route") -> "Display":
    """The screen, with keys."""
    from midiforge.live.display import Display
    from midiforge.live.keyboard import pressed, single_keys

    held.enter_context(single_keys())
    display = held.enter_context(Display(route, player.muted))
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
            print(printable(plain_line(place)), flush=True)

    player.watcher.bar = bar
    player.watcher.say = lambda text: print(text, flush=True)
