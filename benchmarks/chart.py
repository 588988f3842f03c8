"""How long a chart of 8 lights over 9 tanks takes, and what threads give: `python benchmarks/chart.py [--quick]`.

All of the catalogue, traced at the default number of photons, rows kept as they come. Threads against one thread on a part
of it, in turn.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "sim"), str(HERE)]

from measure import Report, in_turn, machine, ratio_in_turn  # noqa: E402

LIGHTS = (
    "bar 24 W, 60 cm", "bar 36 W, 90 cm", "bar 48 W, 120 cm", "white and red bar 30 W, 60 cm",
    "bar with lenses 40 W, 90 cm", "board 60 W, 60 cm", "board 90 W, 90 cm", "spot 40 W, 60 deg",
)  # fmt: skip
TANKS = (
    "10 gallon", "20 high", "20 long", "29 gallon", "40 breeder", "55 gallon", "75 gallon", "rimless 60", "rimless 90",
)  # fmt: skip
PART = (2, 2)
PART_PHOTONS = 1 << 18


def run(quick: bool) -> Report:
    """Time the whole chart and, on a part of it, one thread against all."""
    from underlit.backends.cpu import available_threads
    from underlit.planning.chart import lights, make_chart, tanks

    report = Report(f"chart: {len(LIGHTS)} lights over {len(TANKS)} tanks")
    part = lights(LIGHTS[: PART[0]]), tanks(TANKS[: PART[1]])
    one, all_of_them = in_turn(
        1 if quick else 3,
        lambda: make_chart(*part, photons=PART_PHOTONS, threads=1),
        lambda: make_chart(*part, photons=PART_PHOTONS),
    )
    report.add(
        f"{available_threads()} threads against one", ratio_in_turn(one, all_of_them), "x as fast", "threads_gain"
    )
    with tempfile.TemporaryDirectory() as folder:
        started = time.perf_counter()
        chart = make_chart(lights(LIGHTS), tanks(TANKS), folder=folder)
        report.add("all of it", time.perf_counter() - started, "s", "seconds")
        started = time.perf_counter()
        make_chart(lights(LIGHTS), tanks(TANKS), folder=folder)
        report.add("again, from kept rows", time.perf_counter() - started, "s", "seconds_from_kept")
    report.add("pairs traced", chart.traced, "", "pairs")
    report.add("pairs without a fit", len(chart.misfits), "", "misfits")
    worst = max(row.mean.relative for row in chart.rows)
    report.add("simulation error of a mean, at worst", 100 * worst, "% (95 %)", "worst_percent")
    patches = sorted(row.patch_m or 1.0 for row in chart.rows)
    report.add("patches of the tenths, median", 100 * patches[len(patches) // 2], "cm", "patch_cm")
    return report


if __name__ == "__main__":
    print(machine(), "\n")
    print(run("--quick" in sys.argv).text())
