"""`underlit fit`: correct a scene by meter readings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from underlit.commands.options import FLAG, SceneFile, Seed, Threads, whole
from underlit.commands.shared import Refused, load, refusing, stoppable, writing

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
    tables: Annotated[bool, FLAG] = False,
    photons: Annotated[int, whole(1 << 15, 1 << 34)] = 2_000_000,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Correct a scene with meter readings: light output, beam angle, lid, tannins, panes.

    Writes the corrected scene. Beside it go the answer as JSON and a picture of the readings.

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
        A scene of another tank with the same light. It is written too, with the output and the beam angle that were found.
    tables
        Also print leverage, correlation, and what was believed before the readings.
    photons
        Photons for each state of the tank that was read (lid on or off, height of the light).
    """
    from underlit.planning.fit import ReadingsError, read_readings
    from underlit.planning.fit.corrected import why_not_carried
    from underlit.planning.fit.fitting import why_not_fitted
    from underlit.report.fit.printed import print_fit
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase, Stops

    def work(stops: Stops) -> None:
        loaded, other = load(scene), None if carry is None else load(carry)
        reason = why_not_fitted(loaded)
        if reason:
            raise Refused(f"{scene}: {reason}")
        with refusing(ReadingsError):
            read = read_readings(readings, loaded)
        places = _places(out or Path(f"{scene.stem}-fitted.toml"), scene, carry)
        strange = "" if other is None else why_not_carried(loaded, other)
        if strange:
            raise Refused(f"--carry: {strange}")
        stops.phase = Phase.WORKING
        found = _found(loaded, read, photons=photons, seed=seed, threads=threads)
        console = output_console()
        try:
            # before the answer, which may go into a pipe that is closed early
            with writing(places[0], places[0].parent, stops):
                written = _written(found, other, places, f"{scene.name}, corrected by {readings.name}")
        finally:
            print_fit(console, found, with_tables=tables)
        say(console, f"Written to {', '.join(str(p) for p in written)}")
        say(console, f"To trace the corrected tank: underlit trace {places[0]}")

    return stoppable(work)


def _places(path: Path, scene: Path, carry: Path | None) -> tuple[Path, Path | None]:
    """Where the corrected scene goes, and the one carried into; never over a scene that was read."""
    carried = None if carry is None else path.with_name(f"{carry.stem}-fitted.toml")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a TOML file")
    for target in (path, carried):
        if target is not None and any(
            target.resolve() == read.resolve() for read in (scene, carry) if read is not None
        ):
            raise Refused(f"--out: {target} is one of the scenes given; name another file")
    if carried is not None and carried.resolve() == path.resolve():
        raise Refused(f"--carry: its scene would be written to {carried} as well; name another --out")
    return path, carried


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


def _written(found: Found, other: Scene | None, places: tuple[Path, Path | None], note: str) -> list[Path]:
    from underlit.planning.fit.corrected import carried_text, corrected_text
    from underlit.report.fit.files import write_fit
    from underlit.results.atomic import write_text

    path, carried = places
    written = write_fit(found, path, corrected_text(found.fitted, path, note=note))
    if carried is not None and other is not None:
        write_text(carried, carried_text(found.fitted, other, carried, note=f"the light of {note}"))
        written.append(carried)
    return written
