"""`underlit compare` and `planning.compare`: matching, arithmetic, words, files, refusals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from boxes import BARE_BOX, box, light, lowered_box

from underlit.cli import main
from underlit.lowering.scene import lower
from underlit.planning.candidates import candidate, kwh_a_year, read_candidate
from underlit.planning.cleaning_states import cleaning_pair, growing_pair
from underlit.planning.compare import compare, trace_paired
from underlit.planning.zones import Verdict
from underlit.report.decisions.comparison import comparison_csv, comparison_data, in_words, panels, print_comparison
from underlit.report.printout import output_console
from underlit.run import trace
from underlit.viz.maps.difference_map import draw_difference_maps, within_error

PHOTONS = 1 << 16


def candidates(*scenes, photons=PHOTONS, **options):
    """Scenes traced alike, as candidates A, B, ..."""
    traced = trace_paired([lower(s) for s in scenes], photons=photons, **options)
    return [candidate(name, t) for name, t in zip("ABC", traced)]


def row_of(made, name):
    return next(r for r in made.rows if r.name == name)


def test_dimming_and_output_need_no_second_trace():
    """Scenes that differ in dimming, output or dirt on the lamp alone: one trace, exact arithmetic."""
    calls = []

    def tracer(lowered, **said):
        calls.append(lowered)
        return trace(lowered, **said)

    scenes = [
        box(),
        box(fixture=[light(dimming=0.4)]),
        box(fixture=[light(output={"ppf": "5.2 umol/s"}, kept={"dirt": 0.9})]),
    ]
    made = compare(candidates(*scenes, tracer=tracer))
    assert len(calls) == 1
    full, dim, strong = (v.value for v in row_of(made, "whole bed").values)
    assert dim == pytest.approx(0.4 * full, rel=1e-12)
    assert strong == pytest.approx(1.8 * full, rel=1e-12)
    change = row_of(made, "whole bed").changes[1]
    assert change.ppfd.value == pytest.approx(-0.6 * full, rel=1e-12)
    assert change.ppfd.half_width == pytest.approx(0.6 * row_of(made, "whole bed").values[0].half_width, rel=1e-6)
    assert change.beyond_error


def test_how_errors_came_about_is_told(capsys):
    """Arithmetic, common random numbers or none: each in its words."""
    scenes = [box(), box(fixture=[light(dimming=0.4)]), box(fixture=[light(above_rim="6 cm")])]
    made = compare(candidates(*scenes))
    (apart,) = trace_paired([lowered_box()], photons=PHOTONS, seed=9)
    for shown, said in ((made, ["worked out from the trace of A", "same random numbers"]), (
        compare([made.candidates[0], candidate("D", apart)]), ["different random numbers"]
    )):  # fmt: skip
        print_comparison(output_console(), shown)
        told = " ".join(capsys.readouterr().out.split())
        assert all(words in told for words in said)


def test_a_moved_light_is_traced_again():
    """What changes a photon's way is not taken for arithmetic."""
    calls = []

    def tracer(lowered, **said):
        calls.append(lowered)
        return trace(lowered, **said)

    candidates(box(), box(fixture=[light(above_rim="6 cm")]), tracer=tracer)
    assert len(calls) == 2


def test_zones_match_by_name():
    """A zone that only one scene has stays in the table, without a difference; a moved one is said to be moved."""
    own = {"name": "only here", "rectangle": [["5 cm", "5 cm"], ["10 cm", "10 cm"]], "band": [10, 40]}
    moved = {"name": "whole bed", "rectangle": [["0 cm", "0 cm"], ["15 cm", "20 cm"]]}
    made = compare(candidates(box(), box(zone=[own, moved])))
    assert row_of(made, "only here").places[0] is None
    assert row_of(made, "only here").changes[1] is None
    assert row_of(made, "half way up").values[1] is None
    assert not row_of(made, "whole bed").changes[1].same_place
    assert row_of(made, "whole substrate").changes[1].same_place
    assert row_of(made, "centre").is_spot


def test_running_cost():
    """Watts times hours times 365.25 days times the price."""
    made = compare(candidates(box(), box(fixture=[light(dimming=0.5, photoperiod="6 h")])), price=0.3)
    assert kwh_a_year(1000.0) == pytest.approx(365.25)
    assert made.running[0].watts == pytest.approx(1.3)
    assert made.running[0].kwh_a_year == pytest.approx(1.3 * 8 * 365.25 / 1000)
    assert made.running[1].cost_a_year == pytest.approx(0.65 * 6 * 365.25 / 1000 * 0.3)
    unknown = compare(candidates(box(), box(fixture=[light(output={"ppf": "2.6 umol/s"})])), price=0.3)
    assert unknown.running[1].watts is None
    assert unknown.running[1].cost_a_year is None
    assert "watts of a light are not stated" in in_words(unknown)[0]


def test_words():
    """The summary says what gets brighter, from where to where, and what it costs."""
    double = box(fixture=[light(output={"ppf": "5.2 umol/s", "watts": "2.6 W"})])
    words = in_words(compare(candidates(box(), double), price=1.0))
    assert re.match(
        r"B against A: brightens half way up from 29\.\d to 59\.\d, whole bed from 28\.\d to 56\.\d;", words[0]
    )
    assert "uses 1.3 W more, 3.8 kWh a year more, which costs 3.80 a year more" in words[0]
    assert "whole bed: right in A, too bright in B." in words
    same = in_words(compare(candidates(box(), box(title="the same"))))
    assert same == ["B against A: no zone changes by more than its simulation error; uses the same energy."]


def test_cleaning_pair_states_what_it_takes():
    """Everything that differs between the two states is listed, and the clean day is the brighter."""
    clean, before, told = cleaning_pair(box(lid={"thickness": "4 mm"}))
    assert [d.what.split()[0] for d in told] == ["dirt", "tint", "panes:", "dirt"]
    assert clean.lid.dirt > before.lid.dirt
    assert clean.water.tannin.absorption_440_per_m < before.water.tannin.absorption_440_per_m
    assert clean.returned_per_reflection("front") > before.returned_per_reflection("front")
    made = compare(candidates(clean, before))
    assert row_of(made, "whole bed").changes[1].ppfd.value < 0
    assert row_of(made, "whole bed").changes[1].beyond_error


def test_plants_grow_between_the_two_sides():
    """A bed under a carpet that doubles gets darker; what is taken is listed with its range."""
    carpet = {"name": "lawn", "kind": "carpet", "rectangle": [["1 cm", "1 cm"], ["29 cm", "19 cm"]], "height": "2 cm"}
    fresh, grown, told = growing_pair(box(plants=[{**carpet, "density": "thin"}], added_co2=True), 3.0)
    assert [(d.what, d.first) for d in told] == [("lawn", "2 cm")]
    assert "leaf area x 2" in told[0].second
    made = compare(candidates(fresh, grown))
    bed = row_of(made, "whole bed")
    assert bed.changes[1].beyond_error
    assert bed.values[1].value < 0.8 * bed.values[0].value


def test_ramps_count_in_the_energy():
    """Half power in the mean over six hours of ramps: the energy of three full hours."""
    ramps = light(schedule=[["9:00", 0], ["12:00", 1], ["15:00", 0]])
    del ramps["photoperiod"]
    made = compare(candidates(box(), box(fixture=[ramps])))
    assert made.running[1].watts == pytest.approx(1.3)
    assert made.running[1].kwh_a_year == pytest.approx(1.3 * 3 * 365.25 / 1000)


def test_a_folder_is_the_trace_that_wrote_it(tmp_path, capsys):
    """Read back, a trace differs from itself by nothing, and is paired with a fresh one of the same size and seed."""
    assert main(["trace", str(BARE_BOX), "--photons", str(PHOTONS), "--out", str(tmp_path / "kept")]) == 0
    kept = read_candidate(tmp_path / "kept")
    (fresh,) = (candidate("fresh", t) for t in trace_paired([lowered_box()], photons=PHOTONS))
    made = compare([kept, fresh])
    assert made.paired == (True, True)
    for row in made.rows:
        # Group sums are kept to 32 bits on disk, zones and spots whole.
        assert row.changes[1].ppfd.value == pytest.approx(0.0, abs=1e-9)
        assert row.changes[1].same_place
        assert row.places[0].verdict == row.places[1].verdict
    assert kept.watts == fresh.watts
    capsys.readouterr()
    assert main(["compare", str(tmp_path / "kept"), str(tmp_path / "kept"), "--out", str(tmp_path / "out")]) == 0
    assert "uses the same energy" in " ".join(capsys.readouterr().out.split())
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"compare.json", "compare.csv", "compare.png"}
    data = json.loads((tmp_path / "out" / "compare.json").read_text())
    assert all(e["difference_umol_m2_s"] == 0 for p in data["places"] for e in p["by_candidate"][1:])


def test_files_say_the_same():
    """csv and JSON hold each place of each candidate once."""
    made = compare(candidates(box(), box(fixture=[light(above_rim="9 cm")])))
    data, lines = comparison_data(made), comparison_csv(made).splitlines()
    assert len(lines) == 1 + 2 * len(data["places"])
    assert lines[0].startswith("place,what,candidate,ppfd_umol_m2_s,")
    json.dumps(data, allow_nan=False)


def test_map_marks_what_is_within_the_error():
    """A light dimmed by a hair over noise: nothing stands out; one hung higher: nearly everything does."""
    near = compare(candidates(box(), box(substrate={"material": "gravel", "depth": "2 cm", "reflectance": 0.2301})))
    far = compare(candidates(box(), box(fixture=[light(above_rim="15 cm")])))
    near_share, far_share = (within_error(panels(made)[1].difference).mean() for made in (near, far))
    assert far_share < 0.2 < near_share
    figure = draw_difference_maps(panels(far), "title")
    assert len(figure.axes) == 5


def test_tanks_of_other_sizes_have_no_difference_map():
    """Zones are compared all the same."""
    other = box(tank={"inside_size": ["34 cm", "20 cm", "20 cm"]})
    made = compare(candidates(box(), other))
    assert panels(made)[1].difference is None
    assert "size" in panels(made)[1].words
    draw_difference_maps(panels(made))
    assert not np.isnan(row_of(made, "half way up").changes[1].ppfd.value)


# -- refusals ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "needs two"),
        (["{box}"], "--before-cleaning"),
        (["{box}", "{box}", "--before-cleaning"], "takes one scene"),
        (["{box}", "{empty}"], "no such file"),
        (["{empty}", "--before-cleaning"], "scene file"),
        (["{box}", "--before-cleaning", "--grown", "4 weeks"], "use only one of them"),
        (["{box}", "--grown", "4"], "--grown"),
        (["{box}", "--grown", "-4 weeks"], "--grown"),
        (["{box}", "--grown", "4 weeks"], "no plants that grow"),
        (["{box}", "nothing.toml"], "nothing.toml"),
        (["{box}", "{box}", "--price", "-1"], "--price"),
        (["{box}", "{box}", "--price", "nan"], "--price"),
        (["{box}", "{box}", "--precision", "2"], "--precision"),
        (["{box}", "{box}", "--precision", "0.1", "--photons", "9"], "use only one of them"),
        (["{box}", "{box}", "--photons", "no"], "--photons"),
        (["{box}", "{box}", "--out", "{box}"], "--out"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_bad_input_is_refused_in_one_line(arguments, said, tmp_path: Path, capsys):
    """Status 2 and one line that says what would be right."""
    (tmp_path / "empty").mkdir()
    filled = [a.format(box=BARE_BOX, empty=tmp_path / "empty") for a in arguments]
    assert main(["compare", *filled]) == 2
    told = capsys.readouterr()
    assert len(told.err.splitlines()) == 1, told.err
    assert said in told.err
    assert not told.out


def test_verdicts_that_earlier_releases_stored():
    """A zone without a band had another word for its verdict."""
    assert Verdict("no aim set") is Verdict.NO_TARGET
    with pytest.raises(ValueError, match="dim enough"):
        Verdict("dim enough")


def test_every_side_gets_the_photons_that_were_asked_for():
    """One light and two, one budget: both spend it, in batches alike, so that what they share still cancels."""
    lights = [light(name=name, position=["15 cm", at]) for name, at in (("one", "5 cm"), ("two", "15 cm"))]
    sides = trace_paired([lower(box(fixture=lights[:1])), lower(box(fixture=lights))], photons=1 << 18)
    for side in sides:
        assert side.result.photons == pytest.approx(1 << 18, rel=0.1)
    sizes = {count.photons_per_batch for side in sides for count in side.result.counts}
    assert len(sizes) == 1
    made = compare([candidate(str(i), side) for i, side in enumerate(sides)])
    assert made.paired == (True, True)


def test_each_side_at_its_best_setting_and_at_equal_watts():
    """A light twice as strong is set to half: the same light for the same watts; a trace at that dimming says the same."""
    zone = {"name": "own", "rectangle": [["0 cm", "0 cm"], ["30 cm", "20 cm"]], "band": [9, 20]}
    strong = light(output={"ppf": "5.2 umol/s", "watts": "2.6 W"})
    made = compare(candidates(box(zone=[zone]), box(zone=[zone], fixture=[strong])))
    weak_best, strong_best = made.best
    assert weak_best.right == strong_best.right == 1
    assert strong_best.decision.level == pytest.approx(weak_best.decision.level / 2, abs=0.006)
    assert strong_best.watts == pytest.approx(2.6 * strong_best.decision.level)
    again = compare(
        candidates(box(zone=[zone]), box(zone=[zone], fixture=[{**strong, "dimming": strong_best.decision.level}]))
    )
    row = row_of(again, "own")
    assert row.values[1].value == pytest.approx(strong_best.values[1].value, rel=1e-9)
    assert row.places[1].verdict is strong_best.verdicts[1]
    assert made.equal.watts == pytest.approx(1.3)
    same, halved = (side.values[1].value for side in made.equal.sides)
    assert same == pytest.approx(halved, rel=1e-9)
    assert [side.watts for side in made.equal.sides] == pytest.approx([1.3, 1.3])


def test_one_light_or_two_is_answered_first(capsys):
    """Where one light reaches, it is enough; where it does not, two are better, and the first lines say so."""
    zone = {"name": "own", "rectangle": [["0 cm", "0 cm"], ["30 cm", "20 cm"]]}
    pair = [light(name=name, position=["15 cm", at]) for name, at in (("one", "5 cm"), ("two", "15 cm"))]
    for band, said in (([9, 20], "One light does as well as more."), ([38, 80], "Two lights are better than one.")):
        zones = [{**zone, "band": band}]
        made = compare(candidates(box(zone=zones), box(zone=zones, fixture=pair)))
        print_comparison(output_console(), made)
        lines = capsys.readouterr().out.splitlines()
        assert lines[0].startswith("A: A: ")
        assert any(line.startswith(said) for line in lines[:6])
        data = comparison_data(made)
        assert data["best_in_words"][0].startswith(said)
        assert data["candidates"][0]["best_setting"]["sentence"] in lines[0] + " " + lines[1]


def test_evenness_is_in_the_terminal(capsys):
    """Of each zone that has one, beside the other side's."""
    made = compare(candidates(box(), box(fixture=[light(above_rim="12 cm")]), photons=1 << 20))
    print_comparison(output_console(), made)
    told = capsys.readouterr().out.split("Evenness")[1]
    for place in (made.candidates[0].places[1], made.candidates[1].places[1]):
        assert f"{place.evenness:.2f}" in told
