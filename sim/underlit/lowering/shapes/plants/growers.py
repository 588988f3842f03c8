"""All plantings in one place: each fills an outline, or grows on a support, with real leaf triangles from a seed."""

from underlit.lowering.shapes.plants.canopy import LeafAngles, random_leaves
from underlit.lowering.shapes.plants.carpets import CarpetKind, carpet
from underlit.lowering.shapes.plants.epiphytes import EpiphyteKind, epiphytes
from underlit.lowering.shapes.plants.floating import FloatingKind, floating
from underlit.lowering.shapes.plants.planting import DEFAULT_TRIANGLE_BUDGET, Planting
from underlit.lowering.shapes.plants.rosettes import RosetteKind, rosettes
from underlit.lowering.shapes.plants.stems import StemKind, stems

__all__ = [
    "DEFAULT_TRIANGLE_BUDGET",
    "CarpetKind",
    "EpiphyteKind",
    "FloatingKind",
    "LeafAngles",
    "Planting",
    "RosetteKind",
    "StemKind",
    "carpet",
    "epiphytes",
    "floating",
    "random_leaves",
    "rosettes",
    "stems",
]
