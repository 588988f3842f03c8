"""What carries the LEDs: the form of the body, a reflector under it, a clip that holds it on the tank."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from underlit.scene.common import AngleRad, Fraction, LengthM, Part, PositiveLengthM
from underlit.scene.lights.lens import angle_within

WATTS_PER_M = 40.0
"""Of bars over tanks, 20 to 80; common practice, no source."""


class Form(StrEnum):
    """Usual forms. A bar is long and box-shaped; a puck is round and flat; a spot is round with one LED and a lens."""

    BAR = "bar"
    PUCK = "puck"
    SPOT = "spot"


@dataclass(frozen=True)
class Preset:
    """What a form is assumed to be where the scene does not say; common practice, no source.

    Metres and radians. ``led_pitch_m`` spreads LEDs over the board; None is one LED in the middle.
    """

    length_m: float
    width_m: float
    thickness_m: float
    beam_rad: float
    led_pitch_m: float | None
    led_face_m: float
    above_rim_m: float


PRESETS = {
    Form.BAR: Preset(0.60, 0.06, 0.02, math.radians(120), 0.025, 0.003, 0.05),
    Form.PUCK: Preset(0.12, 0.12, 0.04, math.radians(120), 0.015, 0.003, 0.15),
    Form.SPOT: Preset(0.08, 0.08, 0.10, math.radians(45), None, 0.015, 0.20),
}
ROUND = (Form.PUCK, Form.SPOT)
SHORTEST_M, LONGEST_M = 0.10, 1.80
"""No length is guessed beyond these."""


class Reflector(Part):
    """An opaque skirt around the underside that hangs down and may flare outwards or inwards.

    It cuts the beam off at its edge, shades what lies outside and reflects part of that light down; what it absorbs shows
    in the ledger. The output is that of the LEDs inside it. A cup around each LED is a lens: give it as ``lens``.
    """

    depth: Annotated[PositiveLengthM, Field(description="how far its edge hangs below the LEDs")]
    flare: Annotated[
        AngleRad,
        angle_within(-80, 80),
        Field(description="how far it opens outwards from upright; negative is inwards"),
    ] = 0.0
    reflectance: Annotated[Fraction, Field(description="of its inside; the outside is like the body")] = 0.85
    mirror: Annotated[Fraction, Field(description="share of the reflected light that is mirror-like")] = 0.0

    @property
    def flares_m(self) -> float:
        """How far the lower edge stands outside the body [m]; negative inside."""
        return self.depth * math.tan(self.flare)


class Clip(Part):
    """Holds the fixture on the edge of a pane: its length runs along that pane, a positive tilt points the beam inwards."""

    on: Annotated[Literal["front", "back", "left", "right"], Field(description="pane that it is clipped to")]
    at: Annotated[
        LengthM | None,
        Field(description="place along the pane, from its left end or from its front end; the middle if not given"),
    ] = None
    reach: Annotated[LengthM, Field(description="from the inside of the pane to the middle of the fixture")] = 0.08

    @property
    def turn(self) -> float:
        """Turn of the fixture that brings its front to the inside of the tank [rad]."""
        return {"back": 0.0, "front": math.pi, "left": math.pi / 2, "right": -math.pi / 2}[self.on]

    def place_m(self, length: float, depth: float) -> tuple[float, float]:
        """Middle of the fixture on the plan of a tank of these inside measures [m]."""
        if self.on in ("front", "back"):
            return length / 2 if self.at is None else self.at, self.reach if self.on == "front" else depth - self.reach
        return self.reach if self.on == "left" else length - self.reach, depth / 2 if self.at is None else self.at
