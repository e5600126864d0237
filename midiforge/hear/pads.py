"""What a kit sent, as strokes on pads; and what becomes of strokes that nobody expected."""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from midiforge.frozen import frozen
from midiforge.hear.expected import Due, pad_of
from midiforge.hear.opening import Heard
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.hit import OrnamentKind

# Triggers that ring twice do so within this time and softer; common practice of pad settings.
DOUBLE_MS, DOUBLE_SOFTER = 30.0, 0.75
# A beater that bounces back strikes again, later and much softer; ours, from the recordings.
FOOT_PADS = frozenset({"bass-drum", "hihat-pedal"})
BEATER_MS, BEATER_SOFTER = 110.0, 0.45
# A pad that a neighbour's stroke shakes sounds with it, and much softer; common practice.
CROSSTALK_MS, CROSSTALK_SOFTER = 12.0, 0.4
SOFTER = 0.8  # a companion's velocity at most, as a share of its stroke's
COMPANION_MS = 85.0  # how far it is at most; grace notes of a drag are about 35 apart
# How long before its stroke a grace note may come, and how far bounces of a buzz may be apart: a
# hand's own movements, as long at any tempo; longer only in a take that goes slower than written,
# for a file that was slowed down has them wider too, and slow practice opens them.
GRACE_MS = 130.0
BUZZ_APART_MS = 110.0
NEAR = 64  # strokes looked at around one: more than anybody plays in so short a time


@frozen
class Hearing:
    """The strokes of a take on a kit's pads.

    voices: of each stroke of the take, by its index; None for a note the kit does not know.
    unknown: note numbers that the kit does not know, and how often they came.
    beside: how many notes belong to the click or to what plays beside the player.
    elsewhere: how many came on other channels than the one listened to.
    """

    strokes: tuple[Heard, ...]
    voices: tuple[str | None, ...]
    unknown: Mapping[int, int]
    beside: int
    channel: int
    elsewhere: int


def hear(take: Take, kit: Kit, beside: frozenset[str], players: frozenset[str]) -> Hearing:
    """The strokes on the kit's channel; on the one with most strokes, if that has none.

    beside, players: the pads of what plays beside the player, and of the player.
    """
    channels = Counter(stroke.channel for stroke in take.strokes)
    channel = kit.channel if kit.channel in channels else channels.most_common(1)[0][0]
    known: dict[tuple[int, int | None], tuple[str | None, str]] = {}
    heard: list[Heard] = []
    voices: list[str | None] = []
    unknown: Counter[int] = Counter()
    aside = elsewhere = 0
    apart, new = beside - players, tuple.__new__
    for index, stroke in enumerate(take.strokes):
        key = stroke.number, stroke.pedal
        if key not in known:
            voice = kit.voice(*key)
            known[key] = voice, pad_of(voice) if voice else ""
        voice, pad = known[key]
        voices.append(voice)
        if stroke.channel != channel:
            elsewhere += 1
        elif voice is None:
            unknown[stroke.number] += 1
        elif pad in apart:
            aside += 1
        else:
            heard.append(new(Heard, (stroke.time, pad, stroke.velocity, index)))
    return Hearing(
        tuple(heard), tuple(voices), dict(sorted(unknown.items())), aside, channel, elsewhere
    )


def companions(strokes: Sequence[Heard], within: float) -> frozenset[int]:
    """Strokes, by index in the take, that go with a louder one of their pad within `within` s.

    Grace notes before it, bounces and second triggers after it. The rest is looked at first to
    find the player's time and to pair strokes, so that a flam is one stroke and not the middle
    between two.
    """
    found: set[int] = set()
    by_pad: dict[str, list[Heard]] = {}
    for stroke in strokes:
        by_pad.setdefault(stroke.pad, []).append(stroke)
    for heard in by_pad.values():
        last, loud = -1.0, 0
        for i, stroke in enumerate(heard):
            if stroke.time - last <= within and stroke.velocity <= SOFTER * loud:
                found.add(stroke.which)
                last = stroke.time
                continue
            for later in heard[i + 1 : i + 5]:
                if later.time - stroke.time > within:
                    last, loud = stroke.time, stroke.velocity
                    break
                if stroke.velocity <= SOFTER * later.velocity:
                    found.add(stroke.which)
                    break
            else:
                last, loud = stroke.time, stroke.velocity
    return frozenset(found)


def graces(
    strokes: Sequence[Heard], within: float, pads: Mapping[str, frozenset[str]]
) -> frozenset[int]:
    """Strokes, by index in the take, that may be grace notes: so shortly before a louder one.

    within: how shortly, in seconds. pads: on which pads the grace notes of a pad's strokes are.
    """
    found: set[int] = set()
    for i, stroke in enumerate(strokes if pads else ()):
        others = pads.get(stroke.pad, frozenset())
        before, end = i - 1, max(i - NEAR, 0)
        while others and before >= end and stroke.time - strokes[before].time <= within:
            grace = strokes[before]
            if grace.pad in others and grace.velocity <= SOFTER * stroke.velocity:
                found.add(grace.which)
            before -= 1
    return frozenset(found)


def explain(
    strokes: Sequence[Heard],
    met: Mapping[int, Due],
    tempo_second: float,
    coming: Iterable[tuple[Due, float]] = (),
) -> dict[int, str]:
    """What strokes are that met nothing expected, by their index in the take.

    "grace", "bounce" (of a buzz), "double trigger", "crosstalk" or "extra".
    met: the dues of strokes that did meet one, by index.
    tempo_second: seconds of the take to a second of the exercise.
    coming: what would have been due after the end, and when: its grace notes may have been played.
    """
    found: dict[int, str] = {}
    by_pad: dict[str, list[Heard]] = {}
    for stroke in strokes:
        by_pad.setdefault(stroke.pad, []).append(stroke)
    times = {pad: [each.time for each in heard] for pad, heard in by_pad.items()}
    for stroke in strokes:
        due = met.get(stroke.which)
        if due is not None:
            _ornaments(stroke, due, by_pad, times, met, found, tempo_second)
    for due, time in coming:
        never = Heard(time, due.pad, 0, -1)
        _ornaments(never, due, by_pad, times, met, found, tempo_second)
    everything = [each.time for each in strokes]
    for stroke in strokes:
        if stroke.which in met or stroke.which in found:
            continue
        found[stroke.which] = _intruder(stroke, strokes, everything)
    return found


def _ornaments(
    stroke: Heard,
    due: Due,
    by_pad: Mapping[str, list[Heard]],
    times: Mapping[str, list[float]],
    met: Mapping[int, Due],
    found: dict[int, str],
    tempo_second: float,
) -> None:
    """Marks the grace notes and the bounces that belong to a stroke."""
    wider = max(tempo_second, 1.0) / 1000
    for hit in due.hits:
        ornament = hit.ornament
        if ornament is None:
            continue
        buzz = ornament.kind is OrnamentKind.BUZZ
        pad = stroke.pad if buzz else pad_of(ornament.voice)
        heard, at = by_pad.get(pad, []), times.get(pad, [])
        if buzz:
            last = stroke.time
            for each in heard[bisect_right(at, stroke.time) :]:
                if each.which in met or each.time - last > BUZZ_APART_MS * wider:
                    break
                found[each.which] = "bounce"
                last = each.time
            continue
        # Of a flat flam the grace note may come after its stroke.
        first = bisect_left(at, stroke.time - GRACE_MS * wider)
        near = heard[first : bisect_right(at, stroke.time + DOUBLE_MS / 1000)]
        free = [each for each in near if each.which not in met and each.which not in found]
        before = sum(each.time < stroke.time for each in free)
        begin = max(before - ornament.grace_notes, 0)
        for each in free[begin : begin + ornament.grace_notes]:
            found[each.which] = "grace"


def _intruder(stroke: Heard, strokes: Sequence[Heard], times: Sequence[float]) -> str:
    here = bisect_left(times, stroke.time)
    most = BEATER_MS if stroke.pad in FOOT_PADS else DOUBLE_MS
    first = max(bisect_left(times, stroke.time - most / 1000), here - NEAR)
    last = min(bisect_right(times, stroke.time + CROSSTALK_MS / 1000), here + NEAR)
    for other in strokes[first:last]:
        if other is stroke:
            continue
        apart = (stroke.time - other.time) * 1000
        if other.pad == stroke.pad:
            if 0 <= apart <= DOUBLE_MS and stroke.velocity <= DOUBLE_SOFTER * other.velocity:
                return "double trigger"
            if 0 <= apart <= most and stroke.velocity <= BEATER_SOFTER * other.velocity:
                return "double trigger"
        elif abs(apart) <= CROSSTALK_MS and stroke.velocity <= CROSSTALK_SOFTER * other.velocity:
            return "crosstalk"
    return "extra"


def pads_of(voices: Iterable[str], kit: Kit) -> frozenset[str]:
    return frozenset(pad_of(kit.stand_in(voice)) for voice in voices)
