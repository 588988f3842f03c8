"""Plant groups: leaves of their own, and instances of a few plants where there are very many."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from underlit.lowering.aquascape.hardscape import LoweringError, clipped, stand
from underlit.lowering.pieces import InstancesPiece, Leaf, MeshPiece, Note, Piece
from underlit.lowering.prisms import HAIR, polygons_of
from underlit.lowering.records import Line, Part, Role
from underlit.lowering.shapes import Planting, Shape, ShapeError, join, place
from underlit.lowering.shapes.plants.grower import Wanted
from underlit.lowering.shapes.plants.instances import Beyond, InstanceGroup
from underlit.lowering.shapes.shape import face_areas
from underlit.scene.aquascape.growth import Stand
from underlit.scene.aquascape.plants import PlantKind, Plants
from underlit.scene.model import Scene

AS_ASKED = 0.03
"""Relative: a leaf area this close to the one asked for needs no words."""
FULLEST_COVER = 0.97


@dataclass(frozen=True)
class Grown:
    """A planting as it stands in the world, measured on its triangles there.

    own: leaves and stalks with triangles of their own, None where all are instances; instances of plants besides; outline (k, 2)
    [m] or None; leaf_area [m2, one side]; leaf_area_index over area_m2 (the outline, or the plan area of the wood covered),
    and the one asked for (None where it follows from the plants); cover: share of the outline hidden, of floating plants;
    height [m] asked for; top [m] over the bottom pane; plants, leaves: how many.
    """

    name: str
    own: Shape | None
    outline: np.ndarray | None
    leaf_area: float
    leaf_area_index: float
    top: float
    instances: tuple[InstanceGroup, ...] = ()
    area_m2: float = 0.0
    asked: float | None = None
    cover: float | None = None
    height: float | None = None
    plants: int = 1
    leaves: int = 0

    @cached_property
    def shape(self) -> Shape:
        """All triangles, instances written out."""
        parts = [] if self.own is None else [self.own]
        return join([*parts, *(part for c in self.instances for part in c.written_out() if len(part.faces))])


def planted(scene: Scene, hardscape: Mapping[Part, Shape]) -> tuple[list[Piece], list[Grown]]:
    """Every plant group as two-sided leaf triangles; and each as it was grown."""
    pieces: list[Piece] = []
    grown: list[Grown] = []
    for plants in scene.plants:
        try:
            more, found = _group(scene, hardscape, plants)
        except ShapeError as problem:
            raise LoweringError(f"{plants.name}: {problem}") from None
        pieces += more
        grown.append(found)
    return pieces, grown


def _group(scene: Scene, hardscape: Mapping[Part, Shape], plants: Plants) -> tuple[list[Piece], Grown]:
    outline, planned = None, Stand(None, None)
    notes: list[Note] = []
    if plants.kind is PlantKind.MESH:
        planting = _from_mesh(scene, plants)
    else:
        room = float("inf") if plants.floats else scene.water_level_m - float(scene.substrate.grid_m.min())
        planned, more = plants.stand(added_co2=scene.has_added_co2, room_m=room)
        if plants.kind is PlantKind.EPIPHYTES:
            planting = _epiphytes(scene, hardscape, plants, planned)
        else:
            outline = _inside_outline(scene, plants)
            planting = _planting(scene, plants, planned, outline)
        notes += _on_growth(plants, planned, more)
    if planting.shape.note:
        notes.append(Note(f"{plants.name}: {planting.shape.note}"))
    planting, cut_off = _in_the_tank(scene, plants, planting)
    notes += [*cut_off, *_on_leaf_area(plants, planned, planting)]
    return [*notes, *_pieces(plants, planting)], _as_grown(plants, planned, planting, outline)


def _as_grown(plants: Plants, planned: Stand, planting: Planting, outline: np.ndarray | None) -> Grown:
    tops = [planting.shape.bounds[1, 2]] if len(planting.shape.faces) else []
    tops += [c.bounds()[:, 1, 2].max() for c in planting.instances]
    return Grown(
        plants.name, planting.shape if len(planting.shape.faces) else None, outline, planting.leaf_area_m2,
        planting.leaf_area_index, float(max(tops)), planting.instances, planting.outline_area_m2, planned.leaf_area_index,
        planting.coverage, planned.height_m, planting.plant_count, planting.leaf_count,
    )  # fmt: skip


def _from_mesh(scene: Scene, plants: Plants) -> Planting:
    from underlit.lowering.shapes import mesh

    assert plants.mesh is not None
    shape = stand(scene, plants, mesh.mended(plants.mesh, unit=plants.unit or "m"))
    return Planting(shape, shape.area_m2, 0.0, 0, 1, 0.0, leaf_faces=len(shape.faces))


def _inside_outline(scene: Scene, plants: Plants) -> np.ndarray:
    """The largest piece of a group's outline over the tank's inside, (k, 2) [m]."""
    from shapely.geometry import Polygon

    pieces = [p for p in polygons_of(Polygon(plants.polygon) & scene.tank.inside_outline.inset(HAIR)) if p.area > 1e-6]
    if not pieces:
        raise ShapeError("its outline lies outside the tank; move it inside")
    largest = max(pieces, key=lambda p: p.area)
    return np.array(largest.exterior.coords[:-1])


def _planting(scene: Scene, plants: Plants, planned: Stand, outline: np.ndarray) -> Planting:
    from underlit.lowering.shapes.plants import carpets, drifting, floating, rosettes, stems

    def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.asarray(np.maximum(scene.bed_heights_m(x, y), HAIR))

    form, wanted = plants.leaf_form, _wanted(plants, planned)
    assert form is not None
    if plants.kind is PlantKind.FLOATING:
        assert planned.leaf_area_index is not None
        cover = min(planned.leaf_area_index, FULLEST_COVER)
        return _at_the_surface(scene, floating.floating(plants.seed, outline, form, cover, wanted))
    if plants.floats:
        return _at_the_surface(scene, drifting.drifting_stems(plants.seed, outline, form, wanted))
    rooted = {PlantKind.CARPET: carpets.carpet, PlantKind.STEMS: stems.stems, PlantKind.ROSETTES: rosettes.rosettes}
    return rooted[plants.kind](plants.seed, outline, ground, form, wanted)


def _wanted(plants: Plants, planned: Stand) -> Wanted:
    return Wanted(
        height=planned.height_m,
        leaf_area_index=planned.leaf_area_index,
        plants_per_m2=None if plants.spacing is None else 1 / plants.spacing**2,
        leaf_length=plants.leaf_length,
        leaf_width=plants.leaf_width,
        beyond=Beyond.INSTANCES,
    )


def _at_the_surface(scene: Scene, planting: Planting) -> Planting:
    """A planting made for a surface at z = 0 where the water surface is."""
    return replace(planting, shape=place(planting.shape, (0.0, 0.0, scene.water_level_m)))


def _epiphytes(scene: Scene, hardscape: Mapping[Part, Shape], plants: Plants, planned: Stand) -> Planting:
    from underlit.lowering.shapes.plants import epiphytes

    support = next((shape for part, shape in hardscape.items() if part.part == plants.on), None)
    if support is None:
        raise ShapeError(f"there is no wood or stone named {plants.on!r} to grow on")
    form = plants.leaf_form
    assert form is not None
    lowest, highest = float(scene.substrate.grid_m.max()), scene.water_level_m
    return epiphytes.epiphytes(
        plants.seed,
        support,
        form,
        _wanted(plants, planned),
        from_z=lowest if plants.tied_above is None else plants.tied_above,
        to_z=highest if plants.tied_below is None else min(plants.tied_below, highest),
        outline=np.array(plants.polygon) if plants.outline_keys else None,
    )


def _in_the_tank(scene: Scene, plants: Plants, planting: Planting) -> tuple[Planting, tuple[Note, ...]]:
    """The planting cut off at the glass and the lid, and its leaf area measured on what is left.

    Instances that would reach beyond are written out with the plants that have triangles of their own, and cut with them.
    """
    planting = _reaching_out_written_out(scene, planting)
    own, leaf_faces = planting.shape, planting.leaf_faces
    notes: tuple[Note, ...] = ()
    blades = face_areas(own.vertices, own.faces[:leaf_faces]).sum()
    if len(own.faces):
        found = clipped(scene, plants.name, replace(own, closed=False, note=""))
        kept, notes = found.shape, found.notes
        if len(kept.faces) != len(own.faces) or not np.array_equal(kept.vertices, own.vertices):
            blades = _area_inside(scene, Shape(own.vertices, own.faces[:leaf_faces], False))
        own = kept
    leaf_area = float(blades) + sum(c.leaf_area_m2 for c in planting.instances)
    index = leaf_area / planting.outline_area_m2 if planting.outline_area_m2 else 0.0
    return replace(planting, shape=own, leaf_area_m2=leaf_area, leaf_area_index=index), notes


def _reaching_out_written_out(scene: Scene, planting: Planting) -> Planting:
    """The planting with triangles of their own for those instances that reach beyond the glass or the lid."""
    own, leaf_faces = planting.shape, planting.leaf_faces
    blades, stalks = (
        [Shape(own.vertices, own.faces[:leaf_faces], False)],
        [Shape(own.vertices, own.faces[leaf_faces:], False)],
    )
    inside: list[InstanceGroup] = []
    for group in planting.instances:
        fits = _stand_inside(scene, group)
        if not fits.all():
            more = group.chosen(~fits).written_out()
            blades.append(more[0])
            stalks.append(more[1])
        if fits.any():
            inside.append(group.chosen(fits))
    if len(blades) == 1:
        return planting
    whole = join([part for part in (*blades, *stalks) if len(part.faces)])
    note = planting.shape.note
    return replace(
        planting, shape=replace(whole, note=note), leaf_faces=sum(len(b.faces) for b in blades), instances=tuple(inside)
    )  # fmt: skip


def _stand_inside(scene: Scene, group: InstanceGroup) -> np.ndarray:
    """Which instances stand clear of the glass and the lid, (n,) bool."""
    import shapely

    room = scene.tank.inside_outline.inset(HAIR)
    shapely.prepare(room)
    bounds = group.bounds()
    boxes = shapely.box(bounds[:, 0, 0], bounds[:, 0, 1], bounds[:, 1, 0], bounds[:, 1, 1])
    level = (bounds[:, 0, 2] > HAIR) & (bounds[:, 1, 2] < scene.lid_underside_m - 2 * HAIR)
    return np.asarray(shapely.covers(room, boxes) & level)


def _area_inside(scene: Scene, shape: Shape) -> float:
    """Area of what is left of a shape when it is cut at the glass and the lid [m2]."""
    return clipped(scene, "", shape).shape.area_m2 if len(shape.faces) else 0.0


def _pieces(plants: Plants, planting: Planting) -> Iterator[Piece]:
    part, optics = Part(plants.name, Role.PLANTS), plants.leaf_optics
    leaf = Leaf(Line("plants", plants.name), optics.reflectance, optics.transmittance)
    if len(planting.shape.faces):
        yield MeshPiece(part, planting.shape.vertices, planting.shape.faces, leaf)
    for group in planting.instances:
        plant = group.template.shape
        yield InstancesPiece(part, plant.vertices, plant.faces, leaf, group.origins, group.rotations, group.scales)


def _on_growth(plants: Plants, planned: Stand, more: float | None) -> Iterator[Note]:
    if not plants.grown:
        return
    what = [] if planned.height_m is None else [f"{100 * planned.height_m:.1f} cm tall"]
    if more is not None:
        what.append(f"{more:.2g} times the leaf area")
    yield Note(f"{plants.name}: after {plants.grown:g} weeks {' and '.join(what)}")


def _on_leaf_area(plants: Plants, planned: Stand, planting: Planting) -> Iterator[Note]:
    asked = planned.leaf_area_index
    if asked is None or plants.kind is PlantKind.FLOATING:
        return
    if abs(planting.leaf_area_index / asked - 1) > AS_ASKED:
        yield Note(f"{plants.name}: leaf area index {planting.leaf_area_index:.2f} as grown, {asked:.2f} was asked for")
