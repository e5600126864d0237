"""The player: each moment at its deadline, wishes at bar lines, and silence at the end.

Every deadline is an absolute time, worked out from the bar's own beginning, which is an exact
fraction; nothing adds up, however long it plays.
"""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from operator import itemgetter

from midiforge.live.clock.beat_clock import CLOCKS, clocks_in
from midiforge.live.clock.priority import awake_before
from midiforge.live.clock.sync_source import InternalClock, SyncSource, TransportChange
from midiforge.live.clock.timing import MS, Clock, Lateness, LatenessFigures
from midiforge.live.playing.bars import Bar, Moment
from midiforge.live.playing.controls import Chosen, Command, Wish, key_of
from midiforge.live.playing.layers import LAYERS, STEP
from midiforge.live.playing.route import Place, Way, leads_away
from midiforge.live.ports.output import Output
from midiforge.live.ports.sender import Sender, among
from midiforge.live.screen.watcher import Watcher
from midiforge.model.number import Number

SECOND = 1000 * MS
LEAD = 100 * MS  # between the decision to begin and the first event
LATEST = 50 * MS  # later than this is left out: nothing is made up for, least of all at once
TOO_LATE = 250 * MS  # as late as this the machine slept
SLICE = 8 * MS  # how long it sleeps at most before it looks after wishes again
LOOK_EVERY = 250 * MS  # how often it looks whether each port is still there

_STEPS = {Command.SOFTER: -STEP, Command.LOUDER: STEP}


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
class Player:
    """Plays a route through a sender.

    send_clock: whether MIDI beat clock is sent. rest: nanoseconds of silence between exercises;
        rests: seconds after single ones, which a wish to go on ends.
    wishes: what was asked for and is not done yet.
    sync: whose time it plays in. transport: what the master of that time did since it was asked
        last.
    """

    sender: Sender
    clock: Clock
    route: Way
    sync: SyncSource = field(default_factory=InternalClock)
    transport: Callable[[], TransportChange | None] = lambda: None
    send_clock: bool = False
    rest: int = 0
    rests: Mapping[Number, int] = field(default_factory=dict)
    watcher: Watcher = field(default_factory=Watcher)
    paused: bool = False
    waits: bool = False  # for a port that is gone
    wishes: deque[Wish] = field(default_factory=deque)
    _lateness: Lateness = field(default_factory=Lateness)
    _place: Place | None = None
    _looked: int = 0
    _looks: int = 0
    _joined: bool = False

    def wish(self, wish: Wish) -> None:
        """Asks for something; safe from other threads."""
        self.wishes.append(wish)

    def play(self) -> LatenessFigures:
        """Plays to the end, or until someone quits; always ends in silence.

        Whatever is raised on the way is raised on, after everything has been ended.
        """
        self.route.waiting = self._take_wishes
        try:
            self._play()
        except Quit:
            pass
        finally:
            self._end()
        return self._lateness.figures()

    def _end(self) -> None:
        """Silence, also in modules that were unplugged and may be back since we looked last."""
        sender, ran = self.sender, self.sender.clock_runs
        sender.silence()
        new = [out.connect_anew() if out.alive() else out.reopen() for out in sender.outputs]
        if any(new):
            sender.clock_runs = ran
            sender.silence_anew()

    # The way through

    def _play(self) -> None:
        place, first, last = self.route.next_bar(), True, Number()
        counts = False  # whether the bar is to be counted in
        self._begin()
        while place is not None:
            self._place = place
            counts = counts and place.bar.number >= 0 and not self.sync.followed
            if place.begins:
                self.sender.end_held()
                self.sender.send_programs(place.playable.exercise.band)
            if self.rest and place.begins and not first:
                self.sender.stop_clock()  # one that falls silent looks like a very slow tempo
                self.sync.rest(self.rest)
                self._joined = False
            if place.begins and not first and (rest := self.rests.get(last, 0)):
                self._rest(rest)
            last = place.playable.exercise.number
            first = False
            try:
                whole = not counts or self._count_in(place)
                if counts and whole and (wishes := self._bar_line_wishes()):
                    first = True
                    turn = self.route.next_bar if leads_away(wishes) else self.route.same_bar
                    place = turn(*wishes)
                    continue
                if whole:
                    counts = False
                    self.watcher.bar(place)
                    whole = self._play_bar(place)
                if whole:
                    self._leave(place.bar)
                else:
                    self._begin()
                    counts = True
            except PortGone as gone:
                self._wait_for_port(gone.output)
                self._begin()
                counts = True
            except TransportMoved as moved:
                self.sender.silence()
                self.watcher.say(moved.change.say)
                self._joined = False
                first, top = True, moved.change.top
                place = self.route.from_the_top() if top else self.route.same_bar()
                continue
            if self.paused:
                self._pause()
                self._begin()
                if not self._skip_wished():
                    place, first, counts = self.route.same_bar(), True, True
                    continue
            before = self._place
            place = self.route.next_bar(*self._bar_line_wishes())
            if place and place.begins:  # it has a count-in of its own, if it is to have one
                counts = False
            elif place and place.faster != before.faster:
                counts = True

    def _count_in(self, place: Place) -> bool:
        """Counts in a bar in the midst of an exercise: after a pause, and at a new tempo; whether
        the count came to its end."""
        self.sender.end_held()
        for bar in place.playable.counted_in(place.bar):
            counting = replace(place, bar=bar, ends=False)
            self.watcher.bar(counting)
            if not self._play_bar(counting, tells=False):
                return False
            self._leave(bar)
        self._joined = False
        return True

    def _begin(self) -> None:
        """The next bar begins as soon as may be, whatever was before."""
        self.sync.begin(self.clock.now() + LEAD)
        self._joined = False

    def _leave(self, bar: Bar) -> None:
        """The bar has come to its end."""
        self.sync.leave(bar)
        self._joined = True
        self.sender.leave_bar(float(bar.length))

    def _play_bar(self, place: Place, tells: bool = True) -> bool:
        """Plays a bar; whether it came to its end. tells: when it began, for recordings."""
        bar, sync, sender = place.bar, self.sync, self.sender
        sync.enter(bar)
        events: list[tuple[float, Moment | None]] = [(it.at, it) for it in bar.moments]
        if self.send_clock:  # each before what sounds with it
            events = [(at, None) for at in clocks_in(sync.position, bar.length)] + events
            events.sort(key=itemgetter(0))
        told = not tells
        for at, moment in events:
            deadline = self._wait(at)
            if deadline is None:
                return False
            late = self.clock.now() - deadline
            if late > TOO_LATE and not sync.followed:
                sender.silence()
                self.watcher.say("the machine slept; going on at the next bar")
                return False
            if moment is None:
                self._send_clock(at, late)
            elif late <= LATEST:
                sender.send(moment, deadline, place.ends)
            self._lateness.add(late)
            self.watcher.moment(at)
            told = told or self._tell(place)
        if self._wait(float(bar.length), awake=False) is None:
            return False
        return told or self._tell(place)

    def _send_clock(self, at: float, late: int) -> None:
        """A clock of the bar; one that stops on the way goes on at the next bar line."""
        if late > LATEST:
            self.sender.stop_clock()
        elif at < 1 / CLOCKS or self.sender.clock_runs:
            self.sender.send_clock(self.sync.position)

    def _tell(self, place: Place) -> bool:
        """Tells when the bar began."""
        at = self.sync.deadline(0.0)
        self.watcher.began(place, self.clock.now() if at is None else at, self._joined)
        return True

    # Waiting

    def _wait(self, at: float, awake: bool = True) -> int | None:
        """Until a moment of the bar, looking after wishes, note offs and the port meanwhile.

        Gives its deadline, or None if somebody paused. awake: to the nanosecond, not just about.
        """
        clock, sender = self.clock, self.sender
        while True:
            deadline, now = self.sync.deadline(at), clock.now()
            until = awake_before(deadline) if deadline is not None else now + SLICE
            if now >= until:
                break
            self._look_after(now, until - now)
            if self.paused:
                return None
            nearest = sender.next_drum_end(self._end_due_held(now, until))
            # A master that starts is not announced: its first beat is due when it is heard.
            most = MS if deadline is None else SLICE
            clock.sleep(max(min(nearest - clock.now(), most), 0))
        sender.end_held_until(at)  # while there is time: before what begins here
        if deadline is not None and awake:
            while clock.now() < deadline:
                pass
        return deadline

    def _look_after(self, now: int, spare: int) -> None:
        self.sender.end_drums(now)
        change = self.transport()
        if change and not change.stays:
            raise TransportMoved(change)
        if change:
            self.sender.silence()
            self.watcher.say(change.say)
        self._take_wishes()
        if spare > 2 * MS:
            outputs = self.sender.outputs
            if spare > 5 * MS and now - self._looked > LOOK_EVERY // len(outputs):
                self._looked = now
                self._looks += 1
                output = outputs[self._looks % len(outputs)]
                if not output.alive():
                    raise PortGone(output)
            self.watcher.idle(spare)

    def _end_due_held(self, now: int, until: int) -> int:
        """Ends the held notes that are over; gives when the next one is, at most `until`.

        They end in quarter notes, so that they follow the tempo.
        """
        while (end := self.sender.next_held_end) is not None:
            due = self.sync.deadline(end)
            if due is None or due > now:
                return until if due is None else min(due, until)
            self.sender.end_held_until(end)
        return until

    # Wishes

    def _take_wishes(self) -> None:
        """Takes at once what does not wait for the bar line."""
        for _ in range(len(self.wishes)):
            wish = self.wishes.popleft()
            if isinstance(wish, Chosen):
                self.wishes.append(wish)
                continue
            if wish is Command.QUIT:
                raise Quit
            if wish is Command.PAUSE:
                self.paused = not self.paused
            elif wish.value in LAYERS:
                self.sender.mute(wish.value)
            elif wish is Command.LAYER:
                self.sender.levels.choose_next(self._layers())
            elif wish in _STEPS:
                self.sender.levels.change(_STEPS[wish], self._layers())
            else:
                self.wishes.append(wish)
        if self.wishes:
            self.route.ready(*self.wishes)

    def _bar_line_wishes(self) -> tuple[Wish, ...]:
        """The wishes, if their music is ready; if not, they wait for the next bar line."""
        wishes = tuple(self.wishes)
        if not wishes or not self.route.ready(*wishes):
            return ()
        for _ in wishes:
            self.wishes.popleft()
        return wishes

    def _skip_wished(self) -> bool:
        return leads_away(tuple(self.wishes))  # others wish meanwhile

    def _layers(self) -> tuple[str, ...]:
        return self._place.playable.layers if self._place else ()

    def _rest(self, seconds: int) -> None:
        """Silence after an exercise, until it is over or somebody wishes to go on."""
        self.sender.stop_clock()
        self.watcher.say(f"rest {seconds // 60}:{seconds % 60:02}; {key_of(Command.NEXT)} goes on")
        until = self.clock.now() + seconds * SECOND
        while self.clock.now() < until and not self._skip_wished():
            self._idle()
        for wish in [wish for wish in self.wishes if wish is Command.NEXT][:1]:
            self.wishes.remove(wish)
        self.watcher.say("")
        self._begin()

    # Pauses, wished for or not

    def _pause(self) -> None:
        self.sender.silence()
        while self.paused:
            self._idle()
            if self._skip_wished():
                self.paused = False

    def _wait_for_port(self, gone: Output) -> None:
        """Waits until every port is there; without one of them, the others are silent."""
        outputs = self.sender.outputs
        what = "the port" if gone is self.sender.output else "the band's port"
        self.watcher.say(f"{what} is gone; waiting for it to come back")
        self.sender.silence([each for each in outputs if each is not gone])
        missing, self.waits = [gone], True
        while missing:
            missing = [each for each in missing if not each.reopen()]
            others = [each for each in outputs if not among(each, missing)]
            missing += [each for each in others if not each.alive()]
            for _ in range(30 if missing else 0):
                self._idle()
        self.waits = False
        self.sender.silence_anew()
        if self._place:
            self.sender.send_programs(self._place.playable.exercise.band)
        self.watcher.say(f"{what} is back")

    def _idle(self) -> None:
        self._take_wishes()
        self.watcher.idle(2 * SLICE)
        self.clock.sleep(2 * SLICE)
