"""Where each plant can grow, as people read it: the table, the words, the csv file and the picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from rich.console import Console

from underlit.planning.plant_map import Fit, PlantMap, PlantPlace
from underlit.report.numbers import band_text, percent, sure_to
from underlit.report.printout import CAUTIONS, say, table
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.scene import Need
from underlit.viz.figures import write_png
from underlit.viz.maps.plant_panels import MOST_PANELS, draw_plant_panels

CSV, PICTURE = "plants.csv", "plants.png"
SURE_WORDS = (
    "The tank error leaves doubt near the edges of a band: plants.csv gives the share of the bed that is right with a "
    "probability of at least 80 %. Start planting in the middle of an area."
)


def print_plant_map(console: Console, found: PlantMap) -> None:
    """The whole answer."""
    scene = found.traced.lowered.scene
    say(console, scene.title or "Where each plant can grow", "bold underline")
    say(console, "Share of the open bed, by the light at the tops of each plant", "bold")
    rows = (
        (
            place.wish.name, band_text(place.wish.band), f"{100 * place.wish.height_m:.0f}",
            *(percent(place.share(fit)) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE)), where_words(place),
        )
        for place in ordered(found)
    )  # fmt: skip
    heads = ("band\numol/m2/s", "tops\ncm", "too\ndim", "right", "more than\nit needs", "where it\nis right")
    console.print(table("plant", *heads, words=-1, rows=rows))
    for place in found.places:
        if place.reaches_surface:
            say(
                console,
                f"{place.wish.name}: would reach the surface, so its light is taken just below it.",
                "dim",
                indent=2,
            )
    if found.cleared:
        said = f"The bed was cleared of {', '.join(found.cleared)}; the panes are as in a planted tank."
        say(console, said, "dim", indent=2)
    say(console, SURE_WORDS, indent=2)
    say(console, f"The simulation error of a 4 cm patch is ± {sure_to(2 * found.noise)}.", "dim", indent=2)
    say(console, CAUTIONS, "dim")


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


def plants_csv(found: PlantMap) -> str:
    """A line for each plant or need, as csv text."""
    return csv_text(
        {
            "plant": place.wish.name,
            "band_low_umol_m2_s": place.wish.band.low,
            "band_high_umol_m2_s": place.wish.band.high,
            "tops_over_substrate_m": place.wish.height_m,
            "share_too_dim": place.share(Fit.TOO_DIM),
            "share_right": place.share(Fit.RIGHT),
            "share_more_than_it_needs": place.share(Fit.MORE),
            "share_right_with_probability_80_percent": place.sure,
            "where_right": where_words(place),
            "ppfd_lowest_umol_m2_s": float(np.nanmin(place.ppfd)),
            "ppfd_highest_umol_m2_s": float(np.nanmax(place.ppfd)),
            "reaches_surface": place.reaches_surface,
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
