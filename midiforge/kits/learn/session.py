"""Learning a kit through its input, from the first voice to the last."""

import time
from contextlib import suppress
from queue import Empty, SimpleQueue
from threading import Event

from midiforge.kits.learn.learn import Learning
from midiforge.kits.learn.screen import Show
from midiforge.live.playing.guard import guarded
from midiforge.live.playing.signals import quitting
from midiforge.live.ports.watched_input import WatchedInput
from midiforge.live.screen.terminal import CLOSE, PLAIN

_WAIT = 0.02  # seconds from one look at the time to the next
_LATEST = 10_000  # messages that wait; a port that floods gets no more
_NOTHING = 10.0  # seconds without a message before we ask about the port


class LearnSession:
    """Opens the input; a virtual one is for others to connect to.

    name: the input's; "" for a virtual one.
    """

    def __init__(self, learning: Learning, wanted: str, virtual: bool = False) -> None:
        self._learning = learning
        self._messages: SimpleQueue[tuple[bytes, int]] = SimpleQueue()
        self._input = WatchedInput("the kit's input", wanted, [self._hear], virtual=virtual)
        self.name = self._input.name

    def _hear(self, message: bytes, when: int) -> None:
        """From the driver's own thread."""
        if self._messages.qsize() < _LATEST:
            self._messages.put((message, when))

    def run(self, show: Show) -> None:
        """Asks, hears and shows until all is done."""
        learning, messages, ended = self._learning, self._messages, Event()
        begun = time.monotonic()
        with guarded({}, False, PLAIN + CLOSE), quitting(ended.set):
            while not learning.done and not ended.is_set():
                with suppress(Empty):
                    learning.heard(*messages.get(timeout=_WAIT))
                    for _ in range(_LATEST):
                        learning.heard(*messages.get_nowait())
                learning.until(time.monotonic_ns())
                self._input.look()
                show(learning, self._hint(time.monotonic() - begun))

    def _hint(self, lasted: float) -> str:
        """What to tell of the port; "" if all is well."""
        name = self.name or "the virtual input"
        if self._input.gone:
            return f"{name} is gone; plug it in again, it goes on from here"
        if not self._learning.anything_heard and lasted > _NOTHING:
            return f"nothing heard yet from {name}"
        return ""

    def close(self) -> None:
        self._input.close()
