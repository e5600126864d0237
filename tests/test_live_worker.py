"""What is made ahead: in order, and never waited for by whoever quits. The project's own rules."""

import subprocess
import sys
import threading
import time

import pytest
from jack import PATIENCE

from midiforge.live.playing.route import Worker

_QUITS = """
import time
from midiforge.live.playing.route import Worker
worker = Worker()
worker.submit(time.sleep, 3600)
worker.shutdown()
"""


def test_it_makes_one_after_the_other_and_hands_on_what_is_raised() -> None:
    worker = Worker()
    made: list[int] = []
    asked = [worker.submit(made.append, i) for i in range(5)]
    assert [each.result(PATIENCE) for each in asked] == [None] * 5
    assert made == list(range(5))
    with pytest.raises(ZeroDivisionError):
        worker.submit(lambda: 1 / 0).result(PATIENCE)
    assert worker.submit(lambda: "goes on").result(PATIENCE) == "goes on"
    worker.shutdown()


def test_what_is_being_made_holds_nobody_up_and_the_rest_is_never_begun() -> None:
    worker = Worker()
    begun, go_on = threading.Event(), threading.Event()

    def slow() -> None:
        begun.set()
        assert go_on.wait(PATIENCE)

    first, second = worker.submit(slow), worker.submit(pytest.fail, "it was begun")
    assert begun.wait(PATIENCE)
    began = time.monotonic()
    worker.shutdown()
    assert time.monotonic() - began < 1
    go_on.set()
    assert first.result(PATIENCE) is None
    assert second.cancelled()


def test_a_program_ends_while_something_is_being_made() -> None:
    # An executor of Python's own is joined at the interpreter's end (concurrent.futures.thread).
    subprocess.run([sys.executable, "-c", _QUITS], check=True, timeout=PATIENCE)
