"""Recording while playing: what the kit sends, when, and which bar was played to it meanwhile.

The driver's thread only appends to two arrays, eleven bytes a message; the player's thread notes
when each bar began. Takes are made of both when all is over.
"""

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple, Protocol

from midiforge.frozen import frozen
from midiforge.live.playing.route import Place
from midiforge.midi.message import (
    CONTROL_CHANGE,
    CONTROLLER,
    KEY_PRESSURE,
    NOTE,
    NOTE_OFF,
    NOTE_ON,
    ONE_BYTE,
    PROGRAM,
    PROGRAM_CHANGE,
    SYSTEM,
    Trigger,
    is_stroke,
)
from midiforge.model.meter import Meter
from midiforge.model.number import Number

if TYPE_CHECKING:
    from midiforge.live.recording.journal import Journal

# More than anybody plays in a day, and a file that `midiforge review` still reads.
MOST = 6_000_000
# What a trigger keeps out of a take.
_KINDS = {
    NOTE: (NOTE_OFF, NOTE_ON, KEY_PRESSURE),
    CONTROLLER: (CONTROL_CHANGE,),
    PROGRAM: (PROGRAM_CHANGE,),
}
_ROUNDED = 2000  # nanoseconds that a bar's length may be off by rounding


class RecordedExercise(Protocol):
    """What a take says of the exercise that was played: as in `Exercise`."""

    @property
    def number(self) -> Number: ...

    @property
    def title(self) -> str: ...

    @property
    def tempo(self) -> object: ...

    @property
    def meter(self) -> Meter: ...

    @property
    def step(self) -> Fraction: ...


class Message(NamedTuple):
    """A channel message as MIDI has it, and when it came, in nanoseconds."""

    at: int
    content: bytes


@frozen
class BarPlayed:
    """A bar that was played.

    number: in the exercise, from 0, below 0 in the count-in. at: when it began, in nanoseconds.
    length: in quarter notes; quarter: how long one was meant to last, in nanoseconds.
    joined: whether it began straight after the bar before, whichever that was.
    """

    exercise: RecordedExercise
    number: int
    at: int
    length: Fraction
    quarter: Fraction
    joined: bool


@frozen
class Recorded:
    """One take: what was played to an exercise without a break.

    begin, end: in nanoseconds of the monotonic clock.
    exercise: None if nothing was played to it, or to more than one.
    bars: in order, each straight after the one before.
    """

    recorder: "Recorder"
    begin: int
    end: int
    exercise: RecordedExercise | None
    bars: tuple[BarPlayed, ...]
    standing: tuple[bytes, ...] = ()

    @property
    def downbeat(self) -> int | None:
        """When the exercise's first downbeat was due; None if it was not played from there."""
        if not self.bars or self.bars[0].number > 0:
            return None
        return next((bar.at for bar in self.bars if bar.number == 0), None)

    @property
    def strokes(self) -> int:
        """How many there are in it."""
        return sum(is_stroke(message.content) for message in self.messages())

    def messages(self) -> Iterator[Message]:
        """What came from `begin` to `end`, after the controllers as they stood at `begin`."""
        yield from (Message(self.begin, controller) for controller in self.standing)
        yield from self.recorder.between(self.begin, self.end)


def quarters(bars: Sequence[BarPlayed]) -> list[Fraction]:
    """How long a quarter note lasted in each of some bars that follow each other, in nanoseconds.

    Their own tempo, if the next bar began when it says; if not, somebody else's clock was
    followed, and the next bar says how fast. The last bar goes on like the one before.
    """
    lasting = []
    for bar, following in pairwise(bars):
        lasted = Fraction(following.at - bar.at) / bar.length
        as_meant = abs(lasted - bar.quarter) * bar.length < _ROUNDED
        lasting.append(bar.quarter if as_meant else max(lasted, Fraction(1)))
    if bars:
        pace = lasting[-1] / bars[-2].quarter if lasting else 1
        lasting.append(bars[-1].quarter * pace)
    return lasting


class Recorder:
    """Keeps what comes in, and what was played meanwhile.

    bound: what the kit asks for something with; that is no stroke of a take.
    begin: when recording began, in nanoseconds. started: the same in seconds since 1970, if known.
    alone: the exercise that it is of where no bar is ever told.
    full: whether more came than it keeps. bars: that began, and whether each follows the one
        before in the same take. journal: gets all of it, too.
    """

    def __init__(
        self,
        begin: int,
        bound: Iterable[Trigger] = (),
        alone: RecordedExercise | None = None,
        started: float | None = None,
    ) -> None:
        self.begin = begin
        self.started = started
        self.alone = alone
        self.full = False
        self.bars: list[tuple[BarPlayed, bool]] = []
        self.journal: Journal | None = None
        self._bound = frozenset(
            (kind, number - (name == PROGRAM)) for name, number in bound for kind in _KINDS[name]
        )
        self._latest = begin
        self._times = array("q")
        self._bytes = bytearray()

    def __len__(self) -> int:
        """How many messages it has."""
        return len(self._times)

    def heard(self, message: bytes, when: int) -> None:
        """Takes a message and when it came; from the driver's thread."""
        size = len(message)
        if size < 2 or not NOTE_OFF <= message[0] < SYSTEM:
            return
        kind, number = message[0] & 0xF0, message[1]
        if (kind, number) in self._bound or (size < 3 and kind not in ONE_BYTE):
            return
        if len(self._times) >= MOST:
            self.full = True
            return
        second = 0 if kind in ONE_BYTE else message[2]
        self._bytes += bytes((message[0], number & 0x7F, second & 0x7F))
        self._times.append(max(when, self._latest))
        self._latest = self._times[-1]
        if self.journal is not None:
            self.journal.message(self._latest, message)

    def began(self, place: Place, at: int, joined: bool) -> None:
        """A bar began; joined: straight after the bar before. From the player's thread."""
        bar, exercise, straight = place.bar, place.playable.exercise, False
        if self.bars and joined:
            last = self.bars[-1][0]
            next_ones = [last.number + 1]
            if last.number == place.playable.last:
                next_ones.append(exercise.loop_bar)
            straight = last.exercise.number == exercise.number and bar.number in next_ones
        played = BarPlayed(exercise, bar.number, at, bar.length, bar.quarter, joined)
        self.bars.append((played, straight))
        if self.journal is not None:
            self.journal.bar(played, straight)

    @property
    def end(self) -> int:
        """When the last of all came or began, in nanoseconds."""
        began = (bar.at for bar, _ in self.bars[-1:])
        return max(self.begin, self._latest, *began)

    def takes(self, end: int) -> Iterator[Recorded]:
        """What was recorded up to `end`, a take for each stretch that was played without a break.

        A stroke belongs to where it is nearest on the grid: a take ends half a grid step before
        the next bar line. What was played between two exercises comes before the first downbeat of
        the second. What was played in a pause after which an exercise went on in its midst is in no
        take.
        """
        stretches: list[list[BarPlayed]] = []
        for bar, straight in self.bars:
            if not straight:
                stretches.append([])
            stretches[-1].append(bar)
        begin, reached, standing = self.begin, 0, dict[bytes, bytes]()
        for i, bars in enumerate(stretches or [[]]):
            following = stretches[i + 1][0] if i + 1 < len(stretches) else None
            ends = max(begin, _end(bars, following)) if following else end
            first = bisect_left(self._times, begin)
            self._follow_controllers(standing, reached, first)
            reached = first
            exercise = bars[0].exercise if bars else self.alone
            yield Recorded(self, begin, ends, exercise, tuple(bars), tuple(standing.values()))
            begin = ends
            if following and following.number > 0:
                begin = max(begin, following.at - _half_step(following, following.quarter))

    def between(self, begin: int, end: int) -> Iterator[Message]:
        """The messages from one moment to another."""
        times, content = self._times, self._bytes
        for i in range(bisect_left(times, begin), bisect_left(times, end)):
            size = 2 if content[3 * i] & 0xF0 in ONE_BYTE else 3
            yield Message(times[i], bytes(content[3 * i : 3 * i + size]))

    def since(self, begin: int) -> "Recorder":
        """The same without what came before."""
        if begin <= self.begin:
            return self
        started = None if self.started is None else self.started + (begin - self.begin) / 10**9
        later = Recorder(begin, (), self.alone, started)
        for message in self.between(begin, self.end + 1):
            later.heard(message.content, message.at)
        bars = [(bar, straight) for bar, straight in self.bars if bar.at >= begin - bar.quarter]
        later.bars = [(bar, straight and i > 0) for i, (bar, straight) in enumerate(bars)]
        return later

    def _follow_controllers(self, standing: dict[bytes, bytes], first: int, last: int) -> None:
        """The last value of each controller, from message to message."""
        content = self._bytes
        for i in range(3 * first, 3 * last, 3):
            if content[i] & 0xF0 == CONTROL_CHANGE:
                standing[bytes(content[i : i + 2])] = bytes(content[i : i + 3])


def _end(bars: Sequence[BarPlayed], following: BarPlayed) -> int:
    """When a take ends that is not the last."""
    last, quarter = bars[-1], quarters(bars)[-1]
    end = following.at
    if not following.joined:
        end = min(end, last.at + round(last.length * quarter))
    return end - _half_step(last, quarter)


def _half_step(bar: BarPlayed, quarter: Fraction) -> int:
    return round(bar.exercise.step / 2 * quarter)
