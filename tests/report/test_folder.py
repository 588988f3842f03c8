"""The result's folder: what the files hold, and that they are whole and together or not there."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from answered import answer

from underlit.report import files
from underlit.report.progress.stopping import INTERRUPTED, TERMINATED
from underlit.report.summary import summarise

FILES = {"summary.json", "zones.csv", "result.nc", "view.vtm", "substrate.png", "fixture-1.png"}


@pytest.fixture(autouse=True)
def _no_gl(monkeypatch: pytest.MonkeyPatch) -> None:
    """The 3D picture takes seconds and has tests of its own."""
    monkeypatch.setattr("underlit.viz.tank3d.stills.why_no_gl", lambda: "no 3D picture: not in this test")


def written(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def everything(value: object) -> list[object]:
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in everything(inner)]
    if isinstance(value, list):
        return [leaf for inner in value for leaf in everything(inner)]
    return [value]


def test_the_summary_has_its_keys_units_and_only_finite_numbers() -> None:
    traced, reports = answer()
    text = json.dumps(summarise(traced, list(reports)), allow_nan=False)
    read = json.loads(text)
    assert {"zones", "spots", "ledger", "photons", "seconds", "seed", "ppf_umol_s"} <= set(read)
    assert read["photons"] == traced.result.photons
    assert read["ppf_umol_s"] == pytest.approx(3.0)
    assert read["ledger"]["gap_quanta"] == 0
    assert sum(round(100 * p) for p in read["ledger"]["percent"].values()) == 10_000
    ends = {k: int(v) for k, v in read["ledger"]["quanta"].items()}
    total = ends.pop("emitted") + ends.pop("roulette_gain") - ends.pop("roulette_loss")
    assert sum(ends.values()) == total
    zone = read["zones"][0]
    for key in (
        "area_m2",
        "ppfd_umol_m2_s",
        "simulation_error_95_umol_m2_s",
        "tank_low_95_umol_m2_s",
        "tank_high_95_umol_m2_s",
        "dli_mol_m2_day",
    ):
        assert isinstance(zone[key], float)
    assert all(math.isfinite(v) for v in everything(read) if isinstance(v, float))
    assert {a["what"] for a in read["assumptions"]} >= {"fixture.output", "water.tannin"}


def test_the_sheet_reads_back_cell_by_cell() -> None:
    traced, reports = answer()
    summary = summarise(traced, list(reports))
    rows = list(csv.DictReader(io.StringIO(files.zones_csv(summary))))
    assert [row["name"] for row in rows] == [zone["name"] for zone in summary["zones"]]
    assert all(None not in row and None not in row.values() for row in rows)
    assert [float(row["ppfd_umol_m2_s"]) for row in rows] == [zone["ppfd_umol_m2_s"] for zone in summary["zones"]]
    assert rows[0]["band_low_umol_m2_s"] == ""
    assert rows[1]["band_high_umol_m2_s"] == "3"


def test_the_same_bits_for_any_number_of_threads() -> None:
    def told(threads: int) -> str:
        traced, reports = answer(1 << 17, threads)
        summary = summarise(traced, list(reports))
        return json.dumps({key: summary[key] for key in ("zones", "spots", "ledger", "photons", "seed")})

    assert told(1) == told(2) == told(3)


def test_another_seed_gives_other_bits() -> None:
    values = [summarise(*answer(1 << 17, 1, seed))["zones"][0]["ppfd_umol_m2_s"] for seed in (1, 2)]
    assert values[0] != values[1]
    assert values[0] == pytest.approx(values[1], rel=0.05)


def test_a_folder_holds_all_files_and_nothing_else(tmp_path: Path) -> None:
    traced, reports = answer()
    told = files.write_folder(
        traced, reports, tmp_path / "new" / "out", {"a/x.toml": "base = 'y.toml'", "a/y.toml": "#"}
    )
    out = tmp_path / "new" / "out"
    names = {p.name for p in out.iterdir()}
    assert names >= FILES
    assert {n for n in names if n not in FILES} == {p.name for p in out.iterdir() if p.is_dir()}
    assert told == ["no 3D picture: not in this test"]
    json.loads((out / "summary.json").read_text("utf-8"))
    from underlit.results.stored import load_result

    stored = load_result(out / "result.nc")
    assert stored.scene_text == "base = 'y.toml'"
    assert stored.provenance["base_texts"] == {"y.toml": "#"}
    assert stored.zones() == traced.result.zones()


def test_a_picture_of_an_earlier_trace_does_not_stay(tmp_path: Path) -> None:
    for name in ("view.png", "fixture-2.png"):
        (tmp_path / name).write_bytes(b"of another trace")
    traced, reports = answer()
    files.write_folder(traced, reports, tmp_path)
    assert not (tmp_path / "view.png").exists()
    assert not (tmp_path / "fixture-2.png").exists()


@pytest.mark.parametrize(
    "step",
    ["underlit.report.files.zones_csv", "underlit.results.store.write_fields", "underlit.viz.maps.plan_map.write_plan_map",
     "underlit.viz.tank3d.surfaces.write_vtm"],
)  # fmt: skip
def test_a_failure_at_any_step_leaves_the_earlier_files_whole_and_together(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, reports = answer(1 << 17)
    files.write_folder(first, reports, tmp_path)
    before = written(tmp_path)

    def fails(*arguments: object) -> None:
        for target in arguments:
            # Some of it is there already when the disk is full (the 3D file does its own clearing away).
            if isinstance(target, Path) and target.parent != tmp_path:
                target.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(step, fails)
    second, reports = answer()
    with pytest.raises(OSError, match="No space left"):
        files.write_folder(second, reports, tmp_path)
    assert written(tmp_path) == before


KILLED = """
import os, signal, sys
sys.path[:0] = {paths!r}
from pathlib import Path
from answered import answer
from underlit.report import files
import underlit.viz.tank3d.stills, underlit.viz.maps.plan_map
underlit.viz.tank3d.stills.why_no_gl = lambda: "no 3D picture"
traced, reports = answer({photons})
from underlit.report.progress.stopping import Phase, listening
def die(*arguments):
    arguments[-1].write_bytes(b"half")
    os.kill(os.getpid(), number)
    if number == signal.SIGINT:
        os.kill(os.getpid(), number)
    os._exit(99)
underlit.viz.maps.plan_map.write_plan_map = die
for number in map(int, {numbers!r}):
    out = Path({folder!r}, str(number))
    if os.fork() == 0:
        os.dup2(os.open(f"{{out}}.err", os.O_CREAT | os.O_WRONLY), 2)
        with listening() as stops:
            stops.phase, stops.folder = Phase.WRITING, out
            files.write_folder(traced, reports, out)
        os._exit(98)
    print(os.waitstatus_to_exitcode(os.wait()[1]), flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_a_process_killed_while_writing_leaves_no_half_file(tmp_path: Path) -> None:
    """One process traces; a child of it is killed by each signal while it writes into a folder of its own."""
    photons, numbers = 1 << 17, [int(n) for n in (signal.SIGTERM, signal.SIGINT, signal.SIGKILL)]
    traced, reports = answer(photons)
    files.write_folder(traced, reports, tmp_path / "whole")
    before = written(tmp_path / "whole")
    for number in numbers:
        shutil.copytree(tmp_path / "whole", tmp_path / str(number))
    script = KILLED.format(paths=sys.path, photons=photons, numbers=numbers, folder=str(tmp_path))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    assert done.stdout.split() == [str(TERMINATED), str(INTERRUPTED), str(-signal.SIGKILL)], done.stderr
    for number in numbers[:2]:
        said = (tmp_path / f"{number}.err").read_text()
        assert "no half-written file is left" in said
        assert "Traceback" not in said
        assert written(tmp_path / str(number)) == before
    # Killed outright, nobody can clear away; what is left is hidden, and goes with the next writing.
    out = tmp_path / str(int(signal.SIGKILL))
    left = written(out)
    assert {k: v for k, v in left.items() if not k.startswith(".")} == before
    assert len(left) > len(before)
    files.write_folder(traced, reports, out)
    assert not [p for p in out.iterdir() if p.name.startswith(".")]
