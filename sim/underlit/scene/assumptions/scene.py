"""What a scene leaves open: the assumed value, its range, and how far that may move the light.

Ranges are common practice, no source, unless stated. How far each moves the mean PPFD on the substrate was found by
tracing shipped scenes (the wide tank, under the wood, the bare box; 2^19 photons each) at both ends of the range, where a
scene can give them: panes that return .1-.4 for .25 moved it by 3.5 % (wide) and 10 % (bare box), .6-1 for .9 by -6 to +2
% and -16 to +6 %, tannin none against ordinary by 4-6 %, low-iron glass by 2 %, a fixture's body by .5 %, thin and dense
plants by +3 to +8 and -2 to -15 %, a 110 deg beam by 5 %, a lid as assumed by -20 %. The others are estimated. All
together are the tank uncertainty, the second error of a result; the first is the simulation noise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from underlit.scene.aquascape.ground import SUBSTRATE_DEPTH_M, Solid
from underlit.scene.assumptions.assumption import Assumption
from underlit.scene.assumptions.lever import Lever, Moves
from underlit.scene.assumptions.lights import of_fixtures
from underlit.scene.assumptions.measured import measured_lights, measured_mean_square, measured_rows
from underlit.scene.measured import Kind
from underlit.scene.model import Scene
from underlit.scene.standing import standing
from underlit.scene.tank.outline import UPRIGHT_SIDES
from underlit.scene.tank.panes import RETURNED, PaneState
from underlit.scene.tank.tank import Behind
from underlit.scene.tank.water import WATER_BELOW_RIM_M
from underlit.spectra.materials import MATERIALS
from underlit.units import format_length

DIFFUSE_INNER_REFLECTANCE = 0.4746
"""Share of diffuse light that a flat water surface (n = 1.333) sends back down: Walsh 1926; Duntley 1942."""

MOVED_BY_PANES = {PaneState.OVERGROWN: (-0.08, 0.08), PaneState.CLEAN: (-0.12, 0.05)}
"""How far the mean PPFD moves when the panes return the least and the most of their range."""


def assumptions(scene: Scene) -> list[Assumption]:
    """What was measured, with what is left of its range, and everything that the scene leaves to a default.

    Two rows are always there, since no file can give them: that the claimed output is a claim, and surface ripple.
    """
    lights = measured_lights(scene)
    rows = [
        *_of_tank(scene),
        *_of_water(scene),
        *_of_lid(scene),
        *_of_ground(scene),
        *_of_plants(scene),
        *_of_targets(scene),
    ]
    if scene.measured is not None and scene.measured.taken and lights >= {fixture.name for fixture in scene.fixtures}:
        # what dims or brightens all the light of this tank was there when it was read, and is in the output that was found
        rows = [row if row.levers else replace(row, relative_low=None, relative_high=None) for row in rows]
    return [*measured_rows(scene), *of_fixtures(scene.fixtures, lights), *rows]


def levers_of(scene: Scene) -> list[Lever]:
    """All that moves when what is assumed is wrong, of all tanks of the rack.

    Small effects that no other lever stands for are levers of all the light: glass, lid and ripples act on it as a whole.
    """
    return [
        replace(lever, tank=number, key=row.key)
        for number, each in enumerate(scene.tank_scenes)
        for row in assumptions(each)
        for lever in row.levers or _of_all_light(row)
    ]


def _of_all_light(row: Assumption) -> tuple[Lever, ...]:
    if row.relative_low is None or row.relative_high is None:
        return ()
    return (Lever(Moves.LIGHT, 1.0, 1 + row.relative_low, 1 + row.relative_high),)


def tank_uncertainty(scene: Scene) -> float:
    """Combined relative standard uncertainty of what a scene leaves open; twice it is a 95 % half-width.

    Each open value is assumed to be equally likely anywhere in its range and independent of the others (GUM, JCGM
    100:2008, 4.3.7 and 5.1.2). The computed light is not moved to the middle of a lopsided range, so each counts by its
    root mean square about the assumed value. Without any reading that gives about 25-30 % as a 95 % half-width, which
    agrees with practice.
    """
    open_rows = sum(row.mean_square for row in assumptions(scene) if not row.measured)
    return math.sqrt(open_rows + measured_mean_square(scene))


def _of_tank(scene: Scene) -> Iterator[Assumption]:
    tank = scene.tank
    if tank.glass_thickness is None and tank.meshes is None:
        thick = tank.wall_thickness_m
        around = f"{thick * 1e3 - 2:.0f}-{thick * 1e3 + 2:.0f} mm"
        yield Assumption("tank.glass_thickness", format_length(thick), around, -0.01, 0.01)
    if "glass" not in tank.model_fields_set:
        yield Assumption("tank.glass", "clear float glass", "clear or low-iron", 0.0, 0.02)
    yield from _of_walls(scene)
    if scene.hood is not None and scene.hood.reflectance is None:
        known = MATERIALS[scene.hood.colour or "white"]
        lever = Lever(Moves.HOOD, known.mean, known.low, known.high)
        span = f"{known.low:g}-{known.high:g}"
        yield Assumption("hood.reflectance", f"{known.mean:g}", span, -0.03, 0.02, levers=(lever,))
    if tank.rim is not None and "covers" not in tank.rim.model_fields_set:
        lever = Lever(Moves.RIM, tank.rim.covers, 0.0127, 0.01905)
        value = format_length(tank.rim.covers)
        yield Assumption("tank.rim.covers", value, "1/2-3/4 in", -0.01, 0.01, levers=(lever,))
    if tank.braces and any("width" not in brace.model_fields_set for brace in tank.braces):
        yield Assumption("tank.brace.width", format_length(tank.braces[0].width), "1-2.5 in", -0.02, 0.02)


def _of_walls(scene: Scene) -> Iterator[Assumption]:
    tank, walls = scene.tank, UPRIGHT_SIDES
    states = {side: state for side in walls if (state := scene.pane_state(side)) is not None}
    for state in dict.fromkeys(states.values()):
        share, low, high = RETURNED[state]
        text = f"{share:g} ({state}, {'as taken' if tank.panes is None else 'as the scene says'})"
        lever = Lever(Moves.PANES, share, low, high, of=tuple(side for side in walls if states.get(side) == state))
        yield Assumption("tank.panes", text, f"{low:g}-{high:g}", *MOVED_BY_PANES[state], levers=(lever,))
    if any("behind" not in tank.walls[side].model_fields_set for side in walls):
        yield Assumption("tank.*.behind", "open air", "a sheet with a gap changes little, paint a lot", None, None)
    if "bottom" not in tank.model_fields_set:
        lever = Lever(Moves.BACKING, 0.3, 0.1, 0.6, of=("bottom",))
        text = "reflectance 0.1-0.6"
        yield Assumption("tank.bottom.behind", "grey foam, air gap", text, -0.005, 0.005, levers=(lever,))
    backed = {
        side: wall.colour or "black"
        for side, wall in tank.walls.items()
        if side in tank.model_fields_set and wall.behind is not Behind.OPEN_AIR and wall.reflectance is None
    }
    for colour in dict.fromkeys(backed.values()):
        known, of = MATERIALS[colour], tuple(side for side, own in backed.items() if own == colour)
        lever = Lever(Moves.BACKING, known.mean, known.low, known.high, of=of)
        key, span = f"tank.{', '.join(of)}.reflectance", f"{known.low:g}-{known.high:g}"
        yield Assumption(key, f"{known.mean:g}", span, -0.01, 0.01, levers=(lever,))


def _of_water(scene: Scene) -> Iterator[Assumption]:
    water, depth_to_18_in = scene.water, scene.water_level_m / 0.457
    if water.below_rim is None and water.above_bottom is None:
        text = f"{format_length(WATER_BELOW_RIM_M)} below the rim"
        lever = Lever(Moves.LEVEL, WATER_BELOW_RIM_M, 0.0254, 1.5 * 0.0254)
        span = "1-1.5 in; about 1/2 in evaporates in a week"
        yield Assumption("water.below_rim", text, span, -0.01, 0.01, levers=(lever,))
    if "tannin" not in water.model_fields_set:
        span = "0.05-1 per m: a light tint takes 5-15 % at 18 in, less if carbon-filtered"
        low, high = -min(0.10 * depth_to_18_in, 0.5), min(0.04 * depth_to_18_in, 0.2)
        lever = Lever(Moves.TINT, water.tannin.absorption_440_per_m, 0.05, 1.0)
        yield Assumption("water.tannin", "ordinary (0.4 per m at 440 nm)", span, low, high, levers=(lever,))
    if "cloudiness" not in water.model_fields_set:
        lever = Lever(Moves.CLOUDINESS, 0.0, 0.0, 0.2)
        span = "0-0.2 per m unless the water is visibly cloudy"
        yield Assumption("water.cloudiness", "clear", span, -0.02, 0.0, levers=(lever,))
    yield Assumption("water surface", "flat", "ripples move the mean by ± 3 %", -0.03, 0.03)


def _of_lid(scene: Scene) -> Iterator[Assumption]:
    lid = scene.lid
    if lid is None:
        return
    # a measured lid has its drops in it
    measured = standing(scene).of(Kind.LID) is not None
    open_keys = [] if measured else [key for key in ("dirt", "condensation") if key not in lid.model_fields_set]
    if open_keys:
        # A glass top in use takes 15-30 % in total, 20 as assumed: .70/.80 and .85/.80.
        share = len(open_keys) / 2
        value = ", ".join(f"{key} lets {getattr(lid, key):g} through" for key in open_keys)
        text = "a glass top in use takes 15-30 % in total"
        taken = math.prod(getattr(lid, key) for key in open_keys)
        low, high = -0.125 * share, 0.0625 * share
        lever = Lever(Moves.LID, taken, taken * (1 + low), min(taken * (1 + high), 1.0), of=tuple(open_keys))
        yield Assumption(f"lid.{' and '.join(open_keys)}", value, text, low, high, levers=(lever,))
    if "thickness" not in lid.model_fields_set:
        yield Assumption("lid.thickness", format_length(lid.thickness), "3-6 mm", -0.015, 0.01)
    if not lid.strips:
        yield Assumption("lid.strip", "none", "many glass tops have an opaque hinge and back strip", None, None)


def _of_ground(scene: Scene) -> Iterator[Assumption]:
    bed = scene.substrate
    if not {"depth", "front_depth", "back_depth", "heights"} & bed.model_fields_set:
        lever = Lever(Moves.DEPTH, SUBSTRATE_DEPTH_M, 2 * 0.0254, 3 * 0.0254)
        text = format_length(SUBSTRATE_DEPTH_M)
        yield Assumption("substrate.depth", text, "2-3 in", -0.03, 0.03, levers=(lever,))
    if bed.reflectance is None:
        known = MATERIALS[bed.material]
        # Gain of a diffuse floor under flat water: 1 / (1 - rho r_i).
        gains = [1 / (1 - rho * DIFFUSE_INNER_REFLECTANCE) for rho in (known.low, known.mean, known.high)]
        yield Assumption(
            "substrate.reflectance",
            f"{known.mean:g} ({bed.material})",
            f"{known.low:g}-{known.high:g}",
            gains[0] / gains[1] - 1,
            gains[2] / gains[1] - 1,
            known.source,
            levers=(Lever(Moves.SUBSTRATE, known.mean, known.low, known.high),),
        )
    yield from _of_solids("wood", Moves.WOOD, scene.wood)
    yield from _of_solids("stone", Moves.STONE, scene.stone)


def _of_solids(kind: str, moves: Moves, solids: Sequence[Solid]) -> Iterator[Assumption]:
    """A row for each material that has no reflectance of its own."""
    is_open = [solid for solid in solids if solid.reflectance is None]
    for material in dict.fromkeys(solid.material for solid in is_open):
        known, names = MATERIALS[material], tuple(solid.name for solid in is_open if solid.material == material)
        span = f"{known.low:g}-{known.high:g}"
        lever = Lever(moves, known.mean, known.low, known.high, of=names)
        yield Assumption(f"{kind}.reflectance", f"{known.mean:g}", span, -0.01, 0.01, known.source, levers=(lever,))


def _of_plants(scene: Scene) -> Iterator[Assumption]:
    if not scene.plants:
        return
    by_density = [g for g in scene.plants if g.mesh is None and g.leaf_area is None and g.cover is None]
    if by_density:
        text = "0.7-1.4 times; stems take 60-90 % of the light below their tops, a half floating cover 40-55 %"
        names = tuple(group.name for group in by_density if group.spacing is None)
        levers = (Lever(Moves.LEAF_AREA, 1.0, 0.7, 1.4, of=names, log=True),) if names else ()
        yield Assumption("plants.leaf_area", "by kind and density", text, -0.08, 0.06, levers=levers)
    if any(group.grown > 0 and group.grows_per_week is None and group.doubles_in is None for group in scene.plants):
        text = "half to twice this; far less with too little light"
        yield Assumption("plants.grows_per_week, doubles_in", "by form", text, None, None)
    bare = tuple(group.name for group in scene.plants if group.reflectance is None or group.transmittance is None)
    if bare:
        yield Assumption(
            "plants.leaf",
            "by kind",
            "R .03-.10, T .02-.30",
            -0.03,
            0.03,
            "PROSPECT-D (Feret et al. 2017); submerged leaf: the same in water",
            levers=(Lever(Moves.LEAVES, 1.0, 0.5, 1.25, of=bare, log=True),),
        )


def _of_targets(scene: Scene) -> Iterator[Assumption]:
    asking = [zone for zone in scene.zones if zone.band is None and scene.band_of(zone) is not None]
    if scene.added_co2 is None and any(zone.added_co2 is None for zone in asking):
        yield Assumption("added_co2", "no", "with added CO2 the medium band ends at 70, not 50", None, None)
    if scene.settled is None and any(zone.settled is None for zone in asking):
        yield Assumption("settled", "yes", "a new tank needs 50-60 % of the light", None, None)
    if any(spot.above_substrate is None and spot.height is None for spot in scene.spots):
        yield Assumption(
            "spot.above_substrate", "3 cm", "the face of a meter head is 2-4 cm above the substrate", None, None
        )
