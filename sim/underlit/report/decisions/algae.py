"""Light that no plant uses, as people read it: the sentence, the table of surfaces, what would lower it, the files."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.table import Table

from underlit.lowering.records import Role
from underlit.lowering.scene import Lowered
from underlit.planning.algae import Algae, Lit
from underlit.report.decisions.algae_words import algae_lead, dimmed_words, threshold_words, what_lowers_it
from underlit.report.numbers import NONE, percent, with_error
from underlit.report.printout import CAUTIONS, MEAN, say, section, table
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.viz.figures import write_png
from underlit.viz.maps.algae_map import draw_algae

CSV, PICTURE = "algae.csv", "algae.png"
NO_FORECAST = (
    "This is about light alone: where it falls on what no plant covers. Whether algae come depends on nutrients, flow and "
    "grazers too."
)


def print_algae(console: Console, lowered: Lowered, found: Algae) -> None:
    """The whole answer."""
    say(console, lowered.scene.title or "Light that no plant uses", "bold underline")
    say(console, " ".join(filter(None, [algae_lead(found), dimmed_words(found)])), "bold")
    console.print()
    console.print(_table(found))
    say(console, threshold_words(lowered.scene, found), "dim", indent=2)
    say(
        console,
        "area above: share of the surface that gets more than the threshold; of the light: share of all light of the fixtures "
        "that falls there",
        "dim",
        indent=2,
    )
    if not found.panes:
        said = "The panes are not told apart: they have no maps in a tank from meshes."
        say(console, said, "dim", indent=2)
    lines = what_lowers_it(found, lowered.scene)
    if lines:
        section(console, "What would lower it")
        for line in lines:
            say(console, line, indent=2)
    say(console, NO_FORECAST, "dim")
    say(console, CAUTIONS, "dim")


def _table(found: Algae) -> Table:
    rows = (
        (
            one.name,
            f"{1e4 * one.area_m2:.0f}",
            with_error(one.ppfd.value, one.ppfd.half_width),
            percent(one.above.value),
            f"{with_error(100 * one.light.value, 100 * one.light.half_width)} %" if one.light.value > 0 else NONE,
        )
        for one in found.surfaces
    )
    return table("surface without plants", "area\ncm2", MEAN, "area\nabove", "of the light\n± simulation", rows=rows)


def algae_csv(found: Algae) -> str:
    """A line for each surface, as csv text."""
    return csv_text(_csv_row(found, one) for one in found.surfaces)


def _csv_row(found: Algae, one: Lit) -> dict[str, object]:
    return {
        "surface": one.name,
        "what": "pane" if one.role is Role.SHELL else str(one.role),
        "area_m2": one.area_m2,
        "threshold_umol_m2_s": found.threshold,
        "ppfd_umol_m2_s": one.ppfd.value,
        "ppfd_simulation_error_95_umol_m2_s": one.ppfd.half_width,
        "share_of_area_above": one.above.value,
        "share_of_area_above_simulation_error_95": one.above.half_width,
        "share_of_light_above": one.light.value,
        "share_of_light_above_simulation_error_95": one.light.half_width,
        "patch_relative_standard_error": one.patches.noise,
    }


def write_algae(lowered: Lowered, found: Algae, folder: Path) -> None:
    """Write algae.csv and algae.png into a folder, each whole or not at all. Raises OSError."""
    write_text(folder / CSV, algae_csv(found))
    write_png(draw_algae(lowered, found, threshold_words(lowered.scene, found)), folder / PICTURE, tight=True)
