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


_REFUSED = """
import ctypes, os, struct
def refused(*_):
    raise PermissionError
os.sched_setscheduler = refused
from midiforge.live import timing
before = timing.awake_before(0)
timing.ask_for_priority()
number = {"x86_64": 315, "aarch64": 275, "riscv64": 275}[os.uname().machine]  # sched_getattr
found = ctypes.create_string_buffer(48)
assert ctypes.CDLL(None).syscall(number, 0, found, 48, 0) == 0
_, policy, _, _, _, slice_, _, _ = struct.unpack("=IIQiIQQQ", found.raw)
print(policy, slice_, before, timing.awake_before(0))
"""


def test_where_priority_is_refused_the_thread_has_the_shortest_slice_and_waits_awake_for_less() -> (
    None
):
    """sched_setattr(2): slices of the ordinary policy are from 0.1 ms to 100 ms, since Linux 6.12.
    What it is worth is measured by benchmark_live.py."""
    if not sys.platform.startswith("linux") or _kernel() < (6, 12):
        pytest.skip("this system has no short slices (Linux 6.12)")
    done = subprocess.run(
        [sys.executable, "-c", _REFUSED], check=True, capture_output=True, text=True
    )
    policy, slice_, before, after = map(int, done.stdout.split())
    assert (policy, slice_) == (os.SCHED_OTHER, 100_000)
    assert before < after < 0
