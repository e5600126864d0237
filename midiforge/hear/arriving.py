"""Strokes as they arrive: what each is, told at once, against what is due by a click.

A review looks at a take when all of it is there (`review`). Whoever plays cannot wait for that:
here a stroke is told when it comes, a stroke that did not come a grid step after it was due, and
what became of a round as soon as it is over. The words are those of `kinds`. It is given when the
exercise begins, and how long strokes take to arrive, so that nothing has to be found; how far the
player lies from the click as a whole is followed, as a review follows it.
"""

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterator
from statistics import median
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.hear.asked import rule_of
from midiforge.hear.expected import Due, pad_of, rounds
from midiforge.hear.figures import Tally
from midiforge.hear.kinds import LEAST_PULLED_MS, MOST_QUARTERS, MOVED_MS
from midiforge.hear.pads import (
    BEATER_MS,
    BEATER_SOFTER,
    BUZZ_APART_MS,
    COMPANION_MS,
    CROSSTALK_MS,
    CROSSTALK_SOFTER,
    DOUBLE_MS,
    DOUBLE_SOFTER,
    FOOT_PADS,
    GRACE_MS,
    SOFTER,
)
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, Hit, OrnamentKind

_AHEAD = 4.0  # seconds that are laid out before they come
_OWN = 12  # strokes by whose middle the player's own time is told
_MOST_OWN = 0.12  # seconds that it may lie from the click; ours
# What gives way to the stroke that was due, if that comes; and what gives way to any.
_NOTHING = frozenset({"missed"})
_LOOSE = _NOTHING | {"moved", "pulled"}


class Struck(NamedTuple):
    """A stroke that came. time: in seconds from the first downbeat, as it arrived."""

    time: float
    pad: str
    velocity: int


@frozen
class Came:
    """What a stroke is, or what became of one that was due.

    kind: as in `Judged`: "hit", "moved", "pulled", "missed", "grace", "bounce", "double trigger",
        "crosstalk" or "extra".
    due: what was due; None if nothing was. stroke: what came; None if nothing did.
    off_ms: how far it came from when it was due by the click, the delay taken off, below 0 early;
        None without both.
    """

    kind: str
    due: Due | None
    stroke: Struck | None
    off_ms: float | None = None


class Arriving:
    """Tells strokes of an exercise that is played to a click, one after the other.

    delay_ms: from a stroke to its arrival.
    came: of the strokes so far, in the order in which they came.
    """

    def __init__(self, exercise: Exercise, kit: Kit, delay_ms: float = 0.0) -> None:
        self.exercise, self.kit = exercise, kit
        self.delay = delay_ms / 1000
        self.came: list[Came] = []
        self.dues: list[Due] = []
        quarter = 60 / float(exercise.tempo.first * exercise.tempo.pulse)
        self.step = float(exercise.step) * quarter
        self._reach = max(self.step, MOST_QUARTERS * quarter)
        self._lines: dict[str, tuple[list[float], list[int]]] = {}
        self._foot: dict[str, bool] = {}
        self._times: list[float] = []
        self._rounds: dict[int, range] = {}
        self._coming = rounds(exercise, kit)
        self._laid = 0.0  # seconds up to which all is laid out
        self._lay_out(_AHEAD)
        self.window = rule_of(exercise, kit).window
        self._of: dict[int, Came] = {}  # what became of each due, by number
        self._told_missed = 0
        self._offs: deque[float] = deque(maxlen=_OWN)
        self._own = 0.0  # seconds that the player lies behind the click lately
        self._voices: dict[tuple[int, int | None], str] = {}

    def _lay_out(self, until: float) -> None:
        """What is due up to a time, in seconds, and to the end of that time round."""
        while self._laid < until:
            dues = next(self._coming, None)
            if dues is None:
                self._laid = float("inf")
                return
            for number, due in enumerate(dues, start=len(self.dues)):
                times, numbers = self._lines.setdefault(due.pad, ([], []))
                times.append(due.time)
                numbers.append(number)
                begun = self._rounds.get(due.round, range(number, number))
                self._rounds[due.round] = range(begun.start, number + 1)
                self._foot[due.pad] = due.hit.limb in FEET
                self._times.append(due.time)
            self.dues += dues
            self._laid = self._times[-1] if self._times else self._laid

    # As it comes

    def heard(
        self, time: float, number: int, velocity: int, pedal: int | None = None
    ) -> Came | None:
        """What a stroke is; None for a note that the kit does not know.

        time: when it arrived, in seconds from the exercise's first downbeat. number, velocity: of
            the note. pedal: where the hi-hat's pedal is, as in `Stroke`.
        """
        if time > self._laid - _AHEAD:
            self._lay_out(time + _AHEAD)
        key = number, pedal
        if key not in self._voices:
            voice = self.kit.voice(number, pedal)
            self._voices[key] = pad_of(voice) if voice else ""
        pad = self._voices[key]
        if not pad:
            return None
        came = self._told(Struck(time, pad, velocity))
        self.came.append(came)
        return came

    def missed(self, now: float) -> list[Came]:
        """What was due and did not come, as is known at a time, in seconds: a grid step later;
        each is told once."""
        if now > self._laid - _AHEAD:
            self._lay_out(now + _AHEAD)
        late = self._at(now) - max(self.step, self.window)
        if self._told_missed < len(self._times) and self._times[self._told_missed] > late:
            return []
        end = bisect_right(self._times, late)
        new = [number for number in range(self._told_missed, end) if number not in self._of]
        self._told_missed = max(self._told_missed, end)
        return [self._put(number, Came("missed", self.dues[number], None)) for number in new]

    @property
    def own_ms(self) -> float:
        """How far the player lies from the click lately, the delay taken off, below 0 ahead."""
        return 1000 * self._own

    # A round

    def round_at(self, now: float) -> int:
        """Which time round it is at a time, in seconds, from 1; 0 before the first."""
        at = bisect_right(self._times, now - self.delay + self.step / 2)
        return self.dues[at - 1].round if at else 0

    def round(self, number: int) -> Iterator[Came]:
        """What became of what was due in a round, from 1 (0 is a late entry), as far as it is
        known, and what came besides until the next one began."""
        some = self._rounds.get(number, range(0))
        yield from (self._of[i] for i in some if i in self._of)
        if not some:
            return
        begin = self._times[some[0]] - self.step / 2
        after = some[-1] + 1
        end = self._times[after] - self.step / 2 if after < len(self._times) else float("inf")
        for came in reversed(self.came):
            if came.stroke is None or (at := self._at(came.stroke.time)) < begin:
                break
            if came.due is None and at < end:
                yield came

    def tally(self, number: int) -> Tally:
        """The strokes of a round, counted."""
        kinds: dict[str, int] = {}
        for came in self.round(number):
            kinds[came.kind] = kinds.get(came.kind, 0) + 1
        return Tally.of(kinds)

    # What it is

    def _at(self, time: float) -> float:
        """A time of arrival, in the exercise, by the player's own time."""
        return time - self.delay - self._own

    def _put(self, number: int, came: Came) -> Came:
        self._of[number] = came
        return came

    def _told(self, stroke: Struck) -> Came:
        at = self._at(stroke.time)
        if (number := self._nearest(stroke.pad, at, self.window, _LOOSE)) is not None:
            return self._hit(number, stroke)
        if (met := self._met(stroke, at)) is not None:
            return met
        if kind := self._decorates(stroke, at) or self._second(stroke):
            return Came(kind, None, stroke)
        if (number := self._on_another(stroke.pad, at)) is not None:
            return self._put(number, self._paired("moved", number, stroke))
        if (number := self._nearest(stroke.pad, at, self._reach)) is not None:
            off = abs(at - self._times[number])
            kind = "hit" if off < LEAST_PULLED_MS / 1000 else "pulled"
            return self._put(number, self._paired(kind, number, stroke))
        return Came("extra", None, stroke)

    def _paired(self, kind: str, number: int, stroke: Struck) -> Came:
        off = stroke.time - self.delay - self._times[number]
        return Came(kind, self.dues[number], stroke, 1000 * off)

    def _hit(self, number: int, stroke: Struck) -> Came:
        before = self._of.get(number)
        if before is not None and before.kind in _LOOSE and before.stroke:
            self._becomes("extra", before)
        came = self._paired("hit", number, stroke)
        if came.off_ms is not None:
            self._offs.append(came.off_ms / 1000)
            if len(self._offs) == _OWN:
                self._own = max(-_MOST_OWN, min(_MOST_OWN, median(self._offs)))
        return self._put(number, came)

    def _becomes(self, kind: str, before: Came) -> None:
        """A stroke was taken for another one's."""
        for at in range(len(self.came) - 1, -1, -1):
            if self.came[at] is before:
                self.came[at] = Came(kind, None, before.stroke)
                return

    def _nearest(
        self, pad: str, at: float, reach: float, but: frozenset[str] = _NOTHING
    ) -> int | None:
        """The nearest due of a pad that nothing came for, or but for what is so loose."""
        times, numbers = self._lines.get(pad, ([], []))
        near = range(bisect_left(times, at - reach), bisect_right(times, at + reach))
        free = [i for i in near if self._open(numbers[i], but)]
        best = min(free, key=lambda i: abs(times[i] - at), default=None)
        return None if best is None else numbers[best]

    def _open(self, number: int, but: frozenset[str] = _NOTHING) -> bool:
        came = self._of.get(number)
        return came is None or came.kind in but

    def _met(self, stroke: Struck, at: float) -> Came | None:
        """A stroke whose due has one already: it takes the place of one that is so much softer
        just before it, or of one that is no louder and lay farther off."""
        times, numbers = self._lines.get(stroke.pad, ([], []))
        near = range(bisect_left(times, at - self.window), bisect_right(times, at + self.window))
        for i in sorted(near, key=lambda i: abs(times[i] - at)):
            first = self._of[numbers[i]]
            if first.kind != "hit" or first.stroke is None or first.due is None:
                continue
            close = stroke.time - first.stroke.time <= COMPANION_MS / 1000
            softer = close and first.stroke.velocity <= SOFTER * stroke.velocity
            louder = close and stroke.velocity <= SOFTER * first.stroke.velocity
            nearer = abs(at - times[i]) < abs(self._at(first.stroke.time) - times[i])
            if softer or (nearer and not louder):
                grace = any(hit.ornament and hit.ornament.grace_notes for hit in first.due.hits)
                self._becomes("grace" if grace else "extra", first)
                return self._hit(numbers[i], stroke)
        return None

    def _decorates(self, stroke: Struck, at: float) -> str:
        """What a stroke is that belongs to another: a grace note, or a bounce of a buzz."""
        # Of a flat flam the grace note may come after its stroke, if none came before.
        soon = bisect_left(self._times, at - (0 if self._has_grace() else DOUBLE_MS / 1000))
        for due in self.dues[soon : bisect_right(self._times, at + GRACE_MS / 1000)]:
            if any(_leads_to(hit, stroke.pad) for hit in due.hits):
                return "grace"
        for came in reversed(self.came[-8:]):
            if came.stroke is None or came.stroke.pad != stroke.pad:
                continue
            if stroke.time - came.stroke.time > BUZZ_APART_MS / 1000:
                break
            if came.kind == "bounce":
                return "bounce"
            hits = came.due.hits if came.due else ()
            if any(hit.ornament and hit.ornament.kind is OrnamentKind.BUZZ for hit in hits):
                return "bounce"
        return ""

    def _has_grace(self) -> bool:
        """Whether the stroke before the last one was a grace note."""
        return len(self.came) > 1 and self.came[-2].kind == "grace"

    def _on_another(self, pad: str, at: float) -> int | None:
        """A due in time, of another pad of a limb of its kind, that nothing came for."""
        reach = max(self.window, MOVED_MS / 1000)
        near = range(bisect_left(self._times, at - reach), bisect_right(self._times, at + reach))
        foot = self._foot.get(pad, False)
        free = [
            number
            for number in near
            if self._open(number)
            and self.dues[number].pad != pad
            and self._foot[self.dues[number].pad] is foot
        ]
        return min(free, key=lambda number: abs(self._times[number] - at), default=None)

    def _second(self, stroke: Struck) -> str:
        """What a stroke is that the module made of another one."""
        most = (BEATER_MS if stroke.pad in FOOT_PADS else DOUBLE_MS) / 1000
        for came in reversed(self.came[-8:]):
            other = came.stroke
            if other is None or stroke.time - other.time > most:
                break
            within = stroke.time - other.time <= DOUBLE_MS / 1000
            softer = DOUBLE_SOFTER if within else BEATER_SOFTER
            if other.pad == stroke.pad and stroke.velocity <= softer * other.velocity:
                return "double trigger"
            near = stroke.time - other.time <= CROSSTALK_MS / 1000
            if near and stroke.velocity <= CROSSTALK_SOFTER * other.velocity:
                return "crosstalk"
        return ""


def _leads_to(hit: Hit, pad: str) -> bool:
    """Whether a stroke has a grace note on a pad."""
    ornament = hit.ornament
    return ornament is not None and ornament.grace_notes > 0 and pad_of(ornament.voice) == pad
