"""Runs a command line; whatever goes wrong ends in one line and an exit code."""

import errno
import os
import signal
import sys
import threading
from pathlib import Path
from types import FrameType

from midiforge.command.terminal import WRONG, failed, say, tell
from midiforge.errors import MidiforgeError, WrongArgument
from midiforge.files.disk import reason
from midiforge.printable import many

INTERRUPTED = 130
FAULT = 70

_AGAIN = 0.02  # seconds


def run(arguments: list[str]) -> int:
    """Runs a command line; gives its exit code. Errors take one line on standard error."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure:  # letters that a terminal lacks are no reason to stop
            reconfigure(errors="replace")
    _end_on_signals()
    try:
        code = _run(arguments)
        if sys.stdout is not None:
            sys.stdout.flush()
        return code
    except WrongArgument as error:  # the flag has the parameter's name, if nobody said another
        return failed(str(error.called("--" + error.parameter.replace("_", "-"))))
    except MidiforgeError as error:
        return failed(str(error))
    except KeyboardInterrupt:
        return failed("interrupted", INTERRUPTED)
    except OSError as error:
        if error.filename is not None:
            return failed(f"{os.fsdecode(error.filename)}: {reason(error)}")
        _drop_output()
        if error.errno == errno.EPIPE:  # whoever read it has had enough
            return 0
        return failed(f"standard output: cannot be written: {reason(error)}")
    except Exception as error:
        if os.environ.get("MIDIFORGE_TRACE"):
            raise
        return failed(_fault(error), FAULT)


def _fault(error: Exception) -> str:
    """What we say of an error that should not have been possible."""
    trace = error.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    where = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else ""
    return (
        f"a fault of midiforge itself: {type(error).__name__}: {error} ({where}); "
        "MIDIFORGE_TRACE=1 shows more, for a report"
    )


def _run(arguments: list[str]) -> int:
    if arguments == ["--version"]:  # asked often, by scripts; needs none of the rest
        from midiforge import __version__

        say(f"midiforge {__version__}")
        return 0
    from midiforge.command.app import command, explained

    _finish_what_was_cut_short()

    try:
        code = command()(arguments, prog_name="midiforge", standalone_mode=False)
    except (MidiforgeError, OSError):
        raise
    except SystemExit as end:
        if end.code == 1:  # how the command-line library says that nobody reads its output
            raise BrokenPipeError(errno.EPIPE, "broken pipe") from None
        return end.code if isinstance(end.code, int) else 0
    except Exception as error:
        said = explained(error)
        if said is None:
            raise
        return failed(said) if said else WRONG
    if code == INTERRUPTED:
        raise KeyboardInterrupt
    return code if isinstance(code, int) else 0


def _finish_what_was_cut_short() -> None:
    """Finishes folders that a killed process was changing, and makes the takes of recordings that
    were cut short; says so. Nearly always there is neither, and looking costs next to nothing."""
    from midiforge.files.swap import finish_all
    from midiforge.live.recording.waiting import journals_wait

    for folder in finish_all():
        tell(f"writing into {folder} was cut short; it is finished now")
    if not journals_wait():
        return
    from midiforge.live.recording.recording import rescued

    for recording in rescued():
        for take in recording.takes:
            strokes = many(take.strokes, "stroke")
            tell(f"a recording was cut short; its take is {take.path} ({strokes})")


def _drop_output() -> None:
    """Nothing more goes to standard output, not even what waits in its buffer at exit."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError, AttributeError):
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115, PTH123  # it lives as long as we do


def _end_on_signals() -> None:
    """Signals that end a program unwind it, so that nothing half-written stays behind."""

    def end(number: int, _: FrameType | None) -> None:
        raise _Ended(number)

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        try:
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                signal.signal(number, end)
                sys.unraisablehook = _swallowed
        except ValueError:  # not in the main thread
            return


def _swallowed(what: "sys.UnraisableHookArgs") -> None:
    """Nobody takes an exception from a callback of Python's own; so the signal comes again."""
    if isinstance(what.exc_value, _Ended):
        number = what.exc_value.number
    elif isinstance(what.exc_value, KeyboardInterrupt):
        number = int(signal.SIGINT)
    else:
        sys.__unraisablehook__(what)
        return
    threading.Timer(_AGAIN, os.kill, (os.getpid(), number)).start()


class _Ended(SystemExit):
    """Ended by a signal."""

    def __init__(self, number: int) -> None:
        super().__init__(128 + number)
        self.number = number
