"""Photometric files written for the tests: own distributions in both formats, tidy or messy as asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

Intensity = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Candela at azimuths from the fixture's length and angles from straight down, both in degrees."""


def cosine(peak: float = 1000.0, power: float = 1.0) -> Intensity:
    """peak cos^power, nothing above the horizontal."""
    return lambda azimuth, angle: peak * np.maximum(np.cos(np.radians(angle)), 0.0) ** power + 0.0 * azimuth


def lopsided(azimuth: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """No symmetry at all: most towards azimuth 30 deg, some of it above the horizontal."""
    turn, down = np.radians(azimuth - 30.0), np.radians(angle)
    return 400.0 * (1.2 + np.cos(turn) + 0.3 * np.sin(2 * turn) ** 2) * np.maximum(np.cos(down / 1.5), 0.0) ** 3


def lengthways(azimuth: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """More along the fixture than across it, alike in all four quarters."""
    along = np.cos(np.radians(azimuth)) ** 2
    return 300.0 * (1 + 2 * along) * np.maximum(np.cos(np.radians(angle)), 0.0)


def to_one_side(towards: float) -> Intensity:
    """Mirrored in one plane only: three times as much towards an azimuth [deg] as away from it."""

    def intensity(azimuth: np.ndarray, angle: np.ndarray) -> np.ndarray:
        side = 2 + np.cos(np.radians(azimuth - towards)) * np.sin(np.radians(angle))
        return 200.0 * side * np.maximum(np.cos(np.radians(angle)), 0.0)

    return intensity


def table(intensity: Intensity, planes: Sequence[float], angles: Sequence[float]) -> np.ndarray:
    """(planes, angles) of an intensity."""
    return intensity(np.asarray(planes, float)[:, None], np.asarray(angles, float)[None, :])


def numbers(values: Sequence[float] | np.ndarray, per_line: int = 10, between: str = " ") -> str:
    """Numbers wrapped over lines."""
    texts = [f"{value:.10g}" for value in np.asarray(values, float).ravel()]
    return "\n".join(between.join(texts[i : i + per_line]) for i in range(0, len(texts), per_line))


def lm63(  # noqa: PLR0913 - the entries of a file, each with a default
    intensity: Intensity = lengthways,
    *,
    planes: Sequence[float] = (0.0, 30.0, 60.0, 90.0),
    angles: Sequence[float] = tuple(range(0, 91, 5)),
    version: str = "IESNA:LM-63-2002",
    labels: str = "[TEST] made up\n[MANUFAC] nobody",
    tilt: str = "NONE",
    lamps: str = "1 -1",
    multiplier: float = 1.0,
    kind: int = 1,
    units: int = 2,
    opening: str = "0.1 0.5 0",
    factors: str = "1 1 24",
    between: str = " ",
) -> str:
    """An LM-63 file; intensities are divided by the multiplier."""
    values = table(intensity, planes, angles) / multiplier
    head = f"{lamps} {multiplier:g} {len(angles)} {len(planes)} {kind} {units} {opening}".replace(" ", between)
    rows = "\n".join(numbers(row, between=between) for row in values)
    label = "\n".join(text for text in (version, labels) if text)
    return (
        f"{label}\nTILT={tilt}\n{head}\n{factors}\n{numbers(angles, between=between)}\n"
        f"{numbers(planes, between=between)}\n{rows}\n"
    )


STORED = {
    0: lambda count: range(count),
    1: lambda count: range(1),
    2: lambda count: range(count // 2 + 1),
    3: lambda count: [(3 * count // 4 + k) % count for k in range(count // 2 + 1)],
    4: lambda count: range(count // 4 + 1),
}
"""Which C-planes a EULUMDAT file of each symmetry holds (published item list, items 28 to 30)."""


def eulumdat(  # noqa: PLR0913 - the entries of a file, each with a default
    intensity: Intensity = lengthways,
    *,
    symmetry: int = 4,
    planes: int = 24,
    angles: Sequence[float] = tuple(range(0, 91, 5)),
    lumens: float = 1000.0,
    ratio: float = 0.0,
    lamps: int = 1,
    factor: float = 1.0,
    area: tuple[float, float] = (500.0, 100.0),
    watts: float = 24.0,
    comma: bool = False,
    sets: int = 1,
) -> str:
    """A EULUMDAT file; C90 is along the fixture's length, so C = azimuth + 90 deg."""
    count = 1 if symmetry == 1 and planes == 1 else planes
    c_angles = np.arange(count) * 360.0 / count
    stored = [c_angles[k] for k in STORED[symmetry](count)]
    values = table(lambda c, angle: intensity(c - 90.0, angle), stored, angles) * 1000.0 / lumens / factor
    head = [
        "nobody", 2, symmetry, count, 360 / count if count > 1 else 0, len(angles), 0, "made up", "own light", "", "own",
        "today", area[0] + 20, area[1] + 20, 30, *area, 0, 0, 0, 0, 100, ratio, factor, 0, sets,
    ]  # fmt: skip
    lamp = [lamps, "LEDs", f"{lumens:.10g}", "5000", "80", f"{watts:g}"]
    tail = [*[0.5] * 10, *c_angles, *angles, *values.ravel()]
    lines = [
        *map(str, head[:22]), f"{ratio:g}", f"{factor:g}", "0", str(sets), *map(str, lamp * sets),
        *(f"{value:.10g}" for value in tail),
    ]  # fmt: skip
    text = "\n".join(lines) + "\n"
    return text.replace(".", ",") if comma else text
