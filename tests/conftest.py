"""Shared by all tests: a session that makes more statistical comparisons than its false-alarm budget is shared over fails.

With `-n 2` the tests run in two processes; each reports the comparisons that it made, and the first process adds them up.
"""

from __future__ import annotations

from typing import Any

import pytest

import false_alarms


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hold the budget: comparisons beyond it have no share of it."""
    report = getattr(session.config, "workeroutput", None)
    if report is not None:
        report["comparisons"] = dict(false_alarms.taken)
    elif told := false_alarms.overdraft():
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        print(f"\n{told}")


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Add the comparisons that another process made."""
    false_alarms.taken.update(getattr(node, "workeroutput", {}).get("comparisons", {}))
