"""What can be traced but is seldom meant: lights that reach beyond the tank, plants and zones beyond the glass."""

from __future__ import annotations

from collections.abc import Iterator

from underlit.scene.aquascape.plants import Plants
from underlit.scene.checks.scene import fixture_bounds_m
from underlit.scene.model import Scene
from underlit.scene.targets import Zone
from underlit.units import format_length

OVERHANG_M = 0.01
"""A body that stands out no farther over the outside of the panes is as lights are made."""
BEYOND_GLASS = 0.05
"""Share of an outline beyond the glass from which it is told."""
CHECK = "check the size, the unit and the place"


def cautions(scene: Scene) -> list[str]:
    """One line each; of the other tanks of a rack with their names."""
    own = [*_lights(scene), *_outlines(scene)]
    return own + [f"{tank.name}: {line}" for tank in scene.rack for line in _outlines(tank.scene)]


def _lights(scene: Scene) -> Iterator[str]:
    """Lights that reach beyond all tanks of the rack; each light of another tank is told of there."""
    around = [
        (*scene.tank.outside_outline.polygon.bounds,),
        *(_moved(tank.scene.tank.outside_outline.polygon.bounds, tank.offset_m) for tank in scene.rack),
    ]
    low_x, low_y = (min(bounds[i] for bounds in around) for i in (0, 1))
    high_x, high_y = (max(bounds[i] for bounds in around) for i in (2, 3))
    for fixture in scene.fixtures:
        x0, y0, x1, y1 = fixture_bounds_m(scene, fixture)
        over = {"left": low_x - x0, "right": x1 - high_x, "front": low_y - y0, "back": y1 - high_y}
        told = [f"{format_length(by)} on the {side}" for side, by in over.items() if by > OVERHANG_M]
        if told:
            yield f"{fixture.name} reaches beyond the tank by {' and '.join(told)}: {CHECK}"


def _moved(bounds: tuple[float, ...], offset: tuple[float, float, float]) -> tuple[float, ...]:
    x, y, _ = offset
    return bounds[0] + x, bounds[1] + y, bounds[2] + x, bounds[3] + y


def _outlines(scene: Scene) -> Iterator[str]:
    from shapely import Polygon

    parts: tuple[Plants | Zone, ...] = (*scene.plants, *scene.zones)
    for part in parts:
        if not part.outline_keys:
            continue
        area = Polygon(part.polygon).area
        beyond = 1.0 - scene.tank.inside_outline.shared_area(part.polygon) / area if area > 0 else 0.0
        if beyond > BEYOND_GLASS:
            yield f"{part.name}: {100 * beyond:.0f} % of its outline lies beyond the glass: {CHECK}"
