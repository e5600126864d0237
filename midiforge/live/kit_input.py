"""The input that the kit is on, lost and found again while others keep time."""

import threading
import time
from collections.abc import Callable, Sequence

from midiforge.live.ports import RtInput

_LOOK_EVERY = 1.0  # seconds
_TRY_EVERY = 1.0

Heard = Callable[[bytes, int], None]


class KitInput:
    """An input whose messages go to several, each called from the driver's thread.

    say: told when it goes and when it is back; called by whoever calls `look`.
    """

    def __init__(
        self, wanted: str, heard: Sequence[Heard], say: Callable[[str], None] = lambda _: None
    ) -> None:
        self._say = say
        self._input = RtInput(wanted, heard[0] if len(heard) == 1 else _to_all(heard))
        self._looked = time.monotonic()
        self._done = threading.Event()
        self._search: threading.Thread | None = None

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
        if self._search is not None:
            if not self._search.is_alive():
                self._search = None
                self._say("the kit's input is back")
        elif not self._input.alive():
            self._say("the kit's input is gone; waiting for it to come back")
            self._search = threading.Thread(target=self._find, daemon=True)
            self._search.start()

    def _find(self) -> None:
        while not self._input.reopen():
            if self._done.wait(_TRY_EVERY):
                return

    def close(self) -> None:
        self._done.set()
        if self._search is not None:
            self._search.join(2 * _TRY_EVERY)
        self._input.close()


def _to_all(heard: Sequence[Heard]) -> Heard:
    def called(message: bytes, when: int) -> None:
        for each in heard:
            each(message, when)

    return called
