"""Facts of the trade: one set of assumptions puts every reading inside its band, and wrong sets do not."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .framework import Check, Family, Size
from .trade_fit import Assumptions, spot_of, two_factors, variant
from .trade_model import HEAD_ABOVE_BED_M, INCH, Beam, Light, Setting, light
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
    film: float
    misfit: float
    misfit_error: float


class Bench:
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
        bands = np.array([r.band for r in readings])
        misfit = float(np.sqrt(np.mean((off / bands) ** 2)))
        error = float(np.sqrt(np.sum((off / bands**2 * relative) ** 2)) / len(off) / max(misfit, 1e-9))
        predicted = np.array([r.value for r in readings]) * np.exp(off)
        return Trial(readings, predicted, predicted * relative, spots[0].dof, ppf, film, misfit, error)


def run(size: Size) -> list[Check]:
    """All checks of the trade readings."""
    bench = Bench(size.pick(1_000_000, 250_000))
    best = bench.trial(BEST)
    return [
        *_readings(best),
        *_sets(bench, best),
        *_lid(bench, best),
        *_clean_top(bench),
        *_dimming(),
        *_heights(bench, best),
    ]


def _readings(best: Trial) -> list[Check]:
    case = f"Every reading with share {BEST.share:g}, beam {BEST.angle:g} deg and one lid on both tanks"
    return [
        Check(case, r.name, SOURCE, None, float(v), float(e), best.dof, "umol/m2/s", printed=r.value, note=r.why,
              band=r.limits)
        for r, v, e in zip(READINGS, best.predicted, best.errors, strict=True)
    ]  # fmt: skip


def _sets(bench: Bench, best: Trial) -> list[Check]:
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


def _lid(bench: Bench, best: Trial) -> list[Check]:
    """What the lid takes in all: clean pane (traced with and without) times its dirt (fitted)."""
    beam = Beam(BEST.angle)
    spots = [bench.light(Setting("tall", lid, BEST.share), beam).at(beam, 0.0, 0.0) for lid in ("glass", "none")]
    clean = spots[0].value / spots[1].value
    error = clean * math.hypot(*(s.standard_error / s.value for s in spots))
    source, case = SOURCE, "What the fit says about lid and output"
    return [
        Check(case, "the lid takes in all", source, None, 1 - clean * best.film, error * best.film, best.dof,
              note="in use 15-30 %, and 15 % of 66/90 is open", band=(0.15, 0.36)),
        Check(case, "output of the fixture", source, None, best.ppf, 0.0, unit="umol/s",
              note="a 34 in light for plants of 20-45 W at 2-3 umol/J", band=(40.0, 120.0)),
    ]  # fmt: skip


def _clean_top(bench: Bench) -> list[Check]:
    """A top of one clean polycarbonate sheet, traced, and of two by Fresnel's law at normal incidence."""
    beam, case = Beam(BEST.angle), "A greenhouse-type top that takes almost nothing"
    with_sheet, without = (
        bench.light(Setting("tall", lid, BEST.share), beam).at(beam, 0.0, 0.0) for lid in ("polycarbonate", "none")
    )
    value = with_sheet.value / without.value
    error = value * math.hypot(with_sheet.standard_error / without.value, without.standard_error / without.value)
    note = "between Lambertian light through sheet, gap and water and light straight down; 'almost nothing' is .95 and more"
    return [
        Check(
            case,
            "one clean sheet lets through",
            "Fresnel; index of polycarbonate",
            None,
            value,
            error,
            without.dof,
            note=note,
            band=(0.84, 0.91),
        ),
    ]


def _dimming() -> list[Check]:
    """Dimming is arithmetic on the spot that reads 107 at full."""
    case = "Dimming steps at the spot that reads 107, settings as the nearest round numbers"
    full = DIMMING[0][1]
    return [
        Check(case, f"setting {setting:g}", SOURCE, None, full * setting, printed=read, unit="umol/m2/s",
              note="8 % of the reading, or .5 of rounding", band=(read - max(0.08 * read, 0.5),
                                                                  read + max(0.08 * read, 0.5)))
        for setting, read in DIMMING[1:]
    ]  # fmt: skip


def _heights(bench: Bench, best: Trial) -> list[Check]:
    """Readings with a height that is not on record: the height that the model asks for must be a sensible one."""
    beam, case = Beam(BEST.angle), "Readings at heights that are not on record"
    tall, low = (bench.light(Setting(t, "glass", BEST.share), beam) for t in ("tall", "low"))
    scale = best.ppf / 100.0 * best.film
    heights = np.arange(HEAD_ABOVE_BED_M, 0.46, 0.005)
    curve = np.array([tall.at(beam, 0.0, 0.0, h).value for h in heights]) * scale
    stem = float(np.interp(STEM_TOP, curve, heights)) / INCH
    ratio = float(np.interp(1 / SHOP_HIGH_TO_LOW, curve / curve[0], heights)) / INCH
    raised = bench.light(Setting("low", "glass", BEST.share, above_rim_in=11.0), beam)
    under, over = ([at.at(beam, 0.0, 0.0, h) for h in (HEAD_ABOVE_BED_M, SURFACE_ABOVE_BED_M)] for at in (low, raised))
    return [
        Check(case, "height over the substrate that gets 110 under the lid", SOURCE, None, stem, 0.2, best.dof, "in",
              note="tops of stem bunches in a 24 in tank", band=(4.0, 16.0)),
        Check(case, "height over the substrate with 31/14 of the light there", SOURCE, None, ratio, 0.2, best.dof, "in",
              note="'high up', in a 24 in tank", band=(8.0, 19.0)),
        *(
            Check(case, f"bottom over surface in the low tank, light {where}", SOURCE, None, pair[0].value / pair[1].value,
                  pair[0].standard_error / pair[1].value, best.dof, printed=round(SHOP_SURFACE_TO_BOTTOM, 2), note=note,
                  band=band)
            for where, pair, note, band in (
                ("1 in over the rim", under, "so near the light the surface gets far more: not how it was read",
                 (0.1, SHOP_SURFACE_TO_BOTTOM - 0.1)),
                ("11 in over the rim", over, "read between these two", (0.5, 0.8)),
            )
        ),
    ]  # fmt: skip


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
