"""`underlit suggest`: what to hang, where, and how far to dim it, so that most zones get the light they should."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from underlit.commands.options import FLAG, MANY, ONE_OR_MORE, PAIR, RackTankName, SceneFile, Seed, Threads, whole
from underlit.commands.shared import Refused, load, refusing, stoppable, tank_number, writable, write_out

if TYPE_CHECKING:
    from underlit.planning.suggest import SearchSpace


def suggest(
    scene: SceneFile,
    *,
    lights: Annotated[list[str] | None, ONE_OR_MORE] = None,
    most: Annotated[int, whole(1, 3)] = 2,
    above_rim: Annotated[tuple[str, str], PAIR] = ("2 cm", "40 cm"),
    turned: Annotated[bool, FLAG] = False,
    channels_apart: Annotated[bool, FLAG] = False,
    only_dimming: Annotated[bool, FLAG] = False,
    lid_may_go: Annotated[bool, FLAG] = False,
    price: Annotated[list[str] | None, MANY] = None,
    order: Annotated[list[Literal["zones", "headroom", "lid", "price", "watts"]] | None, ONE_OR_MORE] = None,
    show: Annotated[int, whole(1, 100)] = 5,
    out: Path | None = None,
    tank: RackTankName = None,
    photons: Annotated[int, whole(1 << 16, 1 << 40)] = 1 << 19,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Suggest where to hang the lights and how far to dim them, so that most zones get the light they should.

    The fixtures of the scene are tried, one or more of a kind, at several heights and at places from front to back, each
    with its own dimming. Every suggestion shown was traced in full. Of a rack, the lights of one tank are tried. Those of the
    other tanks stay as they are.

    Parameters
    ----------
    scene
        The scene file (TOML). Its zones need a `need` or a `band`.
    lights
        Fixtures that may be bought: names of the catalogue, or scene files with one fixture.
    most
        The most fixtures at once, 1 to 3.
    above_rim
        Lowest and highest place over the rim. Default: "2 cm" "40 cm".
    turned
        Also turn fixtures from front to back where they fit.
    channels_apart
        Dim each channel of a fixture by itself, which changes its colour. Default: each fixture keeps its mix.
    only_dimming
        Leave the lights where they hang and set only their dimmers: all by one factor, and each by itself.
    lid_may_go
        Also try without the lid. Do not use this where fish jump.
    price
        Price of a fixture, as "NAME=89", in any one currency. May be given for several.
    order
        What matters, most important first. Default: zones headroom lid price watts.
    show
        How many suggestions to show.
    out
        Folder for suggestions.csv, suggestions.png and a scene file of each suggestion.
    photons
        Photons of each trace that confirms a suggestion.
    """
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning import suggest as planning
    from underlit.report.decisions.suggest import print_suggestions, write_suggestions
    from underlit.report.printout import output_console
    from underlit.report.progress.rows import steps_done
    from underlit.report.progress.stopping import Phase, Stops

    def work(stops: Stops) -> None:
        rack, loaded = load(scene), load(scene, tank)
        space = _search_space(
            lights, most=most, above_rim_m=_heights(above_rim), turned=turned, channels_apart=channels_apart,
            only_dimming=only_dimming, lid_may_go=lid_may_go, prices=dict(_price(text) for text in price or []), order=order,
        )  # fmt: skip
        folder = writable(out)
        stops.phase = Phase.WORKING
        with (
            steps_done(output_console(stderr=True)) as tell,
            refusing(planning.SuggestError),
            refusing(LoweringError, where=scene),
        ):
            found = planning.suggest(
                loaded, space, seed=seed, photons=photons, threads=threads,
                progress=lambda state: tell(state.what, state.done, state.total),
            )  # fmt: skip
        print_suggestions(output_console(), found, show)
        number = tank_number(rack, tank)
        write_out(folder, stops, lambda path: write_suggestions(found, path, show, rack, number))

    return stoppable(work)


def _search_space(lights: list[str] | None, *, order: Sequence[str] | None, **more: Any) -> SearchSpace:
    from underlit.planning import chart
    from underlit.planning.suggest import SearchSpace, SuggestError, Weigh
    from underlit.scene import SceneError

    with refusing(SuggestError, chart.ChartError, SceneError):
        bought = chart.lights(lights) if lights else ()
        return SearchSpace(bought, order=[Weigh(word) for word in order or Weigh], **more)


def _heights(texts: tuple[str, str]) -> tuple[float, float]:
    from underlit.units import QuantityError, parse_length

    with refusing(QuantityError, where="--above-rim"):
        return parse_length(texts[0]), parse_length(texts[1])


def _price(text: str) -> tuple[str, float]:
    name, equals, value = text.rpartition("=")
    try:
        number = float(value)
    except ValueError:
        number = -1.0
    if not equals or not name or not 0 <= number < float("inf"):
        raise Refused(f'--price: give a fixture and its price, such as "bar 24 W, 60 cm=89" (got {text!r})')
    return name, number
