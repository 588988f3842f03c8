"""A condensed result answers as the whole one does, and a refinement ends as an ordinary trace does."""

from __future__ import annotations

import numpy as np
import pytest
from small_world import small_result

from underlit.results.condensed import condensed
from underlit.results.result import Result
from underlit.run import Refinement, StoppingRule, trace_compiled


@pytest.fixture(scope="module")
def whole() -> Result:
    return small_result()


@pytest.mark.parametrize("dimmed", [False, True])
def test_condensed_answers_alike(whole: Result, dimmed: bool) -> None:
    small = condensed(whole)
    if dimmed:
        half = {whole.compiled.sources[0].name: 0.5}
        whole, small = whole.dimmed(half), small.dimmed(half)
    assert small.zones() == whole.zones()
    assert small.heads() == whole.heads()
    for name in ("bed", "planes"):
        np.testing.assert_array_equal(getattr(small, name)().value, getattr(whole, name)().value)
        np.testing.assert_array_equal(getattr(small, name)().standard_error, getattr(whole, name)().standard_error)
    for mesh in whole.compiled.meshes:
        np.testing.assert_allclose(small.faces(mesh.name).value, whole.faces(mesh.name).value, rtol=1e-12)
    assert small.ledger() == whole.ledger()
    assert small.ledger_gap() == 0


def test_a_refinement_ends_as_an_ordinary_trace_does(whole: Result) -> None:
    """From the third step on its batches are those of a trace; cancelled, it gives nothing more."""
    refinement = Refinement(whole.compiled, seed=4)
    steps = [refinement.step() for _ in range(3)]
    photons = [step.photons for step in steps if step is not None]
    assert photons == sorted(photons)
    last = steps[-1]
    assert last is not None
    traced, *_ = trace_compiled(whole.compiled, rule=StoppingRule(zones=0.9, spots=0.9), seed=4)
    assert last.zones() == traced.zones()
    refinement.cancel()
    assert refinement.step() is None
