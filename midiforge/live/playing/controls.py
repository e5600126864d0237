"""Commands from the kit itself: a pad, a pedal or a controller bound to them."""

import time
from collections.abc import Callable, Mapping

from midiforge.live.playing.route import Command
from midiforge.midi.message import CONTROLLER, Pedals, Trigger, read_message

_AGAIN_AFTER = 200_000_000  # nanoseconds; a pad that bounces is one stroke


class Controls:
    """Turns what comes from the kit into wishes; everything else is let go by.

    bound: triggers to the names of commands, as in a kit file.
    """

    def __init__(self, bound: Mapping[Trigger, str], wish: Callable[[Command], None]) -> None:
        self._bound = {trigger: Command(name) for trigger, name in bound.items()}
        self._wish = wish
        self._last: dict[Trigger, int] = {}
        self._pedals = Pedals()

    def heard(self, message: bytes, when: int | None = None) -> None:
        """Takes a message; those that are cut short or unknown are nothing."""
        found = read_message(message)
        if found is None or (found.kind == CONTROLLER and not self._pedals.goes_down(found)):
            return
        command = self._bound.get(found.trigger)
        if command is None:
            return
        now = time.monotonic_ns() if when is None else when
        if now - self._last.get(found.trigger, -_AGAIN_AFTER) < _AGAIN_AFTER:
            return
        self._last[found.trigger] = now
        self._wish(command)
