"""Facts of the trade: one set of assumptions puts every reading inside its band, and wrong sets do not."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.fixtures import dimming

from .framework import Check, Family, Size
from .trade_fit import Assumptions, spot_of, two_factors, variant
from .trade_model import HEAD_ABOVE_BED_M, INCH, Beam, Light, Setting, light, scene_of
from .trade_readings import DIMMING, READINGS, SHOP_HIGH_TO_LOW, SHOP_SURFACE_TO_BOTTOM, SOURCE, STEM_TOP, Reading

BEST = Assumptions(share=0.4, angle=115.0, place=6.0)
"""Found by the sweep; output and film are fitted anew wherever a set is tested, so that no set fails by its level."""
FITS = 0.6
"""Largest misfit (root mean square of departures over half bands) of a set that is called fitting."""


SURFACE_ABOVE_BED_M = 0.27
"""A head just under the surface of the low tank: its water stands .31 m over the substrate."""


@dataclass(frozen=True)
class Trial:
    """A set of assumptions put to the readings: predictions (n,) with errors (n,) at the best output and film."""

    readings: tuple[Reading, ...]
    predicted: np.ndarray
    errors: np.ndarray
    dof: float
    ppf: float
    ppf_error: float
    film: float
    film_error: float
    misfit: float
    misfit_error: float


class Page:
    """Traces of one beam and board, each made once."""

    def __init__(self, photons: int) -> None:
        """Packets a trace."""
        self.photons = photons
        self.lights: dict[tuple[Setting, Beam], Light] = {}

    def light(self, setting: Setting, beam: Beam) -> Light:
        """Light of a setting; the random numbers differ from one to the next."""
        key = (setting, beam)
        if key not in self.lights:
            self.lights[key] = light(setting, (beam,), photons=self.photons, seed=101 + len(self.lights))
        return self.lights[key]

    def trial(self, a: Assumptions, readings: tuple[Reading, ...] = READINGS, length_in: int = 34) -> Trial:
        """Trace what the readings need and fit output and film."""
        beam = Beam(a.angle, length_in)
        spots = [self.light(r.setting(a.share, a.place), beam).at(beam, *spot_of(r, a.place)) for r in readings]
        raw = np.array([s.value for s in spots])
        relative = np.array([s.standard_error for s in spots]) / raw
        ppf, film, off = two_factors(raw, readings)
        moved = [two_factors(raw * (1 + np.eye(len(raw))[i] * relative), readings)[:2] for i in range(len(raw))]
        ppf_error, film_error = np.sqrt(np.sum((np.array(moved) - (ppf, film)) ** 2, axis=0))
        bands = np.array([r.band for r in readings])
        misfit = float(np.sqrt(np.mean((off / bands) ** 2)))
        error = float(np.sqrt(np.sum((off / bands**2 * relative) ** 2)) / len(off) / max(misfit, 1e-9))
        predicted = np.array([r.value for r in readings]) * np.exp(off)
        return Trial(
            readings, predicted, predicted * relative, spots[0].dof,
            ppf, float(ppf_error), film, float(film_error), misfit, error,
        )  # fmt: skip


def run(size: Size) -> list[Check]:
    """All checks of the trade readings."""
    bench = Page(size.pick(1_000_000, 250_000))
    best = bench.trial(BEST)
    return [
        *_readings(best),
        *_sets(bench, best),
        *_lid(bench, best),
        *_clean_top(bench),
        *_dimming(best),
        *_heights(bench, best),
    ]


def _readings(best: Trial) -> list[Check]:
    case = f"Every reading with share {BEST.share:g}, beam {BEST.angle:g} deg and one lid on both tanks"
    return [
        Check(case, r.name, SOURCE, None, float(v), float(e), best.dof, "umol/m2/s", printed=r.value, note=r.why,
              band=r.limits)
        for r, v, e in zip(READINGS, best.predicted, best.errors, strict=True)
    ]  # fmt: skip


def _sets(bench: Page, best: Trial) -> list[Check]:
    case = "Which sets of assumptions fit"
    right, wrong = (0.0, FITS), (FITS + 0.1, 99.0)
    open_top = tuple(replace(r, lidded=False) for r in READINGS)
    defaults = Assumptions(place=BEST.place)
    trials = [
        ("best: as above", best, right),
        ("defaults: share .25, beam 120 deg", bench.trial(defaults), right),
        ("clean walls that guide light: share .95", bench.trial(replace(BEST, share=0.95)), wrong),
        ("no lid on either tank", bench.trial(BEST, open_top), wrong),
        ("lid on the tall tank only", bench.trial(BEST, variant(READINGS, low_lidded=False)), wrong),
        ("front-half readings in the low tank", bench.trial(BEST, variant(READINGS, front_tank="low")), wrong),
        ("a fixture of 12 in", bench.trial(BEST, length_in=12), wrong),
        ("a beam of 60 deg", bench.trial(replace(BEST, angle=60.0)), wrong),
    ]
    note = "root mean square of departures over half bands; output and lid dirt fitted anew in each set"
    return [
        Check(case, name, SOURCE, None, t.misfit, t.misfit_error, t.dof, note=note, band=band)
        for name, t, band in trials
    ]


def _lid(bench: Page, best: Trial) -> list[Check]:
    """What the lid takes in all: clean pane (traced with and without) times its dirt (fitted)."""
    beam = Beam(BEST.angle)
    spots = [bench.light(Setting("tall", lid, BEST.share), beam).at(beam, 0.0, 0.0) for lid in ("glass", "none")]
    clean = spots[0].value / spots[1].value
    error = clean * best.film * math.hypot(best.film_error / best.film, *(s.standard_error / s.value for s in spots))
    source, case = SOURCE, "What the fit says about lid and output"
    return [
        Check(case, "the lid takes in all", source, None, 1 - clean * best.film, error, best.dof,
              note="in use 15-30 %, and 15 % of 66/90 is open", band=(0.15, 0.36)),
        Check(case, "output of the fixture", source, None, best.ppf, best.ppf_error, best.dof, "umol/s",
              note="a 34 in light for plants of 20-45 W at 2-3 umol/J", band=(40.0, 120.0)),
    ]  # fmt: skip


def _clean_top(bench: Page) -> list[Check]:
    """A top of one clean sheet of coated polycarbonate, and of clean glass, against none: at the spot under the light."""
    beam, case = Beam(BEST.angle), "A greenhouse-type top that takes almost nothing"
    note = (
        "straight down a sheet passes .92 (glass .91), slanting light less; a fixture 1 in over it gives .03 of what it mirrors"
        " back; 'almost nothing' can be one clean thin sheet, not two"
    )
    without = bench.light(Setting("tall", "none", BEST.share), beam).at(beam, 0.0, 0.0)
    checks = []
    for name, lid in (("one clean sheet, 1 mm", "polycarbonate"), ("clean glass, 4 mm", "glass")):
        spot = bench.light(Setting("tall", lid, BEST.share), beam).at(beam, 0.0, 0.0)
        error = math.hypot(spot.standard_error, without.standard_error * spot.value / without.value) / without.value
        checks.append(
            Check(case, f"share let through by {name}", "Fresnel's law; measured sheet", None, spot.value / without.value,
                  error, without.dof, note=note, band=(0.87, 0.95))
        )  # fmt: skip
    return checks


def _dimming(best: Trial) -> list[Check]:
    """The spot that reads 107 at full, with the fixture dimmed as a scene dims it."""
    case = "Dimming steps at the spot that reads 107, settings as the nearest round numbers"
    scene = scene_of(READINGS[0].setting(BEST.share, BEST.place), (Beam(BEST.angle),))
    (fixture,) = scene.fixtures
    (name,) = dimming(scene)
    checks = []
    for setting, read in DIMMING[1:]:
        dimmed = scene.model_copy(update={"fixtures": (fixture.model_copy(update={"dimming": setting}),)})
        half, share = max(0.08 * read, 0.5), dimming(dimmed)[name]
        checks.append(
            Check(case, f"setting {setting:g}", SOURCE, None, float(best.predicted[0]) * share, float(best.errors[0]) * share,
                  best.dof, "umol/m2/s", printed=read, note="8 % of the reading, or .5 of rounding",
                  band=(read - half, read + half))
        )  # fmt: skip
    return checks


def _height_of(at: Light, beam: Beam, wanted: float, scale: float) -> tuple[float, float]:
    """Height over the substrate [in] at which a spot under the light has `wanted`, and its simulation error."""
    heights = np.arange(HEAD_ABOVE_BED_M, 0.46, 0.005)
    spots = [at.at(beam, 0.0, 0.0, h) for h in heights]
    curve = np.array([s.value for s in spots]) * scale
    found = float(np.interp(wanted, curve, heights))
    error = float(np.interp(found, heights, [s.standard_error * scale for s in spots]))
    slope = float(np.interp(found, heights, np.gradient(curve, heights)))
    return found / INCH, error / slope / INCH


def _heights(bench: Page, best: Trial) -> list[Check]:
    """Readings with a height that is not on record: the height that the model asks for must be a sensible one."""
    beam, case = Beam(BEST.angle), "Readings at heights that are not on record"
    tall = bench.light(Setting("tall", "glass", BEST.share), beam)
    scale = best.ppf / 100.0 * best.film
    bottom = tall.at(beam, 0.0, 0.0).value * scale
    checks = []
    for name, wanted, note, band in (
        ("height over the substrate that gets 110 under the lid", STEM_TOP, "tops of stem bunches", (4.0, 16.0)),
        ("height that gets 31/14 of the light at the substrate", bottom / SHOP_HIGH_TO_LOW, "'high up'", (8.0, 19.0)),
    ):
        value, error = _height_of(tall, beam, wanted, scale)
        checks.append(
            Check(case, name, SOURCE, None, value, error, best.dof, "in", note=f"{note}, 24 in tank", band=band)
        )
    for above, note, band in (
        (1.0, "a light on the tank: not how 11/17 was read", (0.1, SHOP_SURFACE_TO_BOTTOM - 0.1)),
        (25.0, "a light hung high over a shallow tank: within 12 %", (0.57, 0.73)),
    ):
        low = bench.light(Setting("low", "glass", BEST.share, above_rim_in=above), beam)
        under, over = (low.at(beam, 0.0, 0.0, h) for h in (HEAD_ABOVE_BED_M, SURFACE_ABOVE_BED_M))
        ratio = under.value / over.value
        error = ratio * math.hypot(under.standard_error / under.value, over.standard_error / over.value)
        name = f"bottom over surface in the 16 in tank, light {above:g} in over the rim"
        printed = round(SHOP_SURFACE_TO_BOTTOM, 2)
        checks.append(Check(case, name, SOURCE, None, ratio, error, under.dof, printed=printed, note=note, band=band))
    return checks


FAMILY = Family(
    title="Facts of the trade",
    intro="""
Readings of one fixture on a 36 x 18 in footprint, 16 and 24 in tall, put to the program as bands: common practice, no
source. Output of the fixture and dirt of the lid are fitted, two numbers for eleven readings; what else is assumed, what
the readings cannot tell apart, and what follows for the defaults is in
[decisions/trade-readings.md](decisions/trade-readings.md). The second table puts wrong sets to the same readings: they must
not fit.
""",
    run=run,
    catches=0.2,
    also=tuple(
        f"tests/validation/{name}"
        for name in (
            "trade_fit.py",
            "trade_model.py",
            "trade_readings.py",
            "trade_scenes/low-tank.toml",
            "trade_scenes/tall-tank.toml",
        )
    ),
)
