"""`underlit fit`: correct a scene by meter readings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from underlit.commands.options import FLAG, RackTankName, SceneFile, Seed, Threads, whole
from underlit.commands.shared import Refused, load, refusing, stoppable, tank_number, writing

if TYPE_CHECKING:
    from underlit.planning.fit import Found
    from underlit.planning.fit.readings import Reading
    from underlit.scene import Scene


def fit(
    scene: SceneFile,
    readings: Path,
    *,
    out: Path | None = None,
    carry: Path | None = None,
    same_water: Annotated[bool, FLAG] = False,
    tank: RackTankName = None,
    tables: Annotated[bool, FLAG] = False,
    photons: Annotated[int, whole(1 << 15, 1 << 34)] = 2_000_000,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Correct a scene with meter readings: light output, beam angle, lid, tannins, panes.

    Writes the corrected scene. Beside it go the answer as JSON and a picture of the readings. Of a rack, the readings are
    those of one tank. The corrected rack is written, with the tanks that change in files beside it.

    Parameters
    ----------
    scene
        The scene file (TOML), with the tank as you believed it to be.
    readings
        The readings (csv): the name of a spot or x, y, z; value; and where needed medium, immersion_factor, corrected,
        lid, dimming, above_rim. `underlit sheet` writes such a file to fill in.
    out
        The corrected scene to write. Default: the scene's name with -fitted.toml, in the current folder.
    carry
        A scene of another tank with the same light. It is written too, with the output and the beam angle that were found,
        and how well they are known.
    same_water
        With --carry: the other tank has the same water, so the tint that was found goes along.
    tables
        Also print leverage, correlation, and what was believed before the readings.
    photons
        Photons for each state of the tank that was read (lid on or off, height of the light).
    """
    from underlit.planning.fit import ReadingsError, read_readings
    from underlit.planning.fit.corrected import why_not_carried
    from underlit.planning.fit.fitting import NOTHING_NEW, why_not_fitted
    from underlit.planning.fit.remembered import new_readings
    from underlit.report.fit.printed import print_fit
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase, Stops

    def work(stops: Stops) -> None:
        rack, loaded, other = load(scene), load(scene, tank), None if carry is None else load(carry)
        number = tank_number(rack, tank)
        if same_water and carry is None:
            raise Refused("--same-water: says what --carry takes along; give --carry as well")
        reason = why_not_fitted(loaded)
        if reason:
            raise Refused(f"{scene}: {reason}")
        with refusing(ReadingsError):
            read = read_readings(readings, loaded)
        if not new_readings(loaded, read):
            raise Refused(f"{readings}: {NOTHING_NEW}")
        places = _places(out or Path(f"{scene.stem}-fitted.toml"), rack, number, other)
        strange = "" if other is None else why_not_carried(loaded, other)
        if strange:
            raise Refused(f"--carry: {strange}")
        stops.phase = Phase.WORKING
        found = _found(loaded, read, photons=photons, seed=seed, threads=threads)
        console = output_console()
        try:
            # before the answer, which may go into a pipe that is closed early
            with writing(places.scene, places.scene.parent, stops):
                written = _written(found, places, scene.name, readings.name, water=same_water)
        finally:
            print_fit(console, found, with_tables=tables)
        say(console, f"Written to {', '.join(str(p) for p in written)}")
        for name, path in places.of_tanks.items():
            say(console, f"{path} corrects the tank {name!r}; {places.scene} is the rack with it")
        say(console, f"To trace the corrected {'rack' if rack.rack else 'tank'}: underlit trace {places.scene}")

    return stoppable(work)


@dataclass(frozen=True)
class _Places:
    """What is corrected, and where it goes: scene, other tanks of its rack by name, the scene carried into.

    rack: the scene as its file says it; read: number in it of the tank that was read.
    """

    rack: Scene
    read: int
    scene: Path
    of_tanks: dict[str, Path]
    other: Scene | None
    carried: Path | None


def _places(path: Path, rack: Scene, read: int, other: Scene | None) -> _Places:
    """Where the corrected scenes go, and the one carried into; never over a scene that was read."""
    from underlit.planning.fit.corrected import corrected_places

    carry = None if other is None else other.path
    carried = None if carry is None else path.with_name(f"{carry.stem}-fitted.toml")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a TOML file")
    corrected = corrected_places(rack, read, path)
    if len(set(corrected.values())) < len(corrected):
        raise Refused(
            "--tank: two tanks would be corrected in one file; give them names that differ by a letter or digit"
        )
    given = {each.path.resolve() for each in (*rack.tank_scenes, other) if each is not None and each.path is not None}
    for target in (*corrected.values(), carried):
        if target is not None and target.resolve() in given:
            raise Refused(f"--out: {target} is one of the scenes given; name another file")
    if carried is not None and carried.resolve() in [target.resolve() for target in corrected.values()]:
        raise Refused(f"--carry: its scene would be written to {carried} as well; name another --out")
    of_tanks = {rack.rack[k - 1].name: target for k, target in corrected.items() if k > 0}
    return _Places(rack, read, path, of_tanks, other, carried)


def _found(scene: Scene, readings: list[Reading], *, photons: int, seed: int, threads: int | None) -> Found:
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.fit import fit as fit_readings
    from underlit.planning.fit.estimate import UnlitError
    from underlit.report.printout import output_console
    from underlit.report.progress.trace import working

    with (
        working(output_console(stderr=True), "tracing the tank as it was read") as told,
        refusing(LoweringError, UnlitError, where=scene.path),
    ):
        return fit_readings(scene, readings, photons=photons, seed=seed, threads=threads, told=told)


def _written(found: Found, places: _Places, scene: str, readings: str, *, water: bool) -> list[Path]:
    from underlit.planning.fit.corrected import carried_text, corrected_files
    from underlit.report.fit.files import write_fit
    from underlit.results.atomic import write_text

    note = f"{scene}, corrected by {readings}"
    texts = corrected_files(found.fitted, places.rack, places.read, places.scene, note=note, file=readings)
    written = write_fit(found, places.scene, texts.pop(places.scene))
    if places.carried is not None and places.other is not None:
        note = f"the light of {note}"
        texts[places.carried] = carried_text(
            found.fitted, places.other, places.carried, water=water, note=note, file=readings
        )
    for path, text in texts.items():
        write_text(path, text)
    return [*written, *texts]
