"""`underlit chart`: what it prints and writes, that a killed one goes on where it was, and what it refuses."""

from __future__ import annotations

import csv
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from chart_scenes import write_scenes

from underlit.cli import main
from underlit.planning.chart import Progress, pools
from underlit.report.progress.rows import describe

SOURCES = Path(__file__).parents[2] / "sim"
PHOTONS = "65536"


LONG = "262144"
"""Photons that leave time to stop a chart between two rows, on a busy machine too."""


def command(paths: list[str], *more: str, photons: str = PHOTONS) -> list[str]:
    """Arguments of a chart of these scenes over themselves."""
    return ["chart", "--lights", *paths, "--tanks", *paths, "--photons", photons, *more]


def test_prints_and_writes_the_chart(tmp_path, capsys):
    """Grid, words, sheet and picture say the same."""
    paths = write_scenes(tmp_path)
    out = tmp_path / "out"
    assert main(command(paths, "--out", str(out))) == 0
    said = capsys.readouterr().out
    with open(out / "chart.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["light"], row["tank"]) for row in rows] == [
        (light, tank) for tank in ("small", "tall") for light in ("small", "tall")
    ]
    starved = [row for row in rows if row["answer"] == "not enough at full power"]
    assert 0 < len(starved) < len(rows)
    for row in rows:
        assert float(row["target_low_umol_m2_s"]) == 35.0
        share = float(row["setting_share_of_full_power"])
        assert float(row["then_mean_umol_m2_s"]) == pytest.approx(
            share * float(row["full_power_mean_umol_m2_s"]), rel=1e-4
        )
        if row in starved:
            assert re.search(rf"{row['light']}: .*not enough for [^;]*{row['tank']}", " ".join(said.split()))
    assert "medium, with added CO2: 35-70" in said
    assert said.count("too weak") >= len(starved)
    assert (out / "chart.png").read_bytes()[:4] == b"\x89PNG"

    # another target: arithmetic on the kept rows
    assert main(command(paths, "--out", str(out), "--ppfd", "20")) == 0
    with open(out / "chart.csv", encoding="utf-8") as stream:
        again = list(csv.DictReader(stream))
    assert [row["full_power_mean_umol_m2_s"] for row in again] == [row["full_power_mean_umol_m2_s"] for row in rows]
    assert {row["target_ideal_umol_m2_s"] for row in again} == {"20"}


def heed_ctrl_c() -> None:
    """A run in the background of a script ignores Ctrl-C, and so would what it starts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def start(paths: list[str], out: Path) -> subprocess.Popen[str]:
    """The command in a process of its own, on one thread."""
    environment = {**os.environ, "PYTHONPATH": str(SOURCES)}
    asked = command(paths, "--out", str(out), "--threads", "1", "--seed", "7", photons=LONG)
    arguments = [sys.executable, "-m", "underlit", *asked]
    return subprocess.Popen(
        arguments, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=heed_ctrl_c
    )


def kept(out: Path) -> dict[str, tuple[bytes, int]]:
    """Content and time of every row's file."""
    return {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in (out / "rows").glob("[!.]*.json")}


@pytest.fixture(scope="module")
def never_killed(tmp_path_factory):
    """The folder of the chart when nothing stops it."""
    folder = tmp_path_factory.mktemp("never killed")
    assert start(write_scenes(folder), folder / "out").wait(120) == 0
    return folder / "out"


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_killed_chart_goes_on_where_it_was(tmp_path, how, never_killed):
    """Killed after its first row: the same command keeps that row untouched and ends as one that was never killed."""
    paths = write_scenes(tmp_path)
    out = tmp_path / "killed"
    process = start(paths, out)
    deadline = time.monotonic() + 120
    while not (out / "rows").is_dir() or not kept(out):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline
        time.sleep(0.01)
    process.send_signal(how)
    _, said = process.communicate(timeout=60)
    assert process.returncode == (-how if how == signal.SIGKILL else 130)
    if how == signal.SIGINT:
        assert "goes on from there" in said
    before = kept(out)
    assert 0 < len(before) < 4
    assert not (out / "chart.csv").exists()

    again = start(paths, out)
    assert again.wait(120) == 0, again.communicate()
    after = kept(out)
    assert {name: after[name] for name in before} == before
    assert {n: text for n, (text, _) in after.items()} == {n: text for n, (text, _) in kept(never_killed).items()}
    assert (out / "chart.csv").read_bytes() == (never_killed / "chart.csv").read_bytes()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--need", "medium", "--ppfd", "40"], r"--need, --ppfd: use only one of them"),
        (["--ppfd", "-3"], r"--ppfd: must be above 0 .got -3"),
        (["--photons", "10"], r"--photons: must be a whole number of? ?.*65536"),
        (["--above-rim", "10"], r"--above-rim: .*unit"),
        (["--threads", "2", "--cluster", "tcp://x:1"], r"--threads, --cluster: use only one of them"),
        (["--need", "plenty"], r"--need"),
    ],
)
def test_refuses_in_one_line(tmp_path, capsys, more, says):
    """One clear line, status 2, nothing written."""
    paths = write_scenes(tmp_path)
    arguments = [a for a in command(paths, "--out", str(tmp_path / "out")) if a not in ("--photons", PHOTONS)]
    assert main([*arguments, *more]) == 2
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    assert re.search(says, said.err)
    assert not (tmp_path / "out").exists()


def test_refuses_scenes_that_cannot_be_used(tmp_path, capsys):
    """A file that is not there, one without light, a folder that is a file, the same tank twice."""
    paths = write_scenes(tmp_path)
    dark = tmp_path / "dark.toml"
    dark.write_text('[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n', encoding="utf-8")
    cases = [
        (["--lights", "no.toml", "--tanks", paths[0]], "no.toml"),
        (["--lights", str(dark), "--tanks", paths[0]], "no light"),
        (["--lights", paths[0], "--tanks", paths[0], paths[0]], "twice"),
        (["--lights", paths[0], "--tanks", paths[0], "--out", paths[1]], "is a file"),
    ]
    for arguments, says in cases:
        assert main(["chart", *arguments]) == 2
        said = capsys.readouterr().err
        assert says in said
        assert len(said.splitlines()) == 1


def test_no_cluster_answers(tmp_path, capsys, monkeypatch):
    """Without dask, or where no scheduler answers, one line says what would be right."""
    paths = write_scenes(tmp_path)
    monkeypatch.setattr(pools, "CONNECT_SECONDS", 0.5)
    assert main(command(paths, "--cluster", "tcp://127.0.0.1:9")) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert re.search(r"pip install 'underlit\[cluster\]'|no scheduler answers there .*tcp://host:8786", said[0])


def test_progress_says_what_is_done_and_left():
    """Rows done, those found kept, and time left once it can be known."""
    assert describe(Progress(0, 0, 72, None)) == "0 of 72 pairs"
    assert describe(Progress(12, 6, 72, 90.0)) == "12 of 72 pairs, 6 of them from an earlier run; 90 s left"
    assert describe(Progress(72, 0, 72, 0.0)) == "72 of 72 pairs"
