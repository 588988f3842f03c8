"""Profiles: Beer and Lambert's law by the planes, errors that hold, verdicts of a plant, words and refusals."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from boxes import BARE_BOX, box

from checking import agree, within_probability
from underlit.backends.cpu import Tracer
from underlit.cli import main
from underlit.lowering.compiled import Grid
from underlit.lowering.scene import lower
from underlit.lowering.world import World, rectangle
from underlit.lowering.world import box as solid
from underlit.planning.profile import (
    RULE_OF_THUMB_M,
    along_line,
    halving_of,
    lid_takes,
    other_lid,
    profile_at,
    tops_of_plants,
)
from underlit.planning.vertical_profiles import mixing, shares_of_cells, square, vertical_profile
from underlit.planning.zones import Verdict
from underlit.report.decisions.profile import halving_words
from underlit.results.result import Result
from underlit.run import trace
from underlit.scene import Band

SIDE, HIGH = 0.4, 0.5


def black_tank(absorption: float, *, cone: float = 1e-4, photons_log2: int = 17, seed: int = 1) -> Result:
    """Water between black walls under many beams straight down, even within a cone [rad]; narrow, only absorption counts."""
    world = World()
    water = world.medium("water", 1.0, absorption)
    world.add_mesh("walls", *solid((0, 0, 0), (SIDE, SIDE, HIGH)), world.opaque("black", 0.0))
    surface = world.interface("surface", water, 0)
    world.add_mesh("surface", *rectangle((0, 0, HIGH - 0.01), (0, SIDE, 0), (SIDE, 0, 0)), surface)
    at = (np.arange(40) + 0.5) / 40 * SIDE
    points = [(x, y, HIGH - 0.005) for x in at for y in at]
    world.add_source("beams", points, ppf=10.0, axis=(0, 0, -1), beam_table=([0.0, cone], [1.0, 1.0]))
    cells = np.full((22, 20, 20), (SIDE / 20) ** 2)
    world.add_planes(Grid((0.0, 0.0, 0.02), (SIDE / 20, SIDE / 20, 0.02), (20, 20, 22), cells))
    compiled = world.compile()
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=12)
    tracer.run([1 << (photons_log2 - 12)])
    return Result(compiled, tuple(tracer.counts), seed, 0.0)


@pytest.mark.parametrize("absorption", [1.0, 6.8])
def test_light_falls_by_the_law_of_beer_and_lambert(absorption):
    """Straight beams between black walls: PPFD = P / area x exp(-a d), so ln 2 / a halves it."""
    result = black_tank(absorption)
    light = vertical_profile(result, square(SIDE / 2, SIDE / 2, 0.3))
    depth = HIGH - 0.01 - light.heights
    for estimate, d in list(zip(light.at(light.heights), depth, strict=True))[::5]:
        agree(estimate, 10.0 / SIDE**2 * math.exp(-absorption * d), resolves=0.05, what=f"PPFD at depth {d:.2f} m")
    fit = halving_of(light, bed=0.0, surface=HIGH - 0.01)
    # Weight is taken off along the way, so that the rate has no noise; the cone lengthens the way by 2.5e-9 of itself.
    assert fit.rate.value == pytest.approx(absorption, rel=1e-7)
    assert fit.depth == pytest.approx(math.log(2) / absorption, rel=1e-7)
    assert fit.strays < 1e-7
    assert fit.rule_holds == (absorption == 6.8)


def test_the_rule_of_thumb_is_four_inches():
    """ln 2 / 6.8 per m is 10.2 cm."""
    assert pytest.approx(0.1016) == RULE_OF_THUMB_M
    assert math.log(2) / 6.8 == pytest.approx(RULE_OF_THUMB_M, rel=0.01)


def test_error_of_the_fit_holds_over_seeds():
    """The jackknife's 95 % interval of the rate holds the mean over the seeds in 95 % of them; half of it would not."""
    from scipy.stats import binomtest

    rates, seeds = [], 40
    for seed in range(seeds):
        result = black_tank(2.0, cone=0.5, photons_log2=16, seed=500 + seed)
        rates.append(halving_of(vertical_profile(result, square(0.2, 0.2, 0.1)), bed=0.0, surface=HIGH - 0.01).rate)
    middle = np.mean([r.value for r in rates])
    # The mean moves with each seed: distances from it are that much shorter than from the truth.
    apart = [abs(r.value - middle) / math.sqrt(1 - 1 / seeds) for r in rates]
    inside = sum(d <= r.half_width for d, r in zip(apart, rates, strict=True))
    halved = sum(d <= r.half_width / 2 for d, r in zip(apart, rates, strict=True))
    within_probability(float(binomtest(inside, seeds, 0.95).pvalue), "coverage of the fitted rate")
    assert binomtest(halved, seeds, 0.95).pvalue < 1e-3


def test_reading_between_planes():
    """Straight between known heights, held at the ends."""
    known = np.array([0.02, 0.04, 0.08])
    mix = mixing(known, np.array([0.0, 0.03, 0.05, 0.09]))
    np.testing.assert_allclose(mix @ [1.0, 3.0, 7.0], [1.0, 2.0, 4.0, 7.0])


def test_cells_are_shared_by_area():
    """An outline's parts in the cells add to its area."""
    grid = Grid((0.0, 0.0, 0.02), (0.02, 0.02, 0.02), (10, 10, 1), np.full((1, 10, 10), 4e-4))
    shares = shares_of_cells(grid, np.array([(0.011, 0.013), (0.093, 0.02), (0.05, 0.15)]))
    assert shares.sum() * 4e-4 == pytest.approx(0.5 * (0.082 * 0.137 - 0.039 * 0.007), rel=1e-9)
    assert shares.max() <= 1 + 1e-12


@pytest.fixture(scope="module")
def traced():
    """The bare box, and the same with a lid, traced alike."""
    return trace(box(), photons=1 << 18), trace(other_lid(box()), photons=1 << 18)


def test_a_vertical_profile_reads_what_zones_and_heads_read(traced):
    """Level zones and meter heads are counted apart from the planes: they must agree."""
    lowered, result = traced[0].lowered, traced[0].result
    whole = np.array([(0, 0), (0.3, 0), (0.3, 0.2), (0, 0.2)])
    zone = result.zones()["half way up"]
    # Both count the same photons, so that they agree far better than their errors say.
    assert profile_at(lowered, result, "all", whole).at_height(0.08).value == pytest.approx(zone.value, rel=2e-3)
    head = result.heads()["centre"]
    read = profile_at(lowered, result, "spot", square(0.15, 0.10)).at_height(0.03)
    # Clean panes guide light into stripes narrower than the planes' cells of 2 cm: 3 % here, at 8 M photons.
    assert read.value == pytest.approx(head.value, rel=0.03 + 3 * head.standard_error / head.value)


def test_verdict_of_a_plant(traced):
    """A plant at a height is judged as a zone is, with both errors."""
    made = profile_at(traced[0].lowered, traced[0].result, "middle", square(0.15, 0.10))
    assert made.verdict_at(0.05, Band(1, 5, "", ""))[0] is Verdict.TOO_BRIGHT
    assert made.verdict_at(0.05, Band(10, 90, "", ""))[0] is Verdict.RIGHT
    assert made.verdict_at(0.05, Band(80, 90, "", ""))[0] is Verdict.TOO_DIM


def test_what_a_lid_takes(traced):
    """A plain lid takes about a fifth (common practice: 15-30 % in use), known better than from two traces apart."""
    plain, covered = (profile_at(t.lowered, t.result, "m", square(0.15, 0.10, 0.1)) for t in traced)
    share = lid_takes(covered, plain, 0.05)
    assert 0.12 < share.value < 0.3
    one, other = covered.at_height(0.05), plain.at_height(0.05)
    assert share.standard_error < math.hypot(one.standard_error, other.standard_error) / other.value
    assert other_lid(other_lid(box())).lid is None


def test_a_line_follows_the_bed(traced):
    """Every centimetre, so far over the substrate; brightest under the light; nothing outside the tank."""
    lowered, result = traced[0].lowered, traced[0].result
    line = along_line(lowered, result, (0.01, 0.10), (0.29, 0.10), above_bed=0.03)
    assert len(line.ppfd) == 29
    np.testing.assert_allclose(line.heights, 0.05)
    assert np.argmax([e.value for e in line.ppfd]) == pytest.approx(14, abs=6)
    beyond = along_line(lowered, result, (0.15, 0.10), (0.15, 0.40), above_bed=0.03)
    assert math.isnan(beyond.ppfd[-1].value)


def test_the_fit_leaves_plants_out():
    """Under a carpet light falls by leaves: the depth is fitted over their tops, as without them."""
    lawn = {"name": "lawn", "kind": "carpet", "rectangle": [["5 cm", "5 cm"], ["25 cm", "15 cm"]], "height": "4 cm"}
    grown = trace(box(plants=[{**lawn, "density": "dense"}]), photons=1 << 17)
    outline = square(0.15, 0.10, 0.06)
    assert tops_of_plants(grown.lowered, outline) == pytest.approx(0.06, abs=0.02)
    assert tops_of_plants(grown.lowered, square(0.02, 0.02)) == 0.0
    made = profile_at(grown.lowered, grown.result, "lawn", outline)
    assert made.halving.bottom > 0.05
    assert made.halving.strays < 0.25


def test_light_that_does_not_fall_has_no_halving_depth():
    """Where nothing is absorbed the interval reaches infinity."""
    fit = halving_of(vertical_profile(black_tank(0.0), square(0.2, 0.2, 0.3)), bed=0.0, surface=HIGH - 0.01)
    assert abs(fit.rate.value) < 1e-9
    assert fit.depth > 1e6
    assert not fit.rule_holds
    # which way the last bits of the rate point is chance: each has its words
    rising, falling = (replace(fit, rate=replace(fit.rate, value=value)) for value in (-1e-15, 1e-15))
    assert halving_words(rising) == "The light does not fall with depth here."
    assert halving_words(falling).startswith("The light hardly falls with depth here")


def test_one_plane_under_water_is_too_few():
    """No line through fewer than three points."""
    light = vertical_profile(lower_result(), square(0.15, 0.10))
    assert halving_of(light, bed=0.12, surface=0.15) is None


def lower_result() -> Result:
    return trace(lower(box()), photons=1 << 16).result


# -- the command ------------------------------------------------------------------------------------------------------
def test_the_command_prints_and_writes(tmp_path: Path, capsys):
    """A spot, a zone, a line, a plant and both lids at once."""
    status = main([
        "profile", str(BARE_BOX), "--photons", "65536", "--at", "15 cm, 10 cm", "--zone", "half way up", "--line",
        "2 cm, 10 cm, 28 cm, 10 cm", "--plant-height", "5 cm", "--band", "20", "60", "--with-and-without-lid", "--out",
        str(tmp_path),
    ])  # fmt: skip
    told = " ".join(capsys.readouterr().out.split())
    assert status == 0
    assert "halves" in told
    assert "four inches" in told
    assert "right" in told
    assert "lid takes" in told
    assert {p.name for p in tmp_path.iterdir()} == {"profile.csv", "profile.png", "line.csv", "line.png"}
    with open(tmp_path / "profile.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert {r["lid"] for r in rows} == {"no lid", "with a lid"}
    assert {r["place"] for r in rows} == {"15 cm, 10 cm", "half way up"}
    assert all(float(r["ppfd_umol_m2_s"]) > 0 for r in rows)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--at", "15, 10"], "--at"),
        (["--at", "15 cm"], "--at"),
        (["--at", "5 m, 10 cm"], "outside the tank"),
        (["--zone", "nowhere"], "--zone"),
        (["--spot", "nowhere"], "--spot"),
        (["--line", "1 cm, 1 cm"], "--line"),
        (["--line", "1 cm, 1 cm, 1 cm, 1 cm"], "apart"),
        (["--plant-height", "5"], "--plant-height"),
        (["--plant-height", "50 cm"], "water"),
        (["--band", "20", "10", "--plant-height", "5 cm"], "--band"),
        (["--band", "20", "60"], "--plant-height"),
        (["--photons", "x"], "--photons"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_bad_input_is_refused_in_one_line(arguments, said, tmp_path: Path, capsys):
    """Status 2, one line, nothing traced, nothing written."""
    assert main(["profile", str(BARE_BOX), "--out", str(tmp_path / "out"), *arguments]) == 2
    told = capsys.readouterr()
    assert len(told.err.splitlines()) == 1, told.err
    assert said in told.err
    assert not (tmp_path / "out").exists()
