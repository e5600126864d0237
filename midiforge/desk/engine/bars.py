"""The bars that a player plays, as the page is told of them: which, and when they began."""

from collections.abc import Callable
from typing import Any

from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place
from midiforge.model.tempo import plain


class Bars:
    """Tells each bar once it is known when it begins, on the clock that the server has too.

    tell: told of a bar, of JSON's own kinds: times in ms, lengths in quarter notes.
    """

    def __init__(self, player: Player, tell: Callable[[dict[str, Any]], None]) -> None:
        self._player, self._tell = player, tell
        self._coming: Place | None = None
        self._more: dict[str, Any] = {}

    def bar(self, place: Place, **more: Any) -> None:
        """A bar comes. more: what else is told of it."""
        self._coming, self._more = place, more

    def look(self) -> None:
        """There is time; or something of the bar sounded."""
        place = self._coming
        at = self._player.sync.deadline(0.0) if place else None
        if place is not None and at is not None:
            self._coming = None
            self._tell(told(place, at) | self._more)


def told(place: Place, at: int) -> dict[str, Any]:
    """A bar that begins `at`, in nanoseconds, as the page is told of it."""
    bar, exercise = place.bar, place.playable.exercise
    return {
        "exercise": str(exercise.number),
        "number": bar.number,
        "of": exercise.bars,
        "start": float(bar.number * bar.length),
        "length": float(bar.length),
        "quarter": float(bar.quarter) / 1e6,
        "at": at / 1e6,
        "beats": [float(beat) for beat in exercise.meter.beats],
        "time": place.time,
        "times": place.times,
        "tempo": plain(bar.tempo),
        "written": plain(bar.tempo - place.faster),
        "ends": place.ends,
    }
