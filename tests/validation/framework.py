"""What a family of checks is, and when a check holds (within the suite's one false-alarm budget: fixed seeds, no reruns)."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import Enum, StrEnum
from pathlib import Path
from typing import TypeVar

import numpy as np

from checking import check_ledger, flux_of_cells, trace
from false_alarms import ONE_CHECK
from underlit.kernel_cache import KERNEL_PACKAGES
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.world import World
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.run import StoppingRule, trace_compiled

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
SIM = ROOT / "sim" / "underlit"

T = TypeVar("T")


class Size(Enum):
    """How much light to trace: for the page, or for every run of the tests."""

    FULL = "full"
    CI = "ci"

    def pick(self, full: T, ci: T) -> T:
        """The value for this size."""
        return full if self is Size.FULL else ci


class Verdict(StrEnum):
    """What became of a check."""

    AGREES = "agrees"
    DIFFERS = "**differs**"
    BLUNT = "**too blunt**"


@dataclass(frozen=True)
class Check:
    """One value against one from outside.

    case, name: heading and row on the page. source: who published the exact value or its formula. exact: the value for
    exactly what was traced (None where `band` says what is right). value, standard_error, dof: as computed (a standard
    error of 0 and dof of inf: no simulation error). printed: as published, where that is rounded or differs.
    exact_error: standard error of `exact`, where that was counted too. slack: by how much `exact` may be off, absolute
    and explained in the note. band: (low, high), for facts known only roughly. probability: of a test other than
    Student's t, which then decides. sigma_limit: largest standard error allowed, relative to `exact`.
    """

    case: str
    name: str
    source: str
    exact: float | None
    value: float
    standard_error: float = 0.0
    dof: float = math.inf
    unit: str = ""
    printed: float | None = None
    note: str = ""
    exact_error: float = 0.0
    slack: float = 0.0
    band: tuple[float, float] | None = None
    probability: float | None = None
    sigma_limit: float | None = None

    @property
    def _range(self) -> tuple[float, float]:
        if self.band is not None:
            return self.band
        assert self.exact is not None
        return self.exact - self.slack, self.exact + self.slack

    @property
    def sigma(self) -> float:
        """Standard error of the difference."""
        return math.hypot(self.standard_error, self.exact_error)

    @property
    def pull(self) -> float:
        """Distance from the exact value (less the slack) in standard errors; 0 inside the slack."""
        low, high = self._range
        distance = self.value - min(max(self.value, low), high)
        if self.sigma == 0.0:
            rounding = 1e-10 * max(abs(low), abs(high)) + 1e-12
            return 0.0 if abs(distance) <= rounding else math.copysign(math.inf, distance)
        return distance / self.sigma

    @property
    def chance(self) -> float:
        """Two-sided probability of so large a pull where the value is right."""
        if self.probability is not None:
            return self.probability
        from scipy.stats import norm, t

        law = t(self.dof) if math.isfinite(self.dof) else norm
        return float(2 * law.sf(abs(self.pull)))

    @property
    def verdict(self) -> Verdict:
        """Whether the check holds."""
        if not (math.isfinite(self.value) and math.isfinite(self.sigma)) or self.chance < ONE_CHECK:
            return Verdict.DIFFERS
        if self.sigma_limit is not None and self.exact is not None and self.sigma > self.sigma_limit * abs(self.exact):
            return Verdict.BLUNT
        return Verdict.AGREES


@dataclass(frozen=True)
class Picture:
    """A picture of a family: file name in docs/validation/, and what it shows."""

    file: str
    caption: str


@dataclass(frozen=True)
class Family:
    """Checks that belong together: one module in this folder, one section of the page.

    run: the checks; the same cases in the same order at every size. catches: relative bias that the checks of the CI
    size must notice when all values carry it (a check that cannot fail is a defect). intro: text under the heading.
    draw: pictures from the checks of the full size, written into the folder given. also: further files that make the
    numbers, from the project's root (the module itself and the kernels are always counted).
    """

    title: str
    intro: str
    run: Callable[[Size], list[Check]]
    catches: float = 0.02
    draw: Callable[[list[Check], Path], list[Picture]] | None = None
    also: tuple[str, ...] = field(default=())


def biased(checks: Iterable[Check], factor: float) -> list[Check]:
    """The same checks as a program with a bias would have them."""
    from dataclasses import replace

    return [replace(c, value=c.value * factor, standard_error=c.standard_error * factor) for c in checks]


def _digest(files: Iterable[Path]) -> str:
    digest = hashlib.sha256()
    for path in sorted(files):
        digest.update(path.relative_to(ROOT).as_posix().encode())
        digest.update(path.read_text(encoding="utf-8").encode())
    return digest.hexdigest()[:16]


def kernel_sources() -> list[Path]:
    """Files of the compiled kernels (those `underlit.kernel_cache.source_hash` reads, numba's version left out)."""
    return [p for package in KERNEL_PACKAGES for p in (SIM / package).rglob("*.py")]


def fingerprint(module: str, family: Family) -> str:
    """Hash of what makes a family's numbers: its module, the files it names, and the kernels."""
    return _digest([HERE / f"{module}.py", *(ROOT / f for f in family.also), *kernel_sources()])


# -- measuring --------------------------------------------------------------------------------------------------------
def check_of(
    estimate: Estimate, *, case: str, name: str, source: str, exact: float, scale: float = 1.0, **more: object
) -> Check:
    """A check of an estimate times an exact factor."""
    return Check(
        case, name, source, exact, estimate.value * scale, estimate.standard_error * abs(scale), estimate.dof, **more
    )  # type: ignore[arg-type]


def traced(world: World, *, photons_log2: int, seed: int) -> Result:
    """Trace 2^photons_log2 packets of each source of a world; the ledger is checked."""
    return trace(world, photons_log2=photons_log2, batches=max(32, 2 ** (photons_log2 - 16)), seed=seed)


def faces_flux(result: Result, mesh: str, faces: np.ndarray | slice = slice(None), side: int = 0) -> Estimate:
    """Share of the (one) source's light that arrives on some faces of a mesh, on one side (0 front, 1 back)."""
    found = next(m for m in result.compiled.meshes if m.name == mesh)
    offset = int(result.compiled.tables.layout[0]["faces"])
    return flux_of_cells(result, offset + 2 * (found.first_slot + np.arange(len(found.faces))[faces]) + side)


def checked_plan(compiled: CompiledScene, *, photons_log2: int, seed: int) -> Result:
    """Trace 2^photons_log2 packets of each source of a plan, as `trace_compiled` does for a budget; the ledger is checked."""
    budget = len(compiled.sources) * 2**photons_log2
    result = trace_compiled(compiled, rule=StoppingRule(photons=budget, only_budget=True), seed=seed)[0]
    check_ledger(result)
    return result
