"""`underlit compare`: scenes or traced folders side by side."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, lowered_scene, whole_number

MOST_WEEKS = 520


def compare(
    *scenes: Annotated[Path, Parameter(negative=())],
    before_cleaning: Annotated[bool, Parameter(negative=())] = False,
    grown: str | None = None,
    out: Path | None = None,
    price: float | None = None,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    precision: float | None = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Compare scenes with the first one named: light zone by zone and on a map, watts, cost, and a summary in words.

    Scenes are traced with the same random numbers, so that small differences show; those that differ only in dimming or
    output are answered from one trace. Folders are read as `underlit trace --out` wrote them.

    Parameters
    ----------
    scenes
        Scene files (TOML) or folders of traced scenes, two or more; one where the other side is ready-made.
    before_cleaning
        Compare a clean day of the one scene with the day before cleaning: lamp, lid, panes and water.
    grown
        Compare the one scene freshly trimmed with its plants so much later, such as "6 weeks".
    out
        Folder for compare.json, compare.csv and compare.png.
    price
        Price of a kWh, in any currency, for the cost of a year.
    photons
        Trace about this many photons of each scene instead of to a precision.
    precision
        Trace until every zone mean is known to this fraction (95 %). Default 0.01.
    seed
        Seed of the random numbers, the same for all scenes.
    threads
        Worker threads (default: all processors).
    """
    weeks = _weeks(grown)
    pair = _ready_made(before_cleaning, weeks)
    _refuse_options(scenes, pair, price, precision, photons)
    options = {
        "photons": whole_number("--photons", photons, 1, 1 << 62),
        "precision": precision,
        "seed": whole_number("--seed", seed, 0, (1 << 64) - 1) or 0,
        "threads": whole_number("--threads", threads, 1, MOST_THREADS),
    }
    from underlit.report.stopping import INTERRUPTED, listening

    with listening() as stops:
        try:
            _compare(scenes, pair, out, price, options, stops)
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            return INTERRUPTED
    return 0


@dataclass(frozen=True)
class ReadyMade:
    """A comparison made from one scene: its option, the names of both states, and what makes them."""

    option: str
    names: tuple[str, str]
    make: Callable[[Any], tuple[Any, Any, list[Any]]]


def _weeks(grown: str | None) -> float | None:
    from underlit.units import parse_age_weeks

    if grown is None:
        return None
    try:
        weeks = parse_age_weeks(grown)
    except ValueError as problem:
        raise Refused(f"--grown: {problem} (got {grown})") from None
    if not 0 < weeks <= MOST_WEEKS:
        raise Refused(f"--grown: must be more than nothing and at most {MOST_WEEKS} weeks (got {grown})")
    return weeks


def _ready_made(before_cleaning: bool, weeks: float | None) -> ReadyMade | None:
    from underlit.planning.upkeep import cleaning_pair, growing_pair

    if before_cleaning and weeks is not None:
        raise Refused("--before-cleaning, --grown: the two exclude each other; give one")
    if before_cleaning:
        return ReadyMade("--before-cleaning", ("clean day", "day before cleaning"), cleaning_pair)
    if weeks is not None:
        names = ("freshly trimmed", f"{weeks:g} weeks later")
        return ReadyMade("--grown", names, lambda scene: growing_pair(scene, weeks))
    return None


def _refuse_options(
    scenes: tuple[Path, ...], pair: ReadyMade | None, price: float | None, precision: float | None, photons: str | None
) -> None:
    if pair is not None and len(scenes) != 1:
        raise Refused(f"{pair.option}: takes one scene (got {len(scenes)})")
    if pair is None and len(scenes) < 2:
        raise Refused(
            f"compare: needs two scenes or traced folders (got {len(scenes)}), or one with --before-cleaning or --grown"
        )
    if price is not None and not 0 <= price < 1e6:
        raise Refused(f"--price: must be a price of a kWh, such as 0.30 (got {price:g})")
    if precision is not None and not 0 < precision < 1:
        raise Refused(f"--precision: must be a fraction between 0 and 1, such as 0.01 (got {precision:g})")
    if precision is not None and photons is not None:
        raise Refused("--precision, --photons: the two exclude each other; give one")


def _compare(
    paths: tuple[Path, ...], pair: ReadyMade | None, out: Path | None, price: float | None, options: dict[str, Any],
    stops: Any,
) -> None:  # fmt: skip
    from underlit.planning.compare import compare as compare_candidates
    from underlit.report.comparison import print_comparison, write_comparison
    from underlit.report.files import why_not_writable
    from underlit.report.printout import output_console, say
    from underlit.report.progress import working
    from underlit.report.stopping import Phase

    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    progress = output_console(stderr=True)
    candidates, differs = _candidates(paths, pair, options, stops, progress)
    stops.phase = Phase.TELLING
    made = compare_candidates(candidates, price=price)
    console = output_console()
    print_comparison(console, made, differs)
    if out is None:
        return
    with working(progress, "drawing and writing"):
        stops.phase, stops.folder = Phase.WRITING, out
        try:
            write_comparison(made, out, differs)
        except OSError as problem:
            raise cannot_write(out, problem) from None
        stops.phase = Phase.TELLING
    say(console, f"Written to {out}")


def _candidates(
    paths: tuple[Path, ...], pair: ReadyMade | None, options: dict[str, Any], stops: Any, progress: Any
) -> tuple[list[Any], list[Any]]:
    """The candidates in the order named, and what a ready-made pair assumes."""
    from underlit.planning.candidates import candidate, read_candidate
    from underlit.planning.compare import trace_alike
    from underlit.report.progress import tracing, working
    from underlit.report.stopping import Phase

    found: dict[int, Any] = {}
    scenes: dict[int, tuple[str, Any]] = {}
    differs: list[Any] = []
    for index, path in enumerate(paths):
        if not path.is_dir():
            scenes[index] = (path.stem, load(path))
            continue
        if pair is not None:
            raise Refused(f"{path}: is a traced folder; a ready-made comparison needs a scene file")
        try:
            found[index] = read_candidate(path)
        except ValueError as problem:
            raise Refused(str(problem)) from None
    if pair is not None:
        try:
            first, second, differs = pair.make(scenes[0][1])
        except ValueError as problem:
            raise Refused(f"{paths[0]}: {problem}") from None
        scenes = {0: (pair.names[0], first), 1: (pair.names[1], second)}
    with working(progress, "building the tanks"):
        lowered = [lowered_scene(scene) for _, scene in scenes.values()]
    if lowered:
        stops.phase = Phase.TRACING

        def tracer(one: Any, **said: Any) -> Any:
            return tracing(progress, one, **said)

        traced = trace_alike(lowered, tracer=tracer, **options)
        if not all(t.result.complete for t in traced):
            raise KeyboardInterrupt
        for (index, (name, _)), answer in zip(scenes.items(), traced, strict=True):
            found[index] = candidate(name, answer)
    return [found[index] for index in sorted(found)], differs
