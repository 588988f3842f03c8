"""Stored results of the families (docs/validation/<module>.json) and the page made from them (docs/validation.md)."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import dataclass
from itertools import groupby

from false_alarms import FALSE_ALARM, ONE_CHECK, SHARES

from .families import MODULES, load
from .framework import ROOT, Check, Picture, Verdict

PAGE = ROOT / "docs" / "validation.md"
FOLDER = ROOT / "docs" / "validation"
COMMAND = "python -m tests.validation"


@dataclass(frozen=True)
class Stored:
    """Results of a family at full size, as they lie on disk."""

    fingerprint: str
    seconds: float
    checks: list[Check]
    pictures: list[Picture]


def store(module: str, sources: str, checks: list[Check], pictures: list[Picture], seconds: float) -> None:
    """Write a family's results. sources: fingerprint of what made them, taken before they were made."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    data = {
        "fingerprint": sources,
        "seconds": round(seconds),
        "checks": [_slim(c) for c in checks],
        "pictures": [dataclasses.asdict(p) for p in pictures],
    }
    (FOLDER / f"{module}.json").write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _slim(check: Check) -> dict:
    """Fields that differ from their defaults, numbers to 12 digits."""
    slim = {}
    for part in dataclasses.fields(check):
        value = getattr(check, part.name)
        if part.default is not dataclasses.MISSING and value == part.default:
            continue
        slim[part.name] = float(f"{value:.12g}") if isinstance(value, float) else value
    return slim


def read(module: str) -> Stored | None:
    """A family's stored results; None where there are none."""
    path = FOLDER / f"{module}.json"
    if not path.exists():
        return None
    data = json.loads(path.read_text(encoding="utf-8"))
    for check in data["checks"]:
        if "band" in check:
            check["band"] = tuple(check["band"])
    checks, pictures = [Check(**c) for c in data["checks"]], [Picture(**p) for p in data["pictures"]]
    return Stored(data["fingerprint"], data["seconds"], checks, pictures)


def render() -> str:
    """The page, from what is stored."""
    parts = {m: (load(m), read(m)) for m in MODULES}
    known = {m: (family, stored) for m, (family, stored) in parts.items() if stored is not None}
    total = sum(len(stored.checks) for _, stored in known.values())
    lines = [_head(total), "| family | checks | failed | largest pull | run |", "|---|--:|--:|--:|--:|"]
    for module, (family, stored) in known.items():
        failed = sum(c.verdict is not Verdict.AGREES for c in stored.checks)
        largest = max((abs(c.pull) for c in stored.checks if c.sigma > 0 and c.probability is None), default=0.0)
        anchor = f"[{family.title}](#{module})"
        lines.append(f"| {anchor} | {len(stored.checks)} | {failed} | {largest:.2f} | {stored.seconds:.0f} s |")
    for module, (family, stored) in known.items():
        lines += ["", f'<a id="{module}"></a>', f"## {family.title}", "", family.intro.strip(), ""]
        for picture in stored.pictures:
            lines += [f"![{picture.caption}](validation/{picture.file})", "", f"*{picture.caption}*", ""]
        for case, group in groupby(stored.checks, key=lambda c: c.case):
            lines += [f"### {case}", "", *_table(list(group)), ""]
        lines.append(f"Fingerprint of the sources: `{stored.fingerprint}`")
    return "\n".join(lines) + "\n"


def _head(total: int) -> str:
    return f"""# Compared with the outside world

`{COMMAND}` makes this page; do not edit it. The tests check that it is current, and run every case again at a smaller size.

Each row compares a traced value with one from outside: a standard, a handbook, a closed form, open data or another program.
*pull* is the difference in standard errors. Seeds are fixed and nothing is run again. All tests of this project share one
false-alarm budget: together they fail by chance once in {1 / FALSE_ALARM:.0f} sets of fresh seeds. The budget is shared out
over {SHARES} comparisons (Šidák, JASA 62:626, 1967), so that one fails if its probability is under {ONE_CHECK:.2g}
(|pull| above {_limit():.2f} where the standard error is well known). {total} of them are on this page. If a value has no
simulation error, the pull is left out. If the exact value is only known to a band (±) and the value lies in it, the row says
*inside*. *printed* is the value as published, if it was rounded or differs; *sigma* is relative.

That these checks can fail is tested too: errors are planted in copies of the program (a bias of .5 %, polarisation dropped,
an index ratio upside down, an inner reflection missing, a cap on bounces, a swapped side), and the tests must turn each copy
down (`tests/engine/test_planted_errors.py`).
"""


def _limit() -> float:
    from scipy.stats import norm

    return float(norm.isf(ONE_CHECK / 2))


def _table(checks: list[Check]) -> list[str]:
    """A table of checks; columns that say nothing are left out, what all rows share is said once above."""
    sources = list(dict.fromkeys(c.source for c in checks))
    notes = list(dict.fromkeys(c.note for c in checks if c.note))
    one_note = len(notes) == 1 and all(c.note for c in checks)
    columns = {"": lambda c: c.name}
    if any(c.printed is not None for c in checks):
        columns["printed"] = lambda c: "" if c.printed is None else f"{c.printed:.6g}"
    columns["exact"] = _exact
    columns["computed"] = lambda c: _with_error(c.value, c.standard_error) + (f" {c.unit}" if c.unit else "")
    columns["sigma"] = lambda c: f"{100 * c.sigma / abs(c.exact):.2g} %" if c.exact and c.sigma else ""
    columns["pull"] = _pull
    columns["verdict"] = lambda c: str(c.verdict.value)
    if len(sources) > 1:
        columns["source"] = lambda c: c.source
    if notes and not one_note:
        columns["note"] = lambda c: c.note
    lines = [f"Source: {sources[0]}", ""] if len(sources) == 1 else []
    if one_note:
        lines += [notes[0], ""]
    lines += [
        "| " + " | ".join(columns) + " |",
        "|" + "|".join("---" if h in ("", "source", "note") else "--:" for h in columns) + "|",
    ]
    lines += ["| " + " | ".join(show(c) for show in columns.values()) + " |" for c in checks]
    return lines


def _exact(check: Check) -> str:
    if check.band is not None:
        return f"{check.band[0]:.6g} to {check.band[1]:.6g}"
    shown = _with_error(check.exact or 0.0, check.exact_error) if check.exact_error else f"{check.exact:.6g}"
    return shown + (f" (± {check.slack:.2g})" if check.slack else "")


def _with_error(value: float, error: float) -> str:
    if error == 0.0 or not math.isfinite(error):
        return f"{value:.6g}"
    digits = max(0, 1 - math.floor(math.log10(error)))
    return f"{value:.{digits}f} ± {error:.{digits}f}"


def _pull(check: Check) -> str:
    if check.probability is not None:
        return f"p = {check.probability:.2g}"
    if check.pull == 0.0 and (check.slack or check.band):
        return "inside"
    return f"{check.pull:+.2f}" if check.sigma else ""
