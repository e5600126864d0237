"""The player: each moment at its deadline, wishes at bar lines, and silence at the end.

Every deadline is an absolute time, worked out from the bar's own beginning, which is an exact
fraction; nothing adds up, however long it plays.
"""

from collections import deque
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from heapq import heapify, heappop, heappush

from midiforge.live.bars import LAYERS, NOT_THE_PLAYERS, Bar, Moment, layer_of
from midiforge.live.beat_clock import CLOCK, CONTINUE, START, STOP, clocks_in, song_position
from midiforge.live.followed_clock import TransportChange
from midiforge.live.levels import STEP, Levels
from midiforge.live.line import Line, Output, Ringing
from midiforge.live.route import Command, Place, Route
from midiforge.live.sync_source import InternalClock, SyncSource
from midiforge.live.timing import MS, Clock, Lateness, LatenessFigures, awake_before

LEAD = 100 * MS  # between the decision to begin and the first event
TOO_LATE = 250 * MS  # later than this is not played: the machine slept
NOTE = 60 * MS  # how long a note lasts; drum sounds do not listen
SLICE = 8 * MS  # how long it sleeps at most before it looks after wishes again
LOOK_EVERY = 250 * MS  # how often it looks whether each port is still there
PERCUSSION = 10  # General MIDI's channel for it
_SAME = 1e-6  # quarter notes that are no difference

_SKIPS = frozenset((Command.NEXT, Command.PREVIOUS, Command.AGAIN))
_STEPS = {Command.SOFTER: -STEP, Command.LOUDER: STEP}

ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123


class PortGone(Exception):
    """An output port has vanished."""

    def __init__(self, output: Output) -> None:
        super().__init__()
        self.output = output


class Quit(Exception):
    """The player has had enough."""


class TransportMoved(Exception):
    """The master whose time we follow stopped, started, went on or moved."""

    def __init__(self, change: TransportChange) -> None:
        super().__init__(change.say)
        self.change = change


@dataclass(slots=True)
class Watcher:
    """What the player tells others while it plays; each may do nothing.

    bar: a bar begins. began: the same with when it began, on the clock, and whether straight after
        the bar before; told once something of it has sounded.
    moment: something sounded, `at` quarter notes into the bar.
    idle: there is time to spare, in nanoseconds. say: something to be read.
    """

    bar: Callable[[Place], None] = lambda _: None
    began: Callable[[Place, int, bool], None] = lambda *_: None
    moment: Callable[[float], None] = lambda _: None
    idle: Callable[[int], None] = lambda _: None
    say: Callable[[str], None] = lambda _: None


@dataclass(slots=True)
class Player:
    """Plays a route through an output.

    channel: 1 to 16. muted: layers that stay silent. send_clock: whether MIDI beat clock is sent.
    rest: nanoseconds of silence between exercises. sync: whose time it plays in.
    transport: what the master of that time did since it was asked last.
    beside: the output of all that plays beside the player, if it is another one; percussion is on
        channel 10 there. levels: how loud each layer is.
    """

    output: Output
    clock: Clock
    route: Route
    sync: SyncSource = field(default_factory=InternalClock)
    transport: Callable[[], TransportChange | None] = lambda: None
    channel: int = 10
    muted: set[str] = field(default_factory=set)
    send_clock: bool = False
    rest: int = 0
    program: int | None = None
    watcher: Watcher = field(default_factory=Watcher)
    beside: Output | None = None
    levels: Levels = field(default_factory=Levels)
    paused: bool = False
    _wishes: deque[Command] = field(default_factory=deque)
    _lateness: Lateness = field(default_factory=Lateness)
    _lines: list[Line] = field(default_factory=list)
    _ways: dict[tuple[str, int], Line] = field(default_factory=dict)
    _strokes: int = 0
    _offs: list[tuple[int, int, int, Line]] = field(default_factory=list)
    _tones: list[Ringing] = field(default_factory=list)
    _place: Place | None = None
    _looked: int = 0
    _looks: int = 0
    _joined: bool = False
    _running: bool = False

    def wish(self, command: Command) -> None:
        """Asks for something; safe from other threads."""
        self._wishes.append(command)

    def play(self) -> LatenessFigures:
        """Plays to the end, or until someone quits; always ends in silence.

        Whatever is raised on the way is raised on, after everything has been ended.
        """
        try:
            self._kit_line()
            self._play()
        except Quit:
            pass
        finally:
            self._silence()
        return self._lateness.figures()

    # The way through

    def _play(self) -> None:
        place, first = self.route.next_bar(), True
        self._begin()
        while place is not None:
            self._place = place
            if place.begins:
                self._end_tones(self._tones)
                self._send_programs()
            if self.rest and place.begins and not first:
                self._stop_clock()  # one that falls silent looks like a very slow tempo
                self.sync.rest(self.rest)
                self._joined = False
            first = False
            try:
                self.watcher.bar(place)
                if self._play_bar(place):
                    self._leave(place.bar)
                else:
                    self._begin()
            except PortGone as gone:
                self._wait_for_port(gone.output)
                self._begin()
            except TransportMoved as moved:
                self._silence()
                self.watcher.say(moved.change.say)
                self._joined = False
                first, top = True, moved.change.top
                place = self.route.from_the_top() if top else self.route.same_bar()
                continue
            if self.paused:
                self._pause()
                self._begin()
                if not self._skip_wished():
                    place, first = self.route.same_bar(), True
                    continue
            place = self.route.next_bar(*self._bar_line_wishes())

    def _begin(self) -> None:
        """The next bar begins as soon as may be, whatever was before."""
        self.sync.begin(self.clock.now() + LEAD)
        self._joined = False

    def _leave(self, bar: Bar) -> None:
        """The bar has come to its end; what is held is held from the next bar's beginning."""
        self.sync.leave(bar)
        self._joined = True
        if self._tones:
            length = float(bar.length)
            self._tones = [each._replace(end=each.end - length) for each in self._tones]

    def _play_bar(self, place: Place) -> bool:
        """Plays a bar; whether it came to its end."""
        bar, sync = place.bar, self.sync
        sync.enter(bar)
        events: list[tuple[float, int, Moment | None]] = [
            (moment.at, 1, moment) for moment in bar.moments
        ]
        if self.send_clock:
            events += [(at, 0, None) for at in clocks_in(sync.position, bar.length)]
            events.sort(key=lambda event: event[:2])
        told = False
        for at, _, moment in events:
            deadline = self._wait(at)
            if deadline is None:
                return False
            late = self.clock.now() - deadline
            if late > TOO_LATE:
                self._silence()
                self.watcher.say("the machine slept; going on at the next bar")
                return False
            if moment is None:
                self._send_clock()
            else:
                self._sound(moment, place, deadline)
            self._lateness.add(late)
            self.watcher.moment(at)
            told = told or self._tell(place)
        if self._wait(float(bar.length), awake=False) is None:
            return False
        return told or self._tell(place)

    def _tell(self, place: Place) -> bool:
        """Tells when the bar began."""
        at = self.sync.deadline(0.0)
        self.watcher.began(place, self.clock.now() if at is None else at, self._joined)
        return True

    def _sound(self, moment: Moment, place: Place, deadline: int) -> None:
        muted, ways, velocities = self.muted, self._ways, self.levels.velocities
        for note in moment.notes:
            layer, number, channel = note.layer, note.number, note.channel
            if layer in muted or (note.seam and place.ends):
                continue
            line = ways.get((layer, channel)) or self._way(layer, channel)
            if number in line.sounding:
                line.output.send(line.off(number))
            # Noted down first: whatever comes between must find it to end it.
            self._strokes = stroke = self._strokes + 1
            line.sounding[number] = stroke
            line.struck.add(number)
            if note.hold is None:
                heappush(self._offs, (deadline + NOTE, stroke, number, line))
            else:
                end = moment.at + note.hold
                heappush(self._tones, Ringing(end, stroke, number, line, layer))
            on, velocity = 0x90 | line.channel - 1, velocities[layer][note.velocity]
            line.output.send(bytes((on, number, velocity)))

    def _end_tones(self, tones: Collection[Ringing]) -> None:
        """Ends tones before their time."""
        for each in tones:
            if each.line.sounding.get(each.number) == each.stroke:
                each.line.end(each.number)
        self._tones = [each for each in self._tones if each not in tones]
        heapify(self._tones)

    def _end_tones_until(self, at: float) -> None:
        """Ends the tones that end by a moment of the bar."""
        tones = self._tones
        while tones and tones[0].end <= at + _SAME:
            _, stroke, number, line, _ = heappop(tones)
            if line.sounding.get(number) == stroke:  # not struck again since
                line.end(number)

    def _send_clock(self) -> None:
        if not self._running:
            first = self.sync.position == 0
            if not first:
                self.output.send(song_position(self.sync.position))
            self.output.send(START if first else CONTINUE)
            self._running = True
        self.output.send(CLOCK)

    def _stop_clock(self) -> None:
        if self._running:
            self.output.send(STOP)
            self._running = False

    # Waiting

    def _wait(self, at: float, awake: bool = True) -> int | None:
        """Until a moment of the bar, looking after wishes, note offs and the port meanwhile.

        Gives its deadline, or None if somebody paused. awake: to the nanosecond, not just about.
        """
        clock = self.clock
        while True:
            deadline, now = self.sync.deadline(at), clock.now()
            until = awake_before(deadline) if deadline is not None else now + SLICE
            if now >= until:
                break
            self._look_after(now, until - now)
            if self.paused:
                return None
            nearest = min(until, self._offs[0][0]) if self._offs else until
            if self._tones:
                nearest = min(nearest, self._end_due_tones(now, until))
            # A master that starts is not announced: its first beat is due when it is heard.
            most = MS if deadline is None else SLICE
            clock.sleep(max(min(nearest - clock.now(), most), 0))
        if self._tones:  # while there is time: what ends here ends before what begins here
            self._end_tones_until(at)
        if deadline is not None and awake:
            while clock.now() < deadline:
                pass
        return deadline

    def _look_after(self, now: int, spare: int) -> None:
        offs = self._offs
        while offs and offs[0][0] <= now:
            _, stroke, number, line = heappop(offs)
            if line.sounding.get(number) == stroke:  # not struck again since
                line.end(number)
        change = self.transport()
        if change:
            raise TransportMoved(change)
        self._take_wishes()
        if spare > 2 * MS:
            outputs = self._outputs()
            if spare > 5 * MS and now - self._looked > LOOK_EVERY // len(outputs):
                self._looked = now
                self._looks += 1
                output = outputs[self._looks % len(outputs)]
                if not output.alive():
                    raise PortGone(output)
            self.watcher.idle(spare)

    def _end_due_tones(self, now: int, until: int) -> int:
        """Ends the tones that are over; gives when the next one is, at most `until`.

        They end in quarter notes, so that they follow the tempo.
        """
        while self._tones:
            due = self.sync.deadline(self._tones[0].end)
            if due is None or due > now:
                return until if due is None else min(due, until)
            self._end_tones_until(self._tones[0].end)
        return until

    def _take_wishes(self) -> None:
        """Takes at once what does not wait for the bar line."""
        for _ in range(len(self._wishes)):
            wish = self._wishes.popleft()
            if wish is Command.QUIT:
                raise Quit
            if wish is Command.PAUSE:
                self.paused = not self.paused
            elif wish.value in LAYERS:
                self.muted ^= {wish.value}
                self._end_tones([each for each in self._tones if each.layer in self.muted])
            elif wish is Command.LAYER:
                self.levels.choose_next(self._layers())
            elif wish in _STEPS:
                self.levels.change(_STEPS[wish], self._layers())
            else:
                self._wishes.append(wish)
        if self._wishes:
            self.route.ready(*self._wishes)

    def _bar_line_wishes(self) -> tuple[Command, ...]:
        """The wishes, if their music is ready; if not, they wait for the next bar line."""
        wishes = tuple(self._wishes)
        if not wishes or not self.route.ready(*wishes):
            return ()
        for _ in wishes:
            self._wishes.popleft()
        return wishes

    def _skip_wished(self) -> bool:
        return not _SKIPS.isdisjoint(tuple(self._wishes))  # others wish meanwhile

    def _pause(self) -> None:
        self._silence()
        while self.paused:
            self._idle()
            if self._skip_wished():
                self.paused = False

    def _layers(self) -> tuple[str, ...]:
        return self._place.playable.layers if self._place else ()

    def _wait_for_port(self, gone: Output) -> None:
        """Waits until every port is there; without one of them, the others are silent."""
        what = "the port" if gone is self.output else "the port beside"
        self.watcher.say(f"{what} is gone; waiting for it to come back")
        self._silence([each for each in self._outputs() if each is not gone])
        missing = [gone]
        while missing:
            missing = [each for each in missing if not each.reopen()]
            others = [each for each in self._outputs() if not _among(each, missing)]
            missing += [each for each in others if not each.alive()]
            for _ in range(30 if missing else 0):
                self._idle()
        # A module that kept its power may still hold what sounded when it was unplugged.
        for line in self._lines:
            line.sounding |= dict.fromkeys(line.struck, 0)
            line.program = None
        self._silence()
        self._send_programs()
        self.watcher.say(f"{what} is back")

    def _idle(self) -> None:
        self._take_wishes()
        self.watcher.idle(2 * SLICE)
        self.clock.sleep(2 * SLICE)

    # Where it goes

    def _outputs(self) -> list[Output]:
        return [self.output] if self.beside is None else [self.output, self.beside]

    def _kit_line(self) -> Line:
        return self._line(self.output, self.channel)

    def _line(self, output: Output, channel: int) -> Line:
        for line in self._lines:
            if line.output is output and line.channel == channel:
                return line
        self._lines.append(Line(output, channel))
        return self._lines[-1]

    def _way(self, layer: str, channel: int) -> Line:
        """Where a layer's notes of a channel go; channel 0 is the kit's."""
        if self.beside is not None and layer in NOT_THE_PLAYERS:
            line = self._line(self.beside, channel or PERCUSSION)
        else:
            line = self._line(self.output, channel or self.channel)
        self._ways[layer, channel] = line
        return line

    def _send_programs(self) -> None:
        """Sends the kit's program and those of the tracks where they are others than before."""
        if self.program is not None:
            self._kit_line().send_program(self.program)
        for track in self._place.playable.exercise.tracks if self._place else ():
            if track.program:
                self._way(layer_of(track), track.channel).send_program(track.program)

    # Ending

    def _silence(self, outputs: Collection[Output] | None = None) -> None:
        """Ends every sounding note, then all sound, then the beat clock; of these outputs only.

        Everything is sent whatever is raised meanwhile; the first of that is raised in the end.
        """
        outputs = self._outputs() if outputs is None else outputs
        lines = [line for line in self._lines if _among(line.output, outputs)]
        stops = self._running and _among(self.output, outputs)
        messages = [(line.output, line.off(n)) for line in lines for n in line.sounding]
        for line in lines:
            messages += [
                (line.output, line.control(each)) for each in (ALL_SOUND_OFF, ALL_NOTES_OFF)
            ]
        if stops:
            messages.append((self.output, STOP))
        raised: BaseException | None = None
        for output, message in messages:
            for _ in range(2):  # once more if something came in between
                try:
                    output.send(message)
                    break
                except BaseException as error:
                    raised = raised or error
        for line in lines:
            line.sounding.clear()
        self._offs.clear()
        self._tones.clear()
        self._running = self._running and not stops
        if raised is not None:
            raise raised


def _among(output: Output, outputs: Collection[Output]) -> bool:
    return any(each is output for each in outputs)
