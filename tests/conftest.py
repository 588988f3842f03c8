"""Shared by all tests: a session that makes more statistical comparisons than its false-alarm budget is shared over fails."""

from __future__ import annotations

import pytest

import false_alarms


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Hold the budget: comparisons beyond it have no share of it."""
    if told := false_alarms.overdraft():
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        print(f"\n{told}")
