"""Lid and hood into a `World`: panes as glass slabs, flat, on two tracks or tilted up; strips as opaque sheets on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.prisms import HAIR, Triangles, curtain_of_region, curtain_round, flat, flat_region, joined
from underlit.lowering.world import OUTSIDE, Role, World
from underlit.scene.model import Scene
from underlit.scene.tank.lid import Hinged, Lid
from underlit.spectra.materials import reflectance
from underlit.spectra.media import optical_constants

if TYPE_CHECKING:
    import shapely

RIM_CAP = 1e-3
"""Height over the panes' top edge where the rim's cap lies [m]; a lid rests on it."""
TRACK_GAP = 2e-3
"""Air between the two panes of a sliding lid [m]; common practice, no source."""


@dataclass(frozen=True)
class _Pane:
    """A pane as it lies flat: region of the plan, height of its underside [m]; and by what it is turned up."""

    region: shapely.Geometry
    low: float
    flap: Hinged | None = None


def lower_lid(world: World, scene: Scene) -> tuple[float, float]:
    """Add the lid; returns its lowest and highest level face [m] (infinite and minus infinite without one)."""
    lid = scene.lid
    if lid is None:
        return math.inf, -math.inf
    low = scene.tank.inside_m[2] + lid.above_rim + HAIR + (RIM_CAP if scene.tank.rim is not None else 0.0)
    medium = world.medium("lid", *optical_constants(lid.glass))
    surfaces = [
        world.interface(name, OUTSIDE, medium, film=film, exit=exit, bucket=bucket)
        for name, film, exit, bucket in (
            ("lid top", lid.dirt, "out of the top", "dirt on the lid"),
            ("lid underside", lid.condensation, "out of the top", "dirt on the lid"),
            ("lid edge", 1.0, "out of the glass edges", "lid"),
        )
    ]
    panes = _panes(scene, lid, low)
    for i, pane in enumerate(panes, 1):
        part = f"lid pane {i}"
        for name, piece, surface in zip(("top", "underside", "edges"), _faces(pane, lid), surfaces, strict=True):
            world.add_mesh(part, *piece, surface, role=Role.LID, name=f"{part}, {name}")
    top = max(pane.low for pane in panes) + lid.thickness
    strips = _strips(scene, lid)
    for i, (region, share) in enumerate(strips, 1):
        surface = world.opaque(f"strip {i}", reflectance("black", share), bucket="strips on the lid")
        world.add_mesh(f"strip {i}", *flat_region(region, top + HAIR), surface, role=Role.FRAME)
    return low, top + (HAIR if strips else 0.0)


def _panes(scene: Scene, lid: Lid, low: float) -> list[_Pane]:
    """The panes of a lid whose lowest lies at `low` [m]."""
    import shapely

    outside = scene.tank.outside_outline.polygon
    x0, y0, x1, y1 = outside.bounds

    def pane(a: float, b: float, c: float, d: float) -> shapely.Geometry:
        piece = shapely.box(a + HAIR, b + HAIR, c - HAIR, d - HAIR)
        return piece if scene.tank.is_box else piece & scene.tank.outside_outline.inset(HAIR)

    if lid.hinged is not None:
        at = lid.hinged.at
        return [_Pane(pane(x0, y0, x1, at), low, lid.hinged), _Pane(pane(x0, at, x1, y1), low)]
    if lid.sliding is not None:
        half, pushed, high = lid.sliding.overlap / 2, lid.sliding.opened, low + lid.thickness + TRACK_GAP
        if lid.sliding.runs == "left to right":
            middle = (x0 + x1) / 2
            upper = pane(middle - half - pushed, y0, x1 - pushed, y1)
            return [_Pane(pane(x0, y0, middle + half, y1), low), _Pane(upper, high)]
        middle = (y0 + y1) / 2
        upper = pane(x0, middle - half - pushed, x1, y1 - pushed)
        return [_Pane(pane(x0, y0, x1, middle + half), low), _Pane(upper, high)]
    return [_Pane(pane(*bounds), low) for bounds in [p.bounds_m for p in lid.panes] or [(x0, y0, x1, y1)]]


def _faces(pane: _Pane, lid: Lid) -> list[Triangles]:
    """Top, underside and edges of a pane where it lies."""
    low, high = pane.low, pane.low + lid.thickness
    top, under = flat_region(pane.region, high), flat_region(pane.region, low, facing_up=False)
    edges = curtain_of_region(pane.region, low, high)
    return [(_tilted(vertices, pane.flap, high), faces) for vertices, faces in (top, under, edges)]


def _tilted(vertices: np.ndarray, flap: Hinged | None, high: float) -> np.ndarray:
    """Vertices (n, 3) of a flap turned up about a line just over its hinged top edge, where it clears the other pane."""
    if flap is None or flap.opened == 0.0:
        return vertices
    y, z = flap.turned(vertices[:, 1], vertices[:, 2], high + 2 * HAIR)
    return np.column_stack([vertices[:, 0], y, z])


def _strips(scene: Scene, lid: Lid) -> list[tuple[shapely.Geometry, float | None]]:
    import shapely

    strips = [(shapely.box(*strip.bounds_m), strip.reflectance) for strip in lid.strips]
    if lid.hinged is not None and lid.hinged.strip > 0:
        outside = scene.tank.outside_outline.polygon
        x0, _, x1, _ = outside.bounds
        hinge = shapely.box(x0, lid.hinged.at, x1, lid.hinged.at + lid.hinged.strip) & outside
        strips.append((hinge, lid.hinged.reflectance))
    return strips


def lid_covers(lid: Lid | None, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether any pane of the lid lies under a rectangle of the plan [m]; a flap that is tilted up does not."""
    if lid is None:
        return False
    if lid.hinged is not None:
        return lid.hinged.opened == 0.0 or y1 > lid.hinged.at
    if not lid.panes:
        return True
    return any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in (p.bounds_m for p in lid.panes))


def lower_hood(world: World, scene: Scene) -> None:
    """Add the hood: walls round the tank and a cover, open below."""
    if scene.hood is None:
        return
    points = scene.tank.outside_outline.moved(3 * HAIR).points
    low = scene.tank.inside_m[2]
    high = low + scene.hood.height
    spectrum = scene.hood.inside_reflectance()
    surface = world.opaque("hood", spectrum, back_reflectance=spectrum, bucket="hood")
    world.add_mesh("hood", *joined([flat(points, high), curtain_round(points, low, high)]), surface, role=Role.HOOD)
