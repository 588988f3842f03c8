"""Meshes of hardscape and plants: made from a seed, or loaded, then placed and clipped. Pure functions."""

from underlit.lowering.shapes.placing import clip_to_tank, place
from underlit.lowering.shapes.plants.planting import Planting
from underlit.lowering.shapes.shape import Shape, ShapeError, join

__all__ = ["Planting", "Shape", "ShapeError", "clip_to_tank", "join", "place"]
