"""Playing exercises from beginning to end: ports opened, all put together, all let go again."""

import gc
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, suppress
from dataclasses import field
from fractions import Fraction
from typing import TYPE_CHECKING, Protocol

from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.frozen import frozen
from midiforge.kits.kit import DEFAULT, Kit, read_kit
from midiforge.live.clock.priority import priority
from midiforge.live.clock.sync_source import FollowedClock
from midiforge.live.clock.timing import MS, LatenessFigures, SystemClock
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Command, Controls, Wish, pressed, single_keys
from midiforge.live.playing.guard import guarded
from midiforge.live.playing.layers import Levels
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Make, Place, Route, Times, Way, Worker, four_bars
from midiforge.live.playing.signals import SUSPENDING, ignored, quitting
from midiforge.live.ports.output import Output, TakesMessages, open_output
from midiforge.live.ports.sender import PERCUSSION, Sender
from midiforge.live.ports.watched_input import WatchedInput
from midiforge.live.screen.terminal import CLOSE, PLAIN
from midiforge.live.screen.watcher import Watcher
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.uncollected import uncollected

if TYPE_CHECKING:  # most play without recording, and wait for the first click
    from midiforge.live.recording.recording import Recording

MOST_REST = 600  # seconds
_MUCH = 5 * MS  # to spare
_LOOK = 0.05  # seconds between looks while nothing is played
_CLOSING = 0.25  # seconds that the last stroke may come after the end
_KIT = "the kit's input"
_MASTER = "the master's input"

# Begins to watch a player; what it gives lasts as long as it is played.
Watch = Callable[[Player], AbstractContextManager[Watcher]]
# Makes the way that is played: of what makes bars, and of who makes them ahead.
Ways = Callable[[Make, Worker], Way]


class Keeps(Protocol):
    """What keeps what comes from the kit: a recording, or whoever listens."""

    def begin(self, source: WatchedInput) -> object:
        """The input is open."""

    def heard(self, message: bytes, when: int) -> None:
        """A message came, in nanoseconds; from the driver's thread."""

    def began(self, place: Place, at: int, joined: bool) -> None:
        """A bar began, as in `Watcher`."""

    def keep(self) -> object:
        """All is over; what was kept is written before the ports are closed."""


@frozen
class PlayOptions:
    """How exercises are played. Ports are named by part of their name, or number.

    port, band: the outputs; "" for the only one there is, and for none. virtual: whether the
        output is one that others connect to. The first may be an open output instead, such as
        one of mido's; then no port of the system is opened that is not named.
    follow, kit_input: the inputs of a master's clock and of the kit; "" for none.
    times: how often each goes round. forever: whether the lesson begins again.
    rest: seconds between exercises; rests: after single ones.
    muted: layers that are silent; levels: in per cent.
    """

    port: str | TakesMessages = ""
    virtual: bool = False
    band: str = ""
    follow: str = ""
    kit_input: str = ""
    times: Times = four_bars
    forever: bool = False
    rest: float = 0.0
    rests: Mapping[Number, int] = field(default_factory=dict)
    muted: frozenset[str] = frozenset()
    levels: Mapping[str, int] = field(default_factory=dict)
    send_clock: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.rest <= MOST_REST:
            raise WrongArgument(
                f"{self.rest:g} s is no rest", "rest", hint=f"0 to {MOST_REST} seconds"
            )


def play(
    exercises: Sequence[Exercise],
    kit: Kit,
    options: PlayOptions,
    watch: Watch,
    recording: "Keeps | None" = None,
    way: Ways | None = None,
) -> LatenessFigures:
    """Plays exercises through the ports that are named; gives how late events were sent.

    What is recorded is the caller's to keep, also when something is raised.
    way: another one than through the exercises one after the other; then these say only which
        channels are played on.
    """
    _check_channels(exercises, kit, bool(options.band))
    wishes: deque[Wish] = deque()  # of signals that come before there is a player
    with ExitStack() as held:
        held.enter_context(quitting(lambda: wishes.append(Command.QUIT)))
        output = open_output(options.port, options.virtual)
        held.callback(output.close)
        band = _band(options.band, output) if options.band else None
        if band:
            held.callback(band.close)
        worker = Worker()
        held.callback(worker.shutdown)
        band_kit = read_kit(DEFAULT) if band else None  # what a synthesiser of its own knows

        def make(exercise: Exercise, faster: Fraction) -> PlayableExercise:
            made = playable(exercise, kit, faster, band_kit)
            player.watcher.made(made)
            return made

        player = Player(
            Sender(output, band, kit.channel, kit.program, options.muted, Levels(options.levels)),
            SystemClock(),
            way(make, worker)
            if way
            else Route(exercises, make, options.times, options.forever, worker),
            send_clock=options.send_clock,
            rest=round(options.rest * 1e9),
            rests=options.rests,
            wishes=wishes,
        )

        def say(text: str) -> None:
            player.watcher.say(text)

        inputs = []
        if options.follow:
            clock = FollowedClock()
            player.sync, player.transport = clock, clock.transport
            inputs.append(WatchedInput(_MASTER, options.follow, [clock.heard], say, clock=True))
            held.callback(inputs[-1].close)
        of_system = isinstance(options.port, str)
        if recording or options.kit_input or (kit.controls and of_system):
            heard = [recording.heard] if recording else []
            heard.append(Controls(kit.controls, player.wish).heard)
            inputs.append(WatchedInput(_KIT, options.kit_input, heard, say))
            held.callback(inputs[-1].close)
        channels = _channels(exercises, kit, output, band)
        held.enter_context(guarded(channels, options.send_clock, PLAIN + CLOSE))
        player.watcher = held.enter_context(watch(player))
        _look_after(player.watcher, inputs)
        if recording:
            recording.begin(inputs[-1])
            held.callback(recording.keep)  # before the ports are closed: a driver may crash then
            player.watcher.began = recording.began
            player.watcher.say(f"recording {inputs[-1].name}")
        held.enter_context(ignored(*SUSPENDING))
        gc.collect()
        gc.freeze()
        with priority(), uncollected():  # nothing is held up by looking for garbage
            figures = player.play()
        if recording:
            time.sleep(_CLOSING)
    return figures


def listen(kit: Kit, wanted: str, recording: "Recording", say: Callable[[str], None]) -> None:
    """Records and plays nothing, until somebody quits, by q, Ctrl-C or the kit."""
    wishes: list[Command] = []
    with suppress(KeyboardInterrupt), ExitStack() as held:
        held.enter_context(quitting(lambda: wishes.append(Command.QUIT)))
        held.enter_context(guarded({}, False, ""))
        held.enter_context(single_keys())
        heard = [recording.heard, Controls(kit.controls, wishes.append).heard]
        kit_input = WatchedInput(_KIT, wanted, heard, say)
        held.callback(kit_input.close)
        recording.begin(kit_input)
        held.callback(recording.keep)
        say(f"recording {kit_input.name}; q or Ctrl-C ends it")
        held.enter_context(ignored(*SUSPENDING))
        while Command.QUIT not in wishes:
            wishes.extend(pressed())
            kit_input.look()
            time.sleep(_LOOK)


def _check_channels(exercises: Sequence[Exercise], kit: Kit, band: bool) -> None:
    """Raises MidiforgeError if anybody who plays tones is on the channel of the drums."""
    drums = PERCUSSION if band else kit.channel
    for member in {member for exercise in exercises for member in exercise.band}:
        if member.program and member.channel == drums:
            where = "of the percussion there" if band else "of the kit"
            hint = "" if band else "--band-port sends it to another output"
            raise MidiforgeError(f"{member.name} is on channel {drums}, that {where}", hint=hint)


def _channels(
    exercises: Sequence[Exercise], kit: Kit, output: Output, band: Output | None
) -> dict[str, frozenset[int]]:
    """The channels that are played on, of each output that has a name."""
    tones = {member.channel for exercise in exercises for member in exercise.band if member.program}
    used = {output.name: {kit.channel}} | ({band.name: {PERCUSSION}} if band else {})
    used[(band or output).name] |= tones
    return {name: frozenset(channels) for name, channels in used.items() if name}


def _band(wanted: str, output: Output) -> Output:
    """The band's output."""
    try:
        band = open_output(wanted)
    except MidiforgeError as error:
        raise error.within("--band-port") from None
    if band.name == output.name:
        band.close()
        raise MidiforgeError(
            f"{band.name!r} is the other output too", "--band-port", hint="leave it out"
        )
    return band


def _look_after(watcher: Watcher, inputs: Sequence[WatchedInput]) -> None:
    """Looks after inputs in the time that is left over."""
    idle = watcher.idle

    def both(spare: int) -> None:
        idle(spare)
        if spare > _MUCH:
            for watched in inputs:
                watched.look()

    watcher.idle = both
