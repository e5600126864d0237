"""A running `midiforge open`, for tests: a process of its own, as a person starts it."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

_TO_START = 30  # seconds, on a busy machine


@contextmanager
def served(folder: Path, *flags: str, **environment: str) -> Iterator[str]:
    """The page's address, of a server that is open on a folder; skips without what it needs."""
    with server(folder, *flags, **environment) as (address, _):
        yield address


@contextmanager
def server(
    folder: Path, *flags: str, **environment: str
) -> Iterator[tuple[str, "subprocess.Popen[str]"]]:
    """The same, and its process."""
    import os

    for package in ("starlette", "uvicorn", "websockets", "tomlkit", "verovio"):
        pytest.importorskip(package, reason=f"the page of `open` needs {package}")
    log = () if "--log" in flags else ("--log", str(folder / "log.sqlite"))
    command = [sys.executable, "-m", "midiforge", "open", str(folder), "--silent", *log, *flags]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **environment},
    ) as process:
        try:
            assert process.stdout is not None
            assert process.stderr is not None
            process.stdout.readline()
            address = process.stdout.readline().strip()
            assert address.startswith("http://127.0.0.1:"), process.stderr.read()
            yield address, process
        finally:
            process.terminate()
            try:
                process.wait(_TO_START)
            except subprocess.TimeoutExpired:
                process.kill()
