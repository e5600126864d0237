"""A review as an entry of the log."""

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.files.disk import is_file, read_file, reason
from midiforge.frozen import frozen
from midiforge.hear.figures import LimbFigures, meetings
from midiforge.hear.limits import flattest, strongest_ghosts
from midiforge.hear.review import Review
from midiforge.midi.reading import LARGEST, MidiSource, file_name
from midiforge.model.exercise import Exercise
from midiforge.practice.entry import Entry, LimbEntry, key_of, movement_of, take_of
from midiforge.practice.standing import kind_of

# 2026-03-31, 20260331, 2026_03_31 and a time behind it, 18-05 or 180512.
_IN_A_NAME = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)"
    r"(?:[-_.T ]+(\d\d)[-_.h:]?(\d\d)(?:[-_.:]?(\d\d))?)?(?!\d)"
)


def entry_of(
    review: Review,
    drill: str,
    content: bytes = b"",
    note: str = "",
    player: str = "",
    day: date | None = None,
) -> Entry:
    """What the log keeps of a review.

    drill: its title. content: the file that was reviewed, as bytes; none if that is not known. day:
    when it was played, if the player says so. note: what the player says of it. player: who played;
    "" is the usual one.
    """
    exercise, tally, timing = review.exercise, review.tally, review.timing
    first_third, last_third = review.thirds or (None, None)
    steady = exercise.tempo.is_steady
    return Entry(
        when=when_played(review.source, review.played, day).when,
        drill=drill,
        **_named(exercise),
        # What was played counts, not what was asked.
        tempo=round(review.played_tempo, 1) if steady else float(exercise.tempo.last),
        expected=tally.expected,
        hit=tally.hit,
        missed=tally.missed,
        extra=tally.extra,
        mean_ms=timing.mean_ms,
        deviation_ms=timing.deviation_ms,
        deviation_percent=timing.deviation_percent,
        drift_ms_per_bar=review.drift_ms_per_bar,
        bars=review.bars,
        seconds=review.seconds,
        source=Path(review.source).name,
        take=take_of(content) if content else "",
        note=note.strip(),
        player=" ".join(player.split()),
        asked=float(exercise.tempo.last),
        comes_round=exercise.returns_after_bars,
        first_third=first_third,
        last_third=last_third,
        own_ms=review.own_ms,
        lost=len(review.line.jumps),
        **_loudness(review),
        limbs=tuple(_limb_entry(review, limb) for limb in review.limbs),
        meetings=meetings(review.together),
        movement=movement_of(exercise),
    )


def _named(exercise: Exercise) -> dict[str, Any]:
    """By what the log knows an exercise."""
    stage, sticking, placement_name = kind_of(exercise.stage, exercise.variant)
    return {
        "exercise": exercise.title,
        "key": key_of(exercise),
        "stage": stage,
        "sticking": sticking,
        "placement_name": placement_name,
        "number": str(exercise.number),
    }


def not_heard(exercise: Exercise, drill: str, note: str, player: str, day: date) -> Entry:
    """What the log keeps of an exercise of which no take was heard: what the player says of it."""
    nothing: dict[str, Any] = dict.fromkeys(
        ("expected", "hit", "missed", "extra", "bars", "seconds"), 0
    )
    timing = ("mean_ms", "deviation_ms", "deviation_percent", "drift_ms_per_bar")
    nothing |= dict.fromkeys(timing)
    return Entry(
        when=when_played("", None, day).when,
        drill=drill,
        **_named(exercise),
        tempo=float(exercise.tempo.last),
        **nothing,
        source="",
        note=note,
        player=player,
        movement=movement_of(exercise),
    )


@frozen
class Played:
    """When a take was played, and who says so: "you", "the take", "its name", or "" for nobody, so
    that it is taken to be of now."""

    when: datetime
    by: str

    @property
    def said(self) -> str:
        """ "today, 2026-03-31", "on 2026-03-30, as its name says"."""
        day = self.when.astimezone().date().isoformat()
        if not self.by:
            return f"today, {day}"
        return f"on {day}, as {'you say' if self.by == 'you' else f'{self.by} says'}"


def when_played(source: str, marked: datetime | None, day: date | None = None) -> Played:
    """When a take was played: as the player says, as `play --record` has marked in it, as its name
    says; else now. When a file was written says nothing: it is copied, unpacked and mailed.

    source: the name of its file. day: what the player says.
    """
    now = datetime.now().astimezone()
    if day is not None:
        return Played(_within(day, now), "you")
    if marked is not None and marked <= now:
        return Played(marked, "the take")
    for year, month, of_month, hour, minute, second in _IN_A_NAME.findall(Path(source).stem):
        with suppress(ValueError):
            named = date(int(year), int(month), int(of_month))
            if named > now.date():
                continue
            when = _within(named, now)
            if hour and minute:
                at = time(int(hour), int(minute), int(second or 0))
                when = min(datetime.combine(named, at).astimezone(UTC), now.astimezone(UTC))
            return Played(when, "its name")
    return Played(now.astimezone(UTC), "")


def _within(day: date, now: datetime) -> datetime:
    """That day at the time of now, so that takes stay in the order in which they are reviewed."""
    return datetime.combine(day, now.time()).astimezone(UTC)


def takes_in(named: Iterable[Path]) -> list[Path]:
    """The files that are named, and the MIDI files in folders that are, in order of their names,
    "take-2" before "take-10".

    Raises MidiforgeError for a folder that cannot be read, or has none in it.
    """
    takes: list[Path] = []
    for path in named:
        if not path.is_dir():
            takes.append(path)
            continue
        try:
            inside = [file for file in path.iterdir() if file.suffix.lower() in (".mid", ".midi")]
        except OSError as error:
            raise MidiforgeError(f"cannot be read: {reason(error)}", str(path)) from None
        if not inside:
            raise MidiforgeError("there is no MIDI file in it", str(path), hint="a folder of takes")
        takes += sorted(inside, key=lambda file: _in_order(file.name))
    return [*dict.fromkeys(takes)]


def _in_order(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", name)]


def _loudness(review: Review) -> dict[str, Any]:
    """The figures of an entry that velocities tell."""
    accents, ghosts = flattest(review.loudness), strongest_ghosts(review.loudness)
    if not review.has_dynamics:
        return {"even_velocity": accents is not None or ghosts is not None}
    return {
        "accent_ratio": accents.ratio if accents else None,
        "accent_overlap": accents.overlap if accents else None,
        "ghost_ratio": ghosts,
    }


def _limb_entry(review: Review, limb: LimbFigures) -> LimbEntry:
    tally, timing = limb.tally, limb.timing
    levels = flattest(review.loudness, limb.limb) if review.has_dynamics else None
    return LimbEntry(
        limb.limb,
        *(tally.expected, tally.hit, tally.extra, tally.moved, tally.pulled),
        *(timing.mean_ms, timing.deviation_ms, timing.deviation_percent),
        *((levels.ratio, levels.overlap) if levels else ()),
    )


def content_of(take: MidiSource) -> bytes:
    """A take's file as bytes; raises MidiforgeError if it cannot be read."""
    source = file_name(take)
    if not isinstance(take, (str, Path)) and not is_file(Path(source)):
        from midiforge.midi.mido_file import saved

        return saved(take)
    return read_file(Path(source), LARGEST)
