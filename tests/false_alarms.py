"""One false-alarm budget for the whole suite.

A statistical check of a right value fails now and then by chance. The suite as a whole may do so once in a hundred sets of
fresh seeds; that probability is shared out evenly over the comparisons that it makes (Sidak, JASA 62:626, 1967). Every one
takes a share where it is made, and a session that takes more shares than there are fails (conftest.py). Seeds are fixed
and nothing is ever run again: a failure is a finding.
"""

from __future__ import annotations

import math
from collections import Counter

FALSE_ALARM = 0.01
"""Probability that any comparison of the suite fails though all values are right."""
SHARES = 1200
"""Comparisons that a whole run makes, with room for more; fewer leave budget unspent."""
ONE_CHECK = -math.expm1(math.log1p(-FALSE_ALARM) / SHARES)
"""Probability that one comparison of a right value fails (two-sided)."""

taken: Counter[str] = Counter()
"""Shares taken in this session, by what was compared."""


def take(what: str, shares: int = 1) -> None:
    """Take a share for each comparison made."""
    taken[what] += shares


def overdraft() -> str:
    """What to say when more shares were taken than there are; empty when the budget holds."""
    if taken.total() <= SHARES:
        return ""
    return (
        f"{taken.total()} statistical comparisons were made; tests/false_alarms.py shares its budget out over {SHARES}"
    )
