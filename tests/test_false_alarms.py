"""The suite's false-alarm budget as a session holds it: overdrawn it fails, and so it does over two processes."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HALF = "def test_half():\n    import false_alarms\n    false_alarms.take('half', false_alarms.SHARES // 2 + {more})\n"


def outcome(folder: Path, *options: str, more: int) -> subprocess.CompletedProcess[str]:
    """A session of two modules that each take half of the budget and some more."""
    for name in ("test_one.py", "test_other.py"):
        (folder / name).write_text(HALF.format(more=more), encoding="utf-8")
    tests = Path(__file__).parent
    (folder / "conftest.py").write_text((tests / "conftest.py").read_text(encoding="utf-8"), encoding="utf-8")
    # no other plugin takes part, and some are slow to start
    plugins, alone = (
        ("-p", "xdist.plugin", "-p", "no:cacheprovider"),
        {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
    )
    command = [sys.executable, "-m", "pytest", "-q", *plugins, "-o", f"pythonpath={tests}", *options, folder]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, env=alone)


@pytest.mark.parametrize("options", [(), ("-n", "2", "--dist", "loadscope")], ids=["one process", "two processes"])
def test_an_overdraft_fails_the_session(tmp_path: Path, options: tuple[str, ...]) -> None:
    within = outcome(tmp_path, *options, more=0)
    assert within.returncode == 0, within.stdout + within.stderr
    beyond = outcome(tmp_path, *options, more=1)
    assert beyond.returncode == 1
    assert "2 passed" in beyond.stdout
    assert "statistical comparisons were made" in beyond.stdout
