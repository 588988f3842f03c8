"""The two tanks of the trade readings as functions of what the readings leave open.

One fixture, a 36 x 18 in footprint, two heights. A `Setting` says what is put in; `light` traces it and keeps the light
planes of every beam and fixture length apart, so that beams, lengths, output, dimming and lid dirt cost no further
trace: light adds, output is a factor, and the dirt of a lid is passed once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underlit.lowering.scene import lower
from underlit.results.estimate import Estimate, mean_of_groups
from underlit.results.result import Result
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import Lid, Scene, load_scene
from underlit.scene.aquascape.plants import Plants
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.lens import LensShape
from underlit.scene.tank.water import Tannin

INCH = 0.0254
SCENES = Path(__file__).parent / "trade_scenes"
WALLS = ("front", "back", "left", "right")
HEAD_ABOVE_BED_M = 0.03
"""Face of a meter head standing on the substrate; common practice 2-4 cm, no source."""
WINDOW_M = 0.06
"""Side of the square over which a spot is averaged: nobody puts a head down twice on the same square centimetre."""
PPF = 100.0
"""Output for which `Light` holds [umol/s]."""


@dataclass(frozen=True)
class Setting:
    """What is put into a trace.

    lid: "none", "glass" (4 mm, clean) or "polycarbonate" (one sheet of 1 mm, clean). share: light that a pane gives back
    per hit. forward_in: how far the fixture's middle stands before the tank's middle. above_rim_in: its height over the
    rim [in]. stems: whether a planting stands along the back and the ends of the tall tank.
    """

    tank: str = "low"
    lid: str = "none"
    share: float = 0.25
    forward_in: float = 0.0
    above_rim_in: float = 1.0
    tannin_per_m: float = 0.4
    bed_in: float = 2.5
    stems: bool = False


@dataclass(frozen=True)
class Beam:
    """One light: full width at half maximum [deg] and length of the lit part of the board [in]."""

    angle_deg: float = 120.0
    length_in: int = 34

    @property
    def name(self) -> str:
        """Name of its channel."""
        return f"{self.angle_deg:g} deg, {self.length_in} in"


@dataclass(frozen=True)
class Light:
    """Light planes of a traced setting, beam by beam, for an output of 100 umol/s each.

    planes: (groups of batches, nz, ny, nx) PPFD [umol/m2/s] by beam; weights: batches in each group; spacing (x, y, z) [m];
    size of the inside (x, y) [m]; bed height [m].
    """

    planes: dict[Beam, np.ndarray]
    weights: dict[Beam, np.ndarray]
    spacing: tuple[float, float, float]
    size: tuple[float, float]
    bed: float

    def at(self, beam: Beam, x_in: float, forward_in: float, above_bed_m: float = HEAD_ABOVE_BED_M) -> Estimate:
        """PPFD at a spot by its distance from the tank's middle, sideways and to the front [in], and its height.

        Left and right are alike in these tanks, so both are averaged; between light planes it is linear.
        """
        field = self.planes[beam]
        z = (self.bed + above_bed_m) / self.spacing[2] - 1.0
        k = int(np.clip(math.floor(z), 0, field.shape[1] - 2))
        level = field[:, k] + (z - k) * (field[:, k + 1] - field[:, k])
        wx = _overlap(self.size[0] / 2 + x_in * INCH, self.spacing[0], field.shape[3])
        wy = _overlap(self.size[1] / 2 - forward_in * INCH, self.spacing[1], field.shape[2])
        values = np.einsum("gyx,y,x->g", level, wy, 0.5 * (wx + wx[::-1]))
        value, variance, dof = mean_of_groups(values, self.weights[beam])
        return Estimate(float(value), math.sqrt(float(variance)), dof)


def _overlap(centre: float, spacing: float, cells: int) -> np.ndarray:
    """Share of the averaging window in each cell along one direction; what would lie outside is cut off."""
    edges = np.arange(cells + 1) * spacing
    low, high = centre - WINDOW_M / 2, centre + WINDOW_M / 2
    part = np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0.0, None)
    return part / part.sum()


def scene_of(setting: Setting, beams: tuple[Beam, ...]) -> Scene:
    """The scene of a setting, one channel a beam."""
    scene = load_scene(SCENES / f"{setting.tank}-tank.toml")
    walls = {
        side: scene.tank.walls[side].model_copy(update={"returned_per_reflection": setting.share}) for side in WALLS
    }
    length, depth, _ = scene.tank.inside_m
    fixture = scene.fixtures[0]
    columns = fixture.leds.columns
    channels = tuple(
        Channel(
            name=beam.name,
            spectrum=fixture.channels[0].spectrum,
            lens=LensShape(beam_angle=f"{beam.angle_deg:g} deg"),
            columns=tuple(range((columns - beam.length_in) // 2 + 1, (columns + beam.length_in) // 2 + 1)),
        )
        for beam in beams
    )
    placed = {"position": (length / 2, depth / 2 - setting.forward_in * INCH), "above_rim": setting.above_rim_in * INCH}
    lids = {
        "none": None,
        "glass": Lid(dirt=1.0, condensation=1.0),
        "polycarbonate": Lid(glass="polycarbonate", thickness="1 mm", dirt=1.0, condensation=1.0),
    }
    return scene.model_copy(
        update={
            "tank": scene.tank.model_copy(update=walls),
            "water": scene.water.model_copy(update={"tannin": Tannin(a440_per_m=setting.tannin_per_m)}),
            "substrate": scene.substrate.model_copy(update={"depth": setting.bed_in * INCH}),
            "fixtures": (fixture.model_copy(update={"channels": channels, **placed}),),
            "lid": lids[setting.lid],
            "plants": _stems(scene) if setting.stems else (),
        }
    )


def _stems(scene: Scene) -> tuple[Plants, ...]:
    """Stem bunches along the back pane and both ends, 14 in tall."""
    length, depth, _ = scene.tank.inside_m
    gap, deep = 0.5 * INCH, 4.5 * INCH
    places = {
        "back": ((gap, depth - deep), (length - gap, depth - gap)),
        "left": ((gap, gap), (deep, depth - deep - gap)),
        "right": ((length - deep, gap), (length - gap, depth - deep - gap)),
    }
    return tuple(
        Plants(
            name=f"{name} stems",
            kind="stems",
            rectangle=tuple((f"{x} m", f"{y} m") for x, y in corners),
            height="14 in",
            seed=i,
        )
        for i, (name, corners) in enumerate(places.items(), 1)
    )


def light(setting: Setting, beams: tuple[Beam, ...] = (Beam(),), *, photons: int = 500_000, seed: int = 1) -> Light:
    """Trace a setting: about `photons` packets, shared out evenly over the beams."""
    scene = scene_of(setting, beams)
    compiled = lower(scene).compiled
    found = trace_compiled(compiled, rule=StoppingRule(photons=photons, only_budget=True), seed=seed)[0]
    grid = compiled.planes
    assert grid is not None
    size = (scene.tank.inside_m[0], scene.tank.inside_m[1])
    planes = {beam: _planes_of(found, i) for i, beam in enumerate(beams)}
    weights = {beam: found.counts[i].group_batches for i, beam in enumerate(beams)}
    return Light(planes, weights, grid.spacing, size, setting.bed_in * INCH)


def _planes_of(found: Result, source: int) -> np.ndarray:
    """PPFD on the light planes by group of batches from one source, scaled to `PPF`: (groups, nz, ny, nx) float32."""
    grid = found.compiled.planes
    assert grid is not None
    nx, ny, nz = grid.shape
    flux = found.group_means(found.cells("planes"), source) * (PPF / found.source_ppf(source))
    with np.errstate(divide="ignore", invalid="ignore"):
        per_area = flux.reshape(-1, nz, ny, nx) / grid.open_area.reshape(nz, ny, nx)
    return per_area.astype(np.float32)
