"""The printed answer: tables for a terminal."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.table import Table

from underlit.planning.patches import NOISIEST
from underlit.planning.zones import Verdict, ZoneReport
from underlit.report.ledger import as_percentages, light_ledger
from underlit.report.summary import summarise
from underlit.run import Traced

_STYLE = {
    Verdict.RIGHT: "bold green",
    Verdict.TOO_DIM: "bold blue",
    Verdict.TOO_BRIGHT: "bold magenta",
    Verdict.BORDERLINE: "yellow",
    Verdict.NO_AIM: "dim",
}
CAUTIONS = (
    "Electricity over water: drip loop, residual-current protection, a fixture with a fitting ingress rating; hang "
    "loads on what is made to carry them; do not look into LEDs; glass breaks. Follow local codes; ask a licensed electrician."
)


def light(value: float) -> str:
    """A PPFD for people: three figures are plenty."""
    if not math.isfinite(value):
        return "-"
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:.1f}"


def error(value: float) -> str:
    """An error of a PPFD: two figures."""
    if not math.isfinite(value):
        return "?"
    if value == 0:
        return "0"
    digits = max(0, 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(digits, 3)}f}"


def zone_table(reports: list[ZoneReport]) -> Table:
    """Zones with both errors, spread and verdict."""
    table = Table(title="Zones: PAR (PPFD), umol/m2/s", title_justify="left", pad_edge=False)
    table.add_column("zone", overflow="fold")
    table.add_column("mean", justify="right")
    table.add_column("± counting", justify="right")
    table.add_column("± not known\nabout the tank", justify="right")
    table.add_column("dimmest\ntenth", justify="right")
    table.add_column("evenness", justify="right")
    table.add_column("band", justify="right")
    table.add_column("area in\nband", justify="right")
    table.add_column("DLI\nmol/m2/d", justify="right")
    table.add_column("verdict")
    for r in reports:
        s = r.spread
        table.add_row(
            r.name,
            light(r.ppfd.value),
            error(r.ppfd.half_width),
            error(r.unknown),
            "-" if s.dimmest_tenth is None else light(s.dimmest_tenth.value),
            "-" if s.evenness is None else f"{s.evenness.value:.2f}",
            "" if r.band is None else f"{r.band.low:g}-{r.band.high:g}",
            "" if s.share_in_band is None else f"{100 * s.share_in_band.value:.0f} %",
            f"{r.dli:.2f}",
            f"[{_STYLE[r.verdict]}]{r.verdict}[/]",
        )
    return table


def spot_table(spots: list[dict[str, Any]]) -> Table:
    """Reading spots: what a level meter head would read there, corrected for immersion."""
    table = Table(title="Reading spots: PAR (PPFD), umol/m2/s", title_justify="left", pad_edge=False)
    table.add_column("spot", overflow="fold")
    for name in ("x cm", "y cm", "z cm", "value", "± counting", "± not known\nabout the tank"):
        table.add_column(name, justify="right")
    for s in spots:
        place = [f"{100 * s[key]:.1f}" for key in ("x_m", "y_m", "z_m")]
        numbers = (s["counting_error_95_umol_m2_s"], s["not_known_about_tank_95_umol_m2_s"])
        errors = [error(math.inf if n is None else n) for n in numbers]
        table.add_row(s["name"], *place, light(s["ppfd_umol_m2_s"]), *errors)
    return table


def ledger_table(traced: Traced) -> Table:
    """Where the light goes."""
    table = Table(title="Where the light goes", title_justify="left", pad_edge=False)
    table.add_column("")
    table.add_column("%", justify="right")
    total = 0.0
    for name, percent in as_percentages(light_ledger(traced.lowered, traced.result)):
        total += percent
        table.add_row(name, f"{percent:.1f}")
    table.add_section()
    table.add_row("all of it", f"{total:.1f}")
    return table


def print_answer(console: Console, traced: Traced, reports: list[ZoneReport], *, files: str | None = None) -> None:
    """Print everything a trace found."""
    summary = summarise(traced, reports)
    result = traced.result
    if summary["title"]:
        console.print(f"[bold]{summary['title']}[/]")
    console.print(zone_table(reports))
    for r in reports:
        if r.why or (r.band and r.band.note):
            told = "; ".join(t for t in (r.why, r.band.note if r.band else "") if t)
            console.print(f"  {r.name}: {told}", style="dim")
    noisy = [r.name for r in reports if r.spread.patch_noise > NOISIEST]
    if noisy:
        console.print(
            f"  - : patches are still noisier than {NOISIEST:.0%} in {', '.join(noisy)}; more photons give those figures",
            style="dim",
        )
    if summary["spots"]:
        console.print(spot_table(summary["spots"]))
    console.print(ledger_table(traced))
    _print_lights(console, summary)
    _print_assumptions(console, summary)
    for note in summary["notes"]:
        console.print(f"Note: {note}")
    speed = result.photons / result.seconds if result.seconds else 0.0
    console.print(
        f"{result.photons:,} photons in {result.seconds:.1f} s ({speed:,.0f}/s), seed {result.seed}; "
        f"ledger gap {result.ledger_gap()} quanta, {summary['ledger']['lost_photons']} photons lost"
    )
    if not result.complete:
        console.print("Stopped early: this is what was counted so far.", style="bold yellow")
    elif not traced.reached:
        console.print(
            f"The aim was not reached: {traced.worst_name} is known to ± {traced.worst_relative:.1%} (95 %).",
            style="yellow",
        )
    console.print("Versions: " + ", ".join(f"{k} {v}" for k, v in summary["versions"].items()), style="dim")
    if files:
        console.print(files)
    console.print(CAUTIONS, style="dim")


def _print_lights(console: Console, summary: dict[str, Any]) -> None:
    for f in summary["fixtures"]:
        watts = "watts not stated" if f["watts"] is None else f"{f['watts']:.0f} W"
        console.print(
            f"{f['name']}: PPF {f['ppf_umol_s']:.0f} umol/s, {watts}, {f['photoperiod_hours']:g} h a day"
            + (f", dimmed to {f['dimming']:.0%}" if f["dimming"] < 1 else "")
        )


def _print_assumptions(console: Console, summary: dict[str, Any]) -> None:
    share = 1.96 * (summary["not_known_about_tank_relative_standard"] or 0.0)
    table = Table(
        title=f"Taken for granted where the scene does not say (together ± {share:.0%} of any PPFD, 95 %)",
        title_justify="left",
        pad_edge=False,
    )
    for name in ("what", "taken", "may be", "source"):
        table.add_column(name, overflow="fold")
    for a in summary["assumptions"]:
        table.add_row(a["what"], a["taken"], a["range"], a["source"])
    console.print(table)
