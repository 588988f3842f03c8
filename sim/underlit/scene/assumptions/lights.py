"""What scenes leave open about their fixtures: the assumed value, its range, and how far that may move the light.

Common practice, no source. A fixture counts by its share of all light, since light adds. How far each moves the mean PPFD on
the substrate was found by tracing a 60 x 30 x 36 cm tank, its walls returning .25, at both ends of the range (2^18 photons
each): half and twice the height of a bar by +10 and -18 %, of a puck +34 and -40, of a spot +16 and -30; a bar of 30 cm and
60 for one of 55 by +7 and -2 %; its width by .5 %; a puck of 6 and 20 cm by +.5 and -1.5; a spot of 30 and 60 deg by +23
and -21 %; a bar of 110 deg by 6 %; a reflector of .5 and .9 by -6 and +1 %. Panes that return .1 to .4 add 5 to 40 % to a
reading in that tank, clean ones 50 % and more. The others are estimated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from underlit.scene.assumptions.assumption import Assumption
from underlit.scene.assumptions.lever import Lever, Moves, with_beam
from underlit.scene.lights.body import ROUND, WATTS_PER_M, Form
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.output import USUAL_EFFICACY
from underlit.units import format_length

IN_THE_OUTPUT = (
    "fixture.output",
    "fixture.light_loss_factors.temperature",
    "fixture.light_loss_factors.age",
    "fixture.light_loss_factors.dirt",
)
"""What a measured output has in it."""


class OpenValue(NamedTuple):
    """A value that a scene may leave open for a fixture: when it does, what is assumed, its range, what that may move.

    lever: what moves where that is more than the light output: value, low, high.
    """

    is_open: Callable[[Fixture], bool]
    key: str
    assumed: str | Callable[[Fixture], str]
    span: str
    moves: tuple[float, float] | None = None
    lever: tuple[Moves, float, float, float] | None = None


def of_fixtures(fixtures: Sequence[Fixture], measured: frozenset[str] = frozenset()) -> Iterator[Assumption]:
    """Rows for all fixtures of a scene together, one for each value that any of them leaves open.

    measured: names of those whose output was measured, with all that makes it up.
    """
    for value in (*OPEN_VALUES, *_fitted_beams(fixtures), *MORE_OPEN_VALUES):
        yield from _row(fixtures, value, measured)


def _row(fixtures: Sequence[Fixture], value: OpenValue, known: frozenset[str]) -> Iterator[Assumption]:
    """The row of a value that some fixtures leave open, its effect scaled by their share of the light; none if none does.

    known: names of those whose output was measured; a value that moves nothing else moves them no more.
    """
    concerned = [fixture for fixture in fixtures if value.is_open(fixture)]
    moved = [fixture for fixture in concerned if fixture.name not in known or value.lever is not None]
    if value.key in IN_THE_OUTPUT:
        concerned = moved
    if not concerned:
        return
    assumed = value.assumed
    texts = list(dict.fromkeys(assumed if isinstance(assumed, str) else assumed(fixture) for fixture in concerned))
    share = sum(f.claimed_ppf for f in moved) / sum(f.claimed_ppf for f in fixtures)
    low, high = (None, None) if value.moves is None or not moved else (value.moves[0] * share, value.moves[1] * share)
    shown = "; ".join(texts[:3]) + ("; ..." if len(texts) > 3 else "")
    yield Assumption(value.key, shown, value.span, low, high, levers=tuple(_levers(value, moved)))


def _levers(value: OpenValue, concerned: Sequence[Fixture]) -> Iterator[Lever]:
    names = tuple(fixture.name for fixture in concerned)
    if not names:
        return
    if value.lever is not None:
        moves, taken, low, high = value.lever
        light = tuple(_light_at_ends(fixture, low, high) for fixture in concerned) if moves is Moves.BEAM else ()
        yield Lever(moves, taken, low, high, of=names, log=moves is Moves.HEIGHT, light=light)
    elif value.moves is not None:
        yield Lever(Moves.LIGHT, 1.0, 1 + value.moves[0], 1 + value.moves[1], of=names)


def _light_at_ends(fixture: Fixture, low: float, high: float) -> tuple[float, float]:
    """PPF with the beam at both ends of its range over that as assumed: readings tell the one through the other."""
    if not fixture.output.readings:
        return 1.0, 1.0
    ends = (with_beam(fixture, beam_deg).claimed_ppf / fixture.claimed_ppf for beam_deg in (low, high))
    return next(ends), next(ends)


def _claimed(fixture: Fixture) -> bool:
    return not (_measured(fixture) or _watts_open(fixture) or _efficacy_open(fixture))


def _measured(fixture: Fixture) -> bool:
    return fixture.output.several is not None


def _watts_open(fixture: Fixture) -> bool:
    return "output" not in fixture.model_fields_set and fixture.photometric_file is None


def _efficacy_open(fixture: Fixture) -> bool:
    said = fixture.output
    return said.watts is not None and not any((said.efficacy, said.ppf, said.lumens, said.readings))


def _factor_open(key: str, fixture: Fixture) -> bool:
    return key not in fixture.light_loss_factors.model_fields_set


def _size_open(by_output: bool, fixture: Fixture) -> bool:
    from_output = fixture.length is None and fixture.form is Form.BAR
    return "size" not in fixture.model_fields_set and from_output is by_output


def _size(fixture: Fixture) -> str:
    return " x ".join(f"{100 * side:.3g}" for side in fixture.size) + " cm"


def _height_open(forms: tuple[Form, ...], fixture: Fixture) -> bool:
    return fixture.form in forms and fixture.above_rim is None and fixture.above_water is None


def _height(fixture: Fixture) -> str:
    return format_length(fixture.preset.above_rim_m)


def _lens_open(is_spot: bool, fixture: Fixture) -> bool:
    return fixture.leaves_lens_open and fixture.flux.beam is None and (fixture.form is Form.SPOT) is is_spot


def _watts(fixture: Fixture) -> str:
    watts = fixture.claimed_ppf / USUAL_EFFICACY
    return f"{watts:.3g} W ({WATTS_PER_M / 100:g} W per cm, {USUAL_EFFICACY:g} umol/J)"


def _readings(fixture: Fixture) -> str:
    return f"{len(fixture.output.readings)} readings, scatter {100 * fixture.flux.departure:.0f} %"


def _fitted_beams(fixtures: Sequence[Fixture]) -> Iterator[OpenValue]:
    for fixture in fixtures:
        beam = fixture.flux.beam
        if beam is not None and fixture.leaves_lens_open:
            beam_deg, low, high = (math.degrees(angle) for angle in (beam.beam_rad, beam.low_rad, beam.high_rad))
            span = f"{low:.0f}-{high:.0f} deg if the meter is good to ± 5 %"
            is_it = partial(lambda one, other: one is other, fixture)
            lever = (Moves.BEAM, beam_deg, low, high)
            yield OpenValue(is_it, "fixture.lens", f"{beam_deg:.0f} deg, from readings", span, (-0.04, 0.04), lever)


# fmt: off
OPEN_VALUES = (
    OpenValue(_claimed, "fixture.output", "as the scene claims", "± 15 %; cheap lights give 20-40 % less", (-0.15, 0.15)),
    OpenValue(_measured, "fixture.output.reading", _readings, "a meter is good to ± 10 %", (-0.10, 0.10)),
    OpenValue(lambda f: any(r.under_water for r in f.output.readings), "fixture.output.under_water",
              "read far from the panes, in the water of the scene", "the panes of a planted tank add 5-40 %", (-0.28, 0.0)),
    OpenValue(_efficacy_open, "fixture.output.efficacy", f"{USUAL_EFFICACY:g} umol/J", "1.4-2.7 umol/J", (-0.30, 0.35)),
    OpenValue(_watts_open, "fixture.output.watts", _watts, "0.2-0.8 W per cm", (-0.5, 1.0)),
    OpenValue(lambda f: not f.output.readings and _factor_open("temperature", f), "fixture.light_loss_factors.temperature",
              "1 (the claim holds at working temperature)", "0.90-1", (-0.10, 0.0)),
    OpenValue(partial(_factor_open, "age"), "fixture.light_loss_factors.age", "1 (new)", "loses 2-8 % a year"),
    OpenValue(partial(_factor_open, "dirt"), "fixture.light_loss_factors.dirt", "1 (wiped clean)",
              "0.85-0.95 if not wiped"),
    OpenValue(partial(_size_open, True), "fixture.length", _size, "bars 30-120 cm, 0.2-0.8 W per cm", (-0.10, 0.10)),
    OpenValue(partial(_size_open, False), "fixture.size", _size, "bars 3-12 cm wide, pucks and spots 6-20 cm",
              (-0.02, 0.02)),
    OpenValue(lambda f: not ({"leds", "clusters"} & f.model_fields_set or f.photometric_file), "fixture.leds",
              lambda f: f"{len(f.board)} in total, evenly spread", "1-4 cm apart", (-0.01, 0.01)),
    OpenValue(partial(_height_open, (Form.BAR,)), "fixture.above_rim", _height, "half to twice this", (-0.18, 0.11),
              (Moves.HEIGHT, 1.0, 0.5, 2.0)),
    OpenValue(partial(_height_open, ROUND), "fixture.above_rim", _height, "half to twice this", (-0.40, 0.30),
              (Moves.HEIGHT, 1.0, 0.5, 2.0)),
    OpenValue(lambda f: f.position is None and f.clip is None, "fixture.position", "over the middle of the tank",
              "± 3 cm front to back", (-0.01, 0.01), (Moves.PLACE, 0.0, -0.03, 0.03)),
    OpenValue(partial(_lens_open, False), "fixture.lens", "120 deg (Lambertian)", "bare LEDs 110-120 deg", (0.0, 0.06),
              (Moves.BEAM, 120.0, 110.0, 120.0)),
    OpenValue(partial(_lens_open, True), "fixture.lens", "45 deg (spot)", "spots 30-60 deg", (-0.21, 0.23),
              (Moves.BEAM, 45.0, 30.0, 60.0)),
)
MORE_OPEN_VALUES = (
    OpenValue(lambda f: "channels" not in f.model_fields_set, "fixture.channel", "white, CIE LED-B4 (5106 K)",
              "2700-6600 K", (-0.02, 0.02)),
    OpenValue(lambda f: "body_reflectance" not in f.model_fields_set, "fixture.body_reflectance", "0.5", "0.05-0.85",
              (-0.006, 0.006), (Moves.BODY, 0.5, 0.05, 0.85)),
    OpenValue(lambda f: f.reflector is not None and "reflectance" not in f.reflector.model_fields_set,
              "fixture.reflector.reflectance", "0.85", "white 0.7-0.9, worn 0.5", (-0.06, 0.02),
              (Moves.REFLECTOR, 0.85, 0.5, 0.9)),
    OpenValue(lambda f: not {"photoperiod", "schedule"} & f.model_fields_set, "fixture.photoperiod", "8 h",
              "new tank 6 h, settled 8 h"),
)
# fmt: on
