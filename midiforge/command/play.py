"""midiforge play"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import Only, read_flag
from midiforge.command.inputs import PlayCommand, takes_a_drill
from midiforge.command.terminal import folded, on_screen, say, say_text
from midiforge.errors import MidiforgeError
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.live.playing.play import Watch
    from midiforge.live.playing.player import Player
    from midiforge.live.playing.route import Place
    from midiforge.live.recording.recording import KeptTake, Recording
    from midiforge.live.screen.watcher import Watcher


@partial(takes_a_drill, shown_by=PlayCommand)
def play(
    drill: "Drill",
    port: str = "",
    virtual: bool = False,
    only: Only = "",
    from_: str = "",
    times: Annotated[
        int | None,
        typer.Option(
            "--times",
            metavar="N",
            min=0,
            help="How often each exercise goes round; 0 for ever. [as often as makes four bars, "
            "or as the drill repeats it]",
        ),
    ] = None,
    forever: bool = False,
    rest: float | None = None,
    mute: str = "",
    solo: str = "",
    levels: str = "",
    band_port: str = "",
    send_clock: bool = False,
    follow: str = "",
    input_: str = "",
    record: Path | None = None,
    listen: bool = False,
    plain: bool = False,
) -> None:
    """Play the exercises of a drill to a MIDI port.

    Recorded is one take an exercise: where several are played, its number comes before the ending.

    --port NAME: The output: part of its name, or number. [the only one]
    --virtual: Open a virtual output for others to connect to.
    --from N: Begin with this exercise, by number.
    --forever: Begin the lesson again at its end.
    --rest SECONDS: Silence between exercises, up to ten minutes.
    --mute LAYERS: Silent: hands, feet, click, percussion, bass, chords; band for the last three.
    --solo LAYERS: Only these layers sound.
    --levels LAYER=N,...: How loud layers are, in per cent: 20 to 150.
    --band-port NAME: Another output for the band; its percussion on channel 10 there.
    --send-clock: Send MIDI beat clock to the port.
    --follow NAME: Follow the beat clock on this input.
    --input NAME: The input that the kit is on.
    --record FILE.mid: Record what comes from the kit.
    --listen: Only record, from --input; play nothing. Until q or Ctrl-C.
    --plain: One line an exercise instead of a screen.
    """
    from midiforge.live.playing.layers import LAYERS, read_layers, read_levels
    from midiforge.live.playing.play import PlayOptions
    from midiforge.session import Session, rounds

    if follow and send_clock:
        raise MidiforgeError("either follow a clock or send one", "--follow")
    if listen:
        if not record:
            what, hint = "records nothing without a file", "--record take.mid"
            raise MidiforgeError(what, "--listen", hint=hint)
        if (port and input_) or virtual or band_port or follow or send_clock:
            raise _plays_nothing("name --input")
        input_ = input_ or _listening_port(port)
    alone = read_flag("--solo", read_layers, solo)
    others = {*LAYERS} - alone if alone else set()
    options = PlayOptions(
        port=port,
        virtual=virtual,
        band=band_port,
        follow=follow,
        kit_input=input_,
        times=rounds(times),
        forever=forever,
        rest=rest or 0.0,
        muted=read_flag("--mute", read_layers, mute) | others,
        levels=read_flag("--levels", read_levels, levels),
        send_clock=send_clock,
    )
    session = Session(drill)
    exercises = session.to_play(only, from_)
    recording = None
    if record:
        from midiforge.live.recording.recording import Recording

        recording = Recording(record, exercises, drill.kit, listen)
    with _kept(recording, drill.source):
        if listen and recording:
            from midiforge.live.playing.play import listen as only_listen

            only_listen(drill.kit, input_, recording, _say)
            return
        figures = session.play_through(exercises, options, _watch(plain), recording)
    say_text(folded(f"Timing: {figures}"))


def _listening_port(port: str) -> str:
    """Where to listen if only --port was named: the input of that name, if there is one."""
    from midiforge.live.ports.ports import check_input

    try:
        if port:
            check_input(port)
    except MidiforgeError as error:
        raise _plays_nothing(f"name --input; {error.hint}") from None
    return port


def _plays_nothing(hint: str) -> MidiforgeError:
    what = "plays nothing, so there is no output and no clock"
    return MidiforgeError(what, "--listen", hint=hint)


# What is seen


def _watch(as_lines: bool) -> "Watch":
    from midiforge.live.screen import display

    return display.on_screen if on_screen() and not as_lines else _in_lines


@contextmanager
def _in_lines(player: "Player") -> "Iterator[Watcher]":
    """One line an exercise, and at a new tempo; and the keys, each said when it is pressed."""
    from midiforge.live.playing.controls import pressed, single_keys
    from midiforge.live.screen.watcher import Watcher, plain_line

    last: list[Place] = []

    def bar(place: "Place") -> None:
        if place.begins or (last and place.faster != last[0].faster):
            say(plain_line(place), flush=True)
        last[:] = [place]

    def idle(_: int) -> None:
        for command in pressed():
            say(command.value, flush=True)
            player.wish(command)

    with single_keys():
        yield Watcher(bar=bar, idle=idle, say=_say)


def _say(text: str) -> None:
    say(text, flush=True)


# What was recorded


@contextmanager
def _kept(recording: "Recording | None", drill: str) -> Iterator[None]:
    """Keeps what was recorded and says so, whatever ends it."""
    try:
        yield
    finally:
        if recording and recording.running:
            lines = _told(recording, drill)
            with suppress(OSError):  # nobody may be there to read them
                for line in lines:
                    say(line)
                sys.stdout.flush()


def _told(recording: "Recording", drill: str) -> list[str]:
    """Writes the takes; gives what there is to say of them."""
    kept = recording.keep()
    if not kept.takes:
        return ["nothing was struck; no take is written"]
    lines = [_take(take) for take in kept.takes]
    lines += [f"exercise {number}: nothing was struck" for number in kept.silent]
    if kept.full:
        lines.append("more came than a take can hold; the end is left out")
    return [*lines, *(_review(take, recording.digits, drill) for take in kept.takes)]


def _take(take: "KeptTake") -> str:
    aside = "; its own folder took no file" if take.aside else ""
    return f"{take.path}: {many(take.strokes, 'stroke')}, {take.seconds:.0f} s{aside}"


def _review(take: "KeptTake", digits: int, drill: str) -> str:
    """How to have a take reviewed."""
    number = take.number.padded(digits) if take.number else "N"
    words = ["midiforge review", quote(str(take.path)), *([quote(drill)] if drill else [])]
    flags = "" if drill else ", with the flags of this drill"
    return f"review: {' '.join(words)} --exercise {number}{flags}"
