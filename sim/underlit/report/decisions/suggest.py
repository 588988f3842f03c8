"""Suggestions as people read them: the ranked table, what each leaves unmet, why, and the files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from underlit.planning.suggest import OutOfReach, Suggestion, Suggestions, TooAlike, Weigh
from underlit.planning.suggest.scene_file import NoFileError, suggested_scene
from underlit.planning.zones import ZoneReport
from underlit.report.numbers import NONE, band_text, duration, light, percent
from underlit.report.printout import CAUTIONS, say, section, table, zone_table
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.scene import Need, Scene, band_for
from underlit.viz.figures import write_png
from underlit.viz.sheets.suggestions import draw_suggestions

CSV, PICTURE, SCENE = "suggestions.csv", "suggestions.png", "suggestion-{}.toml"
NOW = "now"
_WEIGHED = {
    Weigh.ZONES: "zones met",
    Weigh.HEADROOM: "headroom (at most 70 % of full power)",
    Weigh.LID: "keeping the lid",
    Weigh.PRICE: "price",
    Weigh.WATTS: "watts",
}


def print_suggestions(console: Console, found: Suggestions, show: int) -> None:
    """The whole answer. show: how many suggestions."""
    shown = found.ranked[:show]
    total = len(found.now.zones)
    say(console, found.now.scene.title or "Suggestions", "bold underline")
    having = "1 zone has a target" if total == 1 else f"{total} zones have a target"
    say(console, f"{having}; {len(found.now.met)} met as the light is now.")
    console.print()
    console.print(_table(found, shown))
    said = ", then ".join(_WEIGHED[what] for what in found.order)
    say(console, f"ranked by {said}; each was traced in full; met: the mean lies in the band", "dim", indent=2)
    section(console, "Zones outside their bands, umol/m2/s")
    for name, one in _numbered(found, shown):
        say(console, f"{name}: {unmet_words(one) or 'none'}", indent=2)
        for warning in (*one.reach.warnings, *filter(None, [one.ends and one.ends.in_short()])):
            say(console, f"note: {warning}", "yellow", indent=5)
    section(console, "Zones with suggestion 1, umol/m2/s, errors at 95 %", zone_table(found.best.zones))
    section(console, "In short")
    for line in in_words(found):
        say(console, line, indent=2)
    say(console, f"{found.traces} traces in {duration(found.seconds)}", "dim")
    say(console, CAUTIONS, "dim")


def _numbered(found: Suggestions, shown: Sequence[Suggestion]) -> list[tuple[str, Suggestion]]:
    return [(NOW, found.now), *((str(i + 1), one) for i, one in enumerate(shown))]


def _table(found: Suggestions, shown: Sequence[Suggestion]) -> Table:
    rows = (
        (
            name, hanging_words(one, now=name == NOW), setting_words(one), f"{len(one.met)} of {len(one.zones)}",
            buy_words(one), NONE if one.watts is None else f"{one.watts:.3g}",
        )
        for name, one in _numbered(found, shown)
    )  # fmt: skip
    return table("", "what to hang", "set to", "met", "buy", "W", wide=3, rows=rows)


def hanging_words(one: Suggestion, *, now: bool = False) -> str:
    """`2 x bar, 2.0 cm over the rim, 10 and 31 cm from the front`."""
    hung = one.hanging
    if hung is None:
        return "as it is" if now else "as it is, dimmed differently"
    count = len(hung.places_m)
    places = " and ".join(f"{100 * place:.0f}" for place in hung.places_m)
    side = "left, turned front to back" if hung.turned else "front"
    lid = "" if one.lid_kept else ", without the lid"
    name = hung.kind.name if count == 1 else f"{count} x {hung.kind.name}"
    return f"{name}, {100 * hung.above_rim_m:.0f} cm over the rim, {places} cm from the {side}{lid}"


def setting_words(one: Suggestion) -> str:
    """Shares of full power by fixture, channels apart only where they differ: `56 %, 27 %`."""
    parts = []
    for fixture in dict.fromkeys(setting.fixture for setting in one.settings):
        shares = {s.channel: percent(s.share) for s in one.settings if s.fixture == fixture}
        alike = len(set(shares.values())) == 1
        parts.append(next(iter(shares.values())) if alike else " ".join(f"{c} {share}" for c, share in shares.items()))
    return ", ".join(parts)


def buy_words(one: Suggestion) -> str:
    """How many to buy, with their price where it is given."""
    if one.buys == 0 or one.hanging is None:
        return "nothing"
    return f"{one.buys} x" if one.cost is None else f"{one.buys} x, {one.cost:g}"


def unmet_words(one: Suggestion) -> str:
    """`carpet 47.9 (band 70-120)`; empty where all is met."""
    return "; ".join(f"{z.name} {light(z.ppfd.value)} (band {band_text(z.band)})" for z in one.unmet)


def in_words(found: Suggestions) -> list[str]:
    """What the best suggestion meets; why zones stay unmet; what would grow there instead; what was left out."""
    best, total = found.best, len(found.now.zones)
    met, every = len(best.met), "the one zone" if total == 1 else f"all {total} zones"
    if met == total:
        lines = [f"Suggestion 1 meets {every}, {_sure_words(best)}."]
    else:
        most = f"; the best meets {met}, {_sure_words(best)}" if met else ""
        lines = [f"No suggestion meets {every}{most}."]
    if met <= len(found.now.met) and met < total:
        lines.append("No change of the light does better than now: choose plants that suit the light.")
    lines += [_against_words(one) for one in found.against]
    lines += [line for zone in best.unmet if (line := grows_there(zone, best.scene))]
    lines += [f"{name} was left out: {reason}." for name, reason in found.left_out]
    if best.buys and best.cost is None:
        lines.append("No price is given for what is to buy, so price does not count.")
    return lines


def _sure_words(best: Suggestion) -> str:
    share = "" if best.sure == len(best.met) else f"{best.sure} of them "
    return f"{share}with a probability of at least 80 %, both errors included"


def _against_words(one: OutOfReach | TooAlike) -> str:
    if isinstance(one, OutOfReach):
        fixtures = "one fixture" if one.fixtures == 1 else f"{one.fixtures} fixtures"
        return (
            f"{one.zone} gets at most {light(one.most)} from {fixtures} at full power; its band starts at {one.low:g}."
        )
    return (
        f"{one.brighter} gets at most {one.at_most:.2g} times the light of {one.dimmer}, wherever a light hangs; "
        f"their bands need at least {one.wanted:.2g} times. Swap or move one of them."
    )


def grows_there(zone: ZoneReport, scene: Scene) -> str:
    """Which need the light of an unmet zone suits; empty where none."""
    answers = {"added_co2": scene.has_added_co2, "settled": scene.is_settled}
    suits = [
        need for need in Need if band_for(need, **answers).low <= zone.ppfd.value <= band_for(need, **answers).high
    ]
    if not suits:
        return ""
    return f"{zone.name}: its light, {light(zone.ppfd.value)}, suits {' or '.join(suits)} plants."


def suggestions_csv(found: Suggestions) -> str:
    """A line for each way to hang and set the light, `now` first, as csv text; PPFD of each zone at the end."""
    return csv_text(
        {
            "rank": name,
            "what_to_hang": hanging_words(one, now=name == NOW),
            "set_to": setting_words(one),
            "zones_met": len(one.met),
            "zones_right": one.sure,
            "unmet": unmet_words(one),
            "highest_share_of_full_power": one.highest,
            "lid_kept": one.lid_kept,
            "fixtures_to_buy": one.buys,
            "cost": one.cost,
            "watts": one.watts,
            "above_rim_m": one.hanging and one.hanging.above_rim_m,
            "spill_share": one.reach.spill,
            "glare_share": one.reach.glare,
            "free_strip_m": one.reach.free_m,
            "ends_over_middle": one.ends and one.ends.share.value,
            "notes": "; ".join(one.reach.warnings),
            **{f"{zone.name}: ppfd_umol_m2_s": zone.ppfd.value for zone in one.zones},
        }
        for name, one in _numbered(found, found.ranked)
    )


def write_suggestions(found: Suggestions, folder: Path, show: int, scene: Path) -> list[str]:
    """Write suggestions.csv, the picture and a scene file for each shown into a folder, each whole or not at all.

    scene: the file that was asked about. Returns lines to tell, such as a scene that could not be written. Raises OSError.
    """
    write_text(folder / CSV, suggestions_csv(found))
    shown = _numbered(found, found.ranked[:show])
    names = [(name, f"{hanging_words(one, now=name == NOW)}; {setting_words(one)}") for name, one in shown]
    write_png(draw_suggestions(found, names), folder / PICTURE, tight=True)
    told = []
    for name, one in shown[1:]:
        path = folder / SCENE.format(name)
        try:
            write_text(path, suggested_scene(one, scene, path))
        except NoFileError as reason:
            path.unlink(missing_ok=True)
            told.append(f"{name} has no scene file: {reason}")
    return told
