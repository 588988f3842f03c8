"""What tells one thing of a world from another: small records.

A record is the identity, everywhere: in the tables' side lists, in results and their files, in pictures, in fits. Its `name` is
made from it for people to read. Nothing reads a record back out of a name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Self


class Role(StrEnum):
    """What a mesh is in the picture of the tank; its value is what people read."""

    SHELL = "tank glass"
    LID = "lid"
    WATER = "water surface"
    BED = "substrate"
    WOOD = "wood"
    STONE = "stone"
    PLANTS = "plants"
    FIXTURE = "fixture"
    HOOD = "hood"
    FRAME = "rim and braces"
    BACKING = "backing"
    OTHER = "other"


class Face(StrEnum):
    """Which side of a part a mesh is, where the part has several."""

    WHOLE = ""
    WET_INSIDE = "wet inside"
    DRY_INSIDE = "dry inside"
    OUTSIDE = "outside"
    TOP = "top"
    UNDERSIDE = "underside"
    EDGES = "edges"
    SKIRT = "skirt"
    REFLECTOR = "reflector"
    OVER_WATER = "over the water"
    UNDER_WATER = "under water"
    INSTANCES = "instances"


@dataclass(frozen=True)
class Frame:
    """Where a tank stands: its number in the rack (the scene's own tank is 0), its name, the origin of its frame [m]."""

    tank: int = 0
    name: str = ""
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)


OWN = Frame()
"""The scene's own tank, whose frame is that of the world."""


@dataclass(frozen=True, kw_only=True)
class InTank:
    """Something of one tank. tank_name stands before its name where people would mix it up with another tank's."""

    tank: int = 0
    tank_name: str = field(default="", compare=False)

    def moved_to(self, frame: Frame) -> Self:
        """The same thing in the tank of a frame."""
        return replace(self, tank=frame.tank, tank_name=frame.name)

    @property
    def own_name(self) -> str:
        """What it is called within its tank."""
        raise NotImplementedError

    @property
    def name(self) -> str:
        """What people read."""
        return f"{self.tank_name}: {self.own_name}" if self.tank_name else self.own_name


@dataclass(frozen=True)
class Part(InTank):
    """A part of a tank, or one face of it: what the scene or the lowering calls it, its role, which face."""

    part: str
    role: Role = Role.OTHER
    face: str = Face.WHOLE

    @property
    def own_name(self) -> str:
        """The part, then the face."""
        return f"{self.part}, {self.face}" if self.face else self.part

    @property
    def whole(self) -> Part:
        """The part that all its faces belong to; zones count on all of them."""
        return replace(self, face=Face.WHOLE)


@dataclass(frozen=True)
class Source(InTank):
    """Light of one channel of a fixture: a group of its LEDs of one lens, or what a photometric file shines down or up."""

    fixture: str
    channel: str = ""
    group: int = 0
    upward: bool = False

    @property
    def own_name(self) -> str:
        """Fixture and channel; the first group needs no number."""
        name = f"{self.fixture}: {self.channel}" if self.channel else self.fixture
        return f"{name}{f', LEDs {self.group + 1}' if self.group else ''}{', upward' if self.upward else ''}"


@dataclass(frozen=True)
class Line(InTank):
    """A line of the ledger: where light ends, and on which part where a kind of thing has a line for each."""

    what: str
    part: str = ""

    @property
    def own_name(self) -> str:
        """The kind, then the part."""
        return f"{self.what}: {self.part}" if self.part else self.what


ROOM = -1
"""Stands for a tank in the ledger lines that are the room's."""
PAST_THE_TANK = Line("past the tank", tank=ROOM)
"""Light that escapes without having entered anything."""


@dataclass(frozen=True)
class ZoneInfo(InTank):
    """A zone and its area [m2]: flux over area is its PPFD."""

    zone: str
    area: float = field(compare=False)

    @property
    def own_name(self) -> str:
        """As the scene calls it."""
        return self.zone


@dataclass(frozen=True)
class HeadInfo(InTank):
    """A meter head: the reading spot it stands at, its centre [m], normal, radius [m]."""

    spot: str
    centre: tuple[float, float, float]
    normal: tuple[float, float, float] = (0.0, 0.0, 1.0)
    radius: float = 0.015

    @property
    def own_name(self) -> str:
        """As the scene calls the spot."""
        return self.spot

    @property
    def area(self) -> float:
        """Area of the disc [m2]."""
        return math.pi * self.radius**2
