"""Timing in turn, and a table to print.

Two things are compared within one run only, in turn (A B A B): what else the machine does then falls on both alike.
"""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median


@dataclass
class Report:
    """What one benchmark found: rows to print and the same numbers by name."""

    title: str
    rows: list[tuple[str, str]] = field(default_factory=list)
    numbers: dict[str, float | str] = field(default_factory=dict)

    def add(self, label: str, value: float, unit: str, key: str | None = None) -> None:
        """A number: a line of the table, and under `key` (unit in its name) in the JSON."""
        self.rows.append((label, f"{value:.3g} {unit}".rstrip()))
        self.numbers[key or label] = float(value)

    def say(self, label: str, text: str) -> None:
        """A line of words."""
        self.rows.append((label, text))

    def text(self) -> str:
        """The table."""
        wide = max((len(label) for label, _ in self.rows), default=0)
        lines = [f"{label:<{wide}}  {value}".rstrip() for label, value in self.rows]
        return "\n".join([self.title, "-" * len(self.title), *lines, ""])


def in_turn(repeats: int, *tasks: Callable[[], object]) -> list[list[float]]:
    """Wall seconds of each task (tasks, repeats), each called once a round after one call that does not count."""
    for task in tasks:
        task()
    seconds: list[list[float]] = [[] for _ in tasks]
    for _ in range(repeats):
        for kept, task in zip(seconds, tasks, strict=True):
            started = time.perf_counter()
            task()
            kept.append(time.perf_counter() - started)
    return seconds


def ratio_in_turn(a: list[float], b: list[float]) -> float:
    """Median of a / b over the rounds."""
    return median(x / y for x, y in zip(a, b, strict=True))


def machine() -> str:
    """One line about the machine."""
    try:
        processors = len(os.sched_getaffinity(0))
    except AttributeError:
        processors = os.cpu_count() or 1
    name = platform.processor() or platform.machine()
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as file:
            name = next(line.split(":")[1].strip() for line in file if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return f"{name}, {processors} processors{load}, Python {platform.python_version()}"
