"""Time for live playing: whose the priority is.

sched(7) of the Linux manual: with SCHED_RESET_ON_FORK children have the ordinary policy.
"""

import os
import subprocess
import sys

import pytest

_PRIORITY = """
import os, threading
from midiforge.live.timing import ask_for_priority
ask_for_priority()
found = [os.sched_getscheduler(0)]
thread = threading.Thread(target=lambda: found.append(os.sched_getscheduler(0)))
thread.start()
thread.join()
print(*(policy & 0xFF for policy in found))
"""


def test_threads_that_are_started_later_have_no_real_time_priority() -> None:
    if not hasattr(os, "SCHED_RESET_ON_FORK"):
        pytest.skip("this system has no real-time priority of one thread alone")
    done = subprocess.run(
        [sys.executable, "-c", _PRIORITY], check=True, capture_output=True, text=True
    )
    ours, later = map(int, done.stdout.split())
    if ours != os.SCHED_FIFO:
        pytest.skip("real-time priority is not granted here")
    assert later == os.SCHED_OTHER
