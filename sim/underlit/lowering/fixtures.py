"""Fixtures: a body that blocks and reflects, a reflector, and a source for each channel and lens."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from underlit.lowering.pieces import MeshPiece, Note, Opaque, Piece, SourcePiece
from underlit.lowering.prisms import HAIR
from underlit.lowering.records import OWN, Face, Frame, Line, Part, Role, Source
from underlit.lowering.tank.lid import lid_covers
from underlit.lowering.world import box
from underlit.photometry import files
from underlit.photometry.lens import Lens, LensKind
from underlit.scene.lights.board import LedGroup
from underlit.scene.lights.body import ROUND, Reflector
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.fixture import Fixture
from underlit.scene.model import Scene
from underlit.transport.tables import FaceShape

FIXTURES = Line("fixtures")
ROUND_CORNERS = 24
"""A round body is a prism of so many sides."""
DISAGREEING = 0.15
"""Root mean square departure of readings from which it is said: three times what meters err by."""
ALL_BUT = 0.999
CHANNELS_PER_FIXTURE = 64
"""Random-number keys are fixture * this + channel: a change elsewhere in the scene leaves a source's numbers alone."""


def footprint(scene: Scene, fixture: Fixture) -> np.ndarray:
    """Outline of a fixture's underside seen from above, (n, 2) [m]."""
    return np.asarray((underside(fixture) @ fixture.rotation.T + np.array(scene.fixture_centre_m(fixture)))[:, :2])


def underside(fixture: Fixture, wider_m: float = 0.0, down_m: float = 0.0) -> np.ndarray:
    """Outline of the LED face, counter-clockwise seen from above, (n, 3) [m] in the fixture's frame; or one wider, lower."""
    a, b = fixture.size[0] / 2 + wider_m, fixture.size[1] / 2 + wider_m
    if fixture.form not in ROUND:
        return np.array([(-a, -b, -down_m), (a, -b, -down_m), (a, b, -down_m), (-a, b, -down_m)])
    turn = 2 * math.pi * np.arange(ROUND_CORNERS) / ROUND_CORNERS
    return np.stack([a * np.cos(turn), b * np.sin(turn), np.full(ROUND_CORNERS, -down_m)], axis=1)


def body_mesh(fixture: Fixture) -> tuple[np.ndarray, np.ndarray]:
    """The closed body over its underside: vertices (n, 3) [m] in the fixture's frame and faces (m, 3), facing out."""
    low = underside(fixture)
    top = low + np.array([0.0, 0.0, fixture.size[2]])
    if fixture.form not in ROUND:
        return box(low[0], top[2])
    n, k = len(low), np.arange(len(low))
    fan = np.stack([np.zeros(n - 2, dtype=int), k[1:-1], k[2:]], axis=1)
    return np.concatenate([low, top]), np.concatenate([fan[:, ::-1], n + fan, _sides(n)])


def _sides(n: int) -> np.ndarray:
    """Faces (2 n, 3) between two outlines of n corners each, the first one's corners numbered first."""
    k = np.arange(n)
    after = np.roll(k, -1)
    return np.concatenate([np.stack([k, after, n + after], axis=1), np.stack([k, n + after, n + k], axis=1)])


def reflector_mesh(fixture: Fixture, reflector: Reflector) -> tuple[np.ndarray, np.ndarray]:
    """The skirt from the edge of the underside down: vertices, faces; they face inwards."""
    # Corner for corner at the underside's edge, so that no light slips out between.
    vertices = np.concatenate([underside(fixture), underside(fixture, reflector.flares_m, reflector.depth)])
    return vertices, _sides(len(vertices) // 2)


UPWARD_KEY = 2**20
"""Added to the random-number key of a source that shines up."""
GROUP_KEY = 2**21
"""Added for each further group of LEDs of one channel."""


def dimming(scene: Scene, frame: Frame = OWN) -> dict[Source, float]:
    """Level of every source as the scene sets it: share of full light at its fixture's brightest hour."""
    return {source.moved_to(frame): fixture.level_of(channel) for source, fixture, channel in sources_of(scene)}


def full_hours(scene: Scene, frame: Frame = OWN) -> dict[Source, float]:
    """Hours at full light that give each source's light of a day [h]."""
    return {
        source.moved_to(frame): fixture.day_of(channel).full_hours for source, fixture, channel in sources_of(scene)
    }


def sources_of(scene: Scene) -> Iterator[tuple[Source, Fixture, Channel]]:
    """All sources of a scene's own fixtures: LEDs have a source for each lens, a file for each way that it shines."""
    for fixture in scene.fixtures:
        for channel in fixture.channels:
            if fixture.photometry is None:
                for group in range(len(fixture.led_groups(channel))):
                    yield Source(fixture.name, channel.name, group), fixture, channel
                continue
            for upward, half in enumerate(_halves(fixture.photometry)):
                if half is not None:
                    yield Source(fixture.name, channel.name, upward=bool(upward)), fixture, channel


def _halves(measured: files.Photometry) -> tuple[files.Web | None, files.Web | None]:
    """What shines down and what shines up."""
    return files.lower_half(measured), files.upper_half(measured)


def lights(scene: Scene) -> Iterator[Piece]:
    """Every fixture. One that would sink into the lid is laid on it, and that is noted."""
    yield from _doubts(scene)
    for i, fixture in enumerate(scene.fixtures):
        centre = np.array(scene.fixture_centre_m(fixture))
        raised = lift(scene, fixture, centre)
        centre[2] += raised
        if raised:
            yield Note(f"{fixture.name}: raised {raised * 1000:.1f} mm to lie on the lid or rim instead of in it")
        yield from _body(fixture, centre)
        if fixture.photometry is not None:
            yield from _measured(fixture, fixture.photometry, centre, i * CHANNELS_PER_FIXTURE)
        else:
            yield from _leds(fixture, centre, i * CHANNELS_PER_FIXTURE)


def _doubts(scene: Scene) -> Iterator[Note]:
    """What a user should know of lights that can be traced all the same."""
    for fixture in scene.fixtures:
        apart = fixture.flux.departure
        if apart > DISAGREEING:
            yield Note(
                f"{fixture.name}: its readings lie {100 * apart:.0f} % apart from what any one output gives; read again"
            )
    scheduled = [fixture for fixture in scene.fixtures if fixture.schedule is not None]
    times = sorted({time for fixture in scheduled for time in fixture.day.times})
    if times and not any(all(f.day.at(time) >= ALL_BUT * f.level for f in scheduled) for time in times):
        yield Note("the lights are never at their brightest together: PPFD adds up each at its own brightest hour")


def _body(fixture: Fixture, centre: np.ndarray) -> Iterator[MeshPiece]:
    vertices, faces = body_mesh(fixture)
    turned, part = fixture.rotation, Part(fixture.name, Role.FIXTURE)
    yield MeshPiece(part, vertices @ turned.T + centre, faces, Opaque(FIXTURES, fixture.body_reflectance, closed=True))
    reflector = fixture.reflector
    if reflector is None:
        return
    vertices, faces = reflector_mesh(fixture, reflector)
    surface = Opaque(
        FIXTURES, reflector.reflectance, back_reflectance=fixture.body_reflectance, specular=reflector.mirror
    )
    yield MeshPiece(replace(part, face=Face.REFLECTOR), vertices @ turned.T + centre, faces, surface)


def _leds(fixture: Fixture, centre: np.ndarray, first_key: int) -> Iterator[SourcePiece]:
    """A source for each group of a channel's LEDs. The underside's plane holds those that look straight out of it."""
    turned = fixture.rotation
    for j, (channel, ppf) in enumerate(zip(fixture.channels, fixture.full_channel_ppf, strict=True)):
        found = fixture.led_groups(channel)
        count = sum(len(group.points) for group in found)
        for k, group in enumerate(found):
            exponent, table = lens_as_numbers(group.lens.lens)
            half = group.face_m / 2
            yield SourcePiece(
                Source(fixture.name, channel.name, group=k),
                led_places(group) @ turned.T + centre,
                ppf=ppf * len(group.points) / count,
                axis=group.axis @ turned.T,
                along=turned @ (1.0, 0.0, 0.0),
                half_size=(half, half),
                beam_exponent=exponent,
                beam_table=table,
                spectrum=channel.spectrum.channel.photons,
                key=first_key + j + k * GROUP_KEY,
            )


def led_places(group: LedGroup) -> np.ndarray:
    """Middles of the LED faces in the fixture's frame, (n, 3) [m]; tilted ones stand out so far that they clear it."""
    out = np.zeros(len(group.points))
    if group.stands_out:
        out = HAIR + group.face_m / math.sqrt(2) * np.hypot(group.axis[:, 0], group.axis[:, 1])
    return np.column_stack([group.points, -out])


def _measured(
    fixture: Fixture, measured: files.Photometry, centre: np.ndarray, first_key: int
) -> Iterator[SourcePiece | Note]:
    """The sources of a photometric file: one face for what shines down, one over the body for what shines up.

    Both have the opening's outline. What the file's fixture hides of its own light is in its intensities already, so the
    body must not hide it again.
    """
    yield from (Note(f"{fixture.name}: {note}") for note in measured.notes)
    turned = fixture.rotation
    c, s = math.cos(fixture.photometric_turn), math.sin(fixture.photometric_turn)
    face, half_size = emitting_face(measured.opening)
    down = files.downward_share(measured)
    for upward, half in enumerate(_halves(measured)):
        if half is None:
            continue
        up, height, share = (1.0, fixture.size[2], 1.0 - down) if upward else (-1.0, 0.0, down)
        for j, (channel, ppf) in enumerate(zip(fixture.channels, fixture.full_channel_ppf, strict=True)):
            yield SourcePiece(
                Source(fixture.name, channel.name, upward=bool(upward)),
                np.array([turned @ (0.0, 0.0, height) + centre]),
                ppf=ppf * share,
                axis=turned @ (0.0, 0.0, up),
                along=turned @ (c, s, 0.0),
                half_size=half_size,
                face=face,
                beam_web=half if upward else mirrored(half),
                spectrum=channel.spectrum.channel.photons,
                key=first_key + upward * UPWARD_KEY + j,
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


def lift(scene: Scene, fixture: Fixture, centre: np.ndarray) -> float:
    """How far to raise a fixture from its centre (3,) so that it lies on what is under it instead of in it [m]."""
    placed = fixture.corners_m @ fixture.rotation.T + centre
    lowest = float(placed[:, 2].min())
    (x0, y0), (x1, y1) = placed[:, :2].min(axis=0), placed[:, :2].max(axis=0)
    floor = -math.inf
    if lid_covers(scene.lid, x0, y0, x1, y1) and placed[:, 2].max() > scene.lid_underside_m:
        floor = scene.lid_top_m + HAIR
    over_panes = x0 < 0 or x1 > scene.tank.inside_m[0]
    if not scene.tank.is_box:
        below = placed[:, :2].tolist()
        over_panes = scene.tank.outside_outline.meets(below) and not all(
            scene.tank.inside_outline.holds(x, y) for x, y in below
        )
    if scene.tank.rim is not None or over_panes:
        floor = max(floor, scene.tank.inside_m[2] + 2e-3)
    return max(floor - lowest, 0.0)


def lens_as_numbers(lens: Lens) -> tuple[float, tuple[np.ndarray, np.ndarray] | None]:
    """A lens for `World.add_source`: (cosine exponent, table or None)."""
    if lens.kind is LensKind.TABLE:
        return 1.0, (lens.theta_rad, lens.intensity)
    if lens.kind is LensKind.UNIFORM_CONE:
        return 1.0, (np.array([0.0, lens.half_angle_rad]), np.array([1.0, 1.0]))
    return lens.exponent, None
