"""Fixtures into a `World`: a body that blocks and reflects, and one source a channel."""

from __future__ import annotations

import math

import numpy as np

from underlit.lowering.lid import lid_covers
from underlit.lowering.prisms import HAIR
from underlit.lowering.shell import Shell
from underlit.lowering.world import Role, World, box
from underlit.photometry import files
from underlit.photometry.lens import Lens, LensKind
from underlit.scene.lights import Fixture
from underlit.scene.model import Scene
from underlit.transport.tables import FaceShape

CHANNELS_PER_FIXTURE = 64
"""Random-number keys are fixture * this + channel: a change elsewhere in the scene leaves a source's numbers alone."""


def orientation(fixture: Fixture) -> np.ndarray:
    """(3, 3) rotation of a fixture: tilt about its long axis (positive throws the beam to the front), then turn."""
    c, s = math.cos(fixture.tilt), math.sin(fixture.tilt)
    tilt = np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
    c, s = math.cos(fixture.turn), math.sin(fixture.turn)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    return turn @ tilt


def footprint(scene: Scene, fixture: Fixture) -> np.ndarray:
    """Outline of a fixture's LED face seen from above, (4, 2) [m]."""
    length, width, _ = fixture.size
    corners = np.array([(-length, -width, 0), (length, -width, 0), (length, width, 0), (-length, width, 0)]) / 2
    return (corners @ orientation(fixture).T + np.array(scene.fixture_centre_m(fixture)))[:, :2]


def source_name(fixture: Fixture, channel_name: str) -> str:
    """Name of the source of a fixture's channel."""
    return f"{fixture.name}: {channel_name}"


def dimming(scene: Scene) -> dict[str, float]:
    """Dimming of every source as the scene sets it, by source name."""
    return {
        source_name(fixture, channel.name) + part: fixture.dimming * channel.dimming
        for fixture in scene.fixtures
        for channel in fixture.channels
        for part in _parts(fixture)
    }


UPWARD = ", upward"
UPWARD_KEY = 2**20
"""Added to the random-number key of a source that shines up."""


def _parts(fixture: Fixture) -> list[str]:
    """Endings of the names of a channel's sources: a photometric file may shine down, up or both ways."""
    measured = fixture.photometry
    if measured is None:
        return [""]
    halves = {"": files.lower_half(measured), UPWARD: files.upper_half(measured)}
    return [part for part, half in halves.items() if half is not None]


def lower_fixtures(world: World, scene: Scene, shell: Shell) -> None:
    """Add every fixture. One that would sink into the lid is laid on it, and that is noted."""
    for i, fixture in enumerate(scene.fixtures):
        turned = orientation(fixture)
        centre = np.array(scene.fixture_centre_m(fixture))
        centre[2] += _lift(world, scene, shell, fixture, turned, centre)
        length, width, height = fixture.size
        vertices, faces = box((-length / 2, -width / 2, 0), (length / 2, width / 2, height))
        # the LED face is its own quad, so that the LEDs lie exactly in its plane
        surface = world.opaque(f"{fixture.name} body", fixture.body_reflectance, closed=True, bucket="fixtures")
        world.add_mesh(fixture.name, vertices @ turned.T + centre, faces, surface, role=Role.FIXTURE)
        if fixture.photometry is not None:
            _add_measured(world, fixture, fixture.photometry, turned, centre, i * CHANNELS_PER_FIXTURE)
            continue
        for j, (channel, ppf) in enumerate(zip(fixture.channels, fixture.full_channel_ppf, strict=True)):
            offsets = fixture.led_offsets_m(channel)
            local = np.concatenate([offsets, np.zeros((len(offsets), 1))], axis=1)
            exponent, table = lens_as_numbers(fixture.lens_of(channel))
            half = fixture.leds.face / 2
            world.add_source(
                source_name(fixture, channel.name),
                local @ turned.T + centre,
                ppf=ppf,
                axis=turned @ (0.0, 0.0, -1.0),
                along=turned @ (1.0, 0.0, 0.0),
                half_size=(half, half),
                beam_exponent=exponent,
                beam_table=table,
                spectrum=channel.spectrum.channel.photons,
                key=i * CHANNELS_PER_FIXTURE + j,
                fixture=fixture.name,
                channel=channel.name,
            )


def _add_measured(
    world: World, fixture: Fixture, measured: files.Photometry, turned: np.ndarray, centre: np.ndarray, first_key: int
) -> None:
    """The sources of a photometric file: one face for what shines down, one over the body for what shines up.

    Both have the opening's outline. What the file's fixture hides of its own light is in its intensities already, so the
    body must not hide it again.
    """
    world.notes.extend(f"{fixture.name}: {note}" for note in measured.notes)
    c, s = math.cos(fixture.photometric_turn), math.sin(fixture.photometric_turn)
    along = turned @ (c, s, 0.0)
    face, half_size = emitting_face(measured.opening)
    down = files.downward_share(measured)
    halves = (
        ("", files.lower_half(measured), -1.0, 0.0, down, 0),
        (UPWARD, files.upper_half(measured), 1.0, fixture.size[2], 1.0 - down, UPWARD_KEY),
    )
    for part, half, up, height, share, key in halves:
        if half is None:
            continue
        for j, (channel, ppf) in enumerate(zip(fixture.channels, fixture.full_channel_ppf, strict=True)):
            world.add_source(
                source_name(fixture, channel.name) + part,
                [turned @ (0.0, 0.0, height) + centre],
                ppf=ppf * share,
                axis=turned @ (0.0, 0.0, up),
                along=along,
                half_size=half_size,
                face=face,
                beam_web=half if up > 0 else mirrored(half),
                spectrum=channel.spectrum.channel.photons,
                key=first_key + key + j,
                fixture=fixture.name,
                channel=channel.name,
            )


def mirrored(web: files.Web) -> files.Web:
    """A web with its azimuths the other way round: seen along a beam that looks down, they run clockwise."""
    azimuth, theta, intensity = web
    return -azimuth[::-1], theta, np.ascontiguousarray(intensity[::-1])


def emitting_face(opening: files.Opening) -> tuple[FaceShape, tuple[float, float]]:
    """Shape and half sizes [m] of the face that stands for an opening; an oval one becomes a rectangle of its area."""
    length, width = opening.length_m / 2, opening.width_m / 2
    if opening.shape is not files.OpeningShape.ROUND:
        return FaceShape.RECTANGLE, (length, width)
    if math.isclose(length, width, rel_tol=0.05):
        return FaceShape.DISC, (math.sqrt(length * width), 0.0)
    same_area = math.sqrt(math.pi) / 2
    return FaceShape.RECTANGLE, (length * same_area, width * same_area)


def _lift(world: World, scene: Scene, shell: Shell, fixture: Fixture, turned: np.ndarray, centre: np.ndarray) -> float:
    """How far to raise a fixture so that it lies on what is under it instead of in it [m]."""
    length, width, height = fixture.size
    corners, _ = box((-length / 2, -width / 2, 0), (length / 2, width / 2, height))
    placed = corners @ turned.T + centre
    lowest = float(placed[:, 2].min())
    (x0, y0), (x1, y1) = placed[:, :2].min(axis=0), placed[:, :2].max(axis=0)
    floor = -math.inf
    if lid_covers(scene.lid, x0, y0, x1, y1) and placed[:, 2].max() > shell.lid_low:
        floor = shell.lid_top + HAIR
    if scene.tank.rim is not None or x0 < 0 or x1 > scene.tank.inside_m[0]:
        floor = max(floor, scene.tank.inside_m[2] + 2e-3)
    if lowest >= floor:
        return 0.0
    lift = floor - lowest
    world.notes.append(f"{fixture.name}: raised {lift * 1000:.1f} mm to lie on the lid or rim instead of in it")
    return lift


def lens_as_numbers(lens: Lens) -> tuple[float, tuple[np.ndarray, np.ndarray] | None]:
    """A lens for `World.add_source`: (cosine exponent, table or None)."""
    if lens.kind is LensKind.TABLE:
        return 1.0, (lens.theta_rad, lens.intensity)
    if lens.kind is LensKind.UNIFORM_CONE:
        return 1.0, (np.array([0.0, lens.half_angle_rad]), np.array([1.0, 1.0]))
    return lens.exponent, None
