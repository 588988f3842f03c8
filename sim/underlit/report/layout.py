"""What a scene says before any light is traced: its zones, its lights, and the assumptions."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from underlit.lowering.scene import Lowered
from underlit.report.numbers import NONE, band_text
from underlit.report.printout import print_assumptions, print_cautions, say, table
from underlit.report.summary import assumption_entries, cautions_of, lights_of
from underlit.scene import tank_uncertainty
from underlit.units import format_length


def print_layout(console: Console, lowered: Lowered) -> None:
    """Print measures, zones, spots, lights and assumptions of a scene that can be traced."""
    scene = lowered.scene
    if scene.title:
        say(console, scene.title, "bold underline")
    length, depth, height = (format_length(m) for m in scene.tank.inside_m)
    shape = "" if scene.tank.is_box else f"{scene.tank.shape_name}; "
    say(
        console,
        f"{shape}inside {length} long, {depth} front to back, {height} high; water {format_length(scene.water_level_m)} high",
    )
    print_cautions(console, cautions_of(lowered))
    for line in scene.pane_notes:
        say(console, line)
    say(console, f"{sum(len(m.faces) for m in lowered.compiled.meshes):,} triangles")
    console.print()
    made = table("zone", "where", "PAR (PPFD) band\numol/m2/s", "area\ncm2", wide=2)
    for place, info in zip(lowered.zones, lowered.compiled.zones, strict=True):
        zone = lowered.zone_of(place)
        band = None if zone is None else lowered.scene_of(place.tank).band_of(zone)
        made.add_row(place.name, place.where, band_text(band), f"{1e4 * info.area:.0f}")
    console.print(made)
    if any(tank.plantings for tank in lowered.tanks):
        console.print()
        console.print(grown_table(lowered))
    if lowered.compiled.heads:
        console.print()
        own = [head for tank in lowered.tanks for head in tank.compiled.heads]
        heads = sorted(lowered.compiled.heads, key=lambda head: head.tank)
        rows = (
            (head.name, *(f"{100 * c:.1f}" for c in inside.centre)) for head, inside in zip(heads, own, strict=True)
        )
        console.print(table("spot", "from left\ncm", "from front\ncm", "height\ncm", rows=rows))
    console.print()
    for name, fixture in lights_of(lowered):
        watts = "watts not stated" if fixture.running_watts is None else f"{fixture.running_watts:.3g} W"
        say(console, f"Light {name}: PPF {fixture.ppf:.3g} umol/s, {watts}, {fixture.lit_hours:.3g} h a day")
    print_assumptions(console, assumption_entries(scene), tank_uncertainty(scene))
    for note in (*scene.notes, *lowered.compiled.notes):
        say(console, f"Note: {note}")


def grown_table(lowered: Lowered) -> Table:
    """Plantings of all tanks as measured on their own triangles."""
    rows = []
    for frame, tank in zip(lowered.compiled.frames, lowered.tanks, strict=True):
        for plants, grown in zip(tank.scene.plants, tank.plantings, strict=True):
            name = f"{frame.name}: {grown.name}" if frame.name else grown.name
            height = NONE if grown.height is None else f"{100 * grown.height:.1f}"
            index = f"cover {grown.cover:.2f}" if grown.cover is not None else f"{grown.leaf_area_index:.2f}"
            asked = NONE if grown.asked is None else f"{grown.asked:.2f}"
            form = str(plants.leaf_form or plants.kind)
            rows.append((name, form, height, index, asked, f"{grown.plants:,}", f"{grown.leaves:,}"))
    heads = ("form", "height\ncm", "leaf area index\nas grown", "asked for", "plants", "leaves")
    return table("planting", *heads, wide=2, rows=rows)
