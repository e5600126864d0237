"""Who has real-time priority, when, and what there is without it.

sched(7) of the Linux manual: with SCHED_RESET_ON_FORK children have the ordinary policy. The rules
of org.freedesktop.RealtimeKit1 are those of its own daemon, which is asked here.
"""

import ctypes
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from realtime_kit import AS_ANYBODY, NOBODY_THERE, missing, realtime_kit

from midiforge.live.clock.priority import kernel, multimedia_class, time_constraint

_SHOWN = """
import ctypes, os, struct, sys, threading, time
from midiforge.live.clock.priority import awake_before, priority

def policy():
    return os.sched_getscheduler(0) & 0xFF

def slice_():
    number = {"x86_64": 315, "aarch64": 275, "riscv64": 275}[os.uname().machine]  # sched_getattr
    found = ctypes.create_string_buffer(48)
    assert ctypes.CDLL(None).syscall(number, 0, found, 48, 0) == 0
    return struct.unpack("=IIQiIQQQ", found.raw)[5]

def soon(policies, seconds=5):
    end = time.monotonic() + seconds
    while policy() not in policies and time.monotonic() < end:
        time.sleep(0.001)
    return policy()
"""


def _run(code: str, *before: str, **environment: str) -> list[str]:
    done = subprocess.run(
        [*before, sys.executable, "-c", _SHOWN + code],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:] or done.returncode
    return done.stdout.split()


@pytest.fixture(scope="module")
def desktop() -> Iterator[dict[str, str]]:
    """The environment of a program on a desktop with RealtimeKit."""
    if lacking := missing():
        pytest.skip(lacking)
    with tempfile.TemporaryDirectory() as folder, realtime_kit(Path(folder)) as environment:
        yield environment


# Granted by the system itself


def test_threads_that_are_started_later_have_no_real_time_priority() -> None:
    if not hasattr(os, "SCHED_RESET_ON_FORK"):
        pytest.skip("this system has no real-time priority of one thread alone")
    ours, later, after = map(
        int,
        _run(
            "with priority():\n"
            "    found = [policy()]\n"
            "    thread = threading.Thread(target=lambda: found.append(policy()))\n"
            "    thread.start()\n"
            "    thread.join()\n"
            "print(*found, policy())\n"
        ),
    )
    if ours != os.SCHED_FIFO:
        pytest.skip("real-time priority is not granted here")
    assert (later, after) == (os.SCHED_OTHER, os.SCHED_OTHER)


# By RealtimeKit


def test_an_ordinary_user_gets_real_time_priority_while_it_plays_and_no_longer(
    desktop: dict[str, str],
) -> None:
    code = "with priority():\n    print(soon({1, 2}))\nprint(policy())\n"
    while_it_plays, after = map(int, _run(code, *AS_ANYBODY, **desktop))
    assert while_it_plays in (os.SCHED_FIFO, os.SCHED_RR)
    assert after == os.SCHED_OTHER


def test_what_is_granted_after_the_end_is_given_back(desktop: dict[str, str]) -> None:
    code = "with priority():\n    pass\nprint(soon({1, 2}, 0.5), soon({0}))\n"
    assert _run(code, *AS_ANYBODY, **desktop)[-1] == str(os.SCHED_OTHER)


_KEEPS_THE_PROCESSOR = (
    "    soon({1, 2})\n"
    "    end = time.monotonic() + 0.6\n"
    "    while time.monotonic() < end:\n"
    "        pass\n"
    "    print(policy(), slice_())\n"
)


def test_a_player_that_keeps_the_processor_goes_on_without_priority_and_is_not_killed(
    desktop: dict[str, str],
) -> None:
    """setrlimit(2), RLIMIT_RTTIME: SIGXCPU at the soft limit, SIGKILL at the hard one."""
    found = _run("with priority():\n" + _KEEPS_THE_PROCESSOR, *AS_ANYBODY, **desktop)
    assert int(found[0]) == os.SCHED_OTHER


def test_the_guard_takes_priority_from_a_player_that_python_cannot_reach(
    desktop: dict[str, str],
) -> None:
    code = (
        "from midiforge.live.playing.guard import guarded\n"
        "with guarded({}, False, ''), priority():\n"
        "    soon({1, 2})\n"
        "    time.sleep(1.5)\n"  # a guard takes a moment to start
        "    print(policy())\n"
        "    begun = time.thread_time()\n"
        "    sum(range(50_000_000))\n"  # C, which hears no signals
        "    print(time.thread_time() - begun)\n"
    )
    granted, lasted = _run(code, *AS_ANYBODY, **desktop)
    assert int(granted) in (os.SCHED_FIFO, os.SCHED_RR)
    assert float(lasted) > 0.25  # longer than the system lets it live with priority


# Where nobody grants it


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or kernel() < (6, 12),
    reason="this system has no short slices (Linux 6.12)",
)
def test_where_priority_is_refused_the_thread_has_the_shortest_slice_and_waits_awake_for_less() -> (
    None
):
    """sched_setattr(2): slices of the ordinary policy are from 0.1 ms to 100 ms, since Linux 6.12.
    What it is worth is measured by benchmark_live.py."""
    code = (
        "def refused(*_):\n"
        "    raise PermissionError\n"
        "os.sched_setscheduler = refused\n"
        "before = awake_before(0)\n"
        "with priority():\n"
        "    print(policy(), slice_(), before, awake_before(0))\n"
    )
    policy, slice_, before, after = map(int, _run(code, **NOBODY_THERE))
    assert (policy, slice_) == (os.SCHED_OTHER, 100_000)
    assert before < after < 0


# Elsewhere: the calls alone, against what the system's headers say


class Libc:
    """macOS's libSystem, as far as it is called: one tick is 125/3 ns, as on Apple silicon."""

    def __init__(self, refuse: bool = False) -> None:
        self.calls: list[tuple[int, list[int]]] = []
        self.refuse = refuse
        self.mach_thread_self = lambda: 77
        self.mach_thread_self.restype = None  # type: ignore[attr-defined]

    def mach_timebase_info(self, base: Any) -> int:
        base[0], base[1] = 125, 3
        return 0

    def thread_policy_set(self, thread: int, flavor: int, numbers: Any, count: int) -> int:
        assert thread == 77
        self.calls.append((flavor, list(numbers)[:count]))
        return 4 if self.refuse else 0


def test_on_macos_the_thread_has_a_time_constraint_and_then_the_standard_policy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """mach/thread_policy.h: THREAD_TIME_CONSTRAINT_POLICY is 2 and THREAD_STANDARD_POLICY is 1;
    its four numbers are period, computation and constraint in ticks, and preemptible."""
    libc = Libc()
    monkeypatch.setattr(ctypes, "CDLL", lambda _: libc)
    with time_constraint():
        ((flavor, (period, computation, constraint, preemptible)),) = libc.calls
    assert (flavor, preemptible) == (2, 1)
    assert computation <= constraint <= period == 5_000_000 * 3 / 125
    assert libc.calls[1:] == [(1, [])]


def test_a_refusal_on_macos_is_an_os_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda _: Libc(refuse=True))
    with pytest.raises(OSError), time_constraint():
        pass


class Avrt:
    """Windows' avrt.dll, as far as it is called."""

    def __init__(self, handle: int) -> None:
        self.calls: list[tuple[str, Any]] = []

        def begin(name: Any, _: Any) -> int:
            self.calls.append(("begin", name.value))
            return handle

        def end(given: Any) -> int:
            self.calls.append(("end", given.value))
            return 1

        self.AvSetMmThreadCharacteristicsW = begin
        self.AvRevertMmThreadCharacteristics = end


def test_on_windows_the_thread_is_of_the_class_of_audio_programs_until_the_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    avrt = Avrt(9)
    monkeypatch.setattr(ctypes, "WinDLL", lambda _: avrt, raising=False)
    with multimedia_class():
        assert avrt.calls == [("begin", "Pro Audio")]
    assert avrt.calls[1:] == [("end", 9)]


def test_a_refusal_on_windows_is_an_os_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "WinDLL", lambda _: Avrt(0), raising=False)
    with pytest.raises(OSError), multimedia_class():
        pass
