"""What a scene file may say: models, the reader, and the assumptions a scene leaves to defaults."""

from underlit.scene.aims import Band, Need, Needs, Spot, Zone, band_for
from underlit.scene.assumptions import Assumption, assumptions, tank_uncertainty
from underlit.scene.errors import SceneError
from underlit.scene.ground import Stone, Substrate, Wood
from underlit.scene.lid import Hood, Lid
from underlit.scene.lights import Channel, Fixture
from underlit.scene.model import Scene
from underlit.scene.plants import PlantKind, Plants
from underlit.scene.reader import json_schema, load_scene, scene_from_dict
from underlit.scene.tank import Behind, Tank, Wall, Water
from underlit.text.problem import Problem

__all__ = [
    "Assumption",
    "Band",
    "Behind",
    "Channel",
    "Fixture",
    "Hood",
    "Lid",
    "Need",
    "Needs",
    "PlantKind",
    "Plants",
    "Problem",
    "Scene",
    "SceneError",
    "Spot",
    "Stone",
    "Substrate",
    "Tank",
    "Wall",
    "Water",
    "Wood",
    "Zone",
    "assumptions",
    "band_for",
    "json_schema",
    "load_scene",
    "scene_from_dict",
    "tank_uncertainty",
]
