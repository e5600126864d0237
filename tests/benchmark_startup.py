"""How soon a command answers, as a ratio against `import typer` in the same run:
`python tests/benchmark_startup.py`.

Whole processes, one of each in turn, with byte code written before. typer reads the command line,
so its import is the least that a command can take; `--version` does without.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

EXAMPLE = str(Path(__file__).parent.parent / "examples" / "01-slack-water-bossa.toml")
ROUNDS = 25
COMMANDS = {  # what is started, and the ratio that it is to keep
    ("build", EXAMPLE, "--out", "lesson"): 3.0,
    ("show", EXAMPLE): 3.0,
    ("build", "--help"): 2.0,
    ("--version",): 1.4,
}


def seconds(*arguments: str) -> float:
    """How long a process lasts, in an empty folder and with byte code cached."""
    surroundings = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        subprocess.run(
            [sys.executable, *arguments],
            cwd=folder,
            env=surroundings,
            check=True,
            capture_output=True,
        )
        return time.perf_counter() - begin


def main() -> None:
    processes = [("-c", "import typer"), *(("-m", "midiforge", *each) for each in COMMANDS)]
    rounds = [[seconds(*each) for each in processes] for _ in range(ROUNDS + 1)][1:]
    print(f"Python {sys.version.split()[0]}, {ROUNDS} rounds, medians of ratios")
    print(f"import typer: {1000 * statistics.median(each[0] for each in rounds):.0f} ms")
    for place, (command, most) in enumerate(COMMANDS.items(), start=1):
        ratio = statistics.median(each[place] / each[0] for each in rounds)
        said = " ".join(word.replace(EXAMPLE, "DRILL.toml") for word in command)
        print(f"  midiforge {said}: {ratio:.2f} times that (at most {most:.1f})")


if __name__ == "__main__":
    main()
