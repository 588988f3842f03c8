"""`underlit profile`: PPFD against height and along a line."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from underlit.commands.options import AS_USUAL, FLAG, MANY, PAIR, RackTankName, SceneFile, TraceOptions, length_of
from underlit.commands.shared import Refused, load, refusing, stoppable, traced_paired, writable, write_out

if TYPE_CHECKING:
    import numpy as np

    from underlit.planning.profile import Line
    from underlit.report.decisions.profile import Plant, Told
    from underlit.report.progress.stopping import Stops
    from underlit.run import Traced
    from underlit.scene import Band, Scene

LINE_ABOVE_BED_M = 0.03
"""Where no plant's height is given, a line is read where a meter head would be."""


def profile(
    scene: SceneFile,
    *,
    at: Annotated[tuple[str, ...], MANY] = (),
    zone: Annotated[tuple[str, ...], MANY] = (),
    spot: Annotated[tuple[str, ...], MANY] = (),
    line: str | None = None,
    plant_height: str | None = None,
    band: Annotated[tuple[float, float] | None, PAIR] = None,
    with_and_without_lid: Annotated[bool, FLAG] = False,
    out: Path | None = None,
    tank: RackTankName = None,
    options: TraceOptions = AS_USUAL,
) -> int:
    """Show how PPFD falls from the surface to the substrate, which depth halves it, and what a plant of a height gets.

    Without a place, the reading spots of the scene are taken, or the middle of the tank.

    Parameters
    ----------
    at
        A place on the plan, "30 cm, 5 cm": from the left and from the front pane. May be given more than once.
    zone
        A zone by its name: the mean over it. May be given more than once.
    spot
        A reading spot by its name. May be given more than once.
    line
        Two points on the plan, "5 cm, 10 cm, 55 cm, 10 cm": PPFD along the line between them.
    plant_height
        Height of a plant over the substrate, "8 cm". Lines are read at this height too; their default is 3 cm.
    band
        PPFD that the plant should get, low and high, umol/m2/s. Default: the band of the zone.
    with_and_without_lid
        Trace the tank with and without its lid. A tank without a lid gets a plain one for this.
    out
        Folder for profile.csv and profile.png, line.csv and line.png.
    """
    plant = _plant(plant_height, band)
    ends = None if line is None else _lengths("--line", line, 4)
    if ends is not None and ends[:2] == ends[2:]:
        raise Refused("--line: the two points must be apart")
    loaded = load(scene, tank)
    places = _places(loaded, at, zone, spot, needed=ends is None)
    if plant is not None:
        _check_plant(loaded, plant, places)
    asked = _Asked(loaded, places, ends, plant, with_and_without_lid)
    return stoppable(lambda stops: _profile(asked, writable(out), options, stops))


@dataclass(frozen=True)
class _Place:
    name: str
    outline: np.ndarray
    band: Band | None = None


@dataclass(frozen=True)
class _Asked:
    scene: Scene
    places: list[_Place]
    ends: tuple[float, ...] | None
    plant: Plant | None
    both_lids: bool


def _lengths(option: str, text: str, number: int) -> tuple[float, ...]:
    parts = text.split(",")
    if len(parts) != number:
        example = '"30 cm, 5 cm"' if number == 2 else '"5 cm, 10 cm, 55 cm, 10 cm"'
        raise Refused(f"{option}: must be {number} lengths with commas between, such as {example} (got {text})")
    return tuple(length_of(option, part) for part in parts)


def _plant(height: str | None, band: tuple[float, float] | None) -> Plant | None:
    from underlit.report.decisions.profile import Plant
    from underlit.scene import Band

    if height is None:
        if band is not None:
            raise Refused("--band: needs the height of the plant; give --plant-height too")
        return None
    metres = length_of("--plant-height", height)
    if metres < 0:
        raise Refused(f"--plant-height: must not be negative (got {height})")
    if band is not None and not 0 <= band[0] < band[1] < float("inf"):
        raise Refused(f"--band: must be a low and a high PPFD, the low one first (got {band[0]:g} {band[1]:g})")
    return Plant(metres, None if band is None else Band(*band, "", "as asked for"))


def _places(
    scene: Scene, at: tuple[str, ...], zones: tuple[str, ...], spots: tuple[str, ...], *, needed: bool
) -> list[_Place]:
    from underlit.planning.profile import square

    found = []
    for text in at:
        x, y = _lengths("--at", text, 2)
        length, depth, _ = scene.tank.inside_m
        if not (0 <= x <= length and 0 <= y <= depth):
            raise Refused(
                f"--at: lies outside the tank, {100 * length:.4g} by {100 * depth:.4g} cm inside (got {text})"
            )
        found.append(_Place(text, square(x, y)))
    found += [_zone(scene, name) for name in zones]
    for name in spots:
        there = {s.name: s for s in scene.spots}
        if name not in there:
            raise Refused(f"--spot: no reading spot has that name; there {_list(there)} (got {name})")
        found.append(_Place(name, square(*scene.spot_centre_m(there[name])[:2])))
    if not found and needed:
        found = [_Place(s.name, square(*scene.spot_centre_m(s)[:2])) for s in scene.spots]
    if not found and needed:
        length, depth, _ = scene.tank.inside_m
        found = [_Place("middle of the tank", square(length / 2, depth / 2))]
    return found


def _zone(scene: Scene, name: str) -> _Place:
    import numpy as np

    there = {z.name: z for z in scene.zones}
    if name not in there:
        raise Refused(f"--zone: no zone has that name; there {_list(there)} (got {name})")
    zone = there[name]
    outline = zone.polygon
    if zone.plants is not None:
        outline = next((p.polygon for p in scene.plants if p.name == zone.plants), ())
    if not outline:
        raise Refused(f"--zone: {name} lies on leaves or hardscape; give a place with --at instead")
    return _Place(name, np.array(outline), scene.band_of(zone))


def _list(names: Collection[str]) -> str:
    return f"are: {', '.join(names)}" if names else "are none"


def _check_plant(scene: Scene, plant: Plant, places: list[_Place]) -> None:
    import numpy as np

    for place in places:
        x, y = place.outline.mean(axis=0)
        water = scene.water_level_m - float(scene.bed_heights_m(np.array(x), np.array(y)))
        if plant.height >= water:
            raise Refused(
                f"--plant-height: {100 * plant.height:.4g} cm is too high: the water over the substrate at {place.name} is "
                f"{100 * water:.4g} cm deep"
            )


def _profile(asked: _Asked, out: Path | None, options: TraceOptions, stops: Stops) -> None:
    from underlit.planning.profile import other_lid
    from underlit.report.decisions.profile import AS_IT_IS, NO_LID, WITH_LID, print_profile, write_profile
    from underlit.report.printout import output_console

    scenes = [asked.scene]
    lids: tuple[str, ...] = (AS_IT_IS,)
    if asked.both_lids:
        with refusing(ValueError, where="--with-and-without-lid"):
            scenes.append(other_lid(asked.scene))
        lids = (NO_LID, WITH_LID) if asked.scene.lid is None else (WITH_LID, NO_LID)
    told = _told(asked, traced_paired(scenes, options, stops), lids)
    print_profile(output_console(), told)
    write_out(out, stops, lambda folder: write_profile(told, folder))


def _told(asked: _Asked, traced: list[Traced], lids: tuple[str, ...]) -> Told:
    from underlit.planning.profile import along_line, profile_at
    from underlit.report.decisions.profile import Told

    scene = asked.scene
    lines: tuple[tuple[Line, ...], ...] = ()
    with refusing(ValueError, where=scene.path):
        profiles = tuple(
            tuple(profile_at(t.lowered, t.result, p.name, p.outline, band=p.band) for t in traced) for p in asked.places
        )
        if asked.ends is not None:
            height = LINE_ABOVE_BED_M if asked.plant is None else asked.plant.height
            start, end = asked.ends[:2], asked.ends[2:]
            lines = (tuple(along_line(t.lowered, t.result, start, end, above_bed=height) for t in traced),)
    return Told(scene.title or str(scene.path), lids, profiles, lines, asked.plant)
