"""Learning a kit: a voice is asked for, its pad is hit, on to the next.

Nothing here knows a port, a terminal or a clock: messages come in with their times, the state comes
out. Times are nanoseconds of any clock that never goes back.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from midiforge.kits.learn.hihat_pedal import BY_PEDAL, NO_PEDAL, openness, otherwise_open
from midiforge.kits.learn.steps import BASS, DRUM_OF, Step
from midiforge.kits.learn.strokes import (
    STROKES,
    Learnt,
    Pace,
    Stroke,
    StrokeRow,
    Strokes,
    StruckNote,
    Tail,
    learnt,
)
from midiforge.library import shelf
from midiforge.midi.message import (
    CONTROLLER,
    MODE_MESSAGES,
    NOTE,
    ChannelMessage,
    Pedals,
    Trigger,
    read_message,
)

SKIPS = 3  # strokes of the bass drum in a row: past what is asked
ENDS = 12  # and past all voices, or all controls
_PRESS_AGAIN = 200_000_000  # a pedal that bounces was pressed once


@dataclass(slots=True)
class Learning:
    """The way through all that is asked.

    pads: voice to what was heard of it; bound: command to ("note", "controller" or "program",
        number); message: what to tell the player; done: nothing more is asked.
    news: lines for a screen that is none, taken away by whoever prints them.
    """

    steps: Sequence[Step]
    pads: dict[str, Learnt] = field(default_factory=dict)
    bound: dict[str, Trigger] = field(default_factory=dict)
    message: str = ""
    done: bool = False
    anything_heard: bool = False
    news: list[str] = field(default_factory=list)
    latest: str = ""
    _at: int = 0
    _before: list[int] = field(default_factory=list)
    _strokes: Strokes = field(default_factory=Strokes)
    _own: list[Stroke] = field(default_factory=list)
    _pressed: Counter[Trigger] = field(default_factory=Counter)
    _pedals: Pedals = field(default_factory=Pedals)
    _press_at: dict[Trigger, int] = field(default_factory=dict)
    _row: StrokeRow = field(default_factory=StrokeRow)
    _tail: Tail = field(default_factory=Tail)
    _bass: int = 0  # strokes of the bass drum in a row

    @classmethod
    def of(cls, voices: Iterable[str], commands: Iterable[str] = ()) -> "Learning":
        """Asks for voices, then for commands to bind."""
        steps = [Step("voice", name) for name in voices]
        steps += [Step("control", name) for name in commands]
        made = cls([*steps, Step("end", "")])
        made._ask()
        return made

    @property
    def step(self) -> Step:
        return self.steps[self._at]

    @property
    def number(self) -> int:
        """Of what is asked now, from 1."""
        return self._at + 1

    @property
    def missing(self) -> list[str]:
        """The voices asked for, now or later, that are not learnt."""
        voices = [step.name for step in self.steps if step.kind == "voice"]
        return [name for name in voices if name not in self.pads]

    @property
    def all_asked(self) -> bool:
        return self.step.kind == "end"

    @property
    def strokes(self) -> int:
        """How often the pad asked for was hit, 0 to 3."""
        times = Counter(note for stroke in self._own for note in stroke.notes)
        times.update({-1: max(self._pressed.values(), default=0)})
        return min(max(times.values()), STROKES)

    def can_skip_by_pad(self) -> bool:
        return BASS in self.pads and self.step.kind != "end"

    # What the player and the kit do

    def heard(self, message: bytes, when: int) -> None:
        """Takes a message and when it came; what is nothing is let go by."""
        sent = read_message(message)
        if sent is None or self.done:
            return
        if sent.kind == CONTROLLER and sent.number >= MODE_MESSAGES:
            return
        self.anything_heard = True
        if sent.kind == NOTE:
            note = StruckNote(sent.number, sent.value, sent.channel, when)
            for stroke in self._strokes.add(note):
                self._stroke(stroke)
            return
        if sent.kind == CONTROLLER:
            self._strokes.pedals[sent.number] = sent.value
        if self._is_press(sent, when):
            self._press(sent)

    def until(self, now: int) -> None:
        """Time goes on with nothing heard; to be called a few times a second."""
        for stroke in self._strokes.until(now):
            self._stroke(stroke)
        if self._row.roll_ended(now) and not self.done:
            self.back()

    def skip(self) -> None:
        """On to the next thing; nothing is learnt of this one."""
        if self.step.kind == "end":
            self.finish()
            return
        name, self.message = self.step.name, f"{self.step.title}: skipped"
        self.news.append(self.message)
        zones = {zone for zone, drum in DRUM_OF.items() if drum == name}
        self._go(self._at + 1, zones if self.step.kind == "voice" else set())

    def back(self) -> None:
        """The one before is forgotten and asked again."""
        if self._before:
            self._at = self._before.pop()
        (self.pads if self.step.kind == "voice" else self.bound).pop(self.step.name, None)
        self.message = f"{self.step.title}: once more"
        self._ask()

    def again(self) -> None:
        """Counts the strokes of this one from the start."""
        self.message = "from the start"
        self._forget_strokes()

    def finish(self) -> None:
        """Nothing more is asked; what was learnt stays."""
        self.done = True

    # Strokes

    def _stroke(self, stroke: Stroke) -> None:
        if self.done:
            return
        self.latest = f"note {stroke.note}, velocity {stroke.notes[stroke.note]}"
        pace = self._row.stroke(stroke.time)
        if pace is Pace.ROLL:
            self._forget_strokes()
            self.message = "a roll: the one before again"
            return
        if pace is Pace.TOO_FAST:
            self.message = "slower: one stroke at a time"
            return
        if self._is_tail(stroke):
            return
        if self.step.kind == "end":
            self._count(("end", 0))
            return
        free = {note: v for note, v in stroke.notes.items() if not self._owners(note, stroke)}
        if not free:
            self._of_another(stroke)
            return
        self._bass, self.message = 0, ""
        own = Stroke(stroke.time, free, stroke.channel, stroke.pedals)
        if self.step.kind == "voice":
            self._own.append(own)
            self._take()
        elif (NOTE, own.note) in self.bound.values():
            self.message = f"note {own.note} is bound already"
        else:
            self._count((NOTE, own.note))

    def _is_tail(self, stroke: Stroke) -> bool:
        """Whether it only goes on with what was taken or skipped a moment ago."""
        if not self._tail.takes(stroke.notes, stroke.time):
            if self._tail.end():
                self._bass = 0
            return False
        if self._bass and self._row.goes_on:
            self._bass += 1
            if self._bass >= ENDS and self.step.kind != "end":
                self._bass = 0
                kinds = [step.kind for step in self.steps]  # on to the controls, or the end
                to = next(i for i in range(self._at, len(kinds)) if kinds[i] != self.step.kind)
                self._go(to, set())
        return True

    def _owners(self, note: int, stroke: Stroke) -> list[str]:
        """The voices that are struck with this note, as it came."""
        return [
            voice
            for voice, pad in self.pads.items()
            if note in pad.notes
            and note not in pad.together
            and not self._told_by_pedal(voice, pad, stroke)
        ]

    def _told_by_pedal(self, voice: str, pad: Learnt, stroke: Stroke) -> bool:
        """Whether this is the same pad with the hi-hat open in another way."""
        both = self.step.name in BY_PEDAL and voice in BY_PEDAL
        return both and otherwise_open(pad, stroke)

    def _of_another(self, stroke: Stroke) -> None:
        """A pad that is known already: the bass drum asks to go on, the others are slips."""
        owner = self._owners(stroke.note, stroke)[0]
        if owner != BASS:
            self._bass = 0
            self.message = f"note {stroke.note} is {shelf.voice(owner).title} already"
            return
        self._bass = self._bass + 1 if self._row.goes_on else 1
        self.message = f"bass drum {self._bass} of {SKIPS}: skip this one"
        if self._bass >= SKIPS:
            strokes = self._bass
            self.skip()
            self._bass = strokes
            self._tail.begin(self.pads[BASS].notes, stroke.time)

    def _take(self) -> None:
        pad = learnt(self._own)
        if pad is None:
            return
        name, title, time = self.step.name, self.step.title, self._own[-1].time
        for voice, other in self.pads.items():
            if other.together & {pad.note}:
                self.pads[voice] = other.without(pad.note)
        self.pads[name] = pad
        also = f", also {', '.join(map(str, pad.also))}" if pad.also else ""
        self._taken(f"{title}: note {pad.note}{also}", frozenset(pad.notes), time)

    def _taken(self, said: str, notes: frozenset[int], time: int) -> None:
        self.message = said
        self.news.append(said)
        self._tail.begin(notes, time)
        self._go(self._at + 1, set())

    # Controls

    def _is_press(self, sent: ChannelMessage, when: int) -> bool:
        """Whether a pedal went down, or a program was chosen."""
        if sent.kind == CONTROLLER and (
            not self._pedals.goes_down(sent) or sent.number in NO_PEDAL
        ):
            return False
        before = self._press_at.get(sent.trigger)
        self._press_at[sent.trigger] = when
        return before is None or when - before >= _PRESS_AGAIN

    def _press(self, sent: ChannelMessage) -> None:
        if self.step.kind != "control":
            return
        if sent.trigger in self.bound.values():
            self.message = f"{sent.kind} {sent.number} is bound already"
        elif sent.kind == CONTROLLER and sent.number == openness(self.pads).get("controller"):
            self.message = f"controller {sent.number} is the hi-hat's pedal"
        else:
            self.latest = f"{sent.kind} {sent.number}"
            self._count(sent.trigger)

    def _count(self, trigger: Trigger) -> None:
        """One more of something that is taken as it is after three."""
        self._bass, self.message = 0, ""
        self._pressed[trigger] += 1
        if self._pressed[trigger] < STROKES:
            return
        if self.step.kind == "end":
            self.finish()
            return
        kind, number = self.bound[self.step.name] = trigger
        notes = frozenset({number} if kind == NOTE else ())
        self._taken(f"{self.step.title}: {kind} {number}", notes, self._row.last or 0)

    # From one to the next

    def _go(self, to: int, left_out: set[str]) -> None:
        self._before.append(self._at)
        while self.steps[to].kind == "voice" and self.steps[to].name in left_out:
            to += 1
        self._at = to
        self._ask()

    def _ask(self) -> None:
        self._forget_strokes()
        self.news.append(f"{self.step.title}. {self.step.how}")

    def _forget_strokes(self) -> None:
        self._own, self._bass = [], 0
        self._pressed.clear()
