"""Shared by all tests: the session fails when it makes more statistical checks than its false-alarm budget knows of."""

from __future__ import annotations

import pytest

import checking


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Hold the budget: each declared check has its share of it, further ones have none."""
    made = len(checking.made_checks)
    if made > checking.DECLARED_CHECKS:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        print(f"\n{made} statistical checks were made, {checking.DECLARED_CHECKS} are declared in tests/checking.py")
