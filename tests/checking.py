"""Statistical checks within the suite's one false-alarm budget (false_alarms.py), and what they look at in a result."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from false_alarms import ONE_CHECK, take
from underlit.backends.cpu import Tracer
from underlit.lowering.world import World
from underlit.results.estimate import Estimate, mean_of_batches, mean_of_groups
from underlit.results.result import Result
from underlit.transport.tables import PACKET, Counter

MAX_LOST = 1e-6
"""Largest share of the light, and of the photons, that rounding may lose."""


@dataclass(frozen=True)
class Verdict:
    """How an estimate compares with a value: z [standard errors] and the two-sided probability of such a z."""

    z: float
    probability: float

    @property
    def accepted(self) -> bool:
        """Whether the estimate may be of that value."""
        return self.probability >= ONE_CHECK


def judge(estimate: Estimate, exact: float) -> Verdict:
    """Student's t test of an estimate against an exact value."""
    from scipy.stats import t

    if estimate.standard_error == 0.0:
        same = math.isclose(estimate.value, exact, rel_tol=1e-10, abs_tol=1e-11)
        return Verdict(0.0 if same else math.inf, 1.0 if same else 0.0)
    z = (estimate.value - exact) / estimate.standard_error
    return Verdict(z, float(2.0 * t.sf(abs(z), estimate.dof)))


def agree(estimate: Estimate, exact: float, *, resolves: float, what: str = "", slack: float = 0.0) -> None:
    """Assert that an estimate agrees with the exact value and would not with one that is off by `resolves` (relative).

    So a check too blunt to notice such a bias fails. slack: absolute, for values that are exact only to that much.
    """
    take(what)
    nearest = min(max(estimate.value, exact - slack), exact + slack)
    verdict = judge(estimate, nearest)
    told = f"{what}: {estimate.value:.6g} ± {estimate.standard_error:.2g}, exact {exact:.6g}, z = {verdict.z:.2f}"
    assert verdict.accepted, told
    for biased in (exact * (1 - resolves), exact * (1 + resolves)):
        assert not judge(estimate, biased).accepted, f"{told}: too blunt to tell it from {biased:.6g}"


def not_below(estimate: Estimate, bound: float, what: str = "") -> None:
    """Assert that an estimate may be of a value at or above a bound."""
    take(what)
    verdict = judge(estimate, max(estimate.value, bound))
    assert verdict.accepted, (
        f"{what}: {estimate.value:.6g} ± {estimate.standard_error:.2g}, at least {bound:.6g} expected"
    )


def reject(estimate: Estimate, wrong: float, what: str = "") -> None:
    """Assert that the same test turns a wrong value down."""
    verdict = judge(estimate, wrong)
    told = f"{what}: {estimate.value:.6g} ± {estimate.standard_error:.2g} accepts {wrong:.6g} (z = {verdict.z:.2f})"
    assert not verdict.accepted, told


def same(first: Estimate, second: Estimate, *, resolves: float, what: str = "") -> None:
    """Assert that two independent estimates agree, and that a bias of `resolves` between them would show."""
    error = math.hypot(first.standard_error, second.standard_error)
    difference = Estimate(first.value / second.value, error / second.value, min(first.dof, second.dof))
    agree(difference, 1.0, resolves=resolves, what=what)


def chi_square(observed: np.ndarray, expected: np.ndarray, what: str = "") -> float:
    """Assert that counts follow the expected ones (Pearson), cells of fewer than 10 pooled; returns the probability."""
    from scipy.stats import chi2

    take(what)
    probability = chi_square_probability(observed, expected, chi2)
    assert probability >= ONE_CHECK, f"{what}: chi-square probability {probability:.2g}"
    return probability


def chi_square_probability(observed: np.ndarray, expected: np.ndarray, law=None) -> float:
    """Probability of a chi-square this large; cells of fewer than 10 expected are pooled."""
    if law is None:
        from scipy.stats import chi2 as law
    o, e = np.asarray(observed, float).ravel(), np.asarray(expected, float).ravel()
    assert math.isclose(o.sum(), e.sum(), rel_tol=1e-6)
    small = e < 10
    if small.any():
        o, e = np.append(o[~small], o[small].sum()), np.append(e[~small], e[small].sum())
        if e[-1] < 10:
            o, e = np.append(o[:-2], o[-2:].sum()), np.append(e[:-2], e[-2:].sum())
    return float(law.sf(((o - e) ** 2 / e).sum(), len(o) - 1))


def within_probability(probability: float, what: str = "") -> None:
    """Count any other test's probability against the same budget."""
    take(what)
    assert probability >= ONE_CHECK, f"{what}: probability {probability:.2g}"


# -- tracing ----------------------------------------------------------------------------------------------------------
def trace(
    world: World, *, photons_log2: int = 19, batches: int = 32, seed: int = 1, threads: int | None = None
) -> Result:
    """Trace 2^photons_log2 packets of each source in `batches` batches (fewer than 2^17: in batches of 2^12)."""
    bits = max(12, photons_log2 - round(math.log2(batches)))
    batches = 2 ** (photons_log2 - bits)
    compiled = world.compile()
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=bits, threads=threads)
    tracer.run([batches] * len(compiled.sources))
    result = Result(compiled, tuple(tracer.counts), seed, 0.0)
    check_ledger(result)
    return result


def check_ledger(result: Result) -> None:
    """The ledger closes to the quantum and what is lost stays under its limit."""
    assert result.ledger_gap() == 0, f"the ledger is off by {result.ledger_gap()} quanta"
    assert result.ledger_quanta()["lost"] <= MAX_LOST * result.photons * PACKET
    assert result.counter(Counter.LOST_PHOTONS) <= MAX_LOST * result.photons


def flux_in_zone(result: Result, zone: str) -> Estimate:
    """Share of the emitted light that arrives in a zone (all hits count)."""
    index = [z.name for z in result.compiled.zones].index(zone)
    return flux_of_points(result, index)


def flux_on_head(result: Result, head: str) -> Estimate:
    """Share of the emitted light that crosses a meter head."""
    return flux_of_points(result, len(result.compiled.zones) + [h.name for h in result.compiled.heads].index(head))


def flux_of_points(result: Result, *indices: int, signs: tuple[float, ...] = ()) -> Estimate:
    """Signed sum of point tallies (zones, then heads) of a world with one source, as a share of its light."""
    (counts,) = result.counts
    rows = np.array(counts.points, dtype=np.float64)[:, list(indices)] / (counts.photons_per_batch * float(PACKET))
    mean, variance, dof = mean_of_batches(rows @ np.array(signs or (1.0,) * len(indices)))
    return Estimate(float(mean), math.sqrt(variance), dof)


def flux_of_cells(result: Result, cells: np.ndarray | slice, weights: np.ndarray | None = None) -> Estimate:
    """Weighted sum of tally cells of a world with one source, as a share of its light."""
    (counts,) = result.counts
    means = counts.groups[:, cells] / np.maximum(counts.group_batches, 1)[:, None]
    means = means / (counts.photons_per_batch * float(PACKET))
    total = means.sum(axis=1) if weights is None else means @ weights
    mean, variance, dof = mean_of_groups(total, counts.group_batches)
    return Estimate(float(mean), math.sqrt(variance), dof)


def flux_on_faces(result: Result, mesh: str, side: int) -> Estimate:
    """Share of the light that arrives on one side (0 front, 1 back) of all faces of a mesh."""
    found = next(m for m in result.compiled.meshes if m.name == mesh)
    offset = int(result.compiled.tables.layout[0]["faces"])
    return flux_of_cells(result, offset + 2 * (found.first_slot + np.arange(len(found.faces))) + side)


def scaled(estimate: Estimate, factor: float) -> Estimate:
    """An estimate times an exact factor."""
    return Estimate(estimate.value * factor, estimate.standard_error * abs(factor), estimate.dof)
