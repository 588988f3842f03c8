"""`underlit compare`: scenes or traced folders side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from underlit.commands.options import AS_USUAL, FLAG, Price, SceneFile, TraceOptions
from underlit.commands.shared import Refused, load, refusing, stoppable, traced_paired, writable, write_out

if TYPE_CHECKING:
    from underlit.planning.candidates import Candidate
    from underlit.planning.cleaning_states import Differs
    from underlit.report.progress.stopping import Stops
    from underlit.scene import Scene

MOST_WEEKS = 520


def compare(
    *scenes: SceneFile,
    before_cleaning: Annotated[bool, FLAG] = False,
    grown: str | None = None,
    out: Path | None = None,
    price: Price = None,
    options: TraceOptions = AS_USUAL,
) -> int:
    """Compare scenes with the first one: light by zone and on a map, watts, running cost, and a summary in words.

    All scenes are traced with the same random numbers, so that small differences show. Scenes that differ only in dimming
    or output share one trace. Folders are read as `underlit trace --out` wrote them.

    Parameters
    ----------
    scenes
        Two or more scene files (TOML) or folders of traced scenes; only one with --before-cleaning or --grown.
    before_cleaning
        Compare one scene on a clean day with the same scene on the day before cleaning: lamp, lid, panes and water.
    grown
        Compare one scene freshly trimmed with the same scene when its plants have grown for this long, such as "6 weeks".
    out
        Folder for compare.json, compare.csv and compare.png.
    """
    from underlit.planning.compare import compare as compare_candidates
    from underlit.report.decisions.comparison import print_comparison, write_comparison
    from underlit.report.printout import output_console

    pair = _ready_made(before_cleaning, _weeks(grown))
    _refuse_number(scenes, pair)

    def work(stops: Stops) -> None:
        folder = writable(out)
        candidates, differs = _candidates(scenes, pair, options, stops)
        made = compare_candidates(candidates, price=price)
        print_comparison(output_console(), made, differs)
        write_out(folder, stops, lambda path: write_comparison(made, path, differs))

    return stoppable(work)


@dataclass(frozen=True)
class ReadyMade:
    """A comparison made from one scene: its option, the names of both states, and what makes them."""

    option: str
    names: tuple[str, str]
    make: Callable[[Scene], tuple[Scene, Scene, list[Differs]]]


def _weeks(grown: str | None) -> float | None:
    from underlit.units import parse_age_weeks

    if grown is None:
        return None
    try:
        weeks = parse_age_weeks(grown)
    except ValueError as problem:
        raise Refused(f"--grown: {problem} (got {grown})") from None
    if not 0 < weeks <= MOST_WEEKS:
        raise Refused(f"--grown: must be above 0 and at most {MOST_WEEKS} weeks (got {grown})")
    return weeks


def _ready_made(before_cleaning: bool, weeks: float | None) -> ReadyMade | None:
    from underlit.planning.cleaning_states import cleaning_pair, growing_pair

    if before_cleaning and weeks is not None:
        raise Refused("--before-cleaning, --grown: use only one of them")
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


def _candidates(
    paths: tuple[Path, ...], pair: ReadyMade | None, options: TraceOptions, stops: Stops
) -> tuple[list[Candidate], list[Differs]]:
    """The candidates in the order named, and what a ready-made pair assumes."""
    from underlit.planning.candidates import candidate, read_candidate

    found: dict[int, Candidate] = {}
    scenes: dict[int, tuple[str, Scene]] = {}
    differs: list[Differs] = []
    for index, path in enumerate(paths):
        if not path.is_dir():
            scenes[index] = (path.stem, load(path))
            continue
        if pair is not None:
            raise Refused(f"{path}: is a traced folder; {pair.option} needs a scene file")
        with refusing(ValueError):
            found[index] = read_candidate(path)
    if pair is not None:
        with refusing(ValueError, where=paths[0]):
            first, second, differs = pair.make(scenes[0][1])
        scenes = {0: (pair.names[0], first), 1: (pair.names[1], second)}
    traced = traced_paired([scene for _, scene in scenes.values()], options, stops)
    for (index, (name, _)), answer in zip(scenes.items(), traced, strict=True):
        found[index] = candidate(name, answer)
    return [found[index] for index in sorted(found)], differs
