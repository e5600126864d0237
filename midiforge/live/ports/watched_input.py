"""An input of the kit's or of a master's, lost and found again while others keep time."""

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from midiforge.live.ports.ports import RtInput

_LOOK_EVERY = 0.25  # seconds
_TRY_EVERY = 0.5
_PATIENCE = 2.0  # seconds that the end waits for an input that is just being opened

Heard = Callable[[bytes, int], None]


class WatchedInput:
    """An input whose messages go to several, each called from the driver's thread.

    called: what it is called where it is said that it is gone, such as "the kit's input".
    say: told when it goes and when it is back; called by whoever calls `look`.
    gone: whether it is.
    """

    def __init__(
        self,
        called: str,
        wanted: str,
        heard: Sequence[Heard],
        say: Callable[[str], None] = lambda _: None,
        virtual: bool = False,
        clock: bool = False,
    ) -> None:
        self.gone = False
        self._called = called
        self._say = say

        def to_all(message: bytes, when: int) -> None:
            for hear in heard:
                hear(message, when)

        self._input = RtInput(wanted, to_all, virtual, clock)
        self._looked = time.monotonic()
        self._opening = threading.Lock()
        self._found = threading.Event()
        self._done = threading.Event()

    @property
    def name(self) -> str:
        return self._input.name

    def look(self) -> None:
        """Looks now and then whether the port is there; costs a tenth of a millisecond then.

        A port that is gone is looked for by a thread of its own: to open one takes long.
        """
        now = time.monotonic()
        if now - self._looked < _LOOK_EVERY:
            return
        self._looked = now
        if self.gone:
            if self._found.is_set():
                self.gone = False
                self._say(f"{self._called} is back")
        elif not self._input.alive():
            self.gone = True
            self._say(f"{self._called} is gone; waiting for it to come back")
            self._found.clear()
            threading.Thread(target=self._find, daemon=True).start()

    def _find(self) -> None:
        while not self._done.is_set():
            with self._opening:
                found = False
                with suppress(Exception):  # whatever a driver raises, the next try may go well
                    found = not self._done.is_set() and self._input.reopen()
                if self._done.is_set():
                    self._input.close()
                    return
            if found:
                self._found.set()
                return
            self._done.wait(_TRY_EVERY)

    def close(self) -> None:
        """Lets go of the port; one that is just being opened is closed as soon as it is open."""
        self._done.set()
        if self._opening.acquire(timeout=_PATIENCE):
            try:
                self._input.close()
            finally:
                self._opening.release()
