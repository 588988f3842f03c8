"""Suggestions as people read them: the ranked table, what each leaves unmet, why, and the files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from underlit.planning.suggest import Conflict, OutOfReach, Suggestion, Suggestions, TooMuch, Weigh
from underlit.planning.suggest.dimming import EASY_SETTING
from underlit.planning.suggest.scene_file import NoFileError, suggested_scene
from underlit.planning.zones import ZoneReport
from underlit.report.decisions.decision import counted, lead
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
    lead_line, *more = in_words(found)
    say(console, lead_line, "bold")
    having = "1 zone has a target" if total == 1 else f"{total} zones have a target"
    say(console, f"{having}; {len(found.now.met)} met as the light is now.")
    for line in more:
        say(console, line, indent=2)
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
    if found.best.elsewhere:
        section(console, "The other tanks of the rack with suggestion 1", zone_table(found.best.elsewhere))
    say(console, f"{found.traces} trace{'s' if found.traces > 1 else ''} in {duration(found.seconds)}", "dim")
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
        if now or not one.settings or (one.decision is not None and one.decision.is_set):
            return "as it is"
        several = len({setting.fixture for setting in one.settings}) > 1
        return f"as it is, {'all dimmed by one factor' if one.together and several else 'dimmed differently'}"
    count = len(hung.places_m)
    places = " and ".join(f"{100 * place:.0f}" for place in hung.places_m)
    side = "left, turned front to back" if hung.turned else "front"
    lid = "" if one.lid_kept else ", without the lid"
    name = hung.kind.name if count == 1 else f"{count} x {hung.kind.name}"
    return f"{name}, {100 * hung.above_rim_m:.0f} cm over the rim, {places} cm from the {side}{lid}"


def setting_words(one: Suggestion) -> str:
    """Shares of full power by fixture, channels apart only where they differ: `56 %, 27 %`."""
    return ", ".join(_shares(one).values()) or NONE


def title_words(one: Suggestion, *, now: bool = False) -> str:
    """What to hang and how to set it, for a picture."""
    return "; ".join([hanging_words(one, now=now), *([setting_words(one)] if one.settings else [])])


def set_words(one: Suggestion, now: Suggestion) -> str:
    """The same as something to do: `Set the bar to 56 % and the strip to 27 %`, or `Leave the bar at 56 %`."""
    shares = _shares(one)
    verb, to = ("Leave", "at") if shares == _shares(now) else ("Set", "to")
    if len(shares) > 1 and len(set(shares.values())) == 1:
        return f"{verb} all lights {to} {next(iter(shares.values()))}"
    alike = "all lights by one factor: " if one.together and len(shares) > 1 else ""
    return f"{verb} {alike}{_listed([f'the {fixture} {to} {share}' for fixture, share in shares.items()])}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _shares(one: Suggestion) -> dict[str, str]:
    """Share of full power by fixture, in words; those of its channels where they differ."""
    found = {}
    for fixture in dict.fromkeys(setting.fixture for setting in one.settings):
        shares = {s.channel: percent(s.share) for s in one.settings if s.fixture == fixture}
        alike = len(set(shares.values())) == 1
        each = " ".join(f"{channel} {share}" for channel, share in shares.items())
        found[fixture] = next(iter(shares.values())) if alike else each
    return found


def buy_words(one: Suggestion) -> str:
    """How many to buy, with their price where it is given."""
    if one.buys == 0 or one.hanging is None:
        return "nothing"
    return f"{one.buys} x" if one.cost is None else f"{one.buys} x, {one.cost:g}"


def unmet_words(one: Suggestion) -> str:
    """`carpet 47.9 (band 70-120)`; empty where all is met."""
    return "; ".join(f"{z.name} {light(z.ppfd.value)} (band {band_text(z.band)})" for z in one.unmet)


def in_words(found: Suggestions) -> list[str]:
    """What to set or what the best suggestion meets; whether one light does; why zones stay unmet and what would grow there
    instead; what changes in other tanks; what was left out.
    """
    best, total = found.best, len(found.now.zones)
    met = len(best.met)
    if found.only_dimming:
        lines = [
            lead(one.decision) if one.decision else f"{set_words(one, found.now)}: {_met_words(one)}."
            for one in found.ranked
        ]
    elif met == 0:
        lines = [f"No suggestion meets {counted(total)}."]
    else:
        least = "" if met == total else "; no suggestion meets more"
        lines = [f"Suggestion 1: {_do_words(best)}. It meets {_zones(met, total)}, {_sure_words(best)}{least}."]
    if met <= len(found.now.met) and met < total:
        way = "dimming" if found.only_dimming else "change of the light"
        lines.append(f"No {way} does better than now: choose plants that suit the light.")
    lines += [line for line in (how_many_words(found), _elsewhere_words(found)) if line]
    lines += [_against_words(one) for one in found.against]
    lines += [line for zone in best.unmet if (line := grows_there(zone, best.scene))]
    lines += [f"{name} was left out: {reason}." for name, reason in found.left_out]
    if best.buys and best.cost is None:
        lines.append("No price is given for what is to buy, so price does not count.")
    return lines


def _do_words(one: Suggestion) -> str:
    """What to hang and how to set it."""
    if one.hanging is None:
        return (
            f"leave the light where it hangs, set to {setting_words(one)}"
            if one.settings
            else "leave the light as it is"
        )
    return f"hang {hanging_words(one)}, set to {setting_words(one)}"


def _met_words(one: Suggestion) -> str:
    """`2 of 3 zones are met, with ...`."""
    total, met = len(one.zones), len(one.met)
    if met == 0:
        return "no zone is met" if total > 1 else "the zone is not met"
    who = f"{_zones(met, total)} {'is' if met == 1 else 'are'}"
    return f"{who} met, {_sure_words(one)}"


def how_many_words(found: Suggestions) -> str:
    """Whether one light does, or how many it takes, by the best suggestion with each number; empty where one was tried."""
    best: dict[int, Suggestion] = {}
    for one in found.ranked:
        if one.settings:
            best.setdefault(len(one.scene.fixtures), one)
    if len(best) < 2:
        return ""
    few = max(sorted(best), key=lambda number: len(best[number].met))
    told = [
        f"{_lights(number)} {'meets' if number == 1 else 'meet'} {_zones(len(one.met), len(one.zones))} at "
        f"{percent(one.highest)} of full power{_watts_words(one)}"
        for number, one in sorted(best.items())
    ]
    said = f"{'One light is enough' if few == 1 else f'It takes {_lights(few)}'}: {', '.join(told)}."
    for number in sorted(best):
        gains = ["would be surer"] if best[number].sure > best[few].sure else []
        gains += ["would leave room for ageing"] if best[number].highest <= EASY_SETTING < best[few].highest else []
        if number > few and gains:
            return f"{said} {_lights(number).capitalize()} {' and '.join(gains)}."
    return said


def _zones(met: int, total: int) -> str:
    """`both zones`, `2 of 3 zones`."""
    if met < total:
        return f"{met or 'none'} of {total} zones" if total > 1 else "nothing"
    return counted(total)


def _lights(number: int) -> str:
    return {1: "one light", 2: "two lights", 3: "three lights"}.get(number, f"{number} lights")


def _watts_words(one: Suggestion) -> str:
    return "" if one.watts is None else f" ({one.watts:.3g} W)"


def _elsewhere_words(found: Suggestions) -> str:
    """Zones of other tanks of the rack that the first suggestion takes out of their bands; empty where there are none."""
    was = {zone.name: zone for zone in found.now.elsewhere if zone.in_band}
    lost = [
        f"{zone.name} gets {light(zone.ppfd.value)}, now {light(was[zone.name].ppfd.value)} (band {band_text(zone.band)})"
        for zone in found.best.elsewhere
        if zone.name in was and not zone.in_band
    ]
    return f"Suggestion 1 changes other tanks of the rack: {'; '.join(lost)}." if lost else ""


def _sure_words(best: Suggestion) -> str:
    if best.sure == 0:
        return "but that is not sure: the tank error leaves doubt"
    share = "" if best.sure == len(best.met) else f"{best.sure} of them "
    return f"{share}with a probability of at least 80 %, both errors included"


def _against_words(one: Conflict) -> str:
    if isinstance(one, OutOfReach):
        of = (
            ""
            if one.fixtures is None
            else " from one fixture"
            if one.fixtures == 1
            else f" from {one.fixtures} fixtures"
        )
        return f"{one.zone} gets at most {light(one.most)}{of} at full power; its band starts at {one.low:g}."
    if isinstance(one, TooMuch):
        return f"{one.zone} gets {light(one.least)} from the lights of the other tanks alone; its band ends at {one.high:g}."
    tried = "however the lights are dimmed" if one.as_they_hang else "wherever a light hangs"
    return (
        f"{one.brighter} gets at most {one.at_most:.2g} times the light of {one.dimmer}, {tried}; "
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


def write_suggestions(found: Suggestions, folder: Path, show: int, rack: Scene, tank: int = 0) -> list[str]:
    """Write suggestions.csv, the picture and a scene file for each shown into a folder, each whole or not at all.

    rack: the scene that was asked about as its file says it; tank: the number of the tank in it. Returns lines to tell, such
    as a scene that could not be written. Raises OSError.
    """
    write_text(folder / CSV, suggestions_csv(found))
    shown = _numbered(found, found.ranked[:show])
    names = [(name, title_words(one, now=name == NOW)) for name, one in shown]
    write_png(draw_suggestions(found, names), folder / PICTURE, tight=True)
    told = []
    for name, one in shown[1:]:
        path = folder / SCENE.format(name)
        try:
            for place, text in suggested_scene(one, rack, tank, path).items():
                write_text(place, text)
        except NoFileError as reason:
            path.unlink(missing_ok=True)
            told.append(f"{name} has no scene file: {reason}")
    return told
