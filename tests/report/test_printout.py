"""The printed answer: nothing is cut at any width, the numbers are those of the result, and the verdicts close it."""

from __future__ import annotations

import io
import re
from collections import Counter

import pytest
from answered import SCENES, answer
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from underlit.planning.profile import profile_at
from underlit.planning.surfaces import surface_reports
from underlit.planning.vertical_profiles import square
from underlit.planning.zones import Verdict
from underlit.report import numbers
from underlit.report.decisions.profile import AS_IT_IS, WITH_LID, Told, print_profile
from underlit.report.ledger import LOST, REST, as_percentages, light_ledger, with_rest
from underlit.report.printout import (
    assumption_table,
    in_short,
    moves,
    output_console,
    print_answer,
    print_verdicts,
    spot_table,
)
from underlit.report.summary import TANK_KEYS, assumption_entries, light_entry, summarise
from underlit.results.estimate import Estimate
from underlit.scene import load_scene


def printed(width: int) -> str:
    traced, reports = answer()
    console = Console(file=io.StringIO(), width=width, markup=False, highlight=False, emoji=False)
    print_verdicts(console, reports, print_answer(console, traced, reports))
    return console.file.getvalue()  # type: ignore[attr-defined]


def words_of(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", [60, 80, 120, 200])
def test_nothing_is_cut_and_no_line_is_wider_than_the_terminal(width: int) -> None:
    text = printed(width)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "…" not in text
    # Every word of every zone's name is there whole, and so is every key that a scene may say.
    _, reports = answer()
    for report in reports:
        for word in report.name.split():
            assert word in text
    assert "fixture.body_reflectance" in text
    assert "substrate.reflectance" in text


@pytest.mark.parametrize("width", [60, 80, 120])
def test_assumptions_are_printed_to_the_last_letter(width: int) -> None:
    """Rich drops what does not fit: the longest keys, long ranges and the last column are all there."""
    rows = assumption_entries(load_scene(SCENES / "rack-of-three.toml"))
    console = Console(file=io.StringIO(), width=width, markup=False, highlight=False, emoji=False)
    made = assumption_table(rows)
    console.print(made)
    wanted = Counter(c for column in made.columns for text in (column.header, *column.cells) for c in str(text))
    shown = Counter(console.file.getvalue())  # type: ignore[attr-defined]
    assert {c: shown[c] for c in wanted if c.isalnum()} == {c: n for c, n in wanted.items() if c.isalnum()}


def test_a_zone_name_takes_no_more_than_two_lines_at_80_columns() -> None:
    lines = printed(80).splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("shade lovers"))
    assert "too bright" in lines[start] + lines[start + 1]
    assert lines[start + 2].startswith("sun lovers")


def test_names_are_shown_as_they_are() -> None:
    text = printed(120)
    assert "a tank [with] odd :names: in it" in text
    assert "sun lovers [/b]" in text


def test_numbers_in_the_table_are_those_of_the_result() -> None:
    _, reports = answer()
    text = printed(120)
    for report in reports:
        line = next(line for line in text.splitlines() if line.startswith(report.name))
        found = re.search(r"([\d.]+) ± ([\d.]+)\s+([\d.]+)-([\d.]+)", line)
        assert found is not None
        mean, simulation, low, high = (float(f) for f in found.groups())
        assert mean == pytest.approx(report.ppfd.value, abs=0.5)
        assert report.ppfd.half_width <= simulation <= report.ppfd.half_width + 1
        assert (low, high) == pytest.approx((report.tank_low, report.tank_high), rel=0.05)
        assert str(report.verdict) in line


def test_the_answer_closes_with_the_verdicts_in_words() -> None:
    closing = printed(80).split("In short")[1]
    said = words_of(closing)
    assert "too dim: sun lovers [/b]" in said
    assert "too bright: shade lovers, in the very middle of the open bed" in said
    assert "right: content ones" in said
    assert "borderline: on the edge (too dim or right)" in said
    _, reports = answer()
    verdicts = {r.name: r.verdict for r in reports}
    assert verdicts["whole substrate"] is Verdict.NO_TARGET
    assert "whole substrate" not in said


def test_light_on_each_piece_is_told_with_its_error() -> None:
    traced, _ = answer()
    (report,) = surface_reports(traced.lowered, traced.result)
    line = next(line for line in printed(80).splitlines() if line.startswith("stone: emitted") and "±" in line)
    mean, simulation = (float(f) for f in re.findall(r"[\d.]+", line)[:2])
    assert mean == pytest.approx(report.upper.value, abs=0.5)
    assert simulation >= report.upper.half_width


def test_without_any_band_the_answer_says_how_to_get_a_verdict() -> None:
    _, reports = answer()
    (line,) = in_short(reports[:1])
    assert "`need` or a `band`" in line.plain


def test_the_printed_ledger_adds_to_100() -> None:
    text = printed(80)
    table = text.split("where the light goes")[1].split("total")
    shares = [round(10 * float(line.split()[-1])) for line in table[0].splitlines() if re.search(r"\d\.\d$", line)]
    assert sum(shares) == 1000
    assert table[1].split()[0] == "100.0"
    assert LOST in table[0]


def test_a_piece_named_like_a_line_of_the_ledger_keeps_its_own() -> None:
    traced, _ = answer()
    names = [name for name, _ in light_ledger(traced.result)]
    assert "stone: emitted" in names
    assert len(set(names)) == len(names)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=40), st.integers(0, 3))
def test_percentages_always_add_to_exactly_100(shares: list[float], digits: int) -> None:
    lines = [(f"line {i}", share) for i, share in enumerate(shares)]
    units = [round(p * 10**digits) for _, p in as_percentages(lines, digits)]
    assert sum(units) == (100 * 10**digits if sum(shares) > 0 else 0)
    total = sum(shares)
    if total > 1e-6:
        for unit, share in zip(units, shares, strict=True):
            assert abs(unit / 10**digits - 100 * share / total) <= 1 / 10**digits + 1e-9


def test_small_lines_are_taken_together_but_never_the_lost() -> None:
    lines = [("a", 0.9993), ("b", 0.0004), ("c", 0.0002), ("d", 0.0001), (LOST, 0.0)]
    kept = with_rest(lines)
    assert [name for name, _ in kept] == ["a", REST, LOST]
    assert kept[1][1] == pytest.approx(0.0007)
    assert as_percentages(kept) == [("a", 99.9), (REST, 0.1), (LOST, 0.0)]
    one_small = [("a", 0.9999), ("b", 0.0001), (LOST, 0.0)]
    assert with_rest(one_small) == one_small


@pytest.mark.parametrize(
    ("value", "half_width", "text"),
    [(43.81, 0.19, "43.81 ± 0.19"), (43.81, 0.2, "43.81 ± 0.20"), (28.2, 0.011, "28.20 ± 0.02"), (112.4, 3.1, "112.4 ± 3.1"),
     (112.4, 12.3, "112 ± 13"), (112.4, 9.93, "112 ± 10"), (43.8, 0.993, "43.8 ± 1.0"), (5.0, 0.0, "5.0 ± 0.0"),
     (70.0, float("inf"), "70.0 ± ?"), (float("nan"), 1.0, "-")],
)  # fmt: skip
def test_a_value_and_its_error_end_at_the_same_place(value: float, half_width: float, text: str) -> None:
    assert numbers.with_error(value, half_width) == text
    assert numbers.with_error(value, half_width, value - half_width, value + half_width) == text


@given(st.floats(0, 1e4), st.floats(0, 1e3))
def test_an_error_is_printed_to_two_figures_and_never_smaller_than_it_is(value: float, half_width: float) -> None:
    shown = float(numbers.with_error(value, half_width).split(" ± ")[1])
    assert half_width - 1e-8 <= shown <= max(1.11 * half_width, half_width + 0.0101)


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.0, 0.382, "< 0.39"), (0.0, 3.2, "< 3.2"), (0.0, 12.3, "< 13"), (0.213, 1.31, "0.2-1.4"), (0.213, 0.47, "0.21-0.47"),
     (0.02, 1.31, "< 1.4"), (21.3, 47.2, "21-48")],
)  # fmt: skip
def test_few_hits_are_told_as_an_interval_or_an_upper_bound(low: float, high: float, text: str) -> None:
    value = low + 0.3 * (high - low) if low else 0.0
    assert numbers.with_error(value, high - value, low, high) == text


def test_a_place_without_light_counted_is_told_in_words() -> None:
    assert numbers.known_to("corner", 0.064) == "corner ± 6.4 %"
    assert numbers.known_to("corner", float("inf")) == "corner, where too little light has been counted to tell"


def test_an_upper_bound_is_printed_from_the_summary_too() -> None:
    nothing = Estimate(0.0, 0.0, 15.0, 0.13)
    entry = light_entry(nothing)
    spot = {"name": "cave", "in_its_tank_m": [0.1, 0.1, 0.1], **dict.fromkeys(TANK_KEYS, 0.0), **entry}
    console = Console(file=io.StringIO(), width=80)
    console.print(spot_table([spot]))
    assert "< 0.39" in console.file.getvalue()  # type: ignore[attr-defined]
    assert numbers.estimated(nothing) == "< 0.39"


@pytest.mark.parametrize("brighter", [1.0, 40.0])
def test_a_profile_with_and_without_a_lid_has_one_line_a_height_at_80_columns(brighter: float) -> None:
    traced, _ = answer()
    bright = traced.result.dimmed(dict.fromkeys(traced.result.compiled.sources, brighter))
    made = profile_at(traced.lowered, bright, "centre", square(0.15, 0.1))
    told = Told("", (AS_IT_IS, WITH_LID), ((made, made),), (), None)
    console = Console(file=io.StringIO(), width=80, markup=False, highlight=False)
    print_profile(console, told)
    table = console.file.getvalue().split("─\n")[1].split("\n  ")[0]  # type: ignore[attr-defined]
    heights = made.light.heights
    assert len(table.splitlines()) == len(heights)
    assert all(f"{100 * (h - made.bed):.1f} (" in table for h in heights)


def test_moves() -> None:
    assert moves((-0.15, 0.15)) == "± 15 %"
    assert moves((-0.1, 0.0)) == "-10 to 0 %"
    assert moves((-0.006, 0.006)) == "± 0.6 %"
    assert moves(None) == "-"


def test_widths_of_what_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    assert output_console().width == 100
    monkeypatch.setenv("COLUMNS", "72")
    assert output_console().width == 72
    monkeypatch.setenv("COLUMNS", "20")
    assert output_console().width == 60


def test_the_decision_stands_in_the_first_three_lines_and_at_the_end() -> None:
    """After the title; the words are those of the summary, whole at any width."""
    traced, _ = answer()
    sentence = summarise(traced)["decision"]["sentence"]
    lines = printed(120).splitlines()
    assert lines[1].startswith(sentence[:60])
    assert words_of(printed(80)).startswith(words_of(f"{traced.lowered.scene.title} {sentence}"))
    assert words_of(printed(80)).endswith(sentence)


def test_each_zone_with_a_band_says_where_it_is_right() -> None:
    traced, _ = answer()
    text = printed(120)
    for zone in summarise(traced)["decision"]["zones"]:
        line = next(line for line in text.splitlines() if line.startswith(zone["name"]))
        assert zone["right_at"] in line
