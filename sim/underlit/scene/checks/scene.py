"""What cannot be, or makes no sense, across the parts of a scene, each of which is sound by itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from underlit.scene.aquascape.ground import Placed, Solid
from underlit.scene.checks.boxes import body_corners_m, boxes_overlap
from underlit.scene.checks.rack import check_rack
from underlit.scene.lights.fixture import Fixture
from underlit.scene.model import Scene
from underlit.scene.outline import Outlined
from underlit.scene.tank.lid import Sliding
from underlit.scene.tank.tank import SIDES
from underlit.text.problem import KeyPath, Problem, shown
from underlit.text.suggest import did_you_mean
from underlit.units import format_length

THINNEST_BED_M = 0.0005
SAME_HEIGHT_M = 1e-4
LAID_ON_THE_LID_M = 2e-3
"""A fixture that would sink no deeper than this into the lid is laid on it."""
WHOLE_SUBSTRATE = "whole substrate"
"""The zone that every scene has."""
PARTS_OF_EVERY_TANK = frozenset(
    ["substrate", "water surface", "top edge", "rim", "rim skirt", "hood"]
    + [f"{side} {what}" for side in SIDES for what in ("pane", "sheet")]
)
"""Names of the parts of the tank itself."""


def check_scene(scene: Scene) -> list[Problem]:
    """Every problem across the parts of a scene; empty for one that can be traced."""
    return [
        *_check_names(scene),
        *_check_water(scene),
        *_check_rim_and_braces(scene),
        *_check_lid(scene),
        *_check_fixtures(scene),
        *_check_hardscape(scene),
        *_check_plants(scene),
        *_check_zones(scene),
        *_check_spots(scene),
        *check_rack(scene),
    ]


def _check_names(scene: Scene) -> Iterator[Problem]:
    """Results name what stands in the tank, so no two parts share a name, whatever their kinds; nor do zones, nor spots."""
    taken = set(PARTS_OF_EVERY_TANK)
    for kind, parts in (
        ("fixture", scene.fixtures),
        ("wood", scene.wood),
        ("stone", scene.stone),
        ("plants", scene.plants),
    ):
        names = [part.name for part in parts]
        yield from _same_names(kind, names, taken)
        taken.update(names)
    yield from _same_names("zone", [zone.name for zone in scene.zones], {WHOLE_SUBSTRATE})
    yield from _same_names("spot", [spot.name for spot in scene.spots])


def _check_water(scene: Scene) -> Iterator[Problem]:
    height = scene.tank.inside_m[2]
    level = scene.water_level_m
    stated = "above_bottom" if scene.water.above_bottom is not None else "below_rim"
    if level > height:
        yield Problem(
            f"the water would stand above the rim: {format_length(level)} over the bottom pane, "
            f"but the tank is {format_length(height)} high inside",
            ("water", stated),
        )
    elif level <= 0:
        yield Problem(
            f"there would be no water: its surface would lie {format_length(-level)} under the bottom pane",
            ("water", stated),
        )
    highest = float(scene.substrate.grid_m.max())
    if scene.tank.inside is not None and (highest < THINNEST_BED_M or scene.substrate.terraces):
        text = "a tank from meshes needs a substrate of at least 1 mm, without terraces"
        yield Problem(text, ("substrate",))
    if abs(highest - level) < SAME_HEIGHT_M and highest - float(scene.substrate.grid_m.min()) < SAME_HEIGHT_M:
        yield Problem("the water ends exactly on the level substrate: give a higher or lower level", ("water", stated))
    if highest > 0 and float(scene.substrate.grid_m.min()) < THINNEST_BED_M:
        yield Problem(
            f"the substrate must be at least {format_length(THINNEST_BED_M)} deep everywhere; "
            'for a bare bottom give depth = "0 cm"',
            ("substrate",),
        )
    if highest >= height:
        key = next((key for key in ("depth", "back_depth", "heights") if getattr(scene.substrate, key) is not None), "")
        path: KeyPath = ("substrate", key) if key else ("substrate",)
        yield Problem(f"the substrate reaches the rim: it is {format_length(highest)} high", path)
    for index, terrace in enumerate(scene.substrate.terraces):
        where: KeyPath = ("substrate", "terrace", index)
        yield from _check_outline(scene, terrace, where)
        if terrace.height + terrace.edge_above >= height:
            yield Problem(
                f"the terrace reaches the rim: it is {format_length(terrace.height)} high", (*where, "height")
            )


def _check_rim_and_braces(scene: Scene) -> Iterator[Problem]:
    tank = scene.tank
    height = tank.inside_m[2]
    for index, brace in enumerate(tank.braces):
        free = tank.inside_m[0]
        if not 0 <= brace.at <= free:
            yield _not_within("the brace lies outside the tank", free, ("tank", "brace", index, "at"))
        if height - brace.thickness <= 0:
            yield Problem("the brace is thicker than the tank is high", ("tank", "brace", index, "thickness"))
    if tank.euro_brace is not None:
        if tank.inside_outline.inset(tank.euro_brace.width).area <= 0:
            yield Problem("the brace covers the whole tank", ("tank", "euro_brace", "width"))
        if height - tank.euro_brace.thickness <= 0:
            yield Problem("the brace is thicker than the tank is high", ("tank", "euro_brace", "thickness"))
    if tank.rim is not None and tank.inside_outline.inset(tank.rim.covers).area <= 0:
        yield Problem("the rim covers the whole tank", ("tank", "rim", "covers"))
    if tank.rim is not None and tank.rim.height >= height:
        yield Problem("the rim is higher than the tank", ("tank", "rim", "height"))


def _check_lid(scene: Scene) -> Iterator[Problem]:
    length, depth, height = scene.tank.inside_m
    lid = scene.lid
    if lid is None:
        return
    if scene.hood is not None and scene.lid_top_m >= height + scene.hood.height:
        yield Problem("the lid does not fit under the hood: lower the lid or raise the hood", ("lid", "above_rim"))
    for key, parts in (("pane", lid.panes), ("strip", lid.strips)):
        for index, part in enumerate(parts):
            x0, y0, x1, y1 = part.bounds_m
            if x1 <= 0 or y1 <= 0 or x0 >= length or y0 >= depth:
                yield _outside(scene, "lies", ("lid", key, index, "corners"))
    if lid.hinged is not None:
        if not 0 < lid.hinged.at < depth:
            yield _not_within("the hinge lies outside the tank", depth, ("lid", "hinged", "at"))
        if scene.hood is not None and lid.hinged.opened > 0:
            said = "a flap cannot be opened under a hood: close it or remove the hood"
            yield Problem(said, ("lid", "hinged", "opened"))
    if lid.sliding is not None:
        yield from _check_sliding(lid.sliding, (length if lid.sliding.runs == "left to right" else depth) / 2)


def _check_sliding(panes: Sliding, half: float) -> Iterator[Problem]:
    if panes.overlap >= half:
        yield Problem(f"must be less than half the lid, {format_length(half)}", ("lid", "sliding", "overlap"))
    widest = half - panes.overlap / 2
    if panes.opened > widest:
        yield Problem(f"must be at most {format_length(widest)}, where the pane ends", ("lid", "sliding", "opened"))


def _check_fixtures(scene: Scene) -> Iterator[Problem]:
    for index, fixture in enumerate(scene.fixtures):
        yield from _same_names(("fixture", index, "channel"), [channel.name for channel in fixture.channels])
        yield from _check_fixture_place(scene, fixture, ("fixture", index))
        for other in scene.fixtures[:index]:
            if boxes_overlap(body_corners_m(scene, fixture), body_corners_m(scene, other)):
                yield Problem(f"is in the same place as {shown(other.name)}: move one of them", ("fixture", index))


def _check_fixture_place(scene: Scene, fixture: Fixture, where: KeyPath) -> Iterator[Problem]:
    length, depth, _ = scene.tank.inside_m
    x0, y0, x1, y1 = fixture_bounds_m(scene, fixture)
    below = [(x, y) for x, y, _ in body_corners_m(scene, fixture)]
    key = (*where, "above_water" if fixture.above_water is not None else "above_rim")
    if scene.tank.inside_outline.meets(below):
        yield from _check_over_tank(scene, fixture, key)
    if scene.hood is not None:
        if fixture_heights_m(scene, fixture)[1] > scene.tank.inside_m[2] + scene.hood.height:
            high = format_length(scene.hood.height)
            yield Problem(f"the fixture does not fit under the hood, which is {high} high", key)
        elif not all(scene.tank.outside_outline.holds(x, y) for x, y in below):
            said = "the fixture cuts through a side of the hood: move it or give a smaller one"
            yield Problem(said, (*where, "size"))
    if fixture.clip is not None and fixture.clip.at is not None:
        pane = length if fixture.clip.on in ("front", "back") else depth
        if not 0 <= fixture.clip.at <= pane:
            yield _not_within("the clip lies beside its pane", pane, (*where, "clip", "at"))
    span = max(length, depth)
    if x1 < -span or y1 < -span or x0 > length + span or y0 > depth + span:
        yield Problem("the fixture is far away from the tank: check the unit", (*where, "position"))


def _check_over_tank(scene: Scene, fixture: Fixture, key: KeyPath) -> Iterator[Problem]:
    """Whether a fixture over the tank stays clear of water, lid and panes."""
    corners = body_corners_m(scene, fixture)
    lowest, highest = fixture_heights_m(scene, fixture)
    if lowest < scene.water_level_m:
        deep = format_length(scene.water_level_m - lowest)
        yield Problem(f"the fixture hangs in the water: its lowest edge is {deep} under the surface", key)
        return
    if scene.lid is not None:
        low = scene.lid_underside_m
        if lowest < low + scene.lid.thickness - LAID_ON_THE_LID_M and highest > low:
            yield Problem("the fixture cuts through the lid: hang it above the lid", key)
        flap = scene.flap_corners_m()
        if flap and boxes_overlap(flap, corners):
            yield Problem("the opened flap of the lid touches the fixture: hang it higher or open the lid less", key)
    inside = all(scene.tank.inside_outline.holds(x, y) for x, y, _ in corners)
    if not inside and lowest < scene.tank.inside_m[2]:
        yield Problem("the fixture hangs below the rim and cuts through a pane: hang it higher or move it", key)


def fixture_bounds_m(scene: Scene, fixture: Fixture) -> tuple[float, float, float, float]:
    """x low, y low, x high, y high of the body of a fixture on the plan [m], turned and tilted."""
    xs, ys, _ = zip(*body_corners_m(scene, fixture), strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def fixture_heights_m(scene: Scene, fixture: Fixture) -> tuple[float, float]:
    """Lowest and highest point of the body of a fixture over the bottom pane [m]."""
    heights = [z for _, _, z in body_corners_m(scene, fixture)]
    return min(heights), max(heights)


def _check_hardscape(scene: Scene) -> Iterator[Problem]:
    for kind, solids in (("wood", scene.wood), ("stone", scene.stone)):
        for index, solid in enumerate(solids):
            yield from _check_place(scene, solid, solid.reach_m, (kind, index))
            yield from _check_solid_height(scene, solid, (kind, index))


def _check_place(scene: Scene, placed: Placed, reach: float | None, where: KeyPath) -> Iterator[Problem]:
    # The size of a mesh is not known here; what lies outside is clipped or refused when the scene is lowered.
    if reach is not None and scene.tank.inside_outline.distance(*placed.at) >= reach:
        yield _outside(scene, "stands", (*where, "at"))


def _check_solid_height(scene: Scene, solid: Solid, where: KeyPath) -> Iterator[Problem]:
    if solid.base is not None and solid.base >= scene.tank.inside_m[2]:
        yield _above(scene, "stands", (*where, "base"))


def _check_plants(scene: Scene) -> Iterator[Problem]:
    hardscape = [solid.name for solid in (*scene.wood, *scene.stone)]
    for index, plants in enumerate(scene.plants):
        yield from _check_outline(scene, plants, ("plants", index))
        if plants.on is not None and plants.on not in hardscape:
            yield _unknown("wood or stone", plants.on, hardscape, ("plants", index, "on"))
        if plants.base is not None and plants.base >= scene.tank.inside_m[2]:
            yield _above(scene, "stands", ("plants", index, "base"))


def _check_zones(scene: Scene) -> Iterator[Problem]:
    hardscape = [solid.name for solid in (*scene.wood, *scene.stone)]
    plants = [group.name for group in scene.plants]
    for index, zone in enumerate(scene.zones):
        where: KeyPath = ("zone", index)
        yield from _check_outline(scene, zone, where)
        if zone.plants is not None and zone.plants not in plants:
            yield _unknown("plant group", zone.plants, plants, (*where, "plants"))
        if zone.hardscape is not None and zone.hardscape not in hardscape:
            yield _unknown("wood or stone", zone.hardscape, hardscape, (*where, "hardscape"))
        if zone.outline_keys and zone.height >= scene.tank.inside_m[2]:
            yield _above(scene, "lies", (*where, "height"))


def _check_spots(scene: Scene) -> Iterator[Problem]:
    height = scene.tank.inside_m[2]
    for index, spot in enumerate(scene.spots):
        x, y, z = scene.spot_centre_m(spot)
        where: KeyPath = ("spot", index)
        if not scene.tank.inside_outline.holds(x, y):
            yield _outside(scene, "lies", (*where, "at"))
            continue
        key = "height" if spot.height is not None else "above_substrate"
        bed = scene.spot_centre_m(spot.model_copy(update={"height": None, "above_substrate": 0.0}))[2]
        if z > height:
            yield _above(scene, "lies", (*where, key))
        elif z < bed:
            yield Problem(
                f"the spot lies inside the substrate, which is {format_length(bed)} high there", (*where, key)
            )


def _check_outline(scene: Scene, part: Outlined, where: KeyPath) -> Iterator[Problem]:
    if part.outline_keys and not scene.tank.inside_outline.shared_area(part.polygon) > 0:
        yield _outside(scene, "lies", (*where, part.outline_keys[0]))


def _outside(scene: Scene, stands: str, where: KeyPath) -> Problem:
    length, depth, _ = scene.tank.inside_m
    size = f"{format_length(length)} by {format_length(depth)} inside"
    size = size if scene.tank.is_box else f"at most {size}"
    return Problem(f"{stands} completely outside the tank, which is {size}", where)


def _above(scene: Scene, stands: str, where: KeyPath) -> Problem:
    high = format_length(scene.tank.inside_m[2])
    return Problem(f"{stands} completely above the tank, which is {high} high inside", where)


def _not_within(said: str, most: float, where: KeyPath) -> Problem:
    return Problem(f"{said}: give a place from 0 to {format_length(most)}", where)


def _same_names(kind: str | KeyPath, names: list[str], taken: Iterable[str] = ()) -> Iterator[Problem]:
    seen = set(taken)
    prefix: KeyPath = (kind,) if isinstance(kind, str) else kind
    for index, name in enumerate(names):
        if name in seen:
            yield Problem(f"the name is taken: give another one (got {shown(name)})", (*prefix, index, "name"))
        seen.add(name)


def _unknown(what: str, name: str, known: list[str], where: KeyPath) -> Problem:
    return Problem(f"there is no {what} with that name{did_you_mean(name, known)} (got {shown(name)})", where)
