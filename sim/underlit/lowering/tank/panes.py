"""What the faces of a pane are made of: clean or grown-over glass inside, open glass, paint or film outside."""

from __future__ import annotations

import math

from underlit.lowering.world import OUTSIDE, World
from underlit.scene.model import Scene
from underlit.scene.tank.tank import Wall

MIRROR = "mirror"
UPRIGHT = ("front", "back", "left", "right")


def wet_face(world: World, scene: Scene, side: str, water: int, glass: int) -> int:
    """Inner face of a pane. What grows on it is a film passed twice per hit, so that a hit gives back its share."""
    film = math.sqrt(scene.returned_per_reflection(side))
    return world.interface(f"{side} pane inside", water, glass, film=film, bucket="growth on the panes")


def dry_face(world: World, glass: int) -> int:
    """Inner face of the panes over the water."""
    return world.interface("dry inner glass", OUTSIDE, glass, exit="out of the top", bucket="tank glass")


def top_edge(world: World, glass: int) -> int:
    """Upper edge of the panes."""
    return world.interface("top edge", OUTSIDE, glass, exit="out of the glass edges", bucket="tank glass")


def outer_face(world: World, side: str, wall: Wall, glass: int) -> int:
    """Outer face of a pane: open glass, or what touches it."""
    if wall.touches_glass:
        return backing(world, side, wall)
    way_out = f"out through the {side} pane"
    return world.interface(f"{side} pane outside", OUTSIDE, glass, exit=way_out, bucket="tank glass")


def backing(world: World, side: str, wall: Wall) -> int:
    """The paint, film or sheet behind a pane."""
    spectrum = wall.backing_reflectance()
    if spectrum is None:
        raise ValueError(f"the {side} pane has no backing")
    specular = 1.0 if wall.colour == MIRROR else 0.0
    return world.opaque(f"backing of the {side} pane", spectrum, specular=specular, bucket="backings")
