"""What all tests share. Where everything is installed (continuous integration) a skipped test has failed."""

from __future__ import annotations

import importlib.metadata
import os
from collections.abc import Callable

import pytest
from lxml import etree


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("LEADSMAN_SKIP_NOTHING"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        if "optional" not in reason:
            report.outcome = "failed"
            report.longrepr = f"skipped where nothing may be: {reason}"
    return report


@pytest.fixture(scope="session")
def is_valid() -> Callable[[bytes], bool]:
    """The GPX 1.1 schema, from a distribution that is never imported."""
    try:
        file = importlib.metadata.distribution("gpx").locate_file("gpx/gpx.xsd")
        schema = etree.XMLSchema(etree.parse(str(file)))
    except (importlib.metadata.PackageNotFoundError, OSError):
        pytest.skip("the distribution gpx==0.2.1, which carries the schema, is not installed")
    return lambda data: bool(schema.validate(etree.fromstring(data)))
