"""Where each plant can grow, as people read it: the table, the words, the csv file and the picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from rich.console import Console

from underlit.planning.chart.target import LOWEST_SETTING
from underlit.planning.plant_map import ON_HARDSCAPE_M, Fit, Grows, Part, PlantMap, PlantPlace, best_settings
from underlit.report.decisions.algae_words import listed
from underlit.report.numbers import band_text, percent, sure_to
from underlit.report.printout import CAUTIONS, say, table
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.scene import Need, PlantKind
from underlit.viz.figures import write_png
from underlit.viz.maps.plant_panels import MOST_PANELS, draw_plant_panels

CSV, PICTURE = "plants.csv", "plants.png"
MARGINAL_WORDS = (
    "grows: gets enough light with a probability of at least 80 %, and not surely too much; marginal: may get too little; all "
    "lights are dimmed alike"
)
SURE_WORDS = (
    "The tank error leaves doubt near the edges of a band: plants.csv gives the share of the bed that is right with a "
    "probability of at least 80 %. Start planting in the middle of an area."
)


def print_plant_map(console: Console, found: PlantMap) -> None:
    """The whole answer."""
    scene = found.traced.lowered.scene
    say(console, scene.title or "Where each plant can grow", "bold underline")
    say(console, "Where each plant grows, and at which setting of the light (share of full power)", "bold")
    told = [place for place in ordered(found) if place.wish.asked or place.wish.name in list(Need)]
    for place in told:
        say(console, in_words(place, found.level), indent=2)
    say(console, MARGINAL_WORDS, "dim", indent=2)
    console.print()
    say(console, "Share of the open bed as the light is set, by the light at the tops of each plant", "bold")
    rows = (
        (
            place.wish.name, band_text(place.wish.band), tops_words(place),
            *(percent(place.share(fit)) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE)),
            short_words(place, found.level),
        )
        for place in ordered(found)
    )  # fmt: skip
    heads = ("band\numol/m2/s", "tops\ncm", "too\ndim", "right", "more than\nit needs", "grows, at its\nbest setting")
    console.print(table("plant", *heads, words=-1, rows=rows))
    for place in found.places:
        if (note := height_note(place)) != "":
            say(console, note, "dim", indent=2)
    if found.cleared:
        said = f"The bed was cleared of {', '.join(found.cleared)}; the panes are as in a planted tank."
        say(console, said, "dim", indent=2)
    say(console, SURE_WORDS, indent=2)
    say(console, f"The simulation error of a 4 cm patch is ± {sure_to(2 * found.noise)}.", "dim", indent=2)
    say(console, CAUTIONS, "dim")


def in_words(place: PlantPlace, level: float) -> str:
    """Where a plant grows and at which setting, where it is marginal, and where it does not grow.

    level: how the lights are set, the brightest channel's share of full power.
    """
    settings = best_settings(place, level)
    said = []
    if settings:
        setting, names = settings[0]
        said.append(f"grows {_places(names, place)} {_at(setting, level)}")
    if len(settings) > 1:
        said.append(
            "at another setting " + ", ".join(f"{listed(_in(names))} ({percent(s)})" for s, names in settings[1:])
        )
    for grows, words, why in (
        (Grows.MARGINAL, "marginal", "even at full power"),
        (Grows.NOT, "not here:", "too dim even at full power"),
        (Grows.TOO_BRIGHT, "not here:", f"too bright even at {percent(LOWEST_SETTING)}"),
    ):
        names = [part.place for part in place.parts if part.grows is grows]
        if names:
            said.append(f"{words} {_places(names, place)} ({why})")
    name, asked = place.wish.name, place.wish.asked
    who = f"{asked} ({name})" if asked and asked.casefold() != name.casefold() else name
    return f"{who}, {band_text(place.wish.band)} umol/m2/s: {'; '.join(said) or 'the whole bed is covered'}."


def short_words(place: PlantPlace, level: float) -> str:
    """`everywhere at 40 %`, `6 of 9 parts at 45 %`, `marginal` or `not here`."""
    settings = best_settings(place, level)
    if not settings:
        return "marginal" if any(part.grows is Grows.MARGINAL for part in place.parts) else "not here"
    setting, names = settings[0]
    where = "everywhere" if len(names) == len(place.parts) else f"{len(names)} of {len(place.parts)} parts"
    return f"{where} at {percent(setting)}"


def _at(setting: float, level: float) -> str:
    return f"as the light is set ({percent(level)})" if setting == level else f"at {percent(setting)}"


def _places(names: Sequence[str], place: PlantPlace) -> str:
    """`everywhere`, `everywhere but in the middle`, or the parts of the bed."""
    others = [part.place for part in place.parts if part.place not in names]
    if not others:
        return "everywhere"
    return f"everywhere but {listed(_in(others))}" if len(others) <= len(names) // 3 else listed(_in(names))


def _in(names: Sequence[str]) -> list[str]:
    return ["in the middle" if name == "middle" else name for name in sorted(names, key=lambda n: n != "middle")]


def height_note(place: PlantPlace) -> str:
    """At which height a plant is judged, where that is not plain."""
    name = place.wish.name
    if place.wish.kind is PlantKind.FLOATING:
        return f"{name}: floats, so its light is taken just below the surface."
    if place.wish.kind is PlantKind.EPIPHYTES:
        return f"{name}: grows on wood or stone, taken to stand {100 * ON_HARDSCAPE_M:.0f} cm over the substrate."
    return f"{name}: would reach the surface, so its light is taken just below it." if place.reaches_surface else ""


def tops_words(place: PlantPlace) -> str:
    """Height of the tops over the substrate [cm]; in words for plants that float."""
    return "float" if math.isinf(place.wish.height_m) else f"{100 * place.wish.height_m:.0f}"


def ordered(found: PlantMap) -> list[PlantPlace]:
    """Needs first, then plants, those that most of the bed suits first."""
    needs = [place for place in found.places if place.wish.name in list(Need)]
    plants = [place for place in found.places if place.wish.name not in list(Need)]
    return [*needs, *sorted(plants, key=lambda place: -place.share(Fit.RIGHT))]


def where_words(place: PlantPlace) -> str:
    """`everywhere`, `nowhere` or the parts of the bed that are mostly right."""
    ninths = place.where
    if place.share(Fit.RIGHT) == 0:
        return "nowhere"
    if len(ninths) == 9:
        return "everywhere"
    return ", ".join(ninths) if ninths else "small patches"


def part_words(part: Part) -> str:
    """`grows at 35-60 %`, `marginal`, `not here`."""
    if part.grows is not Grows.GROWS:
        return str(part.grows)
    return f"grows at {100 * part.low:.0f}-{100 * min(part.high, 1.0):.0f} %"


def plants_csv(found: PlantMap) -> str:
    """A line for each plant or need, as csv text."""
    return csv_text(
        {
            "plant": place.wish.name,
            "band_low_umol_m2_s": place.wish.band.low,
            "band_high_umol_m2_s": place.wish.band.high,
            "tops_over_substrate_m": None if math.isinf(place.wish.height_m) else place.wish.height_m,
            "share_too_dim": place.share(Fit.TOO_DIM),
            "share_right": place.share(Fit.RIGHT),
            "share_more_than_it_needs": place.share(Fit.MORE),
            "share_right_with_probability_80_percent": place.sure,
            "where_right": where_words(place),
            "ppfd_lowest_umol_m2_s": float(np.nanmin(place.ppfd)),
            "ppfd_highest_umol_m2_s": float(np.nanmax(place.ppfd)),
            "reaches_surface": place.reaches_surface,
            **{f"at_{part.place.replace(' ', '_')}": part_words(part) for part in place.parts},
            "in_words": in_words(place, found.level),
            "note": place.wish.band.note,
        }
        for place in ordered(found)
    )


def write_plant_map(found: PlantMap, folder: Path, named: bool) -> None:
    """Write plants.csv and plants.png into a folder, each whole or not at all. Raises OSError.

    named: plants were asked for by name; else the picture shows the needs.
    """
    write_text(folder / CSV, plants_csv(found))
    places = found.places if named else [place for place in found.places if place.wish.name in list(Need)]
    write_png(draw_plant_panels(found, places[:MOST_PANELS]), folder / PICTURE, tight=True)
