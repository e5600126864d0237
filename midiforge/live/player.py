"""The player: each moment at its deadline, wishes at bar lines, and silence at the end.

Every deadline is an absolute time, worked out from the bar's own beginning, which is an exact
fraction; nothing adds up, however long it plays.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Protocol

from midiforge.live.bars import LAYERS, Moment
from midiforge.live.beat_clock import CLOCK, CONTINUE, START, STOP, clocks_in, song_position
from midiforge.live.followed import Turn
from midiforge.live.route import Command, Place, Route
from midiforge.live.tempo_source import OwnTime, Time
from midiforge.live.timing import MS, Clock, Lateness, LatenessFigures, awake_before

LEAD = 100 * MS  # between the decision to begin and the first event
TOO_LATE = 250 * MS  # later than this is not played: the machine slept
NOTE = 60 * MS  # how long a note lasts; drum sounds do not listen
SLICE = 8 * MS  # how long it sleeps at most before it looks after wishes again
LOOK_EVERY = 250 * MS  # how often it looks whether the port is still there

ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123


class Output(Protocol):
    """A MIDI output that can go away and come back."""

    def send(self, message: bytes) -> None: ...

    def alive(self) -> bool: ...

    def reopen(self) -> bool: ...


class PortGone(Exception):
    """The output port has vanished."""


class Quit(Exception):
    """The player has had enough."""


class Turned(Exception):
    """The master whose time we follow stopped, started, went on or moved."""

    def __init__(self, turn: Turn) -> None:
        super().__init__(turn.say)
        self.turn = turn


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
    rest: nanoseconds of silence between exercises. time: whose time it plays in.
    turned: what the master of that time did since it was asked last.
    """

    output: Output
    clock: Clock
    route: Route
    time: Time = field(default_factory=OwnTime)
    turned: Callable[[], Turn | None] = lambda: None
    channel: int = 10
    muted: set[str] = field(default_factory=set)
    send_clock: bool = False
    rest: int = 0
    program: int | None = None
    watcher: Watcher = field(default_factory=Watcher)
    paused: bool = False
    _wishes: deque[Command] = field(default_factory=deque)
    _lateness: Lateness = field(default_factory=Lateness)
    _offs: list[tuple[int, int]] = field(default_factory=list)
    _sounding: dict[int, int] = field(default_factory=dict)
    _struck: set[int] = field(default_factory=set)
    _looked: int = 0
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
            self._send_program()
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
            if self.rest and place.begins and not first:
                self._stop_clock()  # one that falls silent looks like a very slow tempo
                self.time.rest(self.rest)
                self._joined = False
            first = False
            try:
                self.watcher.bar(place)
                if self._play_bar(place):
                    self.time.leave(place.bar)
                    self._joined = True
                else:
                    self._begin()
            except PortGone:
                self._wait_for_port()
                self._begin()
            except Turned as turned:
                self._silence()
                self.watcher.say(turned.turn.say)
                self._joined = False
                first, top = True, turned.turn.top
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
        self.time.begin(self.clock.now() + LEAD)
        self._joined = False

    def _play_bar(self, place: Place) -> bool:
        """Plays a bar; whether it came to its end."""
        bar, time = place.bar, self.time
        time.enter(bar)
        events: list[tuple[float, int, Moment | None]] = [
            (moment.at, 1, moment) for moment in bar.moments
        ]
        if self.send_clock:
            events += [(at, 0, None) for at in clocks_in(time.position, bar.length)]
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
        at = self.time.deadline(0.0)
        self.watcher.began(place, self.clock.now() if at is None else at, self._joined)
        return True

    def _sound(self, moment: Moment, place: Place, deadline: int) -> None:
        send, on, off = self.output.send, 0x90 | self.channel - 1, 0x80 | self.channel - 1
        for sound in moment.sounds:
            if sound.layer in self.muted or (sound.seam and place.ends):
                continue
            if sound.number in self._sounding:
                send(bytes((off, sound.number, 64)))
            # Noted down first: whatever comes between must find it to end it.
            ends = deadline + NOTE
            self._sounding[sound.number] = ends
            self._struck.add(sound.number)
            heappush(self._offs, (ends, sound.number))
            send(bytes((on, sound.number, sound.velocity)))

    def _send_clock(self) -> None:
        if not self._running:
            first = self.time.position == 0
            if not first:
                self.output.send(song_position(self.time.position))
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
            deadline, now = self.time.deadline(at), clock.now()
            until = awake_before(deadline) if deadline is not None else now + SLICE
            if now >= until:
                break
            self._look_after(now, until - now)
            if self.paused:
                return None
            nearest = min(until, self._offs[0][0]) if self._offs else until
            # A master that starts is not announced: its first beat is due when it is heard.
            most = MS if deadline is None else SLICE
            clock.sleep(max(min(nearest - clock.now(), most), 0))
        if deadline is not None and awake:
            while clock.now() < deadline:
                pass
        return deadline

    def _look_after(self, now: int, spare: int) -> None:
        offs = self._offs
        while offs and offs[0][0] <= now:
            ends, number = heappop(offs)
            if self._sounding.get(number) == ends:  # not struck again since
                self.output.send(bytes((0x80 | self.channel - 1, number, 64)))
                self._sounding.pop(number, None)
        turn = self.turned()
        if turn:
            raise Turned(turn)
        self._take_wishes()
        if spare > 2 * MS:
            if spare > 5 * MS and now - self._looked > LOOK_EVERY:
                self._looked = now
                if not self.output.alive():
                    raise PortGone
            self.watcher.idle(spare)

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
        return any(w in (Command.NEXT, Command.PREVIOUS, Command.AGAIN) for w in self._wishes)

    def _pause(self) -> None:
        self._silence()
        while self.paused:
            self._idle()
            if self._skip_wished():
                self.paused = False

    def _wait_for_port(self) -> None:
        self.watcher.say("the port is gone; waiting for it to come back")
        while not self.output.reopen():
            for _ in range(30):
                self._idle()
        # A module that kept its power may still hold what sounded when it was unplugged.
        self._sounding |= dict.fromkeys(self._struck, 0)
        self._silence()
        self._send_program()
        self.watcher.say("the port is back")

    def _idle(self) -> None:
        self._take_wishes()
        self.watcher.idle(2 * SLICE)
        self.clock.sleep(2 * SLICE)

    def _send_program(self) -> None:
        if self.program is not None:
            self.output.send(bytes((0xC0 | self.channel - 1, self.program - 1)))

    # Ending

    def _silence(self) -> None:
        """Ends every sounding note, then all sound, then the beat clock.

        Everything is sent whatever is raised meanwhile; the first of that is raised in the end.
        """
        off, control = 0x80 | self.channel - 1, 0xB0 | self.channel - 1
        messages = [bytes((off, number, 64)) for number in self._sounding]
        messages += [bytes((control, ALL_SOUND_OFF, 0)), bytes((control, ALL_NOTES_OFF, 0))]
        if self._running:
            messages.append(STOP)
        raised: BaseException | None = None
        for message in messages:
            for _ in range(2):  # once more if something came in between
                try:
                    self.output.send(message)
                    break
                except BaseException as error:
                    raised = raised or error
        self._forget()
        if raised is not None:
            raise raised

    def _forget(self) -> None:
        self._sounding.clear()
        self._offs.clear()
        self._running = False
