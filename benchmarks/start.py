"""How long before the first photon, and how many after: cold compile, warm start, the command's help, photons/s.

Every start is a process of its own. Cold: an empty kernel cache. Speeds: all processors, kernels compiled.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import bare_tank
from measure import Report, in_turn

ROOT = Path(__file__).resolve().parent.parent
_FIRST_PHOTONS = """
import sys; sys.path[:0] = [{sim!r}, {here!r}]
import bare_tank
from underlit.backends.cpu import Tracer
Tracer(bare_tank.plan(True).tables, batch_bits=12).run([1])
"""


def _seconds(arguments: list[str], cache: str | None = None) -> float:
    environment = dict(os.environ, PYTHONPATH=str(ROOT / "sim"))
    if cache is not None:
        environment["NUMBA_CACHE_DIR"] = cache
    started = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], env=environment, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"{arguments[0]} failed: {done.stderr.strip().splitlines()[-1:]}")
    return time.perf_counter() - started


def _starts(report: Report, repeats: int) -> None:
    code = _FIRST_PHOTONS.format(sim=str(ROOT / "sim"), here=str(ROOT / "benchmarks"))
    with tempfile.TemporaryDirectory() as cache:
        report.add("cold: import, compile, tree, first 4096 photons", _seconds(["-c", code], cache), "s", "cold_s")
        warm = median(_seconds(["-c", code], cache) for _ in range(repeats))
        report.add("warm: the same, kernels from the cache", warm, "s", "warm_s")
    help_text = "import sys; from underlit.cli import main; sys.argv = ['underlit', '--help']; main()"
    if (ROOT / "sim" / "underlit" / "cli.py").exists():
        _seconds(["-c", help_text])
        shown = median(_seconds(["-c", help_text]) for _ in range(repeats))
        report.add("underlit --help, warm (to reach: .5 s)", shown, "s", "help_s")


def _speed(report: Report, name: str, tables, repeats: int, bits: int) -> None:
    from underlit.backends.cpu import Tracer
    from underlit.transport.tables import Counter

    tracer = Tracer(tables, batch_bits=bits)

    def task() -> None:
        tracer.run([c.batches + max(1, 8 // len(tracer.counts)) for c in tracer.counts])

    seconds = median(in_turn(repeats, task)[0])
    photons = sum(c.photons for c in tracer.counts) / (repeats + 1)
    segments = sum(c.counters[Counter.SEGMENTS] for c in tracer.counts) / (repeats + 1)
    key = name.split(":")[0].replace(" ", "_").replace(",", "")
    report.say(
        name,
        f"{photons / seconds / 1e6:.2f} M photons/s, {segments / seconds / 1e6:.2f} M segments/s "
        f"({segments / photons:.1f} a photon, {len(tables.corners):,} triangles)",
    )
    report.numbers |= {f"{key}_photons_per_s": photons / seconds, f"{key}_segments_per_s": segments / seconds}


def _scene_speeds(report: Report, repeats: int, bits: int) -> None:
    try:
        from underlit.lowering.scene import lower
        from underlit.scene import load_scene
    except ImportError:
        return
    for path in sorted((ROOT / "scenes").glob("*.toml")):
        _speed(report, path.stem, lower(load_scene(path)).compiled.tables, repeats, bits)


def run(quick: bool) -> Report:
    """Starts, then speeds on the bare tank (planes off and on) and on every shipped scene."""
    report = Report("start: cold and warm start, photons a second")
    repeats, bits = (3, 14) if quick else (5, 16)
    _starts(report, repeats)
    for planes in (False, True):
        label = f"bare tank, planes {'on' if planes else 'off'}"
        _speed(report, label, bare_tank.compiled(planes).tables, repeats, bits)
    _scene_speeds(report, repeats, bits)
    return report
