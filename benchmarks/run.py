"""Benchmarks that anyone can run: `python benchmarks/run.py [--quick] [--json FILE] [rays leaves tank start decide chart app]`.

Medians and ratios within one run; nothing here is part of the tests. `pip install .[bench]` brings the engines to compare
with; Mitsuba's LLVM mode wants an LLVM library (Debian: libllvm19), found by itself or named in DRJIT_LIBLLVM_PATH.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "sim"), str(HERE)]
NAMES = ("rays", "leaves", "tank", "start", "decide", "chart", "app")


def main() -> int:
    """Run the benchmarks named, or all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="name", help=f"which of {', '.join(NAMES)} (default: all)")
    parser.add_argument("--quick", action="store_true", help="fewer repeats, for a rough look")
    parser.add_argument("--json", type=Path, help="also write the numbers there")
    arguments = parser.parse_args()
    unknown = set(arguments.names) - set(NAMES)
    if unknown:
        parser.error(f"no benchmark named {sorted(unknown)[0]!r}; there are {', '.join(NAMES)}")
    from measure import machine

    print(machine(), "\n")
    numbers: dict[str, dict] = {}
    for name in arguments.names or NAMES:
        report = importlib.import_module(name).run(arguments.quick)
        print(report.text(), flush=True)
        numbers[name] = report.numbers
    if arguments.json is not None:
        arguments.json.write_text(json.dumps({"machine": machine(), **numbers}, indent=2) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
