"""The `midiforge` command."""

import sys


def main() -> None:
    """Runs the command line and exits: 0 done, 2 something to put right, 130 interrupted."""
    if sys.argv[1:] == ["--version"]:  # asked often, by scripts; needs none of the rest
        from midiforge import __version__

        print(f"midiforge {__version__}")
        return
    from midiforge.command.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
