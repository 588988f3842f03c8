"""What the faces of a pane are made of: clean or grown-over glass inside, open glass, paint or film outside."""

from __future__ import annotations

import math

from underlit.lowering.pieces import AIR, Interface, Medium, Opaque
from underlit.lowering.records import Face, Line, Part, Role
from underlit.scene.model import Scene
from underlit.scene.tank.tank import Wall

MIRROR = "mirror"
UPRIGHT = ("front", "back", "left", "right")
OUT_OF_THE_TOP = Line("out of the top")
OUT_OF_THE_EDGES = Line("out of the glass edges")
WATER = Line("water")
TANK_GLASS = Line("tank glass")
RIM_AND_BRACES = Line("rim and braces")
BED = Part("substrate", Role.BED)
"""What lies on the bottom pane, or its bare inside: the map and the zones of the substrate count on it."""


def pane(side: str, face: Face) -> Part:
    """A face of a pane of the tank."""
    return Part(f"{side} pane", Role.SHELL, face)


def sheet_behind(side: str) -> Part:
    """The sheet that stands a gap behind a pane."""
    return Part(f"{side} sheet", Role.BACKING)


def wet_face(scene: Scene, side: str, water: Medium, glass: Medium) -> Interface:
    """Inner face of a pane. What grows on it is a film passed twice per hit, so that a reflection returns its share."""
    return Interface(Line("growth on the panes"), water, glass, film=math.sqrt(scene.returned_per_reflection(side)))


def dry_face(glass: Medium) -> Interface:
    """Inner face of the panes over the water."""
    return Interface(TANK_GLASS, AIR, glass, way_out=OUT_OF_THE_TOP)


def top_edge(glass: Medium) -> Interface:
    """Upper edge of the panes."""
    return Interface(TANK_GLASS, AIR, glass, way_out=OUT_OF_THE_EDGES)


def outer_face(side: str, wall: Wall, glass: Medium) -> Interface | Opaque:
    """Outer face of a pane: open glass, or what touches it."""
    if wall.touches_glass:
        return backing(side, wall)
    return Interface(TANK_GLASS, AIR, glass, way_out=Line(f"out through the {side} pane"))


def backing(side: str, wall: Wall) -> Opaque:
    """The paint, film or sheet behind a pane."""
    spectrum = wall.backing_reflectance()
    if spectrum is None:
        raise ValueError(f"the {side} pane has no backing")
    return Opaque(Line("backings"), spectrum, specular=1.0 if wall.colour == MIRROR else 0.0)
