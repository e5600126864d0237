"""The `midiforge` command."""

import sys


def main() -> None:
    """Runs the command line and exits: 0 done, 2 something to put right, 130 interrupted."""
    try:
        from midiforge.command.run import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = 130
    sys.exit(code)


if __name__ == "__main__":
    main()
