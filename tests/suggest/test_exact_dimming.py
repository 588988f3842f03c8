"""The best setting against closed forms and against trying many settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlit.planning.suggest.dimming import EASY_SETTING, Bands, best_setting, largest_sets, set_channels, setting_of


def bands(low, high, tank_uncertainty: float = 0.0) -> Bands:
    """Bands from lists."""
    return Bands(np.array(low, float), np.array(high, float), tank_uncertainty)


def test_two_zones_two_channels_by_hand():
    """Zones that are one channel each: each channel is dimmed into its zone's band, at or under 70 % where it can be."""
    response = np.array([[100.0, 0.0], [0.0, 50.0]])
    found = best_setting(response, bands([40, 20], [60, 45]), np.array([0, 1]))
    assert found.met.all()
    assert found.inside == 1.0
    assert 0.4 - 1e-9 <= found.shares[0] <= 0.6 + 1e-9
    assert 0.4 - 1e-9 <= found.shares[1] <= EASY_SETTING + 1e-9


def test_narrow_bands_leave_one_setting():
    """Two equations in two unknowns: 100 a + 20 b = 60, 10 a + 80 b = 44 gives a = .5, b = .487..."""
    response = np.array([[100.0, 10.0], [20.0, 80.0]])
    exact = np.linalg.solve(response.T, [60.0, 44.0])
    found = best_setting(response, bands([60, 44], [60.0001, 44.0001]), np.array([0, 0]))
    assert found.met.all()
    assert found.shares == pytest.approx(exact, abs=1e-5)


def test_channels_stay_alike_where_that_does_as_well():
    """Channels that do the same are dimmed alike."""
    response = np.array([[30.0, 60.0], [30.0, 60.0]])
    found = best_setting(response, bands([20, 40], [30, 60]), np.array([0, 0]))
    assert found.met.all()
    assert found.shares[0] == pytest.approx(found.shares[1], abs=1e-6)


def test_two_alike_lights_are_dimmed_alike():
    """Two fixtures that do the same for both zones: neither is dimmed more than the other."""
    response = np.array([[60.0, 50.0], [60.0, 50.0]])
    found = best_setting(response, bands([35, 35], [70, 70], 0.1), np.array([0, 1]))
    assert found.met.all()
    assert found.inside == 1.0
    assert found.shares[0] == pytest.approx(found.shares[1])


def test_a_fixture_keeps_its_mix():
    """Kept at 2 : 1, both channels are dimmed together; set apart they meet what the mix cannot."""
    response = np.array([[100.0, 10.0], [10.0, 100.0]])
    wanted, mixes = bands([20, 70], [30, 80]), [np.array([1.0, 0.5])]
    kept = set_channels(response, wanted, mixes, channels_apart=False)
    assert kept.shares[1] == pytest.approx(kept.shares[0] / 2)
    assert kept.met.sum() == 1
    assert set_channels(response, wanted, mixes, channels_apart=True).met.all()


def test_what_cannot_be_met_together():
    """One lamp gives the one zone twice what it gives the other: bands that want them alike cannot both be met."""
    response = np.array([[100.0, 50.0]])
    apart = bands([60, 60], [70, 70])
    assert largest_sets(response, apart) == [(0,)]
    found = best_setting(response, apart, np.array([0]))
    assert found.met.tolist() == [True, False]
    # neither: the light never reaches the bands
    dark = best_setting(response, bands([200, 200], [300, 300]), np.array([0]))
    assert not dark.met.any()
    assert dark.shares[0] == pytest.approx(1.0)
    # nor can light be taken away: a zone in the dark is met by no light
    assert largest_sets(response, bands([0, 60], [10, 70])) == [(0,)]


def test_sure_part_of_a_band():
    """With 10 % not known both ends of the sure part are kept to 90 %; a narrow band shrinks to its middle."""
    from statistics import NormalDist

    wide = bands([35], [70], 0.1)
    low, high = (float(edge[0]) for edge in wide.sure)
    assert NormalDist(low, 0.1 * low).cdf(35.0) == pytest.approx(0.1, abs=1e-4)
    assert NormalDist(high, 0.1 * high).cdf(70.0) == pytest.approx(0.9, abs=1e-4)
    assert [float(edge[0]) for edge in bands([40], [42], 0.1).sure] == [41.0, 41.0]


def test_light_that_no_setting_changes_counts_in_every_zone():
    """With 30 there already, 100 a wants to be 10 to 40 for a band of 40-70; what is too bright already stays unmet."""
    response, wanted = np.array([[100.0, 50.0]]), bands([40, 5], [70, 20])
    found = best_setting(response, wanted.beside(np.array([30.0, 25.0])), np.array([0]))
    assert found.met.tolist() == [True, False]
    assert 0.1 - 1e-9 <= found.shares[0] <= 0.4 + 1e-9
    assert found.values == pytest.approx(found.shares @ response + [30, 25])
    # as much as the bands that are lower by it, were the tank known exactly
    same = best_setting(response, bands([10, 0], [40, 20]), np.array([0]))
    assert best_setting(response, bands([40, 30], [70, 50]).beside(np.array([30.0, 30.0])), np.array([0])).shares == (
        pytest.approx(same.shares)
    )


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_no_setting_on_a_grid_meets_more(seed):
    """Random lights and bands: no setting of a fine grid meets more zones than the exact one."""
    random = np.random.default_rng(seed)
    response = random.uniform(1, 120, (2, 4))
    low = random.uniform(5, 80, 4)
    wanted = bands(low, low * random.uniform(1.1, 2.0, 4), 0.1)
    found = best_setting(response, wanted, np.array([0, 1]))
    steps = np.linspace(0, 1, 101)
    shares = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    assert found.met.sum() >= wanted.met(shares @ response).sum(axis=1).max()
    again = setting_of(found.shares, response, wanted)
    assert again.met.tolist() == found.met.tolist()
