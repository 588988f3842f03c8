"""Every family at a smaller size, and docs/validation.md as the command makes it."""

from __future__ import annotations

import math

import pytest

from false_alarms import take

from .families import MODULES, load
from .framework import Check, Size, Verdict, biased, fingerprint
from .page import COMMAND, PAGE, read, render


def same_case(stored: Check, now: Check) -> bool:
    """Whether a stored check is of the same case, source and exact value."""
    if (stored.case, stored.name, stored.source, stored.unit) != (now.case, now.name, now.source, now.unit):
        return False
    if stored.exact is None or now.exact is None or now.exact_error > 0:
        return stored.band == now.band
    return math.isclose(stored.exact, now.exact, rel_tol=1e-6, abs_tol=1e-9)


@pytest.mark.parametrize("module", MODULES)
def test_family(module: str) -> None:
    """All checks hold, a bias would be noticed, and the page shows these cases."""
    family = load(module)
    checks = family.run(Size.CI)
    take(f"validation at the smaller size: {module}", len(checks))
    failed = [c for c in checks if c.verdict is not Verdict.AGREES]
    told = "; ".join(
        f"{c.case}: {c.name}: {c.value:.6g} ± {c.standard_error:.2g}, z = {c.pull:.2f}" for c in failed[:5]
    )
    assert not failed, f"{len(failed)} of {len(checks)} checks: {told}"
    for factor in (1 - family.catches, 1 + family.catches):
        noticed = [c for c in biased(checks, factor) if c.verdict is not Verdict.AGREES]
        assert noticed, f"a bias of {100 * (factor - 1):+.1f} % would pass unnoticed"
    stored = read(module)
    stale = f"docs/validation.md is not current for {module!r}: run `{COMMAND} {module}`"
    assert stored is not None, stale
    assert len(stored.checks) == len(checks), stale
    assert all(same_case(s, c) for s, c in zip(stored.checks, checks, strict=True)), stale


@pytest.mark.parametrize("module", MODULES)
def test_page_is_made_from_these_sources(module: str) -> None:
    """The stored results carry the fingerprint of the family's module and of the kernels."""
    stored = read(module)
    stale = f"docs/validation.md is not current for {module!r}: run `{COMMAND} {module}`"
    assert stored is not None, stale
    assert stored.fingerprint == fingerprint(module, load(module)), stale


def test_page_shows_what_is_stored() -> None:
    """The page is the rendering of the stored results, all of which hold within the budget."""
    assert PAGE.exists(), f"docs/validation.md is missing: run `{COMMAND}`"
    assert PAGE.read_text(encoding="utf-8") == render(), f"docs/validation.md was edited: run `{COMMAND}`"
    checks = [c for module in MODULES if (stored := read(module)) is not None for c in stored.checks]
    take("validation page", len(checks))
    assert [c.name for c in checks if c.verdict is not Verdict.AGREES] == []


def test_a_wrong_value_fails() -> None:
    """The verdict itself: right, biased, blunt, without simulation error, in a band, by another test."""
    right = Check("case", "row", "none", 1.0, 1.001, 0.001, 31.0)
    assert right.verdict is Verdict.AGREES
    assert biased([right], 1.006)[0].verdict is Verdict.DIFFERS
    assert Check("case", "row", "none", 1.0, 1.001, 0.001, 31.0, sigma_limit=5e-4).verdict is Verdict.BLUNT
    assert Check("case", "row", "none", 1.0, 1.001).verdict is Verdict.DIFFERS
    assert Check("case", "row", "none", 1.0, 1.001, slack=0.002).verdict is Verdict.AGREES
    assert Check("case", "row", "none", None, 3.0, band=(1.0, 2.0)).verdict is Verdict.DIFFERS
    assert Check("case", "row", "none", None, 1.5, band=(1.0, 2.0)).verdict is Verdict.AGREES
    assert Check("case", "row", "none", 0.0, 1.0, 9.0, probability=1e-6).verdict is Verdict.DIFFERS
    assert Check("case", "row", "none", 1.0, math.nan, 0.1).verdict is Verdict.DIFFERS
