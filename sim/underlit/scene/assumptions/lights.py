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

from underlit.scene.assumptions.assumption import Assumption
from underlit.scene.lights.body import ROUND, WATTS_PER_M, Form
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.output import USUAL_EFFICACY
from underlit.units import format_length

Open = Callable[[Fixture], bool]


def of_fixtures(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    """Rows for all fixtures of a scene together, one for each value that any of them leaves open."""
    if not fixtures:
        return
    yield from _of_output(fixtures)
    yield from _of_building(fixtures)
    yield from _of_running(fixtures)


def _row(
    fixtures: Sequence[Fixture], is_open: Open, key: str, value: Callable[[Fixture], str], span: str,
    moves: tuple[float, float] | None = None,
) -> Iterator[Assumption]:  # fmt: skip
    """The row of a value that some fixtures leave open, its effect scaled by their share of the light; none if none does."""
    concerned = [fixture for fixture in fixtures if is_open(fixture)]
    if not concerned:
        return
    values = list(dict.fromkeys(value(fixture) for fixture in concerned))
    share = sum(f.claimed_ppf for f in concerned) / sum(f.claimed_ppf for f in fixtures)
    low, high = (None, None) if moves is None else (moves[0] * share, moves[1] * share)
    shown = "; ".join(values[:3]) + ("; ..." if len(values) > 3 else "")
    yield Assumption(key, shown, span, low, high)


def _claimed(fixture: Fixture) -> bool:
    return not (_measured(fixture) or _watts_guessed(fixture) or _efficacy_guessed(fixture))


def _measured(fixture: Fixture) -> bool:
    return fixture.output.several is not None


def _watts_guessed(fixture: Fixture) -> bool:
    return "output" not in fixture.model_fields_set and fixture.photometric_file is None


def _efficacy_guessed(fixture: Fixture) -> bool:
    said = fixture.output
    return said.watts is not None and not any((said.efficacy, said.ppf, said.lumens, said.readings))


def _factor_open(key: str, fixture: Fixture) -> bool:
    return key not in fixture.light_loss_factors.model_fields_set


def _of_output(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    yield from _row(
        fixtures, _claimed, "fixture.output", lambda f: "as the scene claims", "± 15 %; cheap lights give 20-40 % less",
        (-0.15, 0.15),
    )  # fmt: skip
    yield from _row(
        fixtures, _measured, "fixture.output.reading",
        lambda f: f"{len(f.output.readings)} readings, scatter {100 * f.flux.departure:.0f} %", "a meter is good to ± 10 %",
        (-0.10, 0.10),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: any(r.under_water for r in f.output.readings), "fixture.output.under_water",
        lambda f: "read far from the panes, in ordinary water", "the panes of a planted tank add 5-40 %", (-0.28, 0.0),
    )  # fmt: skip
    yield from _row(
        fixtures, _efficacy_guessed, "fixture.output.efficacy", lambda f: f"{USUAL_EFFICACY:g} umol/J",
        "1.4-2.7 umol/J", (-0.30, 0.35),
    )  # fmt: skip
    yield from _row(
        fixtures, _watts_guessed, "fixture.output.watts",
        lambda f: f"{f.claimed_ppf / USUAL_EFFICACY:.3g} W ({WATTS_PER_M / 100:g} W per cm, {USUAL_EFFICACY:g} umol/J)",
        "0.2-0.8 W per cm", (-0.5, 1.0),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: not f.output.readings and _factor_open("temperature", f),
        "fixture.light_loss_factors.temperature", lambda f: "1 (the claim holds at working temperature)", "0.90-1",
        (-0.10, 0.0),
    )  # fmt: skip
    yield from _row(
        fixtures, partial(_factor_open, "age"), "fixture.light_loss_factors.age", lambda f: "1 (new)", "loses 2-8 % a year",
    )  # fmt: skip
    yield from _row(
        fixtures, partial(_factor_open, "dirt"), "fixture.light_loss_factors.dirt", lambda f: "1 (wiped clean)",
        "0.85-0.95 if not wiped",
    )  # fmt: skip


def _of_building(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    yield from _of_size(fixtures)
    yield from _of_lens(fixtures)
    yield from _row(
        fixtures, lambda f: "channels" not in f.model_fields_set, "fixture.channel",
        lambda f: "white, CIE LED-B4 (5106 K)", "2700-6600 K", (-0.02, 0.02),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: "body_reflectance" not in f.model_fields_set, "fixture.body_reflectance",
        lambda f: "0.5", "0.05-0.85", (-0.006, 0.006),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: f.reflector is not None and "reflectance" not in f.reflector.model_fields_set,
        "fixture.reflector.reflectance", lambda f: "0.85", "white 0.7-0.9, worn 0.5", (-0.06, 0.02),
    )  # fmt: skip


def _of_size(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    def guessed(fixture: Fixture) -> bool:
        return "size" not in fixture.model_fields_set

    def words(fixture: Fixture) -> str:
        length, width, thick = (f"{100 * side:.3g}" for side in fixture.size)
        return f"{length} x {width} x {thick} cm"

    yield from _row(
        fixtures, lambda f: guessed(f) and f.length is None and f.form is Form.BAR, "fixture.length", words,
        "bars 30-120 cm, 0.2-0.8 W per cm", (-0.10, 0.10),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: guessed(f) and (f.length is not None or f.form is not Form.BAR), "fixture.size", words,
        "bars 3-12 cm wide, pucks and spots 6-20 cm", (-0.02, 0.02),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: not ({"leds", "clusters"} & f.model_fields_set or f.photometric_file), "fixture.leds",
        lambda f: f"{len(f.board)} in total, evenly spread", "1-4 cm apart", (-0.01, 0.01),
    )  # fmt: skip
    for forms, low, high in (((Form.BAR,), -0.18, 0.11), (ROUND, -0.40, 0.30)):
        yield from _row(
            fixtures, partial(_hangs_at_a_guess, forms), "fixture.above_rim",
            lambda f: format_length(f.preset.above_rim_m), "half to twice this", (low, high),
        )  # fmt: skip


def _hangs_at_a_guess(forms: tuple[Form, ...], fixture: Fixture) -> bool:
    return fixture.form in forms and fixture.above_rim is None and fixture.above_water is None


def _of_lens(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    def taken(fixture: Fixture) -> bool:
        return fixture.leaves_lens_open and fixture.flux.beam is None

    yield from _row(
        fixtures, lambda f: taken(f) and f.form is not Form.SPOT, "fixture.lens", lambda f: "120 deg (Lambertian)",
        "bare LEDs 110-120 deg", (0.0, 0.06),
    )  # fmt: skip
    yield from _row(
        fixtures, lambda f: taken(f) and f.form is Form.SPOT, "fixture.lens", lambda f: "45 deg (spot)",
        "spots 30-60 deg", (-0.21, 0.23),
    )  # fmt: skip
    for fixture in fixtures:
        beam = fixture.flux.beam
        if beam is None or not fixture.leaves_lens_open:
            continue
        low, high = math.degrees(beam.low_rad), math.degrees(beam.high_rad)
        yield from _row(
            fixtures, partial(_is, fixture), "fixture.lens", _beam_from_readings,
            f"{low:.0f}-{high:.0f} deg if the meter is good to ± 5 %", (-0.04, 0.04),
        )  # fmt: skip


def _is(one: Fixture, other: Fixture) -> bool:
    return one is other


def _beam_from_readings(fixture: Fixture) -> str:
    beam = fixture.flux.beam
    return "" if beam is None else f"{math.degrees(beam.beam_rad):.0f} deg, from readings"


def _of_running(fixtures: Sequence[Fixture]) -> Iterator[Assumption]:
    yield from _row(
        fixtures, lambda f: not {"photoperiod", "schedule"} & f.model_fields_set, "fixture.photoperiod",
        lambda f: "8 h", "new tank 6 h, settled 8 h",
    )  # fmt: skip
