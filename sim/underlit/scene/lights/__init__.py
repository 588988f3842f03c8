"""Fixtures: what their owner knows of them, how they are built, how they run through the day, where they hang."""

from underlit.scene.lights.board import Board, Cluster, Leds, Optic
from underlit.scene.lights.body import Clip, Form, Reflector
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.day import Day
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.lens import LensShape
from underlit.scene.lights.number_table import read_number_table
from underlit.scene.lights.output import LightLossFactors, Output, Reading
from underlit.scene.lights.spectrum import Spectrum, SpectrumShare

__all__ = [
    "Board",
    "Channel",
    "Clip",
    "Cluster",
    "Day",
    "Fixture",
    "Form",
    "Leds",
    "LensShape",
    "LightLossFactors",
    "Optic",
    "Output",
    "Reading",
    "Reflector",
    "Spectrum",
    "SpectrumShare",
    "read_number_table",
]
