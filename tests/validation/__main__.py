"""Recompute families at full size and write docs/validation.md: all of them, those named, or with `stale` those not current.

With `page` nothing is recomputed: the page is written from what is stored.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
for _folder in (TESTS, TESTS.parent / "sim"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

from .families import MODULES, load  # noqa: E402
from .framework import Size, Verdict, fingerprint  # noqa: E402
from .page import COMMAND, FOLDER, PAGE, read, render, store  # noqa: E402


def main(names: list[str]) -> int:
    """Returns 0 when every check of the page holds."""
    if names == ["page"]:
        return write_page()
    if names == ["stale"]:
        names = [m for m in MODULES if (kept := read(m)) is None or kept.fingerprint != fingerprint(m, load(m))]
        print(f"not current: {', '.join(names) or 'none'}", flush=True)
        if not names:
            return write_page()
    unknown = [n for n in names if n not in MODULES]
    if unknown:
        print(f"{COMMAND}: there is no family {unknown[0]!r}; there are {', '.join(MODULES)}")
        return 2
    for module in names or MODULES:
        family = load(module)
        sources = fingerprint(module, family)
        started = time.perf_counter()
        checks = family.run(Size.FULL)
        seconds = time.perf_counter() - started
        FOLDER.mkdir(parents=True, exist_ok=True)
        pictures = family.draw(checks, FOLDER) if family.draw is not None else []
        store(module, sources, checks, pictures, seconds)
        bad = [c for c in checks if c.verdict is not Verdict.AGREES]
        print(f"{module}: {len(checks)} checks, {len(bad)} failed, {seconds:.0f} s", flush=True)
        for c in bad:
            print(f"  {c.case}: {c.name}: {c.value:.7g} ± {c.standard_error:.2g}, exact {c.exact}, pull {c.pull:.2f}")
        if sources != fingerprint(module, family):
            print(f"  its sources changed while it ran: run `{COMMAND} {module}` again")
    return write_page()


def write_page() -> int:
    """Write the page from what is stored; 0 when every check holds."""
    PAGE.write_text(render(), encoding="utf-8")
    stored = [c for m in MODULES if (kept := read(m)) is not None for c in kept.checks]
    return int(any(c.verdict is not Verdict.AGREES for c in stored))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
