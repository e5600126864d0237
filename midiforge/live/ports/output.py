"""What is played through: a port of the system, or any output that takes mido's messages."""

from typing import Any, Protocol

from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.live.ports.ports import RtOutput


class Output(Protocol):
    """A MIDI output that can go away and come back.

    name: by which another process finds it; "" where none can.
    """

    name: str

    def send(self, message: bytes) -> None:
        """Sends a message; nothing happens while the output is gone."""

    def alive(self) -> bool:
        """Whether it is still there."""

    def reopen(self) -> bool:
        """Tries to open it again; whether that worked."""

    def connect_anew(self) -> bool:
        """Connects once more, if nobody would tell us of a lost connection; whether it did."""

    def close(self) -> None:
        """Lets go of it."""


class TakesMessages(Protocol):
    """An open output of mido's (`mido.ports.BaseOutput`), or another to which `mido.Message`s can
    be sent."""

    def send(self, message: Any, /) -> object: ...


def open_output(port: str | TakesMessages, virtual: bool = False) -> Output:
    """The output that is meant; MidiforgeError if there is none.

    port: part of a port's name, or its number, "" for the only one there is; or an open output.
    virtual: whether it is a port of our own, that others connect to.
    """
    return RtOutput(port, virtual) if isinstance(port, str) else MidoOutput(port)


class MidoOutput:
    """Somebody's open output. It stays theirs: it is not closed here, and once they have closed it
    there is nothing to wait for.

    Raises MidiforgeError if it is no open output, and for whatever it raises when it is sent to.
    """

    def __init__(self, port: TakesMessages) -> None:
        if not callable(getattr(port, "send", None)):
            what = f"{type(port).__name__} is no output"
            raise WrongArgument(what, "port", hint="a port's name, or an open output of mido's")
        import mido

        self.name = ""
        self._port = port
        self._message = mido.Message.from_bytes
        if not self.alive():
            raise WrongArgument("the output is closed", "port")

    def send(self, message: bytes) -> None:
        if not self.alive():
            return
        try:
            self._port.send(self._message(message))
        except Exception as error:
            raise MidiforgeError(f"the output took no message: {error}") from error

    def alive(self) -> bool:
        return not getattr(self._port, "closed", False)

    def reopen(self) -> bool:
        raise MidiforgeError("the output was closed while it was played through")

    def connect_anew(self) -> bool:
        return False

    def close(self) -> None:
        """Leaves it open."""
