"""Makes the README's pictures anew, each by the command that stands beside it there."""

import re
import shlex
import sys
from pathlib import Path

from midiforge.command.run import run

ROOT = Path(__file__).parent.parent


def commands() -> list[list[str]]:
    """The commands in the README that draw a picture."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.findall(r"^midiforge (show .*--picture \S+)$", text, re.MULTILINE)
    return [shlex.split(each) for each in found]


if __name__ == "__main__":
    sys.exit(max(run(each) for each in commands()))
