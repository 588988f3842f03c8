"""Run tests of ours on a copy of the package, in this process: python run_on_copy.py ROOT OUTCOMES TEST [TEST ...].

ROOT: the folder that holds the copy. OUTCOMES: file to write, JSON: by test its outcome and what went wrong.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest


class Recorder:
    """A pytest plugin that keeps what became of each test; setting up counts where it did not get further."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.outcomes: dict[str, tuple[str, str]] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep the outcome and, of a failure, its message."""
        if report.when == "call" or not report.passed:
            crash = getattr(report.longrepr, "reprcrash", None)
            told = crash.message if crash is not None else str(report.longrepr or "")
            self.outcomes[report.nodeid] = (report.outcome if report.when == "call" else "error", told)
            self.file.write_text(json.dumps(self.outcomes), encoding="utf-8")


def main(root: str, outcomes: str, *tests: str) -> None:
    """Import the copy first, so that the tests find no other, then run them."""
    sys.path.insert(0, root)
    import underlit

    assert Path(underlit.__file__).resolve().is_relative_to(Path(root).resolve())
    options = ["-q", "--tb=line", "-p", "no:cacheprovider", "-o", "pythonpath="]
    pytest.main([*options, *tests], plugins=[Recorder(Path(outcomes))])


if __name__ == "__main__":
    main(*sys.argv[1:])
