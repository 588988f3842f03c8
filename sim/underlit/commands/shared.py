"""What commands share: refusing in one line, reading and building scenes, stopping in good order, writing."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from underlit.commands.refusal import Refused, refusing

if TYPE_CHECKING:
    from underlit.commands.options import TraceOptions
    from underlit.lowering.scene import Lowered
    from underlit.report.progress.stopping import Stops
    from underlit.run import Traced
    from underlit.scene import Scene


def load(path: Path, tank: str | None = None) -> Scene:
    """Read a scene file; of a rack, seen from one of its tanks if that is named."""
    from underlit.scene import SceneError, load_scene

    with refusing(SceneError):
        scene = load_scene(path)
    return scene.seen_from(tank_number(scene, tank))


def tank_number(scene: Scene, tank: str | None) -> int:
    """Number of the tank of a rack that was named; the scene's own where none was."""
    if tank is None:
        return 0
    there = [other.name for other in scene.rack]
    if tank not in there:
        named = f"there are: {', '.join(map(repr, there))}" if there else "the scene has no rack"
        raise Refused(f"--tank: no tank of the rack has that name; {named} (got {tank!r})")
    return 1 + there.index(tank)


def lowered_scene(scene: Scene) -> Lowered:
    """Build a scene."""
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.lowering.scene import lower

    with refusing(LoweringError, where=scene.path):
        return lower(scene)


def traced_paired(scenes: Sequence[Scene], options: TraceOptions, stops: Stops) -> list[Traced]:
    """Trace scenes with a progress line, all with the same random numbers; a trace that is stopped ends the command."""
    from underlit.planning.compare import trace_paired
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Phase
    from underlit.report.progress.trace import tracing, working

    if not scenes:
        return []
    stops.phase = Phase.WORKING
    progress = output_console(stderr=True)
    with working(progress, "building the tank" if len(scenes) == 1 else "building the tanks"):
        lowered = [lowered_scene(scene) for scene in scenes]
    traced = trace_paired(lowered, tracer=lambda one, **said: tracing(progress, one, **said), **options.as_arguments())
    if not all(one.result.complete for one in traced):
        raise KeyboardInterrupt
    stops.phase = Phase.TELLING
    return traced


def stoppable(work: Callable[[Stops], int | None]) -> int:
    """Do the work and return its exit status; Ctrl-C tells how far it was and ends with a status of its own."""
    from underlit.report.progress.stopping import INTERRUPTED, Phase, end_now, listening

    with listening() as stops:
        try:
            return work(stops) or 0
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            if stops.phase in (Phase.WORKING, Phase.UNKEPT, Phase.RESUMABLE):
                # threads that are inside a kernel cannot be told to stop
                end_now(INTERRUPTED)
            return INTERRUPTED


def writable(out: Path | None) -> Path | None:
    """The folder to write into; refused before the work where it cannot be written."""
    from underlit.report.files import why_not_writable

    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    return out


def write_out(out: Path | None, stops: Stops, write: Callable[[Path], Sequence[str] | None]) -> None:
    """Write into the folder asked for, if one was, and say so; `write` may return notes to print."""
    if out is None:
        return
    from underlit.report.printout import output_console, say

    with writing(out, out, stops):
        notes = write(out)
    for note in notes or ():
        say(output_console(), note, "yellow")
    say(output_console(), f"Written to {out}")


@contextmanager
def writing(path: Path, folder: Path, stops: Stops) -> Iterator[None]:
    """Files are being written into a folder: refuse where `path` cannot be, and let Ctrl-C leave no half of one."""
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Phase
    from underlit.report.progress.trace import working

    with working(output_console(stderr=True), "drawing and writing"):
        stops.phase, stops.folder = Phase.WRITING, folder
        try:
            yield
        except OSError as problem:
            raise cannot_write(path, problem) from None
        stops.phase = Phase.TELLING


def cannot_write(path: Path, problem: OSError) -> Refused:
    """The refusal for a path that cannot be written."""
    said = problem.strerror or " ".join(str(problem).split())
    return Refused(f"--out: {path}: cannot write there ({said}); name another place")
