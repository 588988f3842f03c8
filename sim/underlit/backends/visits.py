"""What a photon met on its way, readable: the log of `cpu.trace_log` and of the oracle."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple, Protocol

import numpy as np

from underlit.transport.tables import LOG_ESCAPED, LOG_SCATTERED


class Met(StrEnum):
    """What ended a segment."""

    FRONT = "front"
    BACK = "back"
    SCATTERED = "scattered"
    ESCAPED = "escaped"


class Visit(NamedTuple):
    """One event of a photon: what it met and, of a surface, the slot of the triangle (see `Mesh.face_slots`).

    Of instances of a shared mesh the slot is that of a layer, and FRONT and BACK are the sides that look up and down.
    """

    met: Met
    slot: int = -1

    def __str__(self) -> str:
        return self.met.value if self.slot < 0 else f"{self.met.value} of slot {self.slot}"


ESCAPED, SCATTERED = Visit(Met.ESCAPED), Visit(Met.SCATTERED)


def visit_of_cell(cell: int) -> Visit:
    """A surface met, from its cell in a tally row's `faces`: slot * 2 + side."""
    return Visit(Met.BACK if cell % 2 else Met.FRONT, cell // 2)


def visits_of(codes: Iterable[int]) -> list[Visit]:
    """Visits from a log of the kernels: cells of faces, and negative marks."""
    marks = {LOG_ESCAPED: ESCAPED, LOG_SCATTERED: SCATTERED}
    return [marks.get(code) or visit_of_cell(code) for code in codes]


class NamedMesh(Protocol):
    """What `described` asks of a mesh."""

    @property
    def name(self) -> str:
        """What people call it."""

    def face_slots(self) -> np.ndarray:
        """Slot of each face, (m,) int64."""


def described(visits: Sequence[Visit], meshes: Iterable[NamedMesh]) -> str:
    """A line for each event, with the names of the meshes: `3 front of slot 70 (water surface)`."""
    names = {int(slot): mesh.name for mesh in meshes for slot in mesh.face_slots()}
    lines = []
    for event, visit in enumerate(visits, start=1):
        mesh = f" ({names.get(visit.slot, 'unnamed')})" if visit.slot >= 0 else ""
        lines.append(f"{event} {visit}{mesh}")
    return "\n".join(lines)
