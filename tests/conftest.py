"""What every test needs, and what becomes of tests that this machine cannot run.

A test that needs something of the system (a server, a mount) skips itself with the reason where
that is missing; the summary names them. With MIDIFORGE_RUN_ALL=1 such a test fails instead.

A test in real time, through real ports or with real-time priority, is tried again if it fails: a
server without real-time priority, or a guard, that gets no processor for a moment is late, whatever
midiforge does. What is really wrong fails every time.

What waits in real time comes first, so that other files are worked on meanwhile and no worker is
alone with it at the end.
"""

import gc
import os
import shutil
from collections.abc import Generator
from pathlib import Path

import pytest
from jack import jack, module, own_jack  # noqa: F401  # fixtures

_TRIES_MORE = 2

# Commands are started by the hundred; each would be compiled anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# What is written is waited for until it is on the disk, thousands of times; in memory, where there
# is room, that takes no time.
_MEMORY, _ROOM = Path("/dev/shm"), 2**30
if os.access(_MEMORY, os.W_OK) and shutil.disk_usage(_MEMORY).free > _ROOM:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(_MEMORY))


@pytest.fixture(scope="session", autouse=True)
def data_folder_of_our_own(tmp_path_factory: pytest.TempPathFactory) -> Generator[None]:
    """Nothing that a test leaves, journals or notes, gets into the user's own data folder."""
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    yield
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: not item.path.name.startswith("test_live_"))
    for item in items:
        ports = {"jack", "own_jack", "desktop"} & set(getattr(item, "fixturenames", ()))
        if ports or hasattr(
            getattr(item, "module", None), "chromium"
        ):  # real ports, a real browser: in real time
            item.add_marker(pytest.mark.flaky(reruns=_TRIES_MORE))


def pytest_collection_finish() -> None:
    """All that is imported and collected stays; no search for garbage need go through it again."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if (
        os.environ.get("MIDIFORGE_RUN_ALL") == "1"
        and report.skipped
        and not hasattr(report, "wasxfail")
    ):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, and MIDIFORGE_RUN_ALL=1: {report.longrepr}"
    return report
