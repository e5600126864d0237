"""Learning a kit: a voice is asked for, its pad is hit, the notes heard become a kit file.

Nothing here knows a port, a terminal or a clock: messages come in with their times, the state and
the text of the file come out. Times are nanoseconds of any clock that never goes back.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from json import dumps
from statistics import median_low

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.kit import COMMANDS, Kit
from midiforge.library import shelf

STROKES = 3  # of one pad take a voice
SKIPS, ENDS = (
    3,
    12,
)  # strokes of the bass drum in a row: past this one, past all voices (or controls)
ROLL = 8  # strokes in quick succession ask for the one before

TOGETHER = 40_000_000  # notes that begin within it are one stroke
_BOUNCE = 120_000_000  # the same pad, weaker than half, within it: it triggered twice
_QUICK = 180_000_000  # strokes closer than this are a roll, not three single ones
_ROLL_OVER = 400_000_000  # so much silence ends a roll
_TAIL = 1_000_000_000  # strokes that go on after a pad was taken mean nothing
_IN_A_ROW = 2_000_000_000  # a longer wait begins a new row of strokes of the bass drum
_PRESS_AGAIN = 200_000_000  # a pedal that bounces was pressed once

_FAINTEST = 8  # velocity; below it a pad only trembled
_PRESSED = 64  # from this value on a pedal is down (MIDI 1.0: switch controllers)
_APART = 16  # controller values; a hi-hat nearer to another voice's is that voice

# Sent with notes, whatever the pedal does: the fine part of a velocity (MIDI CA-031).
_NO_PEDAL = {88}
_FOOT = 4  # the foot controller (MIDI 1.0)

BASS, CLOSED, HALF, OPEN = "bass-drum", "hihat-closed", "hihat-half", "hihat-open"
_BY_PEDAL = (CLOSED, HALF, OPEN)

# What is asked, drum by drum; a drum that is skipped takes its zones with it.
ASKED: tuple[tuple[str, ...], ...] = (
    (BASS,),
    ("snare", "snare-rim", "side-stick"),
    (CLOSED, OPEN, HALF, "hihat-pedal"),
    ("tom-high", "tom-high-rim"),
    ("tom-mid", "tom-mid-rim"),
    ("tom-low", "tom-low-rim"),
    ("floor-tom", "floor-tom-rim"),
    ("ride", "ride-bell", "ride-edge"),
    ("crash",),
    ("crash-2",),
    ("china",),
    ("splash",),
)
_DRUM_OF = {zone: drum[0] for drum in ASKED for zone in drum[1:]}

_HOW = {
    CLOSED: "Lift the foot once, press it down, then hit three times.",
    OPEN: "Foot off the pedal, then hit three times.",
    HALF: "Foot halfway down and still, then hit three times.",
    "hihat-pedal": "Close it with the foot three times; no stick.",
    "hihat-splash": "Splash it with the foot three times; no stick.",
}

_MADE = "# Written by midiforge kit learn; changed by hand, it will not be replaced. Checksum: "


@dataclass(frozen=True, slots=True)
class Event:
    """A message that matters here. kind: "note" (struck), "controller" or "program" (from 1).

    value: velocity or controller value; channel: 1 to 16.
    """

    kind: str
    number: int
    value: int
    channel: int
    time: int


def event(message: bytes, when: int) -> Event | None:
    """What a MIDI message says; None for all that is not a stroke, a controller or a program,
    a message cut short, or one with a status byte where data should be."""
    if len(message) < 2 or max(message[1:3]) > 127:
        return None
    kind, channel = message[0] & 0xF0, (message[0] & 0x0F) + 1
    if kind == 0xC0:
        return Event("program", message[1] + 1, 127, channel, when)
    if len(message) < 3:
        return None
    if kind == 0x90 and message[2]:
        return Event("note", message[1], message[2], channel, when)
    if kind == 0xB0 and message[1] < 120:  # from 120 on: channel mode messages
        return Event("controller", message[1], message[2], channel, when)
    return None


@dataclass(frozen=True, slots=True)
class Stroke:
    """Notes that began together.

    notes: note number to velocity, the strongest first; without those weaker than half of it,
        which are other pads that trembled.
    pedals: controller number to its value then.
    """

    time: int
    notes: Mapping[int, int]
    channel: int
    pedals: Mapping[int, int]

    @property
    def note(self) -> int:
        """The strongest."""
        return next(iter(self.notes))


class Strokes:
    """Puts notes together into strokes; stray double triggers and trembling pads fall out."""

    def __init__(self) -> None:
        self.pedals: dict[int, int] = {}
        self._open: list[Event] = []
        self._last: Stroke | None = None

    def add(self, note: Event) -> Iterator[Stroke]:
        """Takes a struck note; gives the stroke before it if that is complete now."""
        yield from self.until(note.time)
        if note.value >= _FAINTEST:
            self._open.append(note)

    def until(self, now: int) -> Iterator[Stroke]:
        """The stroke that is complete by `now`, if one is."""
        if not self._open or now - self._open[0].time < TOGETHER:
            return
        notes: dict[int, int] = {}
        for each in self._open:
            notes[each.number] = max(each.value, notes.get(each.number, 0))
        strongest = max(notes.values())
        first = self._open[0]
        self._open = []
        loud = sorted(
            (item for item in notes.items() if 2 * item[1] >= strongest), key=lambda item: -item[1]
        )
        stroke = Stroke(first.time, dict(loud), first.channel, dict(self.pedals))
        if not self._bounced(stroke):
            self._last = stroke
            yield stroke

    def _bounced(self, stroke: Stroke) -> bool:
        before = self._last
        return (
            before is not None
            and stroke.time - before.time < _BOUNCE
            and 2 * stroke.notes[stroke.note] < before.notes.get(stroke.note, 0)
        )


@dataclass(frozen=True, slots=True)
class Learnt:
    """What was heard of one voice.

    note: the one to send; also: further notes of the same pad.
    together: those of `also` that only ever came along with another; should another voice be
        struck with one, it was that one trembling.
    """

    note: int
    also: tuple[int, ...]
    together: frozenset[int]
    channels: tuple[int, ...]
    pedals: tuple[Mapping[int, int], ...]

    @property
    def notes(self) -> tuple[int, ...]:
        return (self.note, *self.also)


def learnt(strokes: Sequence[Stroke]) -> Learnt | None:
    """What the strokes of one voice say; None as long as no note came in three of them.

    A note that came once is a slip; one that came twice or more is a further note of the pad.
    """
    times = Counter(note for stroke in strokes for note in stroke.notes)
    if not times or max(times.values()) < STROKES:
        return None
    first = Counter(stroke.note for stroke in strokes)
    note = max(times, key=lambda each: (times[each], first[each]))
    also = [each for each in times if each != note and times[each] > 1]
    return Learnt(
        note,
        tuple(sorted(also)),
        frozenset(each for each in also if first[each] < 2),
        tuple(stroke.channel for stroke in strokes if note in stroke.notes),
        tuple(stroke.pedals for stroke in strokes if note in stroke.notes),
    )


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that is asked. kind: "voice", "control" or "end"; name: the voice's or command's"""

    kind: str
    name: str

    @property
    def title(self) -> str:
        if self.kind == "voice":
            return shelf.voice(self.name).title
        return f"Control: {self.name}" if self.kind == "control" else "That was all"

    @property
    def how(self) -> str:
        if self.kind == "voice":
            return _HOW.get(self.name, "Hit it three times.")
        if self.kind == "control":
            return "Three times the pad or pedal for it, one that plays nothing else."
        return "Hit any pad three times to write the file."


def voices_asked(text: str) -> list[str]:
    """The voices that a list with commas names; those of a drum set if it is empty."""
    named = [shelf.voice(each).name for each in _words(text)]
    return list(dict.fromkeys(named)) or [voice for drum in ASKED for voice in drum]


def controls_asked(text: str) -> list[str]:
    """The commands that a list with commas names, or "all"."""
    words = list(COMMANDS) if text.strip().lower() == "all" else _words(text)
    for word in words:
        if word not in COMMANDS:
            raise MidiforgeError(f"unknown command {quoted(word)}", hint=nearest(word, COMMANDS))
    return list(dict.fromkeys(words))


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


@dataclass(slots=True)
class Learning:
    """The way through all that is asked.

    found: voice to what was heard of it; bound: command to ("note", "controller" or "program",
        number); message: what to tell the player; done: nothing more is asked.
    news: lines for a screen that is none, taken away by whoever prints them.
    """

    steps: Sequence[Step]
    found: dict[str, Learnt] = field(default_factory=dict)
    bound: dict[str, tuple[str, int]] = field(default_factory=dict)
    message: str = ""
    done: bool = False
    anything_heard: bool = False
    news: list[str] = field(default_factory=list)
    latest: str = ""
    _at: int = 0
    _before: list[int] = field(default_factory=list)
    _strokes: Strokes = field(default_factory=Strokes)
    _own: list[Stroke] = field(default_factory=list)
    _pressed: Counter[tuple[str, int]] = field(default_factory=Counter)
    _down: set[int] = field(default_factory=set)
    _press_at: dict[tuple[str, int], int] = field(default_factory=dict)
    _last: int | None = None  # the time of the last stroke of all
    _counted: int | None = None  # and of the last that counted
    _quick: int = 0  # strokes in quick succession
    _tail: tuple[frozenset[int], int] = (frozenset(), 0)  # notes, until when
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
    def strokes(self) -> int:
        """How often the pad asked for was hit, 0 to 3."""
        times = Counter(note for stroke in self._own for note in stroke.notes)
        times.update({-1: max(self._pressed.values(), default=0)})
        return min(max(times.values()), STROKES)

    def can_skip_by_pad(self) -> bool:
        return BASS in self.found and self.step.kind != "end"

    # What the player and the kit do

    def heard(self, message: bytes, when: int) -> None:
        """Takes a message and when it came; what is nothing is let go by."""
        found = event(message, when)
        if found is None or self.done:
            return
        self.anything_heard = True
        if found.kind == "note":
            for stroke in self._strokes.add(found):
                self._stroke(stroke)
            return
        if found.kind == "controller":
            self._strokes.pedals[found.number] = found.value
        if self._is_press(found):
            self._press(found)

    def until(self, now: int) -> None:
        """Time goes on with nothing heard; to be called a few times a second."""
        for stroke in self._strokes.until(now):
            self._stroke(stroke)
        if self._last is not None and now - self._last > _ROLL_OVER:
            rolled, self._quick = self._quick >= ROLL, 0
            if rolled and not self.done:
                self.back()

    def skip(self) -> None:
        """On to the next thing; nothing is learnt of this one."""
        if self.step.kind == "end":
            self.finish()
            return
        name, self.message = self.step.name, f"{self.step.title}: skipped"
        self.news.append(self.message)
        zones = {zone for zone, drum in _DRUM_OF.items() if drum == name}
        self._go(self._at + 1, zones if self.step.kind == "voice" else set())

    def back(self) -> None:
        """The one before is forgotten and asked again."""
        if self._before:
            self._at = self._before.pop()
        (self.found if self.step.kind == "voice" else self.bound).pop(self.step.name, None)
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
        quick = self._last is not None and stroke.time - self._last < _QUICK
        self._quick = self._quick + 1 if quick else 1
        since = None if self._counted is None else stroke.time - self._counted
        self._last = stroke.time
        if self._quick >= ROLL:
            self._forget_strokes()
            self.message = "a roll: the one before again"
            return
        if self._quick > 2 or (since is not None and since < _QUICK):
            self.message = "slower: one stroke at a time"
            return
        self._counted = stroke.time
        if self._is_tail(stroke, since or 0):
            return
        if self.step.kind == "end":
            self._count(("end", 0))
            return
        free = {note: v for note, v in stroke.notes.items() if not self._owners(note, stroke)}
        if not free:
            self._of_another(stroke, since)
            return
        self._bass, self.message = 0, ""
        own = Stroke(stroke.time, free, stroke.channel, stroke.pedals)
        if self.step.kind == "voice":
            self._own.append(own)
            self._take()
        elif ("note", own.note) in self.bound.values():
            self.message = f"note {own.note} is bound already"
        else:
            self._count(("note", own.note))

    def _is_tail(self, stroke: Stroke, since: int) -> bool:
        """Whether it only goes on with what was taken or skipped a moment ago."""
        notes, until = self._tail
        if stroke.time >= until or notes.isdisjoint(stroke.notes):
            if notes:
                self._tail, self._bass = (frozenset(), 0), 0
            return False
        self._tail = (notes, stroke.time + _TAIL)
        if self._bass and since < _IN_A_ROW:
            self._bass += 1
            if self._bass >= ENDS and self.step.kind != "end":
                self._bass = 0
                self._go(self._next_part(), set())
        return True

    def _next_part(self) -> int:
        """Where the controls begin, or the end."""
        kinds = [step.kind for step in self.steps]
        return next(i for i in range(self._at, len(kinds)) if kinds[i] != self.step.kind)

    def _owners(self, note: int, stroke: Stroke) -> list[str]:
        """The voices that are struck with this note, as it came."""
        return [
            voice
            for voice, found in self.found.items()
            if note in found.notes
            and note not in found.together
            and not self._told_by_pedal(voice, found, stroke)
        ]

    def _told_by_pedal(self, voice: str, found: Learnt, stroke: Stroke) -> bool:
        """Whether this is the same pad with the hi-hat open in another way."""
        if self.step.name not in _BY_PEDAL or voice not in _BY_PEDAL:
            return False
        for number, value in stroke.pedals.items():
            values = [each[number] for each in found.pedals if number in each]
            if number not in _NO_PEDAL and (
                not values or abs(median_low(values) - value) >= _APART
            ):
                return True
        return False

    def _of_another(self, stroke: Stroke, since: int | None) -> None:
        """A pad that is known already: the bass drum asks to go on, the others are slips."""
        owner = self._owners(stroke.note, stroke)[0]
        if owner != BASS:
            self._bass = 0
            self.message = f"note {stroke.note} is {shelf.voice(owner).title} already"
            return
        self._bass = self._bass + 1 if since is not None and since < _IN_A_ROW else 1
        self.message = f"bass drum {self._bass} of {SKIPS}: skip this one"
        if self._bass >= SKIPS:
            strokes = self._bass
            self.skip()
            self._bass = strokes
            self._tail = (frozenset(self.found[BASS].notes), stroke.time + _TAIL)

    def _take(self) -> None:
        found = learnt(self._own)
        if found is None:
            return
        name, title, time = self.step.name, self.step.title, self._own[-1].time
        for voice, other in self.found.items():
            if other.together & {found.note}:
                self.found[voice] = Learnt(
                    other.note,
                    tuple(note for note in other.also if note != found.note),
                    other.together - {found.note},
                    other.channels,
                    other.pedals,
                )
        self.found[name] = found
        also = f", also {', '.join(map(str, found.also))}" if found.also else ""
        self._taken(f"{title}: note {found.note}{also}", frozenset(found.notes), time)

    def _taken(self, said: str, notes: frozenset[int], time: int) -> None:
        self.message = said
        self.news.append(said)
        self._tail = (notes, time + _TAIL)
        self._go(self._at + 1, set())

    # Controls

    def _is_press(self, found: Event) -> bool:
        """Whether a pedal went down, or a program was chosen."""
        if found.kind == "controller":
            was_down = found.number in self._down
            if found.value < _PRESSED:
                self._down.discard(found.number)
                return False
            self._down.add(found.number)
            if was_down or found.number in _NO_PEDAL:
                return False
        trigger = (found.kind, found.number)
        before = self._press_at.get(trigger)
        self._press_at[trigger] = found.time
        return before is None or found.time - before >= _PRESS_AGAIN

    def _press(self, found: Event) -> None:
        trigger = (found.kind, found.number)
        if self.step.kind != "control":
            return
        if trigger in self.bound.values():
            self.message = f"{found.kind} {found.number} is bound already"
        elif found.kind == "controller" and found.number in self._hihat_pedals():
            self.message = f"controller {found.number} is the hi-hat's pedal"
        else:
            self.latest = f"{found.kind} {found.number}"
            self._count(trigger)

    def _hihat_pedals(self) -> set[int]:
        pedal = openness(self.found)
        return {pedal["controller"]} if pedal else set()

    def _count(self, trigger: tuple[str, int]) -> None:
        """One more of something that is taken as it is after three."""
        self._bass, self.message = 0, ""
        self._pressed[trigger] += 1
        if self._pressed[trigger] < STROKES:
            return
        if self.step.kind == "end":
            self.finish()
            return
        kind, number = self.bound[self.step.name] = trigger
        notes = frozenset({number} if kind == "note" else ())
        self._taken(f"{self.step.title}: {kind} {number}", notes, self._last or 0)

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


# The file


def openness(found: Mapping[str, Learnt]) -> dict[str, int]:
    """The hi-hat's controller and its thresholds, as a kit file has them under [hihat]; empty if
    the controllers heard do not tell open from closed, or run from closed up to open."""
    values = {voice: _middles(found[voice].pedals if voice in found else ()) for voice in _BY_PEDAL}
    wide = {
        number: values[CLOSED][number] - low
        for number, low in values[OPEN].items()
        if number in values[CLOSED] and values[CLOSED][number] - low >= _APART
    }
    if not wide:
        return {}
    number = _FOOT if _FOOT in wide else max(wide, key=lambda each: wide[each])
    low, high = values[OPEN][number], values[CLOSED][number]
    half = values[HALF].get(number, low)
    if low < half < high:
        return _thresholds(number, (low + half + 1) // 2, (half + high) // 2)
    return _thresholds(number, low + (high - low) // 3, high - (high - low) // 3)


def runs_backwards(found: Mapping[str, Learnt]) -> bool:
    """Whether the foot controller's values rise as the hi-hat opens."""
    opened, closed = (
        _middles(found[v].pedals if v in found else ()).get(_FOOT) for v in (OPEN, CLOSED)
    )
    return opened is not None and closed is not None and opened - closed >= _APART


def _thresholds(number: int, open_below: int, closed_above: int) -> dict[str, int]:
    return {"controller": number, "open_below": open_below, "closed_above": closed_above}


def _middles(pedals: Iterable[Mapping[int, int]]) -> dict[int, int]:
    """Each controller's value in the middle of those it had."""
    values: dict[int, list[int]] = {}
    for each in pedals:
        for number, value in each.items():
            if number not in _NO_PEDAL:
                values.setdefault(number, []).append(value)
    return {number: median_low(each) for number, each in values.items()}


def kit_file(learning: Learning, base: Kit, starts_from: str, name: str, title: str) -> str:
    """The kit file's text.

    base: the kit it starts from; starts_from: how the file names that one.
    """
    found = learning.found
    own = {voice: each.note for voice, each in found.items()}
    moved = _moved(own, base)
    notes = {**own, **moved}
    channels = Counter(channel for each in found.values() for channel in each.channels)
    channel = channels.most_common(1)[0][0] if channels else base.channel
    lines = [
        f"name = {_quote(name)}",
        f"title = {_quote(title)}",
        f"starts_from = {_quote(starts_from)}",
        f"channel = {channel}",
        *_table("notes", own),
        *(["# No pads of their own: these sound as what stands in for them."] if moved else []),
        *(f"{voice} = {note}" for voice, note in moved.items()),
        *_table("heard", {f'"{n}"': _quote(v) for n, v in _heard(found, notes, base).items()}),
        *_table("hihat", openness(found)),
        *_table("controls", {c: _quote(f"{k} {n}") for c, (k, n) in learning.bound.items()}),
    ]
    text = "\n".join(lines) + "\n"
    return f"{_MADE}{_checksum(text)}\n\n{text}"


def made_here(content: str) -> bool:
    """Whether a file is one of ours, and as we wrote it."""
    first, _, text = content.partition("\n\n")
    return first == f"{_MADE}{_checksum(text)}"


def _moved(notes: Mapping[str, int], base: Kit) -> dict[str, int]:
    """Voices that were not learnt, but whose note in `base` is another voice's on this kit: they
    sound as what stands in for them, so that a play-along does not hit a wrong pad."""
    taken, moved = set(notes.values()), {}
    for voice, note in base.notes.items():
        if voice in notes or note not in taken:
            continue
        instead = shelf.voice(voice).fallback
        while instead and instead not in notes and base.notes.get(instead) in {*taken, None}:
            instead = shelf.voice(instead).fallback
        if instead:
            moved[voice] = notes.get(instead, base.notes.get(instead, note))
    return moved


def _heard(found: Mapping[str, Learnt], notes: Mapping[str, int], base: Kit) -> dict[int, str]:
    """Further notes, and those that reading [notes] backwards would take for another voice."""
    backwards = {number: voice for voice, number in reversed({**base.notes, **notes}.items())}
    heard: dict[int, str] = {}
    for voice, each in found.items():
        for number in each.also:
            heard.setdefault(number, voice)
    struck: dict[int, str] = {}
    for voice, each in found.items():
        struck.setdefault(each.note, voice)
    for number, voice in struck.items():
        heard.pop(number, None)
        if base.heard.get(number, voice) != voice or backwards[number] != voice:
            heard[number] = voice
    return dict(sorted(heard.items()))


def _table(name: str, rows: Mapping[str, object]) -> list[str]:
    return ["", f"[{name}]", *(f"{key} = {value}" for key, value in rows.items())] if rows else []


def _quote(text: str) -> str:
    """A text as TOML has it; its escapes are those of JSON, but for DEL and lone surrogates."""
    return dumps("".join(c if c.isprintable() else "?" for c in text), ensure_ascii=False)


def _checksum(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:16]
