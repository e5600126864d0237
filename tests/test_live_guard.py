"""The guard beside a player that a driver holds up, and one that got signals of no concern."""

import os
import signal
import subprocess
import sys
import time

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

# PyDLL calls keep Python's lock: no handler and no thread runs until they are over.
_HELD_UP = """
import ctypes, os
from midiforge.live.playing.guard import guarded
from midiforge.live.playing.signals import quitting
with quitting(lambda: None), guarded({}, False, ""):
    print("held up", flush=True)
    ctypes.PyDLL(None).read(os.pipe()[0], ctypes.create_string_buffer(1), 1)
"""
_TOLD = """
from midiforge.live.playing import guard
guard._put_back = lambda *_: print("put back")
guard._silence = lambda *_: None
guard.main()
"""


def test_a_player_that_a_driver_holds_up_is_gone_within_three_seconds_of_a_signal() -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", _HELD_UP], stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    assert process.stdout and process.stdout.readline() == "held up\n"
    time.sleep(0.3)
    begin = time.monotonic()
    process.send_signal(signal.SIGTERM)
    assert process.wait(10) == -signal.SIGKILL
    assert time.monotonic() - begin < 3.0
    process.stdout.close()


@pytest.mark.parametrize("between", [b"", bytes([signal.SIGWINCH]), bytes([signal.SIGUSR1])])
def test_after_its_last_word_nothing_is_done_whatever_signals_came(between: bytes) -> None:
    said = b'{"outputs": {}, "clock": false, "terminal": null, "settings": null, "screen": ""}\n'

    def done(words: bytes) -> bytes:
        return subprocess.run(
            [sys.executable, "-c", _TOLD], input=words, capture_output=True, check=True
        ).stdout

    assert done(said + between + b"all is silent\n") == b""
    assert done(said + between) == b"put back" + os.linesep.encode()
