"""`underlit compare`: scenes or traced folders side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from underlit.commands.answering import (
    TraceOptions,
    price_of_kwh,
    stoppable,
    trace_options,
    traced_alike,
    writable,
    write_out,
)
from underlit.commands.shared import Refused, load, lowered_scene

if TYPE_CHECKING:
    from underlit.planning.candidates import Candidate
    from underlit.planning.cleaning_states import Differs
    from underlit.report.progress.stopping import Stops

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
    pair = _ready_made(before_cleaning, _weeks(grown))
    _refuse_number(scenes, pair)
    asked = price_of_kwh(price)
    options = trace_options(photons, precision, seed, threads)
    return stoppable(lambda stops: _compare(scenes, pair, writable(out), asked, options, stops))


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
    from underlit.planning.cleaning_states import cleaning_pair, growing_pair

    if before_cleaning and weeks is not None:
        raise Refused("--before-cleaning, --grown: the two exclude each other; give one")
    if before_cleaning:
        return ReadyMade("--before-cleaning", ("clean day", "day before cleaning"), cleaning_pair)
    if weeks is not None:
        names = ("freshly trimmed", f"{weeks:g} weeks later")
        return ReadyMade("--grown", names, lambda scene: growing_pair(scene, weeks))
    return None


def _refuse_number(scenes: tuple[Path, ...], pair: ReadyMade | None) -> None:
    if pair is not None and len(scenes) != 1:
        raise Refused(f"{pair.option}: takes one scene (got {len(scenes)})")
    if pair is None and len(scenes) < 2:
        raise Refused(
            f"compare: needs two scenes or traced folders (got {len(scenes)}), or one with --before-cleaning or --grown"
        )


def _compare(
    paths: tuple[Path, ...], pair: ReadyMade | None, out: Path | None, price: float | None, options: TraceOptions,
    stops: Stops,
) -> None:  # fmt: skip
    from underlit.planning.compare import compare as compare_candidates
    from underlit.report.decisions.comparison import print_comparison, write_comparison
    from underlit.report.printout import output_console

    candidates, differs = _candidates(paths, pair, options, stops)
    made = compare_candidates(candidates, price=price)
    print_comparison(output_console(), made, differs)
    write_out(out, stops, lambda folder: write_comparison(made, folder, differs))


def _candidates(
    paths: tuple[Path, ...], pair: ReadyMade | None, options: TraceOptions, stops: Stops
) -> tuple[list[Candidate], list[Differs]]:
    """The candidates in the order named, and what a ready-made pair assumes."""
    from underlit.planning.candidates import candidate, read_candidate
    from underlit.report.printout import output_console
    from underlit.report.progress.trace import working

    found: dict[int, Candidate] = {}
    scenes: dict[int, tuple[str, Any]] = {}
    differs: list[Differs] = []
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
    with working(output_console(stderr=True), "building the tanks"):
        lowered = [lowered_scene(scene) for _, scene in scenes.values()]
    if lowered:
        traced = traced_alike(lowered, options, stops)
        for (index, (name, _)), answer in zip(scenes.items(), traced, strict=True):
            found[index] = candidate(name, answer)
    return [found[index] for index in sorted(found)], differs
