"""What readings told goes through a trace to every place: as wide as it is known, and together where it goes together."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from underlit.planning.ranges import TankRange, TankRanges
from underlit.run import Traced, trace
from underlit.scene import scene_from_dict

OUTPUT_SD, LID_SD, LID = 0.08, 0.3, 0.8
PANE = {"returned_per_reflection": 0.3}
TANK: dict[str, Any] = {
    "tank": {"inside_size": ["45 cm", "30 cm", "30 cm"], "glass_thickness": "6 mm",
             **{side: {"behind": "open air", **PANE} for side in ("front", "back", "left", "right")}},
    "lid": {"dirt": LID, "condensation": 1.0, "thickness": "4 mm"},
    "water": {"tannin": {"a440_per_m": 0.4}, "cloudiness": "clear", "below_rim": "3 cm"},
    "substrate": {"depth": "4 cm", "reflectance": 0.1},
    "fixture": [{
        "name": "bar", "size": ["40 cm", "8 cm", "2 cm"], "leds": {"rows": 2, "columns": 10}, "above_rim": "6 cm",
        "lens": {"beam_angle": "100 deg"}, "output": {"ppf": "40 umol/s"}, "position": ["22 cm", "15 cm"],
    }],
}  # fmt: skip
OUTPUT = {"what": "output", "of": ["bar"], "value": 40.0, "sd": OUTPUT_SD}
DIRT = {"what": "dirt on the lid", "value": LID, "sd": LID_SD}


def _whole_bed(*parameters: dict[str, Any], correlation: float = 0.0, value: float = 1.0) -> TankRange:
    """Range of the whole substrate with some things measured; value: factor on what the file says was measured."""
    rows = [{**p, "value": p["value"] * value} for p in parameters]
    matrix = [[1.0 if i == j else correlation for j in range(len(rows))] for i in range(len(rows))]
    measured = {"date": "2026-03-01", "readings": 6, "parameter": rows, "correlation": matrix}
    traced = trace(scene_from_dict({**TANK, "measured": measured}), photons=1 << 18, seed=3)
    assert isinstance(traced, Traced)
    return TankRanges(traced.lowered, traced.result).zone(0)


def _left(found: TankRange) -> float:
    """Variance of the light's logarithm."""
    return float(np.log(found.ratios).var())


def test_a_measured_output_is_as_wide_as_it_is_known_and_an_open_one_as_is_usual() -> None:
    known, claimed = _whole_bed(OUTPUT), _whole_bed(OUTPUT, value=1.2)
    small = 0.025**2
    assert OUTPUT_SD**2 < _left(known) < OUTPUT_SD**2 + small
    position = (np.arange(1000) + 0.5) / 1000
    claim_and_warmth = np.log(0.85 + 0.3 * position).var() + np.log(0.9 + 0.1 * position).var()
    # the draws of independent ranges happen to go together a little: by a thirtieth, 1 / sqrt(1000)
    assert _left(claimed) - _left(known) == pytest.approx(claim_and_warmth - OUTPUT_SD**2, abs=0.0006)
    (first, *_) = known.named
    assert first.key == "fixture.output"
    assert math.log(first.high) == pytest.approx(1.96 * OUTPUT_SD, rel=1e-3)


def test_errors_that_go_together_add_up_as_they_do() -> None:
    """The light comes through the lid once: var = s^2 + (d t)^2 - 2 rho s d t with optical depth d and its error t."""
    through = -math.log(LID) * LID_SD * math.exp(LID_SD**2 / 2)  # the depth is log-normal
    more = {rho: _left(_whole_bed(OUTPUT, DIRT, correlation=rho)) for rho in (-0.9, 0.9)}
    assert more[-0.9] - more[0.9] == pytest.approx(4 * 0.9 * OUTPUT_SD * through, rel=0.2)
    assert more[0.9] < _left(_whole_bed(OUTPUT)), (
        "of a lid that goes with the output, the light is better known than the output"
    )
