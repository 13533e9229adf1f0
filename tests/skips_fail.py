"""In CI a skipped test is a failed one: what it needs should have been installed."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import TypeVar

import pytest

Report = TypeVar("Report", pytest.TestReport, pytest.CollectReport)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fails a test that skips itself; one that is expected to fail is left alone."""
    report = yield
    return report if hasattr(report, "wasxfail") else failed_in_ci(report)


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Fails a module that skips itself."""
    return failed_in_ci((yield))


def failed_in_ci(report: Report) -> Report:
    """The report, failed where it says skipped and CI is on."""
    if report.skipped and os.environ.get("CI") == "true":
        report.outcome = "failed"
        report.longrepr = f"skipped in CI: {report.longrepr}"
    return report
