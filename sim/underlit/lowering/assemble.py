"""The one place where pieces go into a world: moved to where their tank stands, under records that say which tank that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import singledispatchmethod

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.pieces import (
    AIR,
    HeadPiece,
    InstancesPiece,
    Leaf,
    MapPiece,
    Medium,
    MeshPiece,
    Note,
    Opaque,
    Piece,
    PlanesPiece,
    SourcePiece,
    Surface,
    ZonePiece,
)
from underlit.lowering.records import OWN, ROOM, Frame, Line
from underlit.lowering.world import OUTSIDE, World

KEYS_OF_ONE_TANK = 2**40
"""Random-number keys of a tank's sources stay below this."""


def put(world: World, pieces: Iterable[Piece], frame: Frame = OWN) -> None:
    """Put the pieces of one tank into a world, in their order. ValueError, one line, where one makes no sense."""
    if frame not in world.contents.frames:
        world.contents.frames.append(frame)
    tank = _Tank(world, frame)
    for piece in pieces:
        tank.add(piece)


class _Tank:
    """A tank's corner of a world, while its pieces are put there."""

    def __init__(self, world: World, frame: Frame) -> None:
        self._world, self._frame, self._offset = world, frame, np.array(frame.offset)
        self._media: dict[Medium, int] = {AIR: OUTSIDE}
        self._surfaces: dict[Surface, int] = {}

    def _line(self, line: Line) -> Line:
        return line if line.tank == ROOM else line.moved_to(self._frame)

    def _medium(self, medium: Medium) -> int:
        if medium not in self._media:
            self._media[medium] = self._world.medium(
                self._line(medium.line), medium.index, medium.absorption, medium.scattering, medium.g
            )
        return self._media[medium]

    def _surface(self, surface: Surface) -> int:
        if surface not in self._surfaces:
            self._surfaces[surface] = self._made(surface)
        return self._surfaces[surface]

    def _made(self, surface: Surface) -> int:
        line = self._line(surface.line)
        if isinstance(surface, Leaf):
            return self._world.leaf(line.name, surface.reflectance, surface.transmittance, bucket=line)
        if isinstance(surface, Opaque):
            return self._world.opaque(
                line.name, surface.reflectance, back_reflectance=surface.back_reflectance,
                specular=surface.specular, closed=surface.closed, bucket=line,
            )  # fmt: skip
        way_out = None if surface.way_out is None else self._line(surface.way_out)
        front, back = self._medium(surface.front), self._medium(surface.back)
        return self._world.interface(line.name, front, back, film=surface.film, bucket=line, exit=way_out)

    def _grid(self, grid: Grid) -> Grid:
        return replace(grid.moved(self._offset), tank=self._frame.tank)

    @singledispatchmethod
    def add(self, piece: Piece) -> None:
        """Add one piece."""
        raise TypeError(f"no piece of a tank: {piece!r}")

    @add.register
    def _(self, piece: Medium) -> None:
        self._medium(piece)

    @add.register
    def _(self, piece: MeshPiece) -> None:
        surface = self._surface(piece.surface)
        self._world.add_mesh(piece.part.moved_to(self._frame), piece.vertices + self._offset, piece.faces, surface)

    @add.register
    def _(self, piece: InstancesPiece) -> None:
        template = self._world.add_template(piece.vertices, piece.faces, self._surface(piece.surface))
        origins = piece.origins + self._offset
        self._world.add_instances(piece.part.moved_to(self._frame), template, origins, piece.rotations, piece.scales)

    @add.register
    def _(self, piece: SourcePiece) -> None:
        self._world.add_source(
            piece.source.moved_to(self._frame), piece.positions + self._offset, ppf=piece.ppf, axis=piece.axis,
            along=piece.along, half_size=piece.half_size, face=piece.face, beam_exponent=piece.beam_exponent,
            beam_table=piece.beam_table, beam_web=piece.beam_web, spectrum=piece.spectrum,
            exit=self._line(piece.way_out), key=self._frame.tank * KEYS_OF_ONE_TANK + piece.key,
        )  # fmt: skip

    @add.register
    def _(self, piece: ZonePiece) -> None:
        outline = None if piece.outline is None else piece.outline + self._offset[:2]
        if piece.part is None:
            z = piece.z + float(self._offset[2])
            self._world.add_height_zone(piece.zone, z, area=piece.area, outline=outline, frame=self._frame)
            return
        self._world.add_surface_zone(
            piece.zone, piece.part.moved_to(self._frame), area=piece.area, outline=outline, min_up=piece.min_up,
            frame=self._frame,
        )  # fmt: skip

    @add.register
    def _(self, piece: HeadPiece) -> None:
        centre = (np.array(piece.centre) + self._offset).tolist()
        self._world.add_head(piece.spot, centre, radius=piece.radius, frame=self._frame)

    @add.register
    def _(self, piece: MapPiece) -> None:
        self._world.add_map(piece.part.moved_to(self._frame), self._grid(piece.grid))

    @add.register
    def _(self, piece: PlanesPiece) -> None:
        self._world.add_planes(self._grid(piece.grid))

    @add.register
    def _(self, piece: Note) -> None:
        told = self._world.cautions if piece.is_caution else self._world.notes
        told.append(f"{self._frame.name}: {piece.text}" if self._frame.name else piece.text)
