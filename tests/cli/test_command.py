"""The command as a user meets it: help at once, few photons, stopping, a layout before any trace, a schema."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import underlit
from underlit.cli import COMMANDS, main
from underlit.scene import json_schema

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BOX = SCENES / "bare-box.toml"
HEAVY = (
    "numba",
    "scipy",
    "trimesh",
    "pyvista",
    "vtk",
    "xarray",
    "matplotlib",
    "netCDF4",
    "shapely",
    "manifold3d",
    "numpy",
    "pydantic",
)
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(underlit.__file__).parents[1]), "UNDERLIT_NO_GL": "1"}
ENVIRONMENT.pop("DISPLAY", None)
ENVIRONMENT.pop("WAYLAND_DISPLAY", None)


def start(*arguments: str | Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "underlit", *map(str, arguments)]
    return subprocess.Popen(command, env=ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


# -- help -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("arguments", [["--help"], ["trace", "--help"], ["--version"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    script = (
        f"import sys; from underlit.cli import main; status = main({arguments!r})\n"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", script], env=ENVIRONMENT, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0
    assert done.stderr.strip() == "[]"
    assert underlit.__version__ in done.stdout or "underlit" in done.stdout


def test_help_names_every_command_and_the_trade_word(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    said = capsys.readouterr().out
    assert all(word in said for word in ("trace", "check", "view", "schema", "PAR (PPFD)"))


@pytest.mark.parametrize("command", sorted(set(COMMANDS) - {"check", "view", "schema", "catalogue"}))
def test_help_says_what_kind_of_number_an_option_takes(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    said = capsys.readouterr().out
    found = re.findall(r"--(photons|precision|seed|threads|price|port|effort|spots|show|most|ppfd) +(\w+)", said)
    kinds = dict(found) if command != "suggest" else {k: v for k, v in found if k != "price"}
    assert kinds["threads"] == "INT"
    whole = {"photons", "seed", "threads", "port", "spots", "show", "most"}
    assert all(kind == ("INT" if name in whole else "FLOAT") for name, kind in kinds.items()), kinds


# -- few photons ------------------------------------------------------------------------------------------------------
def test_too_few_photons_are_made_enough_for_an_error_and_that_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(BOX), "--photons", "1000"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "1,000 photons were asked for; an error needs at least 16 batches of 4,096 photons" in said
    assert "65,536 were traced" in said
    assert "precision asked for was not reached" not in said


def test_many_photons_may_be_written_short(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(BOX), "--photons", "2e5"]) == 0
    said = capsys.readouterr().out
    assert "photons were asked for" not in said
    traced = int(said.split(" photons in ")[0].split()[-1].replace(",", ""))
    assert 1e5 < traced <= 2e5


# -- stopping ---------------------------------------------------------------------------------------------------------
def wait_until_counting(running: subprocess.Popen[str], marker: Path) -> None:
    """Until the trace says that it has counted enough for an answer."""
    end = time.monotonic() + 120
    while not marker.exists():
        assert running.poll() is None, running.communicate()
        assert time.monotonic() < end
        time.sleep(0.05)


# The command itself; a file tells when two batches are whole (there is no progress line without a terminal).
TELLING = """
import sys
from pathlib import Path
import underlit.run
traced = underlit.run.trace
def trace(*arguments, progress, **more):
    def tell(state):
        if state.photons >= 1 << 17:
            Path({marker!r}).touch()
        progress(state)
    return traced(*arguments, progress=tell, **more)
underlit.run.trace = trace
from underlit.cli import main
sys.exit(main({arguments!r}))
"""


def start_telling(marker: Path, *arguments: str | Path) -> subprocess.Popen[str]:
    script = TELLING.format(marker=str(marker), arguments=[str(a) for a in arguments])
    return subprocess.Popen(
        [sys.executable, "-c", script], env=ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_ctrl_c_keeps_what_was_counted_says_so_and_writes_it(tmp_path: Path) -> None:
    out, marker = tmp_path / "out", tmp_path / "counting"
    running = start_telling(marker, "trace", BOX, "--precision", "1e-7", "--out", out)
    wait_until_counting(running, marker)
    running.send_signal(signal.SIGINT)
    said, complained = running.communicate(timeout=120)
    assert running.returncode == 130
    assert "Traceback" not in complained
    assert "what was counted is kept" in complained
    assert "Stopped early: this is what was counted so far" in " ".join(said.split())
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    assert summary["complete"] is False
    assert summary["photons"] >= 2 << 15
    assert summary["ledger"]["gap_quanta"] == 0
    assert not [p for p in out.iterdir() if p.name.startswith(".")]


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize(("signals", "status"), [((signal.SIGTERM,), 143), ((signal.SIGINT, signal.SIGINT), 130)])
def test_sigterm_and_a_second_ctrl_c_end_at_once(
    signals: tuple[signal.Signals, ...], status: int, tmp_path: Path
) -> None:
    out, marker = tmp_path / "out", tmp_path / "counting"
    running = start_telling(marker, "trace", SCENES / "carpet-plan.toml", "--precision", "1e-7", "--out", out)
    wait_until_counting(running, marker)
    assert running.stderr is not None
    first, *more = signals
    began = time.monotonic()
    running.send_signal(first)
    for number in more:  # once the one before was heard: two that wait together count as one
        assert any("what was counted is kept" in line for line in iter(running.stderr.readline, ""))
        running.send_signal(number)
    _, complained = running.communicate(timeout=60)
    # Writing alone takes longer than that.
    assert time.monotonic() - began < 5
    assert running.returncode == status
    assert "Traceback" not in complained
    assert not out.exists() or not any(out.iterdir())


def test_a_reader_that_closes_early_is_no_error() -> None:
    running = start("schema")
    assert running.stdout is not None
    running.stdout.read(10)
    running.stdout.close()
    assert running.stderr is not None
    assert running.stderr.read() == ""
    assert running.wait(60) == 0


# -- faults of the program --------------------------------------------------------------------------------------------
def test_a_fault_is_one_line_that_does_not_blame_the_user(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(scene: object) -> None:
        raise ZeroDivisionError("division\nby zero")

    monkeypatch.setattr("underlit.lowering.scene.lower", breaks)
    assert main(["trace", str(BOX)]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("a fault in underlit, not in your scene (ZeroDivisionError: division by zero)")
    monkeypatch.setenv("UNDERLIT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main(["trace", str(BOX)])


def test_a_full_disk_loses_no_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("underlit.report.files.write_folder", full)
    assert main(["trace", str(BOX), "--photons", "1000", "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    assert "In short" in said.out
    assert said.err == f"--out: {tmp_path / 'out'}: cannot write there (No space left on device); name another place\n"


# -- check, schema, view ----------------------------------------------------------------------------------------------
def test_check_tells_zones_and_assumptions_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "layout.png"
    assert main(["check", str(BOX), "--out", str(picture)]) == 0
    said = capsys.readouterr().out
    assert "half way up" in said
    assert "fixture.output" in said
    assert "is sound" in said
    assert picture.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_check_draws_into_the_current_folder_by_default(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["check", str(BOX)]) == 0
    assert (tmp_path / "bare-box-layout.png").is_file()
    assert (tmp_path / "bare-box-fixture-1.png").is_file()


def test_schema_is_printed_and_written_alike(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    printed = capsys.readouterr().out
    assert json.loads(printed) == json.loads(json.dumps(json_schema()))
    assert main(["schema", "--out", str(tmp_path / "scene.json")]) == 0
    assert (tmp_path / "scene.json").read_text("utf-8") == printed


def test_view_without_a_display_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if not sys.platform.startswith("linux"):
        pytest.skip("elsewhere there is always a display")
    monkeypatch.setenv("UNDERLIT_NO_GL", "1")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert main(["trace", str(BOX), "--photons", "1000", "--out", str(tmp_path)]) == 0
    capsys.readouterr()
    assert main(["view", str(tmp_path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("no display: ")
    # Half of it is not a result.
    whole = (tmp_path / "result.nc").read_bytes()
    (tmp_path / "result.nc").write_bytes(whole[: len(whole) // 2])
    assert main(["view", str(tmp_path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"{tmp_path / 'result.nc'}: ")
