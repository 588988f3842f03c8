"""Facts of the trade: what a meter read under one fixture on a 36 x 18 in footprint. Common practice, no source.

Each reading has a band, not a point. Half widths of 95 %, added as squares: meter and how level the head is held 3 %,
surface ripple 3 %, rounding .5, height of the head ± 1 cm (3 % in the tall tank, 4 % in the low one), its place ± 3 cm (1 %
under the light, 5 to 10 % where light falls off). That gives 6 to 7 % under the light, taken as 8; what is wider says why.
"""

from __future__ import annotations

from dataclasses import dataclass

from .trade_model import Setting

SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Reading:
    """One reading [umol/m2/s] with the half width of its band (relative), and where the model looks for it.

    x_in, forward_in: the spot's distance from the tank's middle, sideways and to the front [in]; None: under the light.
    light_forward_in: None where the light's place is itself sought. lidded: under the one dirty lid of all readings.
    """

    name: str
    value: float
    band: float
    tank: str
    lidded: bool
    why: str
    light_forward_in: float | None = 0.0
    above_rim_in: float = 1.0
    x_in: float = 0.0
    forward_in: float | None = 0.0

    @property
    def limits(self) -> tuple[float, float]:
        """Low and high end of the band, at least .5 wide each side."""
        half = max(self.band * self.value, 0.5)
        return round(self.value - half, 6), round(self.value + half, 6)

    def setting(self, share: float, front_in: float) -> Setting:
        """What to trace for it. front_in: place of the light where that is sought."""
        forward = front_in if self.light_forward_in is None else self.light_forward_in
        lid = "glass" if self.lidded else "none"
        return Setting(self.tank, lid, share, forward, self.above_rim_in)


CORNER_IN = 15.0, 6.1
"""A spot 2.5 in from both panes of a corner."""

READINGS = (
    Reading("16 in tall tank, under the light", 107, 0.08, "low", True, "meter, ripple, height and place of the head"),
    Reading("the same, light raised by about 10 in", 38, 0.12, "low", True,
            "'about 10 in' is ± 1 in, which moves it by 5 %", above_rim_in=11.0),
    Reading("24 in tall tank, under the light", 65.5, 0.08, "tall", True, "meter, ripple, height and place of the head"),
    Reading("24 in tall tank, no glass under the light", 90, 0.10, "tall", False,
            "the light moved a little: 0-4 in to the front, taken as 2", light_forward_in=2.0),
    Reading("light over the front half: under it", 84, 0.10, "tall", True,
            "the light's place is known only as the front half", light_forward_in=None, forward_in=None),
    Reading("light over the front half: centre", 54, 0.15, "tall", True,
            "light falls off here: 3 cm are 8 %", light_forward_in=None),
    Reading("light over the front half: front corner", 65, 0.20, "tall", True,
            "1 to 4 in from the panes; plants near", light_forward_in=None, x_in=CORNER_IN[0], forward_in=CORNER_IN[1]),
    Reading("light over the front half: far back", 33, 0.25, "tall", True,
            "anywhere along the back, among plants", light_forward_in=None, forward_in=-CORNER_IN[1]),
    Reading("light over the front half: far back, corner", 29, 0.25, "tall", True,
            "as above", light_forward_in=None, x_in=CORNER_IN[0], forward_in=-CORNER_IN[1]),
    Reading("foreground, light right over it", 103, 0.12, "tall", False,
            "foreground beds are ± 1 in higher or lower, which is 7 %", light_forward_in=4.3, forward_in=4.3),
    Reading("the same, light moved back and onto the glass", 50, 0.20, "tall", True,
            "how far back is not known: taken as 3 in behind the middle, ± 2 in is 13 %",
            light_forward_in=-3.0, forward_in=4.3),
)  # fmt: skip

DIMMING = ((1.0, 107.0), (0.8, 88.0), (0.6, 65.0), (0.4, 40.0), (0.2, 20.0), (0.1, 10.0), (0.01, 1.0))
"""A measured dimming curve: setting, reading at one spot. The settings are not on record; these are the round numbers that the
readings are nearest to, so the curve says that dimming was close to linear, not that it is in general."""

STEM_TOP = 110.0
"""Read at the top of a stem bunch, lid state unknown."""
SHOP_HIGH_TO_LOW = 14.0 / 31.0
"""In dimmer shop tanks: at the substrate over high up."""
SHOP_SURFACE_TO_BOTTOM = 11.0 / 17.0
"""In dimmer shop tanks: at the bottom over at the surface."""
