"""Dimming curves, steps and schedules: what a light gives at its brightest and over a day."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_fixture import fixture_of, refusal

from underlit.scene.lights.day import Day, block, through_curve

BAR = {"length": "60 cm", "output": {"ppf": "100 umol/s", "watts": "50 W"}}
RAMPS = [["9:00", 0.0], ["10:30", 1.0], ["17:00", 1.0], ["18:00", 0.0]]
CURVE = [[0, 0.0], [5, 0.3], [10, 1.0]]


def day_of(**keys):
    made = fixture_of(**BAR, **keys)
    return made.day_of(made.channels[0])


def test_a_trapezoid_holds_its_plateau_and_half_its_ramps():
    assert day_of(schedule=RAMPS).full_hours == pytest.approx(6.5 + (1.5 + 1.0) / 2)
    assert day_of(schedule=RAMPS).lit_hours == pytest.approx(9.0)
    assert day_of(schedule=RAMPS, dimming=0.5).full_hours == pytest.approx(7.75 / 2)


@pytest.mark.parametrize(
    ("schedule", "hours"),
    [
        ([["0:00", 1.0]], 24.0),  # one row is all day
        ([["6:00", 0.0], ["18:00", 1.0]], 12.0),  # up for twelve hours, down for twelve
        ([["4:00", 0.0], ["6:00", 0.0], ["20:00", 1.0]], 7.0 + 4.0),  # down across midnight, 20:00 to 4:00
        ([["8:00", 0.0], ["8:00", 0.6], ["16:00", 0.6], ["16:00", 0.0]], 4.8),  # jumps
        ([["0:00", 0.2], ["24:00", 0.6]], 9.6),  # jumps back at midnight
    ],
)
def test_closed_forms_of_days(schedule, hours):
    assert day_of(schedule=schedule).full_hours == pytest.approx(hours)


def test_a_photoperiod_is_a_block_about_noon():
    assert day_of(photoperiod="7.5 h", dimming=0.4).full_hours == pytest.approx(3.0)
    assert block(24.0).full_hours == pytest.approx(24.0)
    assert block(0.0).full_hours == 0.0
    assert day_of().full_hours == pytest.approx(8.0)


def test_a_dimming_curve_reads_steps():
    made = fixture_of(**BAR, dimming_curve=CURVE, step=7)
    assert made.level == pytest.approx(0.3 + 0.7 * 2 / 5)
    assert made.ppf == pytest.approx(58.0)
    assert made.running_watts == pytest.approx(29.0)


def test_a_schedule_of_steps_bends_where_the_curve_does():
    """A ramp of an hour through steps 0, 5, 10 holds (0 + .3)/4 + (.3 + 1)/4 = .4 h at full."""
    steps = [["9:00", 0], ["10:00", 10], ["17:00", 10], ["18:00", 0]]
    day = day_of(dimming_curve=CURVE, schedule=steps)
    assert day.full_hours == pytest.approx(7.0 + 2 * 0.4)
    assert day.at(9.5) == pytest.approx(0.3)
    assert day.at(9.75) == pytest.approx(0.65)


def test_steps_are_crossed_across_midnight_too():
    """Down from step 10 at 22:00 to 0 at 2:00: the curve's knee at step 5 is passed at midnight."""
    day = day_of(dimming_curve=CURVE, schedule=[["2:00", 0], ["12:00", 0], ["13:00", 10], ["22:00", 10]])
    assert day.full_hours == pytest.approx(0.4 + 9.0 + 4 * 0.4)
    assert day.at(0.0) == pytest.approx(0.3)
    assert list(day.times) == sorted(day.times)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 1440), st.integers(0, 100)), min_size=1, max_size=6),
    st.lists(st.floats(0, 1), min_size=2, max_size=5),
)
def test_a_day_through_a_curve_is_its_integral(rows, shares):
    """Exact integral against many small steps of the schedule read through the curve."""
    schedule = tuple(sorted((minute / 60, float(step)) for minute, step in rows))
    curve = tuple((100.0 * i / (len(shares) - 1), share) for i, share in enumerate(shares))
    plain = through_curve(schedule, None)
    day = through_curve(schedule, curve)
    assert list(day.times) == sorted(day.times)
    steps = [plain.at((i + 0.5) * 24 / 8_000) for i in range(8_000)]
    import numpy as np

    numeric = np.interp(steps, *np.array(curve).T).mean() * 24
    assert day.full_hours == pytest.approx(numeric, abs=0.02)


def test_channels_have_days_of_their_own():
    """White by the fixture's day, blue by its own; light is told for the brightest hour, the day for all of it."""
    made = fixture_of(
        **BAR,
        schedule=[["10:00", 0.0], ["11:00", 1.0], ["17:00", 1.0], ["18:00", 0.0]],
        channel=[
            {"name": "white", "share": 3.0, "dimming": 0.8},
            {
                "name": "blue",
                "spectrum": "LED-B5",
                "schedule": [["20:00", 0.0], ["20:00", 0.2], ["22:00", 0.2], ["22:00", 0.0]],
            },
        ],
    )
    white, blue = made.channels
    assert made.day_of(white).full_hours == pytest.approx(7 * 0.8)
    assert made.day_of(blue).full_hours == pytest.approx(0.4)
    assert 11 <= made.brightest_hour <= 17
    assert made.level_of(white) == pytest.approx(0.8)
    assert made.level_of(blue) == 0.0
    assert made.ppf == pytest.approx(60.0)
    assert made.lit_hours == pytest.approx(8.0)


def test_levels_of_old_keys_multiply_as_before():
    made = fixture_of(**BAR, dimming=0.7, channel=[{"name": "a", "dimming": 0.5}, {"name": "b"}])
    assert [made.level_of(channel) for channel in made.channels] == pytest.approx([0.35, 0.7])
    assert made.ppf == pytest.approx(50 * 0.35 + 50 * 0.7)


def test_a_channel_may_have_a_curve_of_its_own_or_the_fixtures():
    made = fixture_of(
        **BAR, dimming_curve=CURVE,
        channel=[{"name": "a", "step": 5}, {"name": "b", "step": 1, "dimming_curve": [[0, 0.0], [2, 0.9]]}],
    )  # fmt: skip
    assert [made.level_of(channel) for channel in made.channels] == pytest.approx([0.3, 0.45])


def test_a_day_starts_and_ends_alike():
    times, levels = Day((6.0, 18.0), (0.0, 1.0)).whole
    assert (times[0], times[-1]) == (0.0, 24.0)
    assert levels[0] == levels[-1] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ({"schedule": []}, "fixture[0].schedule: a schedule needs at least one row"),
        ({"schedule": [["9:00", 1.0], ["8:00", 0.0]]}, "fixture[0].schedule: a schedule needs at least one row, in order of"),
        ({"schedule": [["25:00", 1.0]]}, 'a time of day is written like "9:30", from "0:00" to "24:00" (got \'25:00\')'),
        ({"schedule": [[9, 1.0]]}, 'fixture[0].schedule[0][0]: a time of day is written like "9:30"'),
        ({"schedule": [["9:00", 1.5]]}, "fixture[0].schedule: the level at 9:00 must be a share of full light, 0 to 1, not 1.5"),
        ({"schedule": RAMPS, "photoperiod": "8 h"}, "the daily light time is given twice (photoperiod, schedule)"),
        ({"schedule": RAMPS, "dimming_curve": CURVE, "step": 3}, "the dimming is given twice (step, schedule): remove"),
        ({"step": 3}, "fixture[0].step: a step needs a dimming_curve that says how much light it gives (got 3)"),
        ({"dimming_curve": CURVE, "step": 11}, "fixture[0].step: lies outside the dimming curve, 0 to 10 (got 11.0)"),
        ({"dimming_curve": CURVE, "step": 1, "dimming": 0.5}, "fixture[0].step: the dimming is given twice (dimming, step)"),
        ({"dimming_curve": [[0, 0.0]]}, "fixture[0].dimming_curve: a dimming curve needs at least two rows"),
        ({"dimming_curve": [[5, 0.0], [0, 1.0]]}, "a dimming curve needs at least two rows, in order of rising steps"),
        ({"dimming_curve": [[0, 0.0], [5, 30]]}, 'fixture[0].dimming_curve[1][1]: must be at most 1: write 0.3 or "30 %"'),
        ({"channel": [{"step": 2}]}, "fixture[0].channel: channel 'white': a step needs a dimming_curve"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_in_one_line(keys, line):
    assert line in refusal(**BAR, **keys)
