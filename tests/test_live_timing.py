"""Time for live playing: whose the priority is.

sched(7) of the Linux manual: with SCHED_RESET_ON_FORK children have the ordinary policy.
"""

import os
import subprocess
import sys

import pytest

from midiforge.live.timing import _kernel

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


_BUSY = """
import os, struct, subprocess, sys, time
def refused(*_):
    raise PermissionError
os.sched_setscheduler = refused
from midiforge.live.timing import SystemClock, ask_for_priority, awake_before
others = [
    subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(os.cpu_count())
]
try:
    time.sleep(0.3)
    if sys.argv[1] == "asked":
        ask_for_priority()
    late, deadline = [], time.monotonic_ns()
    for _ in range(200):
        deadline += 20_000_000
        while (now := time.monotonic_ns()) < awake_before(deadline):
            SystemClock.sleep(awake_before(deadline) - now)
        while time.monotonic_ns() < deadline:
            pass
        late.append(time.monotonic_ns() - deadline)
finally:
    for each in others:
        each.kill()
print(sorted(late)[197])
"""


def test_without_priority_and_with_every_core_busy_nearly_all_is_within_a_millisecond() -> None:
    """Common practice has it that ten milliseconds are heard and one is not. The 99th percentile
    of three runs' best: other tests run beside."""
    if not sys.platform.startswith("linux") or _kernel() < (6, 12):
        pytest.skip("this system has no short slices (Linux 6.12)")

    def p99() -> int:
        command = [sys.executable, "-c", _BUSY, "asked"]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        return int(done.stdout)

    assert any(p99() < 1_000_000 for _ in range(3))
