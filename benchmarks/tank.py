"""Error^2 x time of the floor map of a bare tank, against Mitsuba 3 on the same triangles.

Figure of merit: variance of one repeat x its seconds, so that neither more time nor more photons changes it; for the map the
variance is averaged over the same cells, for the mean it is that of the whole floor. Repeats are independent and in turn.

Mitsuba's handicap: its path tracer starts at the floor and, behind refracting faces, cannot be joined to the lamp: it meets
the LEDs by chance. Its particle tracer starts at the lamp as this engine does and has no such handicap; it is joined to a
pinhole in the water that sees the whole floor unhindered, which a planted tank would not allow. Both render the floor and
nothing else in single precision, while this engine counts every face on both sides, and the light planes where they are on.

Agreement is checked against Mitsuba's path tracer in its polarised variant, under LEDs large enough for it to meet. (The
variants without polarisation read .7 % low; the polarised particle tracer, .5 % low, disagrees with Mitsuba's own
path tracer and is not used.)
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

import bare_tank
import numpy as np
from measure import Report
from other_renderer import FloorRenderer, find_llvm

from underlit.backends.cpu import Tracer
from underlit.transport.tables import PACKET

TARGET = 8.0
BATCH_BITS = 16


@dataclass
class Repeats:
    """Maps of independent repeats of one engine and the seconds that each took."""

    name: str
    render: Callable[[int], np.ndarray]
    maps: list[np.ndarray] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def once(self, index: int) -> None:
        """One repeat more."""
        started = time.perf_counter()
        image = self.render(index)
        self.seconds.append(time.perf_counter() - started)
        self.maps.append(image.ravel())

    def cost(self) -> tuple[float, float]:
        """Error^2 x time relative to the mean squared: of a cell (average over the cells) and of the floor's mean."""
        maps, seconds = np.array(self.maps), float(np.mean(self.seconds))
        square = maps.mean() ** 2
        return maps.var(axis=0, ddof=1).mean() * seconds / square, maps.mean(axis=1).var(ddof=1) * seconds / square

    def mean(self) -> tuple[float, float]:
        """Floor mean and its standard error."""
        means = np.array(self.maps).mean(axis=1)
        return float(means.mean()), float(means.std(ddof=1) / np.sqrt(len(means)))


def ours(planes: bool, batches: int, half: float = bare_tank.LED_HALF) -> Callable[[int], np.ndarray]:
    """A function that traces `batches` new batches and gives the floor's PPFD by cell."""
    compiled = bare_tank.compiled(planes, half)
    layout = compiled.tables.layout[0]
    cells = slice(int(layout["map"]), int(layout["planes"]))
    tracer = Tracer(compiled.tables, batch_bits=BATCH_BITS)
    area = bare_tank.LENGTH * bare_tank.DEPTH / (bare_tank.CELLS[0] * bare_tank.CELLS[1])

    def render(index: int) -> np.ndarray:
        before = tracer.counts[0].groups[:, cells].sum(axis=0)
        tracer.run([tracer.counts[0].batches + batches])
        counted = tracer.counts[0].groups[:, cells].sum(axis=0) - before
        return counted / (batches * tracer.photons_per_batch * float(PACKET)) / area

    return render


def _others(quick: bool) -> list[tuple[str, str, int]]:
    """(variant, integrator, samples per pixel) that can run here."""
    import mitsuba as mi

    few = 4 if quick else 1
    modes = [("scalar_rgb", "path", 512 // few), ("scalar_rgb", "ptracer", 1024 // few)]
    if find_llvm() is not None and "llvm_ad_mono" in mi.variants():
        modes += [("llvm_ad_mono", "path", 2048 // few), ("llvm_ad_mono", "ptracer", 2048 // few)]
    return modes


def run(quick: bool) -> Report:
    """Compare in turn and check that both find the same light on the floor."""
    report = Report(f"tank: error^2 x time of a bare tank's floor (to reach: {TARGET:.0f} x Mitsuba)")
    batches = 4 if quick else 16
    engines = [Repeats(f"underlit, planes {'on' if p else 'off'}", ours(p, batches)) for p in (True, False)]
    try:
        modes = _others(quick)
    except ImportError:
        report.say("left out", "Mitsuba is not installed: pip install mitsuba")
        modes = []
    for mode in modes:
        renderer = FloorRenderer(*mode)
        engines.append(Repeats(renderer.name, renderer.render))
    for engine in engines:
        engine.render(10_000)
    for index in range(6 if quick else 16):
        for engine in engines:
            engine.once(index)
    cells, mean = engines[0].cost()
    for engine in engines:
        theirs = engine.cost()
        value, error = engine.mean()
        report.say(
            engine.name,
            f"{np.mean(engine.seconds):5.2f} s a repeat; error^2 x time against planes on: cells "
            f"{theirs[0] / cells:7.2f} x, floor mean {theirs[1] / mean:8.2f} x; mean {value:.4f} ± {error:.4f}",
        )
        key = engine.name.replace(",", "").replace(" ", "_")
        report.numbers |= {f"{key}_cells_times": theirs[0] / cells, f"{key}_mean_times": theirs[1] / mean}
        report.numbers |= {f"{key}_mean": value, f"{key}_mean_standard_error": error}
    _agreement(report, quick, [variant for variant, _, _ in modes])
    return report


def _agreement(report: Report, quick: bool, variants: list[str]) -> None:
    """The floor's mean under large LEDs, polarisation and all."""
    if "llvm_ad_mono" not in variants:
        report.say("agreement", "not checked: Mitsuba's polarised LLVM variant cannot run here")
        return
    renderer = FloorRenderer("llvm_ad_mono_polarized", "path", 256 if quick else 2048, bare_tank.PANEL_HALF)
    pair = (
        Repeats("underlit", ours(False, 8, bare_tank.PANEL_HALF)),
        Repeats(renderer.name, renderer.render),
    )
    for engine in pair:
        for index in range(8):
            engine.once(index)
    (a, sa), (b, sb) = (engine.mean() for engine in pair)
    pull = (a - b) / np.hypot(sa, sb)
    verdict = "agrees" if abs(pull) < 3 else "DISAGREES"
    report.say(
        "agreement",
        f"{verdict}, large LEDs: {a:.4f} ± {sa:.4f}, {renderer.name} {b:.4f} ± {sb:.4f} "
        f"({a / b - 1:+.2%}, {pull:+.1f} standard errors)",
    )
    report.numbers |= {"agreement_share": a / b - 1, "agreement_standard_errors": float(pull)}
