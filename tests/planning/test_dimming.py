"""The quick way to dim gives the reports that the slow way gives."""

from __future__ import annotations

import pytest
from boxes import box, light

from underlit.lowering.scene import lower
from underlit.planning.dimming import Dimmer
from underlit.planning.zones import zone_reports
from underlit.run import trace


@pytest.fixture(scope="module")
def traced():
    """Two lights of two channels in all."""
    second = light(name="second", position=["15 cm", "4 cm"], schedule=[["9:00", 0], ["12:00", 1], ["15:00", 0]])
    del second["photoperiod"]
    return trace(lower(box(fixture=[light(dimming=0.7), second])), photons=1 << 20)


@pytest.mark.parametrize("levels", [(1.0, 1.0), (0.35, 0.8), (0.5, 0.0)], ids=str)
def test_quick_reports_are_the_slow_ones(traced, levels):
    """Light, both errors, evenness, verdict and DLI, at settings of the lights apart."""
    dimming = dict(zip(("clip light: white", "second: white"), levels, strict=True))
    quick = Dimmer(traced.lowered, traced.result).reports(dimming)
    slow = zone_reports(traced.lowered, traced.result.dimmed(dimming))
    for one, other in zip(quick, slow, strict=True):
        assert one.name == other.name
        assert one.ppfd == other.ppfd
        assert one.unknown == pytest.approx(other.unknown)
        assert one.verdict is other.verdict
        assert one.chance == (None if other.chance is None else pytest.approx(other.chance))
        assert one.dli == pytest.approx(other.dli)
        assert one.spread.evenness is not None
        assert one.spread.evenness.value == pytest.approx(other.spread.evenness.value, rel=1e-9)
        assert one.spread.dimmest_tenth.half_width == pytest.approx(other.spread.dimmest_tenth.half_width, rel=1e-6)


def test_a_light_that_is_not_there(traced):
    """Said by name."""
    with pytest.raises(KeyError, match="no source named 'third'"):
        Dimmer(traced.lowered, traced.result).reports({"third": 0.5})
