"""Lux, lumens, watts and readings into photons: published factors, and four ways to state one fixture's output."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from underlit import lower, scene_from_dict
from underlit.photometry.lens import Lens, from_beam_angle, from_table
from underlit.spectra.channels import from_energy_table, illuminant, illuminant_names
from underlit.spectra.luminous import joules_per_umol, photopic, umol_per_joule

from .framework import Check, Family, Size, check_of, checked_plan
from .spectra_by_hand import energy, lux_per_umol

SIGMA = 1e-3
V_SPREAD = 2e-5
"""Relative difference that the choice of interpolation between the 5 nm points of V(lambda) makes."""

CIE_LEDS = {
    "LED-B1": (67.067, 4.8933), "LED-B2": (67.9053, 4.84788), "LED-B3": (69.75, 4.67888), "LED-B4": (71.6566, 4.58664),
    "LED-B5": (69.4009, 4.49188), "LED-BH1": (73.2724, 4.80229), "LED-RGB1": (60.5385, 4.88907),
    "LED-V1": (53.0782, 4.87391), "LED-V2": (56.5732, 4.65811),
}  # fmt: skip
"""Lux per umol/m2/s and umol per joule inside 400-700 nm, computed apart from the program and from this suite."""

THIMIJAN = {
    "D65": ("sun and sky", 54.0, 4.57), "HP1": ("high-pressure sodium", 82.0, 4.98),
    "FL2": ("cool-white fluorescent", 74.0, 4.59), "A": ("incandescent", 50.0, 5.0),
}  # fmt: skip
"""CIE illuminant nearest to the lamp, its name, lux per umol/m2/s and umol/J as published."""
LAMP_SPREAD = 0.05
"""One lamp type differs by about this much from lamp to lamp."""


def led_illuminants() -> list[Check]:
    """The CIE LED illuminants: lux and joules into photons."""
    source = (
        "CIE 015:2018 spectra, V(lambda) of CIE 1924 (CIE 018:2019); exact: summed at 1 nm, V cubic between 5 nm points"
    )
    checks = []
    for name in illuminant_names():
        exact = lux_per_umol(name)
        checks.append(
            Check(
                "Lux per PPFD of white LEDs", name, source, exact, illuminant(name).lumens_per_umol, unit="lx per umol/m2/s",
                printed=CIE_LEDS[name][0], slack=V_SPREAD * exact,
                note="No light is traced here: no simulation error. How V(lambda) runs between its 5 nm points is a matter of "
                "choice within .002 %.",
            )
        )  # fmt: skip
    for name in illuminant_names():
        wave, watts = energy(name)
        fine = np.arange(400.0, 701.0)
        power = np.interp(fine, wave, watts)
        exact = float(np.trapezoid(power / joules_per_umol(fine), fine) / np.trapezoid(power, fine))
        checks.append(
            Check(
                "Photons per joule of white LEDs", name, "CIE 015:2018 spectra; exact: summed at 1 nm", exact,
                umol_per_joule(illuminant(name).photons), unit="umol/J", printed=CIE_LEDS[name][1], slack=1e-4 * exact,
                note="Inside 400-700 nm; 60 bins of 5 nm against sums at 1 nm may differ by .01 %.",
            )
        )  # fmt: skip
    return checks


def published_lamps() -> list[Check]:
    """Thimijan & Heins's factors for older lamps, by the CIE illuminants of their kind."""
    checks = []
    for lamp, (name, lux, per_joule) in THIMIJAN.items():
        channel = from_energy_table(*energy(lamp))
        note = (
            "Quoted second-hand, and for lamps of its time; a CIE illuminant is one such lamp, so 5 % is allowed. "
            "*computed* is this program's figure for the CIE spectrum named."
        )
        source = "Thimijan & Heins, HortScience 18:818 (1983)"
        checks.append(
            Check(
                "Older lamps", f"{name} (CIE {lamp}), lux per PPFD", source, lux, channel.lumens_per_umol,
                unit="lx per umol/m2/s", slack=LAMP_SPREAD * lux, note=note,
            )
        )  # fmt: skip
        checks.append(
            Check(
                "Older lamps", f"{name} (CIE {lamp}), photons per joule", source, per_joule, umol_per_joule(channel.photons),
                unit="umol/J", slack=LAMP_SPREAD * per_joule, note=note,
            )
        )  # fmt: skip
    at_555 = 683.002 * float(joules_per_umol(555.0)) * float(photopic(np.array([555.0]))[0])
    checks.append(
        Check(
            "555 nm", "lux per PPFD at 555 nm", "683 lm/W (SI), energy of a mole of photons (exact since 2019)",
            683.002 * 6.62607015e-34 * 299792458 * 6.02214076e23 / 555e-9 * 1e-6, at_555, printed=147.217,
            unit="lx per umol/m2/s",
        )
    )  # fmt: skip
    return checks


# -- one fixture, said in four ways -----------------------------------------------------------------------------------
PPF, WATTS, LAMP = 48.0, 20.0, "LED-B3"
BOARD, ROWS, COLUMNS, FACE = (0.40, 0.08), 2, 10, 0.003
BELOW, RADIUS = 0.30, 0.05
LENSES: dict[str, tuple[Any, Lens | None]] = {
    "lambertian": ("lambertian", None),
    "beam of 60°": ({"beam_angle": "60 deg"}, from_beam_angle(math.radians(60))),
    "measured profile": (
        {"table": [["0 deg", 0.6], ["20 deg", 1.0], ["35 deg", 0.9], ["50 deg", 0.2], ["70 deg", 0.0]]},
        from_table(np.radians([0.0, 20, 35, 50, 70]), np.array([0.6, 1.0, 0.9, 0.2, 0.0])),
    ),
}


def intensity(lens: str, cosine: np.ndarray) -> np.ndarray:
    """Intensity per unit of flux [1/sr], written apart from the program: cos^m, or a table linear in the angle."""
    if lens == "lambertian":
        return cosine / math.pi
    if lens.startswith("beam"):
        m = math.log(0.5) / math.log(math.cos(math.radians(30)))
        return (m + 1) / (2 * math.pi) * cosine**m
    angle, values = np.radians([0.0, 20, 35, 50, 70]), np.array([0.6, 1.0, 0.9, 0.2, 0.0])
    fine = np.linspace(0, angle[-1], 200001)
    flux = 2 * math.pi * np.trapezoid(np.interp(fine, angle, values) * np.sin(fine), fine)
    return np.interp(np.arccos(np.minimum(cosine, 1.0)), angle, values, right=0.0) / flux


def reading(lens: str, radius: float, face: float) -> float:
    """PPFD per PPF [1/m2] under the board's centre: mean over a head of that radius and over square LED faces."""
    along = (np.arange(COLUMNS) - (COLUMNS - 1) / 2) * BOARD[0] / COLUMNS
    across = (np.arange(ROWS) - (ROWS - 1) / 2) * BOARD[1] / ROWS
    share, turn = (np.arange(48) + 0.5) / 48, 2 * np.pi * (np.arange(48) + 0.5) / 48
    r, t = (a.ravel() for a in np.meshgrid(radius * np.sqrt(share), turn))
    # the mean over a square face is that over its points at 1 / sqrt(3), to fourth order
    nodes = face / 2 / math.sqrt(3) * np.array([-1.0, 1.0])
    total = 0.0
    for x in (along[:, None] + nodes).ravel():
        for y in (across[:, None] + nodes).ravel():
            range2 = (x - r * np.cos(t)) ** 2 + (y - r * np.sin(t)) ** 2 + BELOW**2
            cosine = BELOW / np.sqrt(range2)
            total += float((intensity(lens, cosine) * cosine / range2).mean())
    return total / (4 * ROWS * COLUMNS)


def scene(lens: str, output: dict[str, str]) -> dict[str, Any]:
    """A shallow tank with a light high over it, and a meter head in the air over the water.

    Only direct light reaches the head: what the panes mirror on to it would have to meet them over their top edge, and
    what water sends up ends on the black body of the light or leaves.
    """
    height, above = 0.10, 0.25
    painted = {side: {"behind": "paint", "reflectance": 0.0} for side in ("front", "back", "left", "right", "bottom")}
    return {
        "title": "a reading in air",
        "added_co2": False,
        "tank": {"inside_size": ["100 cm", "60 cm", f"{height} m"], "glass": "clear", "glass_thickness": "6 mm", **painted},
        "water": {"below_rim": "6 cm", "tannin": "none", "cloudiness": "clear"},
        "substrate": {"material": "dark soil", "depth": "1 cm"},
        "fixture": [
            {
                "name": "board", "size": [f"{BOARD[0]} m", f"{BOARD[1]} m", "2 cm"],
                "leds": {"rows": ROWS, "columns": COLUMNS, "face": f"{FACE} m"}, "lens": LENSES[lens][0],
                "output": output, "above_rim": f"{above} m", "position": ["50 cm", "30 cm"], "body_reflectance": 0.0,
                "channel": [{"name": "white", "spectrum": LAMP}],
            }
        ],
        "spot": [
            {"name": "meter", "at": ["50 cm", "30 cm"], "height": f"{height + above - BELOW} m", "radius": f"{RADIUS} m"}
        ],
    }  # fmt: skip


def routes(size: Size) -> list[Check]:
    """Watts and efficacy, lumens, PPF, or a reading: the same light on the same meter, traced from a scene."""
    checks = []
    for k, lens in enumerate(LENSES):
        exact = PPF * reading(lens, RADIUS, FACE)
        said = {
            "watts x efficacy": {"watts": f"{WATTS} W", "efficacy": f"{PPF / WATTS} umol/J"},
            "PPF": {"ppf": f"{PPF} umol/s"},
            "lumens": {"lumens": f"{PPF * lux_per_umol(LAMP)} lm"},
            "a reading": {"reads": f"{PPF * reading(lens, 0.0, 0.0)} umol/m2/s", "below": f"{BELOW} m"},
        }
        plans = {way: lower(scene_from_dict(scene(lens, output))).compiled for way, output in said.items()}
        traced_plan = plans["a reading"]
        meter = checked_plan(traced_plan, photons_log2=size.pick(24, 18), seed=1400 + k).heads()["meter"]
        for way, compiled in plans.items():
            assert np.array_equal(compiled.tables.leds, traced_plan.tables.leds)
            share = compiled.ppf[0] / traced_plan.ppf[0]
            checks.append(
                check_of(
                    meter, case="Four ways to say one fixture's output", name=f"{lens}, by {way}", exact=exact, scale=share,
                    source="E = sum of I cos / r² (inverse squares)", unit="umol/m2/s",
                    slack=V_SPREAD * exact if way == "lumens" else 0.0, sigma_limit=size.pick(SIGMA, None),
                    note="2 x 10 LEDs .25 m over a shallow tank; a meter head of 5 cm radius over the water, .3 m under them; "
                    "48 umol/s, LED-B3. Exact: mean over the head and the LED faces. A reading is taken as at a point under "
                    "point LEDs. The four differ in nothing but the PPF that follows, so one trace serves them all.",
                )
            )  # fmt: skip
    return checks


def run(size: Size) -> list[Check]:
    """All cases."""
    return [*led_illuminants(), *published_lamps(), *routes(size)]


FAMILY = Family(
    title="Photon units",
    intro="""
Meters and makers speak of lux, lumens and watts; plants count photons. The factors come from published spectra; then one
fixture is stated in four ways, and the reading of a meter under it is traced.
""",
    run=run,
    catches=0.02,
    also=(
        "tests/validation/spectra_by_hand.py",
        "tests/validation/data/cie_lamps.csv",
        "sim/underlit/spectra/luminous.py",
        "sim/underlit/spectra/channels.py",
        "sim/underlit/scene/lights/flux.py",
        "sim/underlit/scene/lights/output.py",
    ),
)
