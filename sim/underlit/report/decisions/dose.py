"""Daily light and years of use in words, tables, a csv file and settings cards."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from underlit.planning.dose import (
    AGEING_A_YEAR,
    AGES,
    NEW_TANK_HOURS,
    NEW_TANK_WEEKS,
    Dose,
    Span,
    ZoneDose,
    as_decided,
)
from underlit.planning.ranges import both_errors
from underlit.report.decisions.decision import lead
from underlit.report.numbers import band_text, estimated, light, percent, span_text
from underlit.report.printout import PRACTICE, TANK_RANGE, say, section, table, verdict_text
from underlit.report.summary import light_entry, tank_entry
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.scene import Fixture, Scene
from underlit.scene.targets import NEW_TANK_SHARE
from underlit.units import format_length
from underlit.viz.overlay import Points, as_points
from underlit.viz.sheets.reading_sheet import Paper
from underlit.viz.sheets.settings_card import Card, CardZone, LightSetting, write_cards
from underlit.viz.tank3d.pooling import PATCH_M, patch_means

FAR_YEARS = 30.0
"""Years beyond which no light is kept; told as "more than"."""
FOOT = (
    "Predicted, not measured: start dimmer, check with a meter where it matters, and watch the plants. Use a drip loop and "
    "residual-current protection. Do not look into LEDs. Hang lights only from what can carry them. Follow local codes."
)


def print_dose(console: Console, made: Dose) -> None:
    """Print the tables and what follows from them."""
    say(console, made.lowered.scene.title or "Daily light", "bold underline")
    if made.decision is not None:
        say(console, lead(made.decision), "bold")
        console.print()
    say(console, f"Settled tank, set as in the scene: {day_words(made.lowered.lights)}", "bold")
    console.print(_settled_table(made))
    low, high = (percent(s) for s in NEW_TANK_SHARE)
    section(
        console,
        f"New tank, first {NEW_TANK_WEEKS:g} weeks: {NEW_TANK_HOURS:g} h a day at {low[:-2]}-{high} of that light ({PRACTICE})",
        _new_table(made),
    )
    rates = "-".join(f"{100 * r:g}" for r in AGEING_A_YEAR)
    title = f"Ageing: lights lose {rates} % of their output a year ({PRACTICE}); PPFD that is left"
    section(console, title, _age_table(made))
    console.print()
    for line in (suit_words(made), energy_words(made)):
        if line:
            say(console, line)


def day_words(lights: Sequence[Fixture]) -> str:
    """Dimming and hours of lights in words."""
    return "; ".join(f"{f.name} {dial(f)}, {hours_words(f)}" for f in lights)


def dial(fixture: Fixture) -> str:
    """What to set a light to: its step where it has a measured curve, else per cent; by channel where they differ."""
    if fixture.step is not None:
        return f"step {fixture.step:g}"
    levels = {c.name: fixture.level_of(c) for c in fixture.channels}
    if len({round(v, 3) for v in levels.values()}) == 1:
        return f"{100 * next(iter(levels.values())):.0f} %"
    return ", ".join(f"{name} {100 * v:.0f} %" for name, v in levels.items())


def hours_words(fixture: Fixture) -> str:
    """Hours of a light's day; with ramps, the hours at its brightest that give as much."""
    lit, level = fixture.lit_hours, fixture.level
    full = fixture.day.full_hours / level if level > 0 else 0.0
    if abs(full - lit) < 0.05:
        return f"{lit:.3g} h a day"
    return f"{lit:.3g} h a day with ramps, equal to {full:.1f} h"


def _settled_table(made: Dose) -> Table:
    rows = (
        (
            z.name, estimated(z.report.ppfd), span_text(z.report.tank_low, z.report.tank_high),
            band_text(z.band), verdict_text(z.verdict), f"{z.dli:.2f}",
        )
        for z in made.zones
    )  # fmt: skip
    heads = ("PAR (PPFD)\n± simulation", TANK_RANGE, "band", "verdict", "DLI\nmol/m2/day")
    return table("zone", *heads, words=4, rows=rows)


def _span(span: Span, form: str = "") -> str:
    a, b = (f"{v:{form}}" if form else light(v) for v in span)
    return a if a == b else f"{a}-{b}"


def _new_table(made: Dose) -> Table:
    rows = (
        (z.name, _span(z.new_ppfd), band_text(z.new_band), verdict_text(z.new_verdict), _span(z.new_dli, ".2f"))
        for z in made.zones
    )
    return table("zone", "PAR (PPFD)", "band of a\nnew tank", "verdict", "DLI\nmol/m2/day", words=3, rows=rows)


def _age_table(made: Dose) -> Table:
    heads = [f"after\n{years} year{'s' if years > 1 else ''}" for years in AGES]
    rows = ((z.name, *map(_span, z.aged), years_words(z.years_in_band)) for z in made.zones)
    return table("zone", *heads, "years until\ntoo dim", rows=rows)


def years_words(span: Span | None) -> str:
    """Years until a zone falls under its band."""
    if span is None:
        return ""
    if span == (0.0, 0.0):
        return "already"
    soon, late = (min(v, FAR_YEARS) for v in span)
    if soon >= FAR_YEARS:
        return f"> {FAR_YEARS:.0f}"
    return f"{soon:.1f} to {'> ' if late >= FAR_YEARS else ''}{late:.0f}"


def suit_words(made: Dose) -> str:
    """What the substrate suits, need by need."""
    if made.suits is None:
        return ""
    parts = ", ".join(f"{need} plants on {percent(share)}" for need, share in made.suits.items())
    return f"The light suits {parts} of the substrate."


def energy_words(made: Dose) -> str:
    """Energy and cost of a year."""
    if not made.lowered.scene.fixtures:
        return "Energy and cost: see the tank of the rack that the light belongs to."
    e = made.energy
    if e.watts is None or e.settled_kwh is None or e.first_year_kwh is None:
        return "Energy and cost are unknown because the watts of a light are not stated."
    said = f"{e.watts:.3g} W; {e.settled_kwh:.0f} kWh in a settled year, {e.first_year_kwh:.0f} kWh in the first year"
    cost, first = e.cost(e.settled_kwh), e.cost(e.first_year_kwh)
    if cost is not None and first is not None:
        said += f"; at {e.price:g} a kWh that costs {cost:.2f} and {first:.2f}"
    return said + "."


# -- files ---------------------------------------------------------------------------------------------------------------
def dose_csv(doses: Sequence[Dose]) -> str:
    """A line for each tank and zone, as csv text."""
    return csv_text(_zone_row(made, zone) for made in doses for zone in made.zones)


def _zone_row(made: Dose, zone: ZoneDose) -> dict[str, object]:
    report, band = zone.report, zone.band
    least, most = zone.new_dli
    aged = {
        f"ppfd_after_{years}_years_{end}_umol_m2_s": value
        for years, span in zip(AGES, zone.aged, strict=True)
        for end, value in zip(("least", "most"), span, strict=True)
    }
    return {
        "tank": made.lowered.scene.title,
        "zone": zone.name,
        **light_entry(report.ppfd, float),
        **tank_entry(report.ppfd.value, report.tank.low, report.tank.high),
        "band_low_umol_m2_s": band and band.low,
        "band_high_umol_m2_s": band and band.high,
        "verdict": zone.verdict,
        "dli_mol_m2_day": zone.dli,
        "new_tank_dli_least_mol_m2_day": least,
        "new_tank_dli_most_mol_m2_day": most,
        "new_tank_verdict": zone.new_verdict,
        **aged,
    }


def settings_card(answered: Dose) -> Card:
    """A tank's card, with the light set as decided."""
    made = as_decided(answered)
    scene = made.lowered.scene
    inside = " x ".join(f"{100 * m:.0f}" for m in scene.tank.inside_m)
    inches = " x ".join(f"{m / 0.0254:.0f}" for m in scene.tank.inside_m)
    over = "with a lid" if scene.lid is not None else "under a hood" if scene.hood is not None else "no lid"
    grid = made.result.compiled.bed_map
    assert grid is not None
    bed = patch_means(made.result.bed().value, PATCH_M / grid.spacing[0], PATCH_M / grid.spacing[1])
    zones, outlines = _card_zones(made)
    return Card(
        title=scene.title or (scene.path.stem if scene.path else "tank"),
        tank=f"inside {inside} cm ({inches} in), water {format_length(scene.water_level_m)} high, {over}",
        lights=tuple(_light(scene, f) for f in made.lowered.lights),
        lead="" if answered.decision is None else lead(answered.decision),
        zones=zones,
        suits=suit_words(made),
        energy=energy_words(made),
        foot=FOOT,
        bed=bed,
        size=scene.tank.inside_m[:2],
        outlines=outlines,
    )


def _light(scene: Scene, fixture: Fixture) -> LightSetting:
    place = "shared with the other tanks of the rack"
    if fixture in scene.fixtures:
        x, y, z = scene.fixture_centre_m(fixture)
        place = (
            f"LEDs {format_length(z - scene.tank.inside_m[2])} over the rim; middle {format_length(y)} from the front, "
            f"{format_length(x)} from the left"
        )
    low, high = (100 * share * fixture.level for share in NEW_TANK_SHARE)
    return LightSetting(
        name=fixture.name,
        dial=dial(fixture),
        hours=hours_words(fixture),
        place=place,
        new_tank=f"new tank: {NEW_TANK_HOURS:g} h at {low:.0f}-{high:.0f} % for {NEW_TANK_WEEKS:g} weeks",
    )


def _card_zones(made: Dose) -> tuple[tuple[CardZone, ...], tuple[Points, ...]]:
    """Zones of a card, those that ask for a band first, and the outlines of as many as have one, in that order."""
    places = {p.name: p for p in made.lowered.own_zones}
    named = [z for z in made.zones[1:] if places[z.name].outline is not None] or list(made.zones[:1])
    rest = [z for z in made.zones[1:] if z not in named]
    ordered = [*sorted(named, key=lambda z: z.band is None), *rest]
    outlines = [places[z.name].outline for z in ordered if places[z.name].outline is not None and z in made.zones[1:]]
    return tuple(map(_card_zone, ordered)), tuple(as_points(o) for o in outlines if o is not None)


def _card_zone(z: ZoneDose) -> CardZone:
    ppfd, tank = z.report.ppfd, z.report.tank
    low, high = both_errors(ppfd.value, ppfd.half_width, (tank.low, tank.high))
    return CardZone(
        z.name, f"{light(ppfd.value)} ({span_text(low, high)})", band_text(z.band), str(z.verdict), f"{z.dli:.1f}"
    )


def write_dose(doses: Sequence[Dose], paper: Paper, folder: Path) -> None:
    """Write dose.csv and the settings cards, cards.pdf and cards-1.png and on. Raises OSError."""
    write_text(folder / "dose.csv", dose_csv(doses))
    write_cards([settings_card(d) for d in doses], paper, folder)
