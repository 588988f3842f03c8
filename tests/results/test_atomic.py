"""Whole files or none: after errors, after Ctrl-C, and after a process was killed outright in the middle of a write."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from underlit.results.atomic import atomic_path, temporary_folder, write_text

SIM = Path(__file__).resolve().parents[2] / "sim"
DIE_HALFWAY = """
import os, signal, sys
sys.path.insert(0, sys.argv[1])
from underlit.results.atomic import atomic_path
with atomic_path(sys.argv[2]) as path:
    path.write_text("half a fi")
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_whole_write_replaces_the_file_and_leaves_nothing_else(tmp_path):
    target = tmp_path / "new" / "summary.json"
    write_text(target, "one\n")
    write_text(target, "two\n")
    assert target.read_text() == "two\n"
    assert os.listdir(target.parent) == ["summary.json"]


@pytest.mark.parametrize("wrong", [RuntimeError, KeyboardInterrupt])
def test_an_error_keeps_the_old_file_and_removes_the_half(tmp_path, wrong):
    target = tmp_path / "summary.json"
    write_text(target, "old")

    def write_half():
        with atomic_path(target) as path:
            path.write_text("half")
            raise wrong

    with pytest.raises(wrong):
        write_half()
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["summary.json"]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_a_killed_write_leaves_no_file_and_the_next_write_clears_up(tmp_path):
    target = tmp_path / "result.nc"
    done = subprocess.run([sys.executable, "-c", DIE_HALFWAY, str(SIM), str(target)], capture_output=True)
    assert done.returncode == -signal.SIGKILL
    assert not target.exists()
    left = os.listdir(tmp_path)
    assert len(left) == 1
    assert left[0].startswith(".")
    write_text(target, "whole")
    assert os.listdir(tmp_path) == ["result.nc"]


def test_another_running_process_keeps_its_half(tmp_path):
    target = tmp_path / "a.txt"
    with atomic_path(target) as first:
        first.write_text("first")
        write_text(target, "second")
        assert first.exists()
    assert target.read_text() == "first"


def test_a_temporary_folder_goes_whatever_happens(tmp_path):
    def write_half():
        with temporary_folder(tmp_path / "view.vtm") as folder:
            (folder / "part.vtp").write_text("x")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        write_half()
    assert os.listdir(tmp_path) == []
