"""Words spoken by a speech program of the system, on the computer's own sound."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable

# The programs that take a sentence as their last argument, and what comes before it.
_PROGRAMS: tuple[tuple[str, ...], ...] = (
    ("say", "--"),
    ("espeak-ng", "--"),
    ("espeak", "--"),
    ("spd-say", "--"),
)
_WINDOWS = (
    "Add-Type -AssemblyName System.Speech; "
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak($env:MIDIFORGE_SAYS)"
)


def speaker() -> Callable[[str], None] | None:
    """What speaks a sentence and does not wait for its end; None where the system has nothing that
    does. A sentence that is not over is broken off by the next one."""
    command = _command()
    if command is None:
        return None
    running: list[subprocess.Popen[bytes]] = []

    def speak(sentence: str) -> None:
        while running:
            last = running.pop()
            if last.poll() is None:
                last.terminate()
        environment = {**os.environ, "MIDIFORGE_SAYS": sentence}
        words = () if sys.platform == "win32" else (sentence,)
        null = subprocess.DEVNULL
        try:
            running.append(
                subprocess.Popen(
                    [*command, *words],
                    stdin=null,
                    stdout=null,
                    stderr=null,
                    env=environment,
                    start_new_session=True,
                )
            )
        except OSError:
            return

    return speak


def _command() -> tuple[str, ...] | None:
    if sys.platform == "win32":
        program = shutil.which("powershell")
        return (program, "-NoProfile", "-Command", _WINDOWS) if program else None
    for name, *more in _PROGRAMS:
        if program := shutil.which(name):
            return (program, *more)
    return None
