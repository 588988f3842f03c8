"""Print the tables of docs/decisions/trade-readings.md and draw its pictures: `python -m tests.validation.trade_study`."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parents[1]
for _folder in (TESTS, TESTS.parent / "sim"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

from .trade_fit import ANGLES, HIGH, LOW, PARAMETERS, SHARES, Fit, Sweep, fit, spot_of, variant, vector  # noqa: E402
from .trade_model import Beam, Light, Setting, light  # noqa: E402
from .trade_readings import READINGS, Reading  # noqa: E402

SHARE, BEAM, PLACE = 2, 3, 4
NUISANCES = ("height over rim [in]", "tannin [.4 per m at 440 nm]", "substrate [.5 in]")
PRIOR = np.array([0.3, 0.2, 0.3, 20.0, 1.5, 1.5, 1.0, 1.0])
"""Standard deviations that common practice leaves before any reading: ln output, ln film, share, beam [deg], place [in], then
the nuisances in their steps."""


def slopes(sweep: Sweep, p: np.ndarray) -> np.ndarray:
    """Change of each reading's logarithm with each of `PARAMETERS`: (readings, 5)."""
    steps = np.array([0.01, 0.01, 0.05, 4.0, 0.3])
    columns = []
    for i, step in enumerate(steps):
        low, high = p.copy(), p.copy()
        low[i], high[i] = max(p[i] - step, LOW[i]), min(p[i] + step, HIGH[i])
        ends = [np.array([sweep.log_of(r, q) for r in READINGS]) for q in (low, high)]
        columns.append((ends[1] - ends[0]) / (high[i] - low[i]))
    return np.array(columns).T


def nuisance_slopes(sweep: Sweep, p: np.ndarray) -> np.ndarray:
    """The same for `NUISANCES` per step, each traced beside its base with alike random numbers: (readings, 3)."""
    beam, share, place = Beam(ANGLES[-1], sweep.length_in), 0.4, 5.2
    kept: dict[Setting, Light] = {}

    def logarithm(setting: Setting, spot: tuple[float, float]) -> float:
        if setting not in kept:
            kept[setting] = light(setting, (beam,), photons=sweep.photons, seed=7)
        return float(np.log(kept[setting].at(beam, *spot).value))

    rows = []
    for r in READINGS:
        base, spot = r.setting(share, place), spot_of(r, place)
        changed = [
            (replace(base, above_rim_in=base.above_rim_in + 2.0), 2.0),
            (replace(base, tannin_per_m=base.tannin_per_m + 0.8), 2.0),
            (replace(base, bed_in=base.bed_in + 0.5), 1.0),
        ]
        rows.append([(logarithm(s, spot) - logarithm(base, spot)) / steps for s, steps in changed])
    return np.array(rows)


def correlations(jacobian: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(standard deviations after the readings over those before, correlations) of all parameters, weak priors added."""
    weight = 2.0 / np.array([r.band for r in READINGS])
    information = (jacobian * weight[:, None]).T @ (jacobian * weight[:, None]) + np.diag(PRIOR**-2)
    covariance = np.linalg.inv(information)
    deviation = np.sqrt(np.diag(covariance))
    return deviation / PRIOR, covariance / np.outer(deviation, deviation)


def hypotheses(sweep: Sweep) -> dict[str, Fit]:
    """Fits of the readings taken otherwise."""
    cases: dict[str, tuple[Reading, ...]] = {
        "one lid on both tanks": READINGS,
        "low tank open": variant(READINGS, low_lidded=False),
        "front-half readings without a lid": variant(READINGS, front_lidded=False),
        "both of these": variant(READINGS, low_lidded=False, front_lidded=False),
        "front-half readings in the low tank": variant(READINGS, front_tank="low"),
    }
    return {name: fit(sweep, readings) for name, readings in cases.items()}


def tables(sweep: Sweep) -> str:
    """Everything as text."""
    out = []

    def line(name: str, f: Fit) -> None:
        p = f.p
        out.append(
            f"{name:45s} misfit {f.misfit:.2f} chi2 {f.chi2:5.1f}  ppf {np.exp(p[0]):.0f} film {np.exp(p[1]):.2f} "
            f"share {p[2]:.2f} beam {p[3]:.0f} place {p[4]:.1f} | " + " ".join(f"{100 * d:+.0f}" for d in f.departures)
        )

    for name, f in hypotheses(sweep).items():
        line(name, f)
    for share in (0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6):
        line(f"share {share:g}", fit(sweep, fixed={SHARE: share}))
    line("share .25, beam 120", fit(sweep, fixed={SHARE: 0.25, BEAM: 120.0}))
    line("share .25, beam 120, film .89", fit(sweep, fixed={SHARE: 0.25, BEAM: 120.0, 1: float(np.log(0.92 * 0.97))}))
    for place in (4.3, 5.2):
        line(f"place {place:g}", fit(sweep, fixed={PLACE: place}))
    low, tall = READINGS[0], READINGS[2]
    out.append("low / tall, one lid, beam 120: " + " ".join(
        f"{s:g}: {np.exp(sweep.log_of(low, q) - sweep.log_of(tall, q)):.2f}"
        for s in (0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.6)
        for q in [vector_with(s, 120.0)]
    ))  # fmt: skip
    best = fit(sweep).p
    jacobian = np.concatenate([slopes(sweep, best), nuisance_slopes(sweep, best)], axis=1)
    names = [*PARAMETERS, *NUISANCES]
    out.append("slopes: " + ", ".join(names))
    out += [f"{r.name:50s} " + " ".join(f"{x:+7.3f}" for x in row) for r, row in zip(READINGS, jacobian, strict=True)]
    kept, matrix = correlations(jacobian)
    out.append("left of the prior deviation: " + ", ".join(f"{n} {k:.2f}" for n, k in zip(names, kept, strict=True)))
    out += [f"{n:32s} " + " ".join(f"{x:+.2f}" for x in row) for n, row in zip(names, matrix, strict=True)]
    return "\n".join(out)


def vector_with(share: float, angle: float) -> np.ndarray:
    """Parameters with a share and a beam, the rest as they stand by default."""
    from .trade_fit import Assumptions

    return vector(Assumptions(share=share, angle=angle))


def draw(sweep: Sweep, folder: Path) -> list[tuple[str, str]]:
    """The two pictures; (file, caption)."""
    from matplotlib.figure import Figure

    folder.mkdir(parents=True, exist_ok=True)
    return [
        _draw_shares(Figure(figsize=(7, 4)), sweep, folder),
        _draw_map(Figure(figsize=(8, 3.6), layout="constrained"), sweep, folder),
    ]


def _draw_shares(figure, sweep: Sweep, folder: Path) -> tuple[str, str]:  # type: ignore[no-untyped-def]
    axes = figure.subplots()
    level = fit(sweep, fixed={SHARE: 0.25, BEAM: 120.0}).p
    scale = np.exp(level[0] + level[1])
    shares = [*SHARES, 0.8, 0.95]
    for reading, colour in ((READINGS[0], "tab:orange"), (READINGS[2], "tab:blue")):
        values = [sweep.value(reading, s, 120.0, 4.3) * scale / 100.0 for s in shares]
        axes.plot(shares, values, "o-", color=colour, label=f"{reading.name}: read {reading.value:g}")
        axes.axhspan(*reading.limits, color=colour, alpha=0.15)
        axes.axhline(reading.value, color=colour, linewidth=0.8, linestyle=":")
    axes.set(xlabel="share of light given back per hit of a wall", ylabel="PPFD [umol/m2/s]", ylim=(0, None))
    axes.legend(loc="lower right")
    figure.tight_layout()
    name = "trade-share.png"
    figure.savefig(folder / name, dpi=90)
    return name, "PPFD under the light against the share that walls give back, one lid on both tanks; bands as read"


def _draw_map(figure, sweep: Sweep, folder: Path) -> tuple[str, str]:  # type: ignore[no-untyped-def]
    panels = figure.subplots(1, 2)
    shares = np.linspace(0.0, 0.6, 13)
    films = np.linspace(0.66, 0.98, 9)
    angles = np.linspace(75.0, 120.0, 10)
    by_angle = [[fit(sweep, fixed={SHARE: s, BEAM: a}).misfit for s in shares] for a in angles]
    by_film = [[fit(sweep, fixed={SHARE: s, 1: np.log(f)}).misfit for s in shares] for f in films]
    for axes, values, y, label in (
        (panels[0], by_angle, angles, "beam angle [deg]"),
        (panels[1], by_film, films, "share let through by the lid's dirt"),
    ):
        levels = [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.2]
        filled = axes.contourf(shares, y, values, levels=levels, cmap="viridis", extend="both")
        axes.contour(shares, y, values, levels=[0.5], colors="white")
        axes.set(xlabel="share given back per hit", ylabel=label)
    panels[0].plot([0.25], [120.0], "r*", markersize=12, clip_on=False)
    panels[1].plot([0.25], [0.92 * 0.97], "r*", markersize=12)
    figure.colorbar(filled, ax=panels, label="misfit")
    name = "trade-fit.png"
    figure.savefig(folder / name, dpi=90)
    return name, "Misfit of all readings; inside the white line they keep to their bands; the star is the defaults"


if __name__ == "__main__":
    made = Sweep()
    print(tables(made))
    for picture in draw(made, TESTS.parent / "docs" / "decisions"):
        print(*picture)
