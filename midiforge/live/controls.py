"""Commands from the kit itself: a pad, a pedal or a controller bound to them."""

import time
from collections.abc import Callable, Mapping

from midiforge.live.route import Command

_AGAIN_AFTER = 200_000_000  # nanoseconds; a pad that bounces is one stroke
_PRESSED = 64  # from this value on a pedal is down

Trigger = tuple[str, int]  # "note", "controller" or "program", and its number


class Controls:
    """Turns what comes from the kit into wishes; everything else is let go by.

    bound: triggers to the names of commands, as in a kit file.
    """

    def __init__(self, bound: Mapping[Trigger, str], wish: Callable[[Command], None]) -> None:
        self._bound = {trigger: Command(name) for trigger, name in bound.items()}
        self._wish = wish
        self._last: dict[Trigger, int] = {}
        self._down: set[Trigger] = set()

    def heard(self, message: bytes, when: int | None = None) -> None:
        """Takes a message; those that are cut short or unknown are nothing."""
        trigger = self._trigger(message)
        command = self._bound.get(trigger) if trigger else None
        if trigger is None or command is None:
            return
        now = time.monotonic_ns() if when is None else when
        if now - self._last.get(trigger, -_AGAIN_AFTER) < _AGAIN_AFTER:
            return
        self._last[trigger] = now
        self._wish(command)

    def _trigger(self, message: bytes) -> Trigger | None:
        if len(message) < 2 or not 0x80 <= message[0] < 0xF0:
            return None
        kind, number = message[0] & 0xF0, message[1]
        if kind == 0xC0:
            return "program", number + 1
        if len(message) < 3:
            return None
        if kind == 0x90 and message[2]:
            return "note", number
        if kind == 0xB0:
            trigger = ("controller", number)
            was_down = trigger in self._down
            if message[2] < _PRESSED:
                self._down.discard(trigger)
            else:
                self._down.add(trigger)
                return None if was_down else trigger
        return None
