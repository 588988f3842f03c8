"""`underlit suggest`: what to hang, where, and how far to dim it, so that most zones get the light they want."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, whole_number

if TYPE_CHECKING:
    from underlit.planning.suggest import SearchSpace, Suggestions

FEWEST_PHOTONS = 1 << 16


def suggest(
    scene: Annotated[Path, Parameter(negative=())],
    *,
    lights: Annotated[list[str] | None, Parameter(consume_multiple=True, negative=())] = None,
    most: str = "2",
    above_rim: Annotated[tuple[str, str], Parameter(show_default=False)] = ("2 cm", "40 cm"),
    turned: Annotated[bool, Parameter(negative=())] = False,
    channels_apart: Annotated[bool, Parameter(negative=())] = False,
    lid_may_go: Annotated[bool, Parameter(negative=())] = False,
    price: Annotated[list[str] | None, Parameter(negative=())] = None,
    order: Annotated[
        list[Literal["zones", "headroom", "lid", "price", "watts"]] | None,
        Parameter(consume_multiple=True, negative=()),
    ] = None,
    show: str = "5",
    out: Path | None = None,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Suggest how to hang and dim the light, so that most zones of a scene lie in their bands.

    The scene's own fixtures are tried, one or more of a kind, at heights and places from front to back, each dimmed by
    itself. Everything shown was traced in full.

    Parameters
    ----------
    scene
        The scene file (TOML), with zones that have a need or a band.
    lights
        Fixtures that may be bought: of the catalogue, or scene files with one fixture.
    most
        Fixtures at once, 1 to 3.
    above_rim
        Lowest and highest hanging over the rim. Default: "2 cm" "40 cm".
    turned
        Let fixtures that fit lie from front to back too.
    channels_apart
        Dim the channels of a fixture by themselves, which changes its colour. Default: each keeps its mix.
    lid_may_go
        Try without the lid too. Leave it where fish jump.
    price
        What a fixture costs, as "NAME=89", in any one currency; may be given for several.
    order
        What to weigh, most important first. Default: zones headroom lid price watts.
    show
        How many to show.
    out
        Folder for suggestions.csv, suggestions.png and a scene file of each suggestion.
    photons
        Photons of each trace that verifies. Default 524288.
    seed
        Seed of the random numbers: the same seed gives the same answer.
    threads
        Worker threads (default: all processors).
    """
    count = whole_number("--photons", photons, FEWEST_PHOTONS, 1 << 40)
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    shown = whole_number("--show", show, 1, 100) or 1
    loaded = load(scene)
    freedom = _freedom(lights or [], most, above_rim, turned, channels_apart, lid_may_go, price or [], order)
    if out is not None:
        from underlit.report.files import why_not_writable

        reason = why_not_writable(out)
        if reason is not None:
            raise Refused(f"--out: {out}: {reason}")
    found = _suggest(scene, loaded, freedom, count, seeded or 0, workers)
    from underlit.report.decisions.suggest import print_suggestions, write_suggestions
    from underlit.report.printout import output_console, say

    console = output_console()
    print_suggestions(console, found, shown)
    if out is not None:
        try:
            notes = write_suggestions(found, out, shown, scene)
        except OSError as problem:
            raise cannot_write(out, problem) from None
        for note in notes:
            say(console, note, "yellow")
        say(console, f"Written to {out}")
    return 0


def _freedom(
    lights: list[str], most: str, above_rim: tuple[str, str], turned: bool, channels_apart: bool, lid_may_go: bool,
    price: list[str], order: list[Literal["zones", "headroom", "lid", "price", "watts"]] | None,
) -> SearchSpace:  # fmt: skip
    from underlit.planning import chart
    from underlit.planning.suggest import SearchSpace, SuggestError, Weigh
    from underlit.scene import SceneError
    from underlit.units import QuantityError, parse_length

    try:
        low, high = (parse_length(text) for text in above_rim)
    except QuantityError as problem:
        raise Refused(f"--above-rim: {problem}") from None
    try:
        return SearchSpace(
            lights=chart.lights(lights) if lights else (),
            most=whole_number("--most", most, 1, 3) or 1,
            above_rim_m=(low, high),
            turned=turned,
            channels_apart=channels_apart,
            lid_may_go=lid_may_go,
            prices=dict(_price(text) for text in price),
            order=[Weigh(word) for word in order or Weigh],
        )
    except (SuggestError, chart.ChartError, SceneError) as problem:
        raise Refused(str(problem)) from None


def _price(text: str) -> tuple[str, float]:
    name, equals, value = text.rpartition("=")
    try:
        number = float(value)
    except ValueError:
        number = -1.0
    if not equals or not name or not 0 <= number < float("inf"):
        raise Refused(
            f'--price: write the name of a fixture and its price, such as "bar 24 W, 60 cm=89" (got {text!r})'
        )
    return name, number


def _suggest(
    path: Path, scene: object, freedom: SearchSpace, photons: int | None, seed: int, threads: int | None
) -> Suggestions:
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning import suggest as planning
    from underlit.planning.suggest.suggest import FULL_PHOTONS
    from underlit.report.printout import output_console
    from underlit.report.progress.rows import steps_done
    from underlit.report.progress.stopping import INTERRUPTED, end_now
    from underlit.scene import Scene

    assert isinstance(scene, Scene)
    try:
        with steps_done(output_console(stderr=True)) as tell:
            return planning.suggest(
                scene, freedom, seed=seed, photons=photons or FULL_PHOTONS, threads=threads,
                progress=lambda state: tell(state.what, state.done, state.total),
            )  # fmt: skip
    except planning.SuggestError as problem:
        raise Refused(str(problem)) from None
    except LoweringError as problem:
        raise Refused(f"{path}: {problem}") from None
    except KeyboardInterrupt:
        print("stopped; nothing was written", file=sys.stderr)
        # threads that are inside a kernel cannot be told to stop
        end_now(INTERRUPTED)
        raise
