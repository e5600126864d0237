"""What every test needs, and what becomes of tests that this machine cannot run.

A test that needs something of the system (a server, a mount) skips itself with the reason where
that is missing; the summary names them. With MIDIFORGE_RUN_ALL=1 such a test fails instead.
"""

import os
from collections.abc import Generator

import pytest
from jack import jack, module, own_jack  # noqa: F401  # fixtures


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
