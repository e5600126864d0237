"""The browser as what is played through: the page sounds what is sent, each message a fixed time
later, so that none comes too late for it."""

import time
from collections.abc import Mapping
from typing import Any

from midiforge.desk.line import Line
from midiforge.kits.kit import DEFAULT, Kit, read_kit
from midiforge.live.ports.sender import PERCUSSION

MOST_LATER_MS = 2000.0


class Browser:
    """An open output, as `live.ports.output` takes one.

    kit: whose notes are sent; the page knows those of General MIDI.
    """

    def __init__(self, line: Line, kit: Kit) -> None:
        general = read_kit(DEFAULT)
        self._line, self._channel = line, kit.channel
        self._notes = {
            note: general.note(kit.voice(note) or voice) for voice, note in kit.notes.items()
        }

    def send(self, message: Any, /) -> None:
        """Sends one of mido's messages, with the moment at which it is sent, in ms."""
        at, content = time.monotonic_ns() / 1e6, message.bytes()
        if message.type in ("note_on", "note_off") and message.channel + 1 == self._channel:
            content[0] = content[0] & 0xF0 | PERCUSSION - 1
            content[1] = self._notes.get(content[1], content[1])
        self._line.tell(sound=[round(at, 2), *content])


def later_ms(job: Mapping[str, Any]) -> float:
    """How much later the page sounds what is sent; 0 where it does not."""
    later = job.get("later", 0) if job.get("browser") else 0
    is_later = isinstance(later, (int, float)) and later > 0  # which what is no number is not
    return float(min(later, MOST_LATER_MS)) if is_later else 0.0


def way_of(source: str, through_browser: bool) -> str:
    """What a kit's delay is kept under: its input, and the way of the click to the player."""
    return f"{source}, the click from the browser" if through_browser else source
