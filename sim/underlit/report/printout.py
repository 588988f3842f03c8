"""The printed answer: tables that fit 80 columns with nothing cut, and at the end the verdicts in plain words."""

from __future__ import annotations

import math
import os
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from underlit.lowering.records import Role
from underlit.planning.patches import NOISIEST
from underlit.planning.zones import Verdict, ZoneReport
from underlit.report.decisions.decision import RIGHT_AT
from underlit.report.ledger import as_percentages, light_ledger, with_rest
from underlit.report.numbers import (
    NONE,
    UNKNOWN,
    band_text,
    estimated,
    known_to,
    light,
    lopsided,
    moved_words,
    percent,
    span_text,
    with_error,
)
from underlit.report.summary import TANK_KEYS, TANK_STANDARD_KEY, as_estimate, summarise
from underlit.results.estimate import Estimate
from underlit.run import Traced

WIDTH_ELSEWHERE = 100
"""Columns where the output is not a terminal and COLUMNS does not say."""
NARROWEST = 60
KEY_WIDTH = 26
"""Keys of a scene are no wider than this in a table that holds sentences too."""
FEWEST_IN_BATCH = 1 << 12
STYLE = {
    Verdict.RIGHT: "bold green",
    Verdict.TOO_DIM: "bold blue",
    Verdict.TOO_BRIGHT: "bold magenta",
    Verdict.BORDERLINE: "bold yellow",
    Verdict.NO_TARGET: "dim",
}
MEAN, TANK_RANGE = "mean\n± simulation", "real tank\n95 %"
"""Heads of columns: a mean with its simulation error, and the range of the real tank's light."""
PRACTICE = "common practice, no source"
CAUTIONS = (
    "Electricity over water: use a drip loop, residual-current protection and fixtures with a suitable ingress rating. Hang "
    "loads only from what is made to carry them. Do not look into LEDs. Glass breaks. Follow local codes and ask a licensed "
    "electrician."
)


def output_console(*, stderr: bool = False) -> Console:
    """A console that shows text as it is (names may hold any character), with a width that suits where it goes."""
    stream = sys.stderr if stderr else sys.stdout
    console = Console(file=stream, markup=False, highlight=False, emoji=False)
    if not os.environ.get("COLUMNS", "").isdigit() and not console.is_terminal:
        console.width = WIDTH_ELSEWHERE
    console.width = max(console.width, NARROWEST)
    return console


def say(console: Console, text: str, style: str = "", indent: int = 0) -> None:
    """Print a paragraph; its lines stand under each other."""
    _paragraph(console, Text(text, style), indent)


def _paragraph(console: Console, text: Text, indent: int) -> None:
    for line in text.wrap(console, console.width - indent):
        line.rstrip()
        console.print(Text(" " * indent) + line, no_wrap=True, overflow="ignore", crop=False)


def section(console: Console, title: str, *shown: Table) -> None:
    """An empty line, a heading, and what stands under it."""
    console.print()
    say(console, title, "bold")
    for one in shown:
        console.print(one)


def table(*columns: str, wide: int = 1, words: int | None = None, rows: Iterable[Sequence[str | Text]] = ()) -> Table:
    """A table with its first `wide` columns for words, the rest for numbers; columns shrink by folding, never by cutting.

    words: a further column for words.
    """
    made = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    lines = max(name.count("\n") for name in columns)
    for i, name in enumerate(columns):
        header = "\n" * (lines - name.count("\n")) + name
        made.add_column(header, justify="left" if i < wide else "right", overflow="fold")
    if words is not None:
        made.columns[words].justify = "left"
    for row in rows:
        made.add_row(*row)
    return made


def zone_table(reports: Sequence[ZoneReport], right_at: Mapping[str, str] | None = None) -> Table:
    """Zones with both errors, the band each should have, and the verdict; right_at: by zone, at which setting it is right."""
    rows = (
        (
            r.name,
            estimated(r.ppfd),
            span_text(r.tank_low, r.tank_high),
            band_text(r.band),
            *(() if right_at is None else (right_at.get(r.name, ""),)),
            verdict_text(r.verdict),
        )
        for r in reports
    )
    at = () if right_at is None else ("right\nat %",)
    return table("zone", MEAN, TANK_RANGE, "band", *at, "verdict", words=-1, rows=rows)


def verdict_text(verdict: Verdict) -> Text:
    """A verdict in its colour."""
    return Text(str(verdict), STYLE[verdict])


def moved_table(reports: Sequence[ZoneReport]) -> Table:
    """The assumptions that move each zone most, with their effect."""
    return table("zone", "moved by", wide=2, rows=moved_most(reports))


def moved_most(reports: Sequence[ZoneReport]) -> list[tuple[str, str]]:
    """(zone, what moves it most), of the zones that have a target if any has."""
    asking = [r for r in reports if r.band is not None] or reports
    return [(r.name, moved_words(r.ppfd.value, r.tank)) for r in asking]


def spread_table(reports: Sequence[ZoneReport]) -> Table:
    """How even the light of each zone is, and its daily light."""
    rows = []
    for r in reports:
        s = r.spread
        share = "" if r.band is None else alone(s.share_in_band, percent)
        evenness = alone(s.evenness, "{:.2f}".format)
        rows.append((r.name, alone(s.dimmest_tenth, light), evenness, share, f"{r.dli:.2f}"))
    return table("zone", "dimmest\ntenth", "evenness", "area in\nits band", "DLI\nmol/m2/day", rows=rows)


def alone(estimate: Estimate | None, form: Callable[[float], str]) -> str:
    """The value of an estimate without its error."""
    return NONE if estimate is None else form(estimate.value)


def spot_table(spots: Iterable[dict[str, Any]]) -> Table:
    """Reading spots: what a level meter head would read there, corrected for immersion."""
    rows = []
    for s in spots:
        low, high = (math.inf if s[key] is None else s[key] for key in TANK_KEYS)
        place = (f"{100 * at:.1f}" for at in s["in_its_tank_m"])
        rows.append((s["name"], kept(as_estimate(s)), span_text(low, high), *place))
    heads = ("from left\ncm", "from front\ncm", "height\ncm")
    return table("spot", "value\n± simulation", TANK_RANGE, *heads, rows=rows)


def kept(estimate: dict[str, float | None] | None) -> str:
    """A value and its error as they stand in a summary."""
    if estimate is None or estimate["value"] is None:
        return NONE
    width = estimate["half_width_95"]
    return with_error(estimate["value"], math.inf if width is None else width, estimate["low_95"], estimate["high_95"])


def surface_table(surfaces: Iterable[dict[str, Any]]) -> Table:
    """Light on the upward-facing sides of wood and stone."""
    rows = ((f"{s['what']}: {s['name']}", kept(s["upward_faces_ppfd_umol_m2_s"])) for s in surfaces)
    return table("piece", MEAN, rows=rows)


def planting_table(plantings: Iterable[dict[str, Any]]) -> Table:
    """Light on the upper sides of leaves, and how much of it plants absorb and let through."""
    rows = []
    for p in plantings:
        layers = [without_error(layer) for layer in p["layers_from_lowest_ppfd_umol_m2_s"]] or [NONE] * 3
        keys = ("absorbed_over_light_from_above", "reaches_below_over_light_from_above")
        area = NONE if not p["leaf_area_index"] else f"{p['leaf_area_index']:.2f}"
        shares = (value_of(p[key], percent) for key in keys)
        over = without_error(p["over_tops_ppfd_umol_m2_s"])
        rows.append((p["name"], area, over, kept(p["upper_faces_ppfd_umol_m2_s"]), *layers, *shares))
    heads = ("low", "mid", "top", "absorbs", "lets\nthrough")
    return table("planting", "leaf\narea", "over\ntops", "leaves\n± simulation", *heads, rows=rows)


def without_error(estimate: dict[str, float | None] | None) -> str:
    """A PPFD of a summary without its error; where few hits were counted, how far it is known."""
    value, width, low = (None if estimate is None else estimate[key] for key in ("value", "half_width_95", "low_95"))
    few = value is not None and width is not None and low is not None and lopsided(value, width, low)
    return kept(estimate) if few else value_of(estimate, light)


def value_of(estimate: dict[str, float | None] | None, form: Callable[[float], str]) -> str:
    """The value of an estimate of a summary, without its error."""
    value = None if estimate is None else estimate["value"]
    return NONE if value is None else form(value)


def ledger_table(traced: Traced) -> Table:
    """The ledger, adding up to 100 %."""
    lines = as_percentages(with_rest(light_ledger(traced.result)))
    made = table("where the light goes", "%", rows=((name, f"{share:.1f}") for name, share in lines))
    made.add_section()
    made.add_row("total", f"{sum(share for _, share in lines):.1f}")
    return made


def assumption_table(rows: Iterable[dict[str, Any]]) -> Table:
    """What the scene leaves open, with what may move the light most on top."""
    made = table("what", "assumed", "range", "may move\nPPFD by", wide=3)
    ordered = sorted(rows, key=lambda row: -max((abs(v) for v in row["may_move_ppfd_by_relative"] or ()), default=0.0))
    keys = [_broken_at_dots(row["what"]) for row in ordered]
    # keys are to be copied into a scene file: no word of one is broken
    made.columns[0].width = max((len(line) for key in keys for line in key.split()), default=0)
    # the numbers keep their width; what may give way is the words
    made.columns[3].width = max(len("may move"), *(len(moves(row["may_move_ppfd_by_relative"])) for row in ordered), 0)
    made.columns[1].max_width, made.columns[2].max_width = 17, 23
    for key, row in zip(keys, ordered, strict=True):
        source = "" if row["source"] == PRACTICE else f" [{row['source']}]"
        made.add_row(key, row["taken"], row["range"] + source, moves(row["may_move_ppfd_by_relative"]))
    return made


def _broken_at_dots(key: str) -> str:
    """A key in lines of at most KEY_WIDTH characters where its dots allow it; a line that goes on ends with its dot."""
    lines = [""]
    for word in re.findall(r"[^.]+\.?", key):
        if lines[-1] and len(lines[-1] + word) > KEY_WIDTH:
            lines.append("")
        lines[-1] += word
    return "\n".join(lines)


def moves(span: Sequence[float] | None) -> str:
    """How far a value may move the light: `± 15 %`, `-10 to 0 %`."""
    if span is None:
        return NONE
    low, high = (round(100 * v, 0 if abs(v) >= 0.0095 else 1) + 0.0 for v in span)
    return f"± {high:g} %" if low == -high else f"{low:g} to {high:g} %"


def in_short(reports: Sequence[ZoneReport]) -> list[Text]:
    """The verdicts in plain words."""
    lines = []
    for verdict, those in by_verdict(reports):
        names = (r.name + (f" ({leaning(r)})" if verdict is Verdict.BORDERLINE else "") for r in those)
        lines.append(Text.assemble((f"{verdict}: ", STYLE[verdict]), "; ".join(names)))
    return lines or [Text("No zone has a target: give zones a `need` or a `band`.", "dim")]


def by_verdict(reports: Sequence[ZoneReport]) -> list[tuple[Verdict, list[ZoneReport]]]:
    """Zones of one verdict together, those that need a change first."""
    order = (Verdict.TOO_DIM, Verdict.TOO_BRIGHT, Verdict.BORDERLINE, Verdict.RIGHT)
    grouped = [(verdict, [r for r in reports if r.verdict is verdict]) for verdict in order]
    return [(verdict, those) for verdict, those in grouped if those]


def leaning(report: ZoneReport) -> str:
    """Which way a borderline zone may fall: `right or too bright`."""
    words = ("too dim", "right", "too bright")
    chance = report.chance or (0.0, 0.0, 0.0)
    return " or ".join(word for word, share in zip(words, chance, strict=True) if share >= 0.1)


def worst_words(traced: Traced) -> str:
    """The zone or spot with the largest simulation error."""
    return f"{known_to(traced.worst_name, traced.worst_relative)} (simulation error, 95 %)"


def print_answer(console: Console, traced: Traced, reports: Sequence[ZoneReport], *, asked: int | None = None) -> str:
    """Print everything a trace found; returns the sentence that leads. asked: photons asked for, where a number was."""
    summary = summarise(traced, list(reports))
    _print_lead(console, summary)
    _print_zones(console, summary, reports)
    for note in tank_notes(summary):
        say(console, note, "yellow", indent=2)
    _print_pieces(console, summary)
    if summary["spots"]:
        title = "Readings of a level meter head, corrected for immersion, umol/m2/s"
        section(console, title, spot_table(summary["spots"]))
    console.print()
    console.print(ledger_table(traced))
    print_assumptions(console, summary["assumptions"], summary[TANK_STANDARD_KEY])
    _print_lights(console, summary)
    for note in summary["notes"]:
        say(console, f"Note: {note}")
    _print_count(console, traced, summary, asked)
    say(console, "Versions: " + ", ".join(f"{k} {v}" for k, v in summary["versions"].items()), "dim")
    say(console, CAUTIONS, "dim")
    return str(summary["decision"]["sentence"])


def tank_notes(summary: dict[str, Any]) -> list[str]:
    """What to know about the light of each tank as a whole: dim ends, and light that no plant uses."""
    told = [(ends["tank"], ends["words"]) for ends in summary["ends"]]
    see = " `underlit algae` counts the panes too, shows where, and says what would lower it."
    told += [
        (algae["tank"], algae["words"] and f"As the light is set now, {algae['words']}{see}")
        for algae in summary["algae"]
    ]
    return [f"{tank}: {words}" if tank else words for tank, words in told if words]


def print_verdicts(console: Console, reports: Sequence[ZoneReport], sentence: str) -> None:
    """The verdicts, which close the printout, and the sentence that led it, which has scrolled away."""
    section(console, "In short, as the light is set now (with both errors)")
    for line in in_short(reports):
        _paragraph(console, line, 2)
    say(console, sentence, "bold", indent=2)


def print_cautions(console: Console, lines: Iterable[str]) -> None:
    """What to look at before one trusts the answer."""
    for line in lines:
        say(console, f"Caution: {line}.", "bold yellow")


def _print_lead(console: Console, summary: dict[str, Any]) -> None:
    """What to do about the light, before anything else."""
    if summary["title"]:
        say(console, summary["title"], "bold underline")
    say(console, summary["decision"]["sentence"], "bold")
    print_cautions(console, summary["cautions"])
    for line in summary["decision"]["not_met"]:
        say(console, line, indent=2)
    for line in summary["panes"]:
        say(console, line)
    console.print()


def _print_zones(console: Console, summary: dict[str, Any], reports: Sequence[ZoneReport]) -> None:
    say(console, "PAR (PPFD) of each zone, umol/m2/s, errors at 95 %", "bold")
    asking = {zone["name"]: zone["right_at"] for zone in summary["decision"]["zones"]}
    console.print(zone_table(reports, asking or None))
    if asking:
        say(console, RIGHT_AT, "dim", indent=2)
    for r in reports:
        told = "; ".join(t for t in (r.why, r.band.note if r.band else "") if t)
        if told:
            say(console, f"{r.name}: {told}", "dim", indent=2)
    section(console, "What moves the range of the real tank most, umol/m2/s", moved_table(reports))
    section(console, "Evenness and daily light (DLI)", spread_table(reports))
    legend = "dimmest tenth: mean PPFD of the dimmest tenth of the area; evenness: dimmest 3 cm patch over the mean"
    noisy = [r.name for r in reports if r.spread.patch_noise > NOISIEST]
    if noisy:
        legend += f"; {NONE}: patches are noisier than {percent(NOISIEST)}, trace more photons"
    if any(math.isnan(r.spread.patch_noise) for r in reports):
        legend += f"; {NONE}: not measured on leaves, on hardscape and in zones smaller than four patches"
    say(console, legend, "dim", indent=2)


def _print_pieces(console: Console, summary: dict[str, Any]) -> None:
    solids = [s for s in summary["surfaces"] if s["what"] != Role.PLANTS]
    if solids:
        section(console, "Upward-facing wood and stone, umol/m2/s", surface_table(solids))
    if summary["plantings"]:
        title = "Light over the tops of plants and on the upper sides of their leaves, umol/m2/s, and what they absorb"
        section(console, title, planting_table(summary["plantings"]))
        for planting in summary["plantings"]:
            say(console, f"{planting['name']}: {planting['words']}.", indent=2)
        legend = (
            "leaf area: one side of the leaves, over the ground or wood that they cover; over tops: on a level meter head there, "
            "which is what a band is for; low, mid, top: leaves by thirds of the height; "
            "absorbs: light that the leaves take; lets through: light that comes down under them; both over the light from above"
        )
        say(console, legend, "dim", indent=2)


def print_assumptions(console: Console, rows: Sequence[dict[str, Any]], relative: float | None) -> None:
    """The table of assumptions."""
    if not rows:
        return
    together = UNKNOWN if relative is None else percent(1.96 * relative)
    title = "Measured and assumed" if any(row["measured"] for row in rows) else "Assumptions"
    section(console, f"{title}; together they may move PPFD by ± {together} (95 %)", assumption_table(rows))
    say(console, f"ranges: {PRACTICE}, unless a source is given in brackets", "dim", indent=2)


def _print_lights(console: Console, summary: dict[str, Any]) -> None:
    section(console, "Lights")
    for f in summary["fixtures"]:
        watts = "watts not stated" if f["watts"] is None else f"{f['watts']:.3g} W"
        dimmed = f", dimmed to {percent(f['dimming'])}" if f["dimming"] < 1 else ""
        told = f"{f['name']}: PPF {f['ppf_umol_s']:.3g} umol/s, {watts}, {f['photoperiod_hours']:g} h a day{dimmed}"
        say(console, told, indent=2)
    if len(summary["fixtures"]) > 1:
        watts = "" if summary["watts"] is None else f", {summary['watts']:.3g} W"
        say(console, f"together: PPF {summary['ppf_umol_s']:.3g} umol/s{watts}", indent=2)


def _print_count(console: Console, traced: Traced, summary: dict[str, Any], asked: int | None) -> None:
    result = traced.result
    console.print()
    say(
        console,
        f"{result.photons:,} photons in {result.seconds:.1f} s after start-up, seed {result.seed}; ledger gap "
        f"{result.ledger_gap()} quanta; {summary['ledger']['lost_photons']} photons unaccounted for",
    )
    worst = worst_words(traced)
    if not result.complete:
        say(console, f"Stopped early: this is what was counted so far; least certain: {worst}.", "bold yellow")
    elif asked is not None:
        batches, each = min(c.batches for c in result.counts), result.counts[0].photons_per_batch
        if each == FEWEST_IN_BATCH and result.photons > asked:
            say(
                console,
                f"{asked:,} photons were asked for; an error needs at least {batches} batches of {each:,} photons of "
                f"each light channel, so {result.photons:,} were traced.",
            )
        say(console, f"Least certain: {worst}.")
    elif not traced.reached:
        say(console, f"The precision asked for was not reached: {worst}.", "bold yellow")
