"""Another engine: the beds of tanks from scene files, traced here and by Mitsuba 3, both at one wavelength."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from checking import check_ledger
from underlit.lowering.scene import Lowered, lower
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.run import StoppingRule, trace_compiled
from underlit.scene.model import Scene
from underlit.scene.reader.reader import load_scene
from underlit.spectra.grid import PAR_WAVELENGTHS_NM

from .framework import HERE, Check, Family, Picture, Size, faces_flux
from .mitsuba_scene import Meter, OtherEngine, one_bin

SCENES = HERE / "engine_scenes"
SIGMA = 0.0025
PATHS = 1 << 18
UNDERSIDE_PATHS = 1 << 18


@dataclass(frozen=True)
class Case:
    """A scene file and the bin that both engines see; at full size a meter gets `times` PATHS, the trace here its photons."""

    file: str
    spectral_bin: int
    times: int
    seed: int
    below_the_bed: bool = False
    photons_log2: int = 23

    @property
    def wavelength(self) -> float:
        """Middle of the bin [nm]."""
        return float(PAR_WAVELENGTHS_NM[self.spectral_bin])


CASES = (
    Case("bare-lid", 30, 6, 100),
    Case("glass-6", 30, 6, 200, below_the_bed=True),
    Case("glass-12", 30, 6, 300, below_the_bed=True),
    Case("tinted", 8, 18, 400),
    Case("hardscape", 46, 10, 500),
    Case("leaves", 30, 16, 600, photons_log2=24),
)


@dataclass(frozen=True)
class Compared:
    """A patch of bed: its name, PPFD here and there [umol/m2/s]."""

    name: str
    here: Estimate
    there: Estimate


def bed_meters(scene: Scene) -> list[Meter]:
    """The whole bed, then the rectangle of each zone of the scene, all at the level bed's height."""
    length, depth, _ = scene.tank.inside_m
    outlines = [np.array([(0.0, 0.0), (length, depth)]), *(np.array(zone.polygon) for zone in scene.zones)]
    height = float(scene.substrate.grid_m.max())
    corners = [(tuple(map(float, o.min(axis=0))), tuple(map(float, o.max(axis=0)))) for o in outlines]
    return [Meter(low, high, height) for low, high in corners]


def traced_here(lowered: Lowered, case: Case, photons_log2: int) -> Result:
    """The scene's trace with all photons in one bin."""
    compiled = one_bin(lowered.compiled, case.spectral_bin)
    rule = StoppingRule(photons=1 << photons_log2, only_budget=True)
    result = trace_compiled(compiled, rule=rule, seed=case.seed, dimming=lowered.dimming)[0]
    check_ledger(result)
    return result


@lru_cache
def compared(case: Case, size: Size) -> tuple[Compared, ...]:
    """Both engines on the bed of a scene."""
    scene = load_scene(SCENES / f"{case.file}.toml")
    lowered = lower(scene)
    result = traced_here(lowered, case, size.pick(case.photons_log2, 17))
    meters = bed_meters(scene)
    length, depth, _ = scene.tank.inside_m
    below = Meter((0.0, 0.0), (length, depth), meters[0].height, up=False)
    there = OtherEngine(lowered, case.spectral_bin, [*meters, below])
    paths = size.pick(PATHS * case.times, PATHS * case.times // 64)
    found = []
    # a zone's area leaves out what stands on the bed, a meter's does not: the flux is the same
    for k, (meter, zone, value) in enumerate(zip(meters, lowered.compiled.zones, result.zones().values(), strict=True)):
        open_share = zone.area / meter.area
        here = Estimate(value.value * open_share, value.standard_error * open_share, value.dof)
        found.append(Compared(zone.name, here, there.ppfd(k, paths, case.seed + k)))
    if case.below_the_bed:
        share = faces_flux(result, "substrate", side=1)
        scale = result.ppf / below.area
        here = Estimate(share.value * scale, share.standard_error * scale, share.dof)
        paths = size.pick(UNDERSIDE_PATHS, UNDERSIDE_PATHS // 16)
        found.append(Compared("underside of the bed", here, there.ppfd(len(meters), paths, case.seed + 50)))
    return tuple(found)


def differing(pair: Compared) -> float:
    """Degrees of freedom of the difference of two estimates (Welch & Satterthwaite, Biometrika 34:28, 1947)."""
    a, b = pair.here.standard_error**2, pair.there.standard_error**2
    return (a + b) ** 2 / (a * a / pair.here.dof + b * b / pair.there.dof)


def run(size: Size) -> list[Check]:
    """Patch by patch, then all patches together."""
    import mitsuba

    source = f"Mitsuba {mitsuba.__version__.split('.')[0]} (PyPI), its own path integrator"
    checks, ratios, variances = [], [], []
    for case in CASES:
        scene = load_scene(SCENES / f"{case.file}.toml")
        for pair in compared(case, size):
            on_bed = "underside" not in pair.name
            checks.append(Check(
                f"{scene.title}, {case.wavelength:g} nm", pair.name, source, pair.there.value, pair.here.value,
                pair.here.standard_error, differing(pair), "umol/m2/s", exact_error=pair.there.standard_error,
                sigma_limit=size.pick(SIGMA, None) if on_bed else None,
                note="" if on_bed else "light that came down inside the glass; few of the other engine's paths get there",
            ))  # fmt: skip
            if on_bed:
                ratio = pair.here.value / pair.there.value
                ratios.append(ratio)
                variances.append(ratio**2 * sum((e.standard_error / e.value) ** 2 for e in (pair.here, pair.there)))
    checks.append(Check(
        "all scenes together", "mean ratio of the patches of bed", source, 1.0, float(np.mean(ratios)),
        math.sqrt(sum(variances)) / len(ratios), sigma_limit=size.pick(1e-3, None),
        note=f"{len(ratios)} patches, each with the same weight; {mitsuba.__version__}",
    ))  # fmt: skip
    return checks


def draw(checks: list[Check], folder: Path) -> list[Picture]:
    """Ratio of the engines by patch, with its standard error."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    shown = [c for c in checks if c.exact and c.exact_error > 0 and c.sigma_limit is not None]
    ratio = [c.value / c.exact for c in shown if c.exact]
    error = [c.sigma / c.exact for c in shown if c.exact]
    figure, axes = plt.subplots(figsize=(7.2, 4.8), dpi=110, layout="constrained")
    row = np.arange(len(shown))[::-1]
    axes.axvline(1.0, color="0.6", lw=1)
    axes.errorbar(ratio, row, xerr=error, fmt="o", ms=4, capsize=2)
    axes.set_yticks(row, [f"{c.case}: {c.name}" for c in shown], fontsize=7)
    axes.set_xlabel("PPFD here over the other engine's")
    figure.savefig(folder / "engines-ratio.png", metadata={"Software": None})
    plt.close(figure)
    return [
        Picture(
            "engines-ratio.png", "Ratio of the two engines on each patch of bed; bars: one combined standard error."
        )
    ]


FAMILY = Family(
    title="Another engine",
    intro=(
        "Mitsuba 3 renders the beds of six tanks that come from scene files, through this program's own lowering: the same "
        "triangles, indices, absorption and reflectances, at one wavelength. Our photons start at the lamp; its paths start in "
        "the bed and look for the lamp, and it keeps the phase of polarised light at total reflection, which we leave out. "
        "PPFD is over the whole patch, what stands on it included. What is not shared: every line of both transports. What is: "
        "the lowering of the scene, so an error there would not show here."
    ),
    run=run,
    draw=draw,
    also=("tests/validation/mitsuba_scene.py", *(f"tests/validation/engine_scenes/{case.file}.toml" for case in CASES)),
)
