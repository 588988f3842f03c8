"""Plants and where they would do, as people read it: the table, the words, the sheet and the picture."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
from rich.console import Console

from underlit.planning.plant_map import Fit, PlantMap, PlantPlace
from underlit.report.numbers import percent, sure_to
from underlit.report.printout import CAUTIONS, say, table
from underlit.results.atomic import write_text
from underlit.scene import Need
from underlit.viz.maps.plant_panels import MOST_PANELS, write_plant_panels

CSV, PICTURE = "plants.csv", "plants.png"
SURE_WORDS = (
    "What is not known of the tank leaves doubt near the edges of bands: the sheet says how much of the bed is right with "
    "a probability of 80 % or more. Begin in the middle of an area."
)


def print_plant_map(console: Console, found: PlantMap) -> None:
    """The whole answer."""
    scene = found.traced.lowered.scene
    say(console, scene.title or "Where plants would do", "bold underline")
    say(console, "Share of the open bed by the light at each plant's tops", "bold")
    made = table(
        "plant", "band\numol/m2/s", "tops\ncm", "too\ndim", "right", "more than\nit needs", "right, and\nwhere"
    )
    made.columns[-1].justify = "left"
    for place in ordered(found):
        band = place.wish.band
        made.add_row(
            place.wish.name, f"{band.low:g}-{band.high:g}", f"{100 * place.wish.height_m:.0f}",
            percent(place.share(Fit.TOO_DIM)), percent(place.share(Fit.RIGHT)), percent(place.share(Fit.MORE)),
            where_words(place),
        )  # fmt: skip
    console.print(made)
    for place in found.places:
        if place.reaches_surface:
            say(console, f"{place.wish.name} would reach the surface; judged just under it.", "dim", indent=2)
    if found.cleared:
        said = f"The bed was taken as cleared: without {', '.join(found.cleared)}; panes as in a planted tank."
        say(console, said, "dim", indent=2)
    say(console, SURE_WORDS, indent=2)
    say(console, f"A patch of 4 cm is known to ± {sure_to(2 * found.noise)} by counting.", "dim", indent=2)
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
    """The sheet: a line for each plant or need, units in the column names."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        [
            "plant", "band_low_umol_m2_s", "band_high_umol_m2_s", "tops_over_substrate_m", "share_too_dim", "share_right",
            "share_more_than_it_needs", "share_right_with_probability_80_percent", "where_right", "ppfd_lowest_umol_m2_s",
            "ppfd_highest_umol_m2_s", "reaches_surface", "note",
        ]
    )  # fmt: skip
    for place in ordered(found):
        band = place.wish.band
        shares = [place.share(fit) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE)]
        writer.writerow(
            [
                place.wish.name, f"{band.low:g}", f"{band.high:g}", f"{place.wish.height_m:g}",
                *(f"{share:.4f}" for share in (*shares, place.sure)), where_words(place),
                f"{np.nanmin(place.ppfd):.4g}", f"{np.nanmax(place.ppfd):.4g}",
                "yes" if place.reaches_surface else "no", band.note,
            ]
        )  # fmt: skip
    return text.getvalue()


def write_plant_map(found: PlantMap, folder: Path, named: bool) -> None:
    """Write sheet and picture into a folder, each whole or not at all. named: plants were asked for by name; else the picture
    shows the needs. Raises OSError."""
    write_text(folder / CSV, plants_csv(found))
    places = found.places if named else [place for place in found.places if place.wish.name in list(Need)]
    write_plant_panels(found, places[:MOST_PANELS], folder / PICTURE)
