"""What a scene file may say: models, the reader, and the assumptions a scene leaves to defaults."""

from underlit.scene.aquascape.ground import Stone, Substrate, Wood
from underlit.scene.aquascape.plants import PlantKind, Plants
from underlit.scene.assumptions.scene import Assumption, assumptions, tank_uncertainty
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.fixture import Fixture
from underlit.scene.model import Scene
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.reader import json_schema, load_scene, scene_from_dict
from underlit.scene.tank.lid import Hood, Lid
from underlit.scene.tank.tank import Behind, Tank, Wall
from underlit.scene.tank.water import Water
from underlit.scene.targets import Band, Need, Needs, Spot, Zone, band_for
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
