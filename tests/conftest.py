"""What every test may use: Hypothesis profiles, the browser, and no silent skips in CI."""

from __future__ import annotations

import os
import shutil
from collections.abc import Generator

import pytest
from hypothesis import HealthCheck, settings

IN_CI = os.environ.get("CI") == "true"

# The clock of a shared machine is no property of the code; timing is tested where it is promised.
settings.register_profile(
    "suite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", parent=settings.get_profile("suite"), derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "suite"))


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Return Debian's Chromium; without it the test is skipped, which fails in CI."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("Chromium is not installed: python3 -m tests says how")
    return found


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn a skip into a failure in CI: there everything a test needs must be present."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped in CI ({call.when}): {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Turn the skip of a whole module into a failure in CI."""
    report = yield
    if IN_CI and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} was skipped in CI: {report.longrepr}"
    return report
