"""What all tests share: a skip that is not listed here fails the run."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

# the same examples on every run: what fails, fails for everybody
settings.register_profile("fixed", derandomize=True)
settings.load_profile("fixed")

#: Reasons for which a test may be skipped, word for word.
LISTED_SKIPS = (
    "openturns is not installed",
    "no Chromium on this machine",
    "not a POSIX system",
    "the peak of memory as Linux reports it",
)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """Turn a skip for an unlisted reason into a failure."""
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)
        if not any(listed in reason for listed in LISTED_SKIPS):
            report.outcome = "failed"
            report.longrepr = f"skipped for a reason that is not listed: {reason}"
