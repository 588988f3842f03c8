"""A report from a condensed result says what one from the whole result says."""

from __future__ import annotations

from pathlib import Path

import pytest

from underlit.lowering.scene import lower
from underlit.planning.plantings import planting_reports
from underlit.planning.surfaces import surface_reports
from underlit.results.condensed import condensed
from underlit.run import Refinement
from underlit.scene import load_scene

SCENE = Path(__file__).parents[2] / "scenes" / "under-the-wood.toml"
MOST_TOO_WIDE = 4.0
"""Errors of kept surfaces are too wide by up to 2.3 times there; an error of an error from 24 batches is itself ± 30 %."""


def test_surfaces_and_plantings_alike() -> None:
    lowered = lower(load_scene(SCENE))
    refinement = Refinement(lowered.compiled, dimming=lowered.dimming)
    for _ in range(3):
        whole = refinement.step()
    assert whole is not None
    small = condensed(whole)
    for a, b in zip(surface_reports(lowered, whole), surface_reports(lowered, small), strict=True):
        assert b.upper.value == pytest.approx(a.upper.value, rel=1e-9)
        assert 0.6 * a.upper.standard_error < b.upper.standard_error < MOST_TOO_WIDE * a.upper.standard_error
    told = 0
    for one, two in zip(planting_reports(lowered, whole), planting_reports(lowered, small), strict=True):
        if one.above_need is not None and two.above_need is not None:
            told += 1
            assert two.above_need.value == pytest.approx(one.above_need.value, abs=0.02)
            assert two.above_need.standard_error < 0.1
        if one.takes is not None:
            assert two.takes is not None
            assert two.takes.value == pytest.approx(one.takes.value, rel=1e-9)
    assert told
