"""`underlit fit`: correct a scene by meter readings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, whole_number

if TYPE_CHECKING:
    from underlit.planning.fit import Found


def fit(
    scene: Annotated[Path, Parameter(negative=())],
    readings: Path,
    *,
    out: Path | None = None,
    carry: Path | None = None,
    tables: Annotated[bool, Parameter(negative=())] = False,
    photons: str = "2e6",
    seed: str = "1",
    threads: str | None = None,
) -> None:
    """Correct a scene by meter readings: output, beam, lid, tannins, walls.

    Writes the corrected scene, and beside it the same answer as JSON and a picture of the residuals.

    Parameters
    ----------
    scene
        The scene file (TOML) as the tank was thought to be.
    readings
        The readings (csv): name of a spot or x, y, z; value; and where it matters medium, immersion_factor, corrected,
        lid, dimming, above_rim. `underlit sheet` writes one to fill in.
    out
        The corrected scene to write. Default: the scene's name with -fitted.toml, in the current folder.
    carry
        A scene of another tank with the same light: it is written too, with the output and the beam that were found.
    tables
        Print leverage, correlation and what was believed beforehand as well.
    photons
        Photons for each setting of the tank that was read (lid on or off, height of the light).
    seed
        Seed of the random numbers.
    threads
        Worker threads (default: all processors).
    """
    from underlit.planning.fit.corrected import why_not_carried
    from underlit.planning.fit.fitting import why_not_fitted

    budget = whole_number("--photons", photons, 1 << 15, 1 << 34)
    seeded = whole_number("--seed", seed, 0, (1 << 63) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    loaded, other = load(scene), None if carry is None else load(carry)
    reason = why_not_fitted(loaded)
    if reason:
        raise Refused(f"{scene}: {reason}")
    from underlit.planning.fit import ReadingsError, read_readings

    try:
        read = read_readings(readings, loaded)
    except ReadingsError as problem:
        raise Refused(str(problem)) from None
    from underlit.report.fit.printed import print_fit
    from underlit.report.printout import output_console, say

    places = _places(out or Path(f"{scene.stem}-fitted.toml"), scene, carry)
    strange = "" if other is None else why_not_carried(loaded, other)
    if strange:
        raise Refused(f"--carry: {strange}")
    found = _found(loaded, read, budget, seeded, workers)
    console = output_console()
    try:
        # before the answer, which may go into a pipe that is closed early
        written = _written(found, other, places, f"{scene.name}, corrected by {readings.name}")
    finally:
        print_fit(console, found, with_tables=tables)
    say(console, f"Written: {', '.join(str(p) for p in written)}")
    say(console, f"Trace the tank as corrected: underlit trace {places[0]}")


def _places(path: Path, scene: Path, carry: Path | None) -> tuple[Path, Path | None]:
    """Where the corrected scene goes, and the one carried into; never over a scene that was read."""
    carried = None if carry is None else path.with_name(f"{carry.stem}-fitted.toml")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a TOML file")
    for target in (path, carried):
        if target is not None and any(
            target.resolve() == read.resolve() for read in (scene, carry) if read is not None
        ):
            raise Refused(f"--out: {target} is a scene that is read; name another file")
    if carried is not None and carried.resolve() == path.resolve():
        raise Refused(f"--carry: its scene would be written to {carried} as well; name another --out")
    return path, carried


def _found(scene: Any, readings: Any, photons: int | None, seed: int | None, threads: int | None) -> Found:
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.fit import fit as fit_readings
    from underlit.planning.fit.estimate import UnlitError
    from underlit.report.printout import output_console
    from underlit.report.progress.trace import working

    console = output_console(stderr=True)
    try:
        with working(console, "tracing the tank as it was read") as status:
            told = getattr(status, "update", lambda text: None)
            return fit_readings(scene, readings, photons=photons or 1 << 21, seed=seed or 0, threads=threads, told=told)
    except (LoweringError, UnlitError) as problem:
        raise Refused(f"{scene.path}: {problem}") from None


def _written(found: Found, other: Any, places: tuple[Path, Path | None], note: str) -> list[Path]:
    from underlit.planning.fit.corrected import carried_text, corrected_text
    from underlit.report.fit.files import write_fit
    from underlit.results.atomic import write_text

    path, carried = places
    try:
        written = write_fit(found, path, corrected_text(found.fitted, path, note=note))
        if carried is not None:
            write_text(carried, carried_text(found.fitted, other, carried, note=f"the light of {note}"))
            written.append(carried)
    except OSError as problem:
        raise cannot_write(path, problem) from None
    return written
