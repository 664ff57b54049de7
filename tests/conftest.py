"""Where everything is installed (continuous integration), a skipped test is a failed one."""

from __future__ import annotations

import os

import pytest


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("LEADSMAN_SKIP_NOTHING"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        if "optional" not in reason:
            report.outcome = "failed"
            report.longrepr = f"skipped where nothing may be: {reason}"
    return report
