"""Readings simulated in one tank: the fit finds that tank within its own intervals, and predicts another tank better.

The cases are those of `benchmarks/fit.py` with seeds that its 40 do not use.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

SEEDS = range(200, 206)


def _benchmark() -> ModuleType:
    path = Path(__file__).resolve().parents[2] / "benchmarks" / "fit.py"
    spec = importlib.util.spec_from_file_location("benchmark_of_fits", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # dataclasses look their module up
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.long
def test_the_tank_is_found_and_another_predicted_better() -> None:
    """Of 36 intervals of 95 % at least 30 hold the truth: with right intervals fewer come in 2 of 1000 runs (binomial).

    Intervals half as wide hold it in 67 % of cases and fail in 98 of 100 runs. The seeds are fixed.
    """
    tally = _benchmark().run_cases(SEEDS, 1 << 17)
    assert tally.inside.sum() >= 30
    assert np.median(tally.left[:, 0]) < 0.7, "the output is known better than before"
    assert tally.after.mean() < 0.6 * tally.before.mean()
