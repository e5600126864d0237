"""The `midiforge` command."""

import gc
import os
import sys
from contextlib import suppress


def main() -> None:
    """Runs the command line and exits: 0 done, 2 something to put right, 130 interrupted."""
    try:
        from midiforge.command.run import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = 130
    if "rtmidi" in sys.modules:  # a driver may crash where Python takes its clients apart
        for stream in (sys.stdout, sys.stderr):
            with suppress(AttributeError, OSError, ValueError):
                stream.flush()
        os._exit(code)
    gc.freeze()  # all goes with the process: nobody need look first what still refers to what
    sys.exit(code)


if __name__ == "__main__":
    main()
