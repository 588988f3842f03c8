"""Ends of a tank against its middle: by zones of the same places, by lights of two lengths, with plants in the way."""

from __future__ import annotations

import io
from typing import Any

import pytest
from rich.console import Console
from tests.planning.boxes import box, light

from underlit.lowering.scene import lower
from underlit.planning.ends import Ends, ends_of
from underlit.planning.zones import zone_reports
from underlit.report.printout import print_answer, tank_notes
from underlit.report.summary import summarise
from underlit.run import Traced, trace
from underlit.scene import scene_from_dict

PHOTONS = 1 << 18
TANK: dict[str, Any] = {
    "tank": {"inside_size": ["80 cm", "24 cm", "24 cm"], "glass_thickness": "6 mm"}
    | {side: {"returned_per_reflection": 0.25} for side in ("front", "back", "left", "right")},
    "water": {"below_rim": "2 cm"},
    "substrate": {"depth": "3 cm"},
}


def ends(length: str, **more: Any) -> tuple[Ends | None, Traced]:
    """The ends of a long tank under a light of a length."""
    bar = {"name": "bar", "length": length, "output": {"ppf": "30 umol/s"}, "above_rim": "4 cm"}
    traced = trace(lower(scene_from_dict({**TANK, "fixture": [bar], **more})), photons=PHOTONS)
    assert isinstance(traced, Traced)
    return ends_of(traced.lowered, traced.result), traced


def test_ends_are_the_zones_there():
    """The three places, counted as zones at the same height by the kernels themselves, have the same light."""
    places = {"left": (0, 8), "right": (72, 80), "middle": (20, 60)}
    zones = [
        {"name": name, "rectangle": [[f"{a} cm", "0 cm"], [f"{b} cm", "24 cm"]], "height": "3 cm"}
        for name, (a, b) in places.items()
    ]
    found, traced = ends("40 cm", zone=zones)
    assert found is not None
    counted = traced.result.zones()
    for name in places:
        ours = getattr(found, name)
        assert ours.value == pytest.approx(counted[name].value, rel=1e-6)
        assert ours.half_width == pytest.approx(counted[name].half_width, rel=0.6)
    assert found.both.value == pytest.approx((counted["left"].value + counted["right"].value) / 2, rel=1e-6)
    assert found.share.value == pytest.approx(found.both.value / found.middle.value)
    assert 0 < found.share.half_width < 0.05 * found.share.value


def test_a_short_light_leaves_the_ends_dim():
    """A light of half the length does, one of the whole length does not; dimming changes neither."""
    short, traced = ends("40 cm")
    whole, _ = ends("80 cm")
    assert short is not None
    assert whole is not None
    assert short.are_dim
    assert short.light_is_short
    assert not whole.are_dim
    assert not whole.light_is_short
    assert short.lit_m == pytest.approx(0.4)
    assert whole.words() == ""
    assert f"get {short.both.value / 2:.0f}, the middle {short.middle.value / 2:.0f} umol/m2/s" in short.words(0.5)
    assert "The light is 40 cm (15.5 in) long and the tank 80 cm (31.5 in)" in short.words()
    half = traced.result.dimmed(dict.fromkeys(traced.result.compiled.sources, 0.5))
    dimmed = ends_of(traced.lowered, half)
    assert dimmed is not None
    assert dimmed.share.value == pytest.approx(short.share.value)
    assert dimmed.middle.value == pytest.approx(short.middle.value / 2)


def test_a_light_off_the_middle():
    """Under a light over the left end the left end is the brighter one."""
    found, _ = ends("20 cm", fixture=[light(position=["12 cm", "12 cm"])])
    assert found is not None
    assert found.left.value > 3 * found.right.value


def test_tall_plants_are_no_fault_of_the_light():
    """Stems over half of the left end: the other half is read; over all of it: nothing is said. A carpet is read from above."""
    stems = {"name": "stems", "kind": "stems", "height": "15 cm", "density": "dense", "seed": 1}
    bare, _ = ends("80 cm")
    some, _ = ends("80 cm", plants=[{**stems, "rectangle": [["0 cm", "12 cm"], ["8 cm", "24 cm"]]}])
    assert bare is not None
    assert some is not None
    assert some.left.value > 0.6 * bare.left.value
    none, _ = ends("80 cm", plants=[{**stems, "rectangle": [["0 cm", "0 cm"], ["9 cm", "24 cm"]]}])
    assert none is None
    carpet = {"name": "carpet", "kind": "carpet", "height": "4 cm", "density": "dense", "seed": 2}
    over, _ = ends("80 cm", plants=[{**carpet, "rectangle": [["0 cm", "0 cm"], ["80 cm", "24 cm"]]}])
    assert over is not None
    assert over.height_m == pytest.approx(0.06, abs=0.01)
    assert over.left.value > 0.9 * bare.left.value


def test_every_answer_says_it():
    """The summary holds the figures, the printout the sentence; the algae line says that it is about what is set now."""
    short, traced = ends("40 cm")
    assert short is not None
    summary = summarise(traced)
    (entry,) = summary["ends"]
    assert entry["are_dim"]
    assert entry["both_ppfd_umol_m2_s"]["value"] == pytest.approx(short.both.value, rel=1e-4)
    dim, algae = tank_notes(summary)
    assert dim == short.words()
    assert algae.startswith("As the light is set now, ")
    assert summary["algae"][0]["threshold_umol_m2_s"] == 50.0
    console = Console(record=True, width=100, file=io.StringIO())
    print_answer(console, traced, zone_reports(traced.lowered, traced.result))
    assert short.words() in " ".join(console.export_text().split())
    faint = {"name": "bar", "length": "80 cm", "output": {"ppf": "5 umol/s"}, "above_rim": "4 cm"}
    _, even = ends("80 cm", fixture=[faint])
    assert tank_notes(summarise(even)) == []


def test_a_box_lit_from_wall_to_wall():
    """The shipped bare box has no dim ends."""
    traced = trace(lower(box()), photons=1 << 17)
    assert isinstance(traced, Traced)
    found = ends_of(traced.lowered, traced.result)
    assert found is not None
    assert not found.are_dim
