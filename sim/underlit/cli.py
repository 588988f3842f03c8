"""The `underlit` command.

Exit status: 0 done; 2 something the user can put right, said in one line each on stderr; 130 stopped by Ctrl-C (what
was counted is still printed and written); 143 told to end by SIGTERM; 1 a fault of the program.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, CycloptsError, Parameter

from underlit import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from underlit.planning.zones import ZoneReport
    from underlit.report.stopping import Stops
    from underlit.run import Traced

app = App(
    name="underlit",
    version=__version__,
    help="Predict PAR (PPFD), with its error, on every surface of a planted freshwater aquarium.",
    exit_on_error=False,
    print_error=False,
)
MOST_THREADS = 1024
FEWEST_BATCHES = 2
"""An error needs two batches of every light channel."""
TRACEBACK = "UNDERLIT_TRACEBACK"
"""Environment variable: where set, a fault of the program shows its traceback."""


class Refused(Exception):
    """Something the user can put right: the message is one or more lines for them. Exit status 2."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a sign shows a question mark: no reason to lose the answer.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        status = app(arguments, result_action="return_value")
        sys.stdout.flush()
    except Refused as problem:
        print(problem, file=sys.stderr)
        return 2
    except CycloptsError as problem:
        print(_one_line(problem), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Python would complain once more when it flushes at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as problem:
        if os.environ.get(TRACEBACK):
            raise
        print(_fault(problem), file=sys.stderr)
        return 1
    return status if isinstance(status, int) else 0


def _one_line(problem: CycloptsError) -> str:
    from cyclopts import UnusedCliTokensError

    words = " ".join(str(problem).split())
    if isinstance(problem, UnusedCliTokensError) and problem.unused_tokens:
        words = f"one argument too many: {problem.unused_tokens[0]!r}"
    chain = " ".join(["underlit", *(problem.command_chain or ())])
    return f"{words[:1].lower()}{words[1:].rstrip('.')}; see {chain} --help"


def _fault(problem: Exception) -> str:
    if isinstance(problem, MemoryError):
        return "not enough memory for this scene: fewer plants, coarser meshes or fewer threads need less"
    said = " ".join(f"{type(problem).__name__}: {problem}".split())
    return (
        f"a fault in underlit, not in your scene ({said}); {TRACEBACK}=1 shows where; please report it with the scene"
    )


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


def _whole_number(name: str, text: str | int | None, low: int, high: int) -> int | None:
    """A whole number in a range; 3e6 and 3_000_000 are ways to write one."""
    if text is None:
        return None
    try:
        value = int(text)
    except ValueError:
        try:
            value = int(float(text)) if float(text).is_integer() else low - 1
        except (ValueError, OverflowError):
            value = low - 1
    if not low <= value <= high:
        span = f"from {low} to {high}" if high < 1 << 32 else f"of {low} or more"
        raise Refused(f"{name}: must be a whole number {span} (got {text})")
    return value


def _cannot_write(path: Path, problem: Exception) -> Refused:
    said = getattr(problem, "strerror", None) or " ".join(str(problem).split())
    return Refused(f"--out: {path}: cannot write there ({said}); name another place")


@app.command
def trace(
    scene: Annotated[Path, Parameter(negative=())],
    *,
    out: Path | None = None,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    precision: float | None = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Trace the light of a scene and say what reaches every zone.

    Ctrl-C stops early: what was counted so far is printed and written (exit status 130). A second Ctrl-C ends at once.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Folder for summary.json, result.nc, view.vtm, zones.csv, substrate.png and view.png. Without it nothing is written.
    photons
        Stop after about this many photons instead of at a precision. Each light channel gets 65,536 at least.
    precision
        Stop when every zone mean is known to this fraction (95 %), spots to three times that. Default 0.01.
    seed
        Seed of the random numbers: the same seed gives the same bits, on any number of threads.
    threads
        Worker threads (default: all processors).
    """
    budget = _whole_number("--photons", photons, 1, 1 << 62)
    seeded = _whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = _whole_number("--threads", threads, 1, MOST_THREADS)
    if precision is not None and not 0 < precision < 1:
        raise Refused(f"--precision: must be a fraction between 0 and 1, such as 0.01 (got {precision:g})")
    if precision is not None and budget is not None:
        raise Refused("--precision, --photons: the two exclude each other; give one")

    from underlit.report.stopping import INTERRUPTED, listening

    with listening() as stops:
        try:
            return _trace(scene, out, budget, precision, seeded or 0, workers, stops)
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            return INTERRUPTED


def _trace(
    scene: Path, out: Path | None, photons: int | None, precision: float | None, seed: int, threads: int | None,
    stops: Stops,
) -> int:  # fmt: skip
    from underlit.report.files import scene_texts, why_not_writable
    from underlit.report.printout import output_console, print_answer, print_verdicts
    from underlit.report.progress import tracing, working
    from underlit.report.stopping import INTERRUPTED, Phase

    loaded = _load(scene)
    texts = scene_texts(scene)
    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    progress = output_console(stderr=True)
    with working(progress, "building the tank"):
        lowered = _lower(loaded)
    stops.phase = Phase.TRACING
    traced = tracing(progress, lowered, precision=precision, photons=photons, seed=seed, threads=threads)
    if min(c.batches for c in traced.result.counts) < FEWEST_BATCHES:
        raise KeyboardInterrupt
    stops.phase = Phase.TELLING
    from underlit.planning.zones import zone_reports

    reports = zone_reports(lowered, traced.result)
    console = output_console()
    print_answer(console, traced, reports, asked=photons)
    try:
        if out is not None:
            with working(progress, "drawing and writing"):
                _write(console, traced, reports, out, texts, stops)
    finally:
        print_verdicts(console, reports)
    return 0 if traced.result.complete else INTERRUPTED


def _write(
    console: Console, traced: Traced, reports: list[ZoneReport], out: Path, texts: dict[str, str], stops: Stops
) -> None:
    from underlit.report.files import write_folder
    from underlit.report.printout import say
    from underlit.report.stopping import Phase

    stops.phase, stops.folder = Phase.WRITING, out
    try:
        notes = write_folder(traced, reports, out, texts)
    except (OSError, RuntimeError) as problem:
        raise _cannot_write(out, problem) from None
    stops.phase = Phase.TELLING
    for line in notes:
        say(console, line, "yellow")
    say(console, f"Written to {out}")


@app.command
def check(scene: Path, *, out: Path | None = None) -> None:
    """Validate a scene and draw its layout, without tracing.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Where to draw the layout (PNG). Default: the scene's name with -layout.png, in the current folder.
    """
    loaded = _load(scene)
    path = out or Path(f"{scene.stem}-layout.png")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a PNG file")
    lowered = _lower(loaded)
    from underlit.report.files import overlay
    from underlit.report.layout import print_layout
    from underlit.report.printout import output_console, say
    from underlit.viz.layout import write_layout

    console = output_console()
    print_layout(console, lowered)
    try:
        write_layout(lowered.plan.meshes, overlay(lowered), path)
    except OSError as problem:
        raise _cannot_write(path, problem) from None
    say(console, f"{scene} is sound. Layout drawn to {path}")


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

    try:
        missing = show(folder)
    except ImportError as problem:
        raise Refused(f"no window: {problem.name} is not installed; install it with: pip install pyvista") from None
    except ValueError as problem:
        raise Refused(str(problem)) from None
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
        raise _cannot_write(out, problem) from None
    print(f"Schema written to {out}")
