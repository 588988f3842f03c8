"""The `underlit` command."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

from cyclopts import App, Parameter

from underlit import __version__

app = App(
    name="underlit",
    version=__version__,
    help="Predict PAR (PPFD), with its error, on every surface of a planted freshwater aquarium.",
)


class Refused(Exception):
    """Something the user can put right: the message is one or more lines for them. Exit status 2."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command; returns the exit status."""
    try:
        app(arguments, result_action="return_value")
    except Refused as problem:
        print(problem, file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    return 0


def _load(path: Path) -> Any:
    from underlit.scene import SceneError, load_scene

    try:
        return load_scene(path)
    except SceneError as problem:
        raise Refused(str(problem)) from None


def _lower(scene: Any) -> Any:
    from underlit.lowering.ground import LoweringError
    from underlit.lowering.scene import lower

    try:
        return lower(scene)
    except LoweringError as problem:
        raise Refused(f"{scene.path}: {problem}") from None


@app.command
def trace(
    scene: Path,
    *,
    out: Path | None = None,
    photons: int | None = None,
    precision: float | None = None,
    seed: int = 1,
    threads: int | None = None,
) -> None:
    """Trace the light of a scene and say what reaches every zone.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Folder for summary.json, result.nc, view.vtm, zones.csv, substrate.png and view.png. Without it nothing is written.
    photons
        Stop after about this many photons instead of at a precision.
    precision
        Stop when every zone mean is known to this fraction (95 %), spots to three times that. Default 0.01.
    seed
        Seed of the random numbers: the same seed gives the same bits, on any number of threads.
    threads
        Worker threads (default: all processors).
    """
    from rich.console import Console

    from underlit.report.progress import tracing

    if threads is not None and not 1 <= threads <= 1024:
        raise Refused(f"--threads: a whole number from 1 to 1024 is needed (got {threads})")
    if not 0 <= seed < 2**64:
        raise Refused(f"--seed: a whole number from 0 to 2^64 - 1 is needed (got {seed})")
    if out is not None and out.exists() and not out.is_dir():
        raise Refused(f"--out: {out} is a file; name a folder")
    loaded = _load(scene)
    from underlit.run import make_aim

    try:
        make_aim(precision, photons)
    except ValueError as problem:
        raise Refused(f"--precision, --photons: {problem}") from None
    lowered = _lower(loaded)
    console = Console()
    traced = tracing(console, lowered, precision=precision, photons=photons, seed=seed, threads=threads)
    if traced.result.photons == 0:
        raise Refused("stopped before the first batch was whole: nothing to show, nothing written")
    from underlit.planning.zones import zone_reports
    from underlit.report.files import write_folder
    from underlit.report.printout import print_answer

    reports = zone_reports(lowered, traced.result)
    told: list[str] = []
    if out is not None:
        try:
            told = write_folder(traced, reports, out)
        except OSError as problem:
            raise Refused(f"--out: {out}: cannot write there ({problem.strerror or problem})") from None
    print_answer(console, traced, reports, files=None if out is None else f"Written to {out}")
    for line in told:
        console.print(line, style="yellow")


@app.command
def check(scene: Path, *, out: Annotated[Path | None, Parameter(name=["--out"])] = None) -> None:
    """Validate a scene and draw its layout, without tracing.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Where to draw the layout (PNG). Default: the scene's name with -layout.png, in the current folder.
    """
    from rich.console import Console

    loaded = _load(scene)
    lowered = _lower(loaded)
    from underlit.report.files import overlay
    from underlit.viz.layout import write_layout

    path = out or Path(f"{scene.stem}-layout.png")
    try:
        write_layout(lowered.plan.meshes, overlay(lowered), path)
    except OSError as problem:
        raise Refused(f"--out: {path}: cannot write there ({problem.strerror or problem})") from None
    console = Console()
    triangles = sum(len(m.faces) for m in lowered.plan.meshes)
    console.print(f"{scene}: the scene is sound ({triangles:,} triangles). Layout drawn to {path}")
    for note in lowered.plan.notes:
        console.print(f"Note: {note}")


@app.command
def view(folder: Path) -> None:
    """Open a traced result in a 3D window.

    Parameters
    ----------
    folder
        The folder that `underlit trace --out` wrote.
    """
    if not (folder / "result.nc").is_file():
        raise Refused(f"{folder}: there is no result.nc; name a folder that `underlit trace --out` wrote")
    from underlit.viz.viewer import show

    missing = show(folder)
    if missing is not None:
        raise Refused(missing)


@app.command
def schema(*, out: Path | None = None) -> None:
    """Write the JSON schema of scene files, for editors that check and complete them.

    Parameters
    ----------
    out
        File to write; printed where not given.
    """
    import json

    from underlit.scene import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if out is None:
        sys.stdout.write(text)
        return
    from underlit.results.atomic import write_text

    try:
        write_text(out, text)
    except OSError as problem:
        raise Refused(f"--out: {out}: cannot write there ({problem.strerror or problem})") from None
    print(f"Schema written to {out}")
