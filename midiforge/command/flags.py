"""What the library says of a parameter, said of the flag that gave it."""

from collections.abc import Iterator
from contextlib import contextmanager

from midiforge.errors import MidiforgeError, WrongArgument


@contextmanager
def flags(**names: str) -> Iterator[None]:
    """Errors about these parameters name their flags, where those are called otherwise."""
    try:
        yield
    except WrongArgument as error:
        if error.parameter not in names:
            raise
        raise error.called(names[error.parameter]) from None


def by_flag(error: MidiforgeError) -> MidiforgeError:
    """An error about a parameter as one about the flag of its name."""
    if not isinstance(error, WrongArgument):
        return error
    return error.called("--" + error.parameter.replace("_", "-"))
