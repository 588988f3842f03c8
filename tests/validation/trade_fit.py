"""Which assumptions make the trade readings fit: a sweep, smooth surfaces through it, and least squares on them.

Output and lid dirt are factors. Share and beam angle are swept and the logarithm of each reading is taken as a quadratic
in both, which also evens out the simulation error; the light's place in the front half is linear between traced places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from .trade_model import Beam, Light, Setting, light
from .trade_readings import READINGS, Reading

ANGLES = (75.0, 90.0, 105.0, 120.0)
SHARES = (0.0, 0.2, 0.4, 0.6)
PLACES = (4.3, 5.2, 6.1)
"""Places of the light over the front half [in before the tank's middle]; at 6.1 its body ends at the front pane."""
PHOTONS = 1_000_000


@dataclass(frozen=True)
class Assumptions:
    """What the readings leave open. ppf [umol/s]; film: share that dirt and condensation of the lid let through (the clean
    pane's own loss comes on top); share given back per wall hit; angle [deg]; place [in before the middle]."""

    ppf: float = 75.0
    film: float = 0.80
    share: float = 0.25
    angle: float = 120.0
    place: float = 6.1


PARAMETERS = ("ln output", "ln film", "share", "beam [deg]", "place [in]")
LOW = np.array([math.log(10.0), math.log(0.5), 0.0, 75.0, 4.3])
HIGH = np.array([math.log(1000.0), 0.0, 0.6, 120.0, 6.1])


def vector(a: Assumptions) -> np.ndarray:
    """Assumptions in the order of `PARAMETERS`."""
    return np.array([math.log(a.ppf), math.log(a.film), a.share, a.angle, a.place])


def spot_of(reading: Reading, place: float) -> tuple[float, float]:
    """Spot of a reading [in from the middle: sideways, to the front]."""
    return reading.x_in, (place if reading.forward_in is None else reading.forward_in)


@dataclass
class Sweep:
    """Traced settings, and the surfaces through them; traces what is asked for the first time."""

    photons: int = PHOTONS
    length_in: int = 34
    lights: dict[Setting, Light] = field(default_factory=dict)
    surfaces: dict[tuple[Reading, float, int], np.ndarray] = field(default_factory=dict)

    def traced(self, setting: Setting) -> Light:
        """Light of a setting with every beam angle, traced once; the random numbers differ from setting to setting."""
        if setting not in self.lights:
            beams = tuple(Beam(a, self.length_in) for a in ANGLES)
            self.lights[setting] = light(setting, beams, photons=self.photons, seed=1 + len(self.lights))
        return self.lights[setting]

    def value(self, reading: Reading, share: float, angle: float, place: float) -> float:
        """Traced PPFD of a reading for 100 umol/s and a clean lid."""
        setting = reading.setting(share, place)
        return self.traced(setting).at(Beam(angle, self.length_in), *spot_of(reading, place)).value

    def _surface(self, reading: Reading, place: float) -> np.ndarray:
        key = (reading, place, self.length_in)
        if key not in self.surfaces:
            points = [(s, a) for s in SHARES for a in ANGLES]
            values = [math.log(self.value(reading, s, a, place)) for s, a in points]
            self.surfaces[key] = np.linalg.lstsq(np.array([_terms(s, a) for s, a in points]), values, rcond=None)[0]
        return self.surfaces[key]

    def log_of(self, reading: Reading, p: np.ndarray) -> float:
        """Logarithm of a reading as predicted, p in the order of `PARAMETERS`."""
        terms = _terms(p[2], p[3])
        if reading.light_forward_in is None:
            i = 0 if p[4] <= PLACES[1] else 1
            u = (p[4] - PLACES[i]) / (PLACES[i + 1] - PLACES[i])
            shape = (1 - u) * self._surface(reading, PLACES[i]) + u * self._surface(reading, PLACES[i + 1])
        else:
            shape = self._surface(reading, PLACES[0])
        return float(terms @ shape + p[0] - math.log(100.0) + (p[1] if reading.lidded else 0.0))


def _terms(share: float, angle: float) -> np.ndarray:
    q = (angle - 105.0) / 30.0
    return np.array([1.0, share, share * share, q, q * q, share * q])


@dataclass(frozen=True)
class Fit:
    """Least squares over the readings. misfit: root mean square of (predicted over read - 1) over the band's half width:
    a set that keeps inside the bands as normal errors do has about .5."""

    p: np.ndarray
    departures: np.ndarray
    misfit: float
    chi2: float


def fit(sweep: Sweep, readings: tuple[Reading, ...] = READINGS, fixed: dict[int, float] | None = None) -> Fit:
    """Best assumptions; `fixed` holds parameters by index. A band's half width is taken as two standard errors."""
    from scipy.optimize import least_squares

    fixed = fixed or {}
    free = [i for i in range(len(PARAMETERS)) if i not in fixed]
    p = vector(Assumptions())
    for i, v in fixed.items():
        p[i] = v
    wanted = np.log([r.value for r in readings])
    bands = np.array([r.band for r in readings])

    def departures(q: np.ndarray) -> np.ndarray:
        p[free] = q
        return np.array([sweep.log_of(r, p) for r in readings]) - wanted

    start = np.clip(p[free], LOW[free] + 1e-6, HIGH[free] - 1e-6)
    best = least_squares(
        lambda q: departures(q) / (bands / 2), start, bounds=(LOW[free], HIGH[free]),
        x_scale=np.array([0.1, 0.1, 0.1, 10.0, 1.0])[free], diff_step=1e-3,
    )  # fmt: skip
    found = departures(best.x)
    return Fit(p.copy(), found, float(np.sqrt(np.mean((found / bands) ** 2))), float(2 * best.cost))


def two_factors(predicted: np.ndarray, readings: tuple[Reading, ...]) -> tuple[float, float, np.ndarray]:
    """Best output and film for readings predicted at 100 umol/s under a clean lid: (ppf, film, departures (n,)).

    Linear least squares in the logarithms; a film lets through 1 at most.
    """
    weight = 2.0 / np.array([r.band for r in readings])
    gap = np.log([r.value for r in readings]) - np.log(predicted)
    lidded = np.array([float(r.lidded) for r in readings])
    columns = np.stack([np.ones(len(gap)), lidded], axis=1)
    scale, film = np.linalg.lstsq(columns * weight[:, None], gap * weight, rcond=None)[0]
    if film > 0.0 or not lidded.any():
        film = 0.0
        scale = float((gap * weight**2).sum() / (weight**2).sum())
    return 100.0 * math.exp(scale), math.exp(film), columns @ (scale, film) - gap


def variant(readings: tuple[Reading, ...], **change: object) -> tuple[Reading, ...]:
    """The readings with some of them taken otherwise: changes apply to those whose light is in the front half where
    `tank` or `lidded` is said as front_tank, front_lidded, to the low tank's as low_lidded."""
    out = []
    for r in readings:
        if r.light_forward_in is None and "front_tank" in change:
            r = replace(r, tank=str(change["front_tank"]))
        if r.light_forward_in is None and "front_lidded" in change:
            r = replace(r, lidded=bool(change["front_lidded"]))
        if r.tank == "low" and r.light_forward_in is not None and "low_lidded" in change:
            r = replace(r, lidded=bool(change["low_lidded"]))
        out.append(r)
    return tuple(out)
