"""The app's sections of heavy work, in headless Chromium, with few photons: readings and fit, suggestions, maps, papers."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import SCENES, choose, go_dark, open_card, serve, stand_still, violations, visit, wait_for_light

PATIENCE_MS = 300_000
"""For heavy work on a busy machine; nothing here is timed."""
READINGS, DAY = "Meter readings", "Daily light (DLI) and running cost"
SUGGEST, PLANTS, REPORT = "How should I set it?", "Where can each plant grow?", "Report"


def read(page: Any, card: Any, value: str, left: str = "", front: str = "") -> None:
    """Type one reading in: at the scene's spot, or at a place."""
    choose(page, "Where", "another place" if left else "centre", card)
    if left:
        card.get_by_label("From the left (cm)").fill(left)
        card.get_by_label("From the front (cm)").fill(front)
    card.get_by_label("The meter shows").fill(value)
    before = card.get_by_role("button", name=re.compile("Remove reading")).count()
    card.get_by_role("button", name="Add the reading").click()
    card.get_by_role("button", name=f"Remove reading {before + 1}", exact=True).wait_for()


def test_readings_are_fitted_and_the_corrected_tank_stands_beside(browser: Any, quick: Any) -> None:
    """The lamp gives twice what is written: the fit finds so, and tank B is twice as bright. The readings outlive a reload."""
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, READINGS)
        read(page, card, "54")
        for value, left, front in (("44", "8", "6"), ("43", "22", "14"), ("50", "15", "5")):
            read(page, card, value, left, front)
        page.reload()
        wait_for_light(page)
        card = open_card(page, READINGS)
        assert card.get_by_role("button", name=re.compile("Remove reading")).count() == 4
        card.get_by_role("button", name="Fit the tank to the readings").click()
        card.locator("img").wait_for(timeout=PATIENCE_MS)
        said = card.inner_text()
        assert "output of clip light" in said
        assert re.search(r"4 readings used|3 readings used, 1 set aside", said)
        assert "Best next reading" in said
        card.get_by_role("button", name="Use the corrected tank as tank B").click()
        told = page.get_by_text(re.compile(r"Tank B against Tank A: brightens"))
        told.wait_for(timeout=PATIENCE_MS)
        low, high = re.search(r"whole bed from ([\d.]+) to ([\d.]+)", told.inner_text()).groups()  # type: ignore[union-attr]
        assert float(high) / float(low) == pytest.approx(1.85, rel=0.2)
        page.get_by_role("button", name="Tank B", exact=True).click()
        page.get_by_role("button", name="Tank A", exact=True).and_(page.locator('[aria-pressed="false"]')).wait_for()
        text = open_card(page, READINGS).inner_text()
        assert "Outdated: the tank has changed since." in text


def test_a_reading_in_the_open_is_typed_in(browser: Any, quick: Any) -> None:
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, READINGS)
        choose(page, "Where", "in the open, below clip light", card)
        card.get_by_label("Below the middle of the light (cm)").fill("30")
        card.get_by_label("The meter shows").fill("60")
        card.get_by_role("button", name="Add the reading").click()
        card.get_by_role("button", name="Remove reading 1", exact=True).wait_for()
        said = card.inner_text()
        assert "in the open, below clip light, 30 cm below it" in said
        assert "in air" in said


def test_what_is_wrong_with_a_reading_is_said_in_one_line(browser: Any, quick: Any) -> None:
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, READINGS)
        card.get_by_role("button", name="Fit the tank to the readings").click()
        page.get_by_text("There is no reading yet").wait_for()
        choose(page, "Where", "another place", card)
        card.get_by_label("From the left (cm)").fill("80")
        card.get_by_label("From the front (cm)").fill("5")
        card.get_by_label("The meter shows").fill("40")
        card.get_by_role("button", name="Add the reading").click()
        told = page.get_by_text("from the left: must lie inside the tank, 0 to 30.0 cm (got '80.0 cm')")
        told.wait_for()
        assert len(told.inner_text().splitlines()) == 1
        assert card.get_by_role("button", name=re.compile("Remove reading")).count() == 0


def test_a_suggestion_is_tried_beside(browser: Any, quick: Any) -> None:
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, SUGGEST)
        card.get_by_label("Lowest above the rim (cm)").fill("50")
        card.get_by_role("button", name="Suggest settings").click()
        page.get_by_text("The lowest height is above the highest").wait_for()
        card.get_by_label("Lowest above the rim (cm)").fill("2")
        card.get_by_label("Most lights of one kind").fill("1")
        card.get_by_role("button", name="Suggest settings").click()
        card.locator("img").wait_for(timeout=PATIENCE_MS)
        assert "now: as it is" in card.inner_text()
        card.get_by_role("button", name="Try suggestion 1 as tank B").click()
        page.get_by_text(re.compile(r"Tank B against Tank A")).wait_for(timeout=PATIENCE_MS)


def test_work_can_be_stopped(browser: Any, served: Any) -> None:
    """With all its photons, so that it is still at work when it is stopped."""
    with visit(browser, served.address) as page:
        wait_for_light(page)
        card = open_card(page, SUGGEST)
        card.get_by_role("button", name="Suggest settings").click()
        card.get_by_role("button", name="Stop: Suggest settings").click()
        card.get_by_text("stopped", exact=True).wait_for(timeout=PATIENCE_MS)
        assert card.get_by_role("button", name="Suggest settings", exact=True).is_enabled()


def test_where_plants_would_do(browser: Any, quick: Any) -> None:
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, PLANTS)
        card.get_by_role("button", name="Show where they can grow").click()
        card.locator("img").wait_for(timeout=PATIENCE_MS)
        words = card.locator("tbody tr", has_text="demanding").last.inner_text()
        assert "nowhere" in words, "a 1.3 W lamp grows nothing demanding"


def test_the_report_needs_nothing_else(browser: Any, quick: Any) -> None:
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, REPORT)
        card.get_by_label("Price per kWh").fill("0.3")
        with page.expect_download(timeout=PATIENCE_MS) as saved:
            card.get_by_role("button", name="Download the report").click()
        assert saved.value.suggested_filename == "30-x-20-x-20-cm-bare-tank-report.html"
        html = Path(saved.value.path()).read_text(encoding="utf-8")
        assert "half way up" in html
        assert "0.3 a kWh" in html
        named = re.findall(r"""(?:src|href)=["']([^"']{1,40})""", html)
        assert named
        assert all(address.startswith(("data:", "#")) for address in named)
        assert "url(http" not in html


def test_day_card_and_sheet(browser: Any, quick: Any) -> None:
    """8 h at 28 umol/m2/s are 0.81 mol/m2; a new tank gets 6 h at 50-60 % of that: 0.30 to 0.36."""
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        card = open_card(page, DAY)
        row = card.locator("tbody tr", has_text="whole bed")
        row.wait_for()
        cells = row.locator("td").all_inner_texts()
        low, high = (float(v) for v in cells[0].split("-"))
        settled = float(cells[2])
        assert low == pytest.approx(0.5 * 6 / 8 * settled, abs=0.01)
        assert high == pytest.approx(0.6 * 6 / 8 * settled, abs=0.01)
        for button, where in ((re.compile("^Settings card"), DAY), (re.compile("^Reading sheet"), READINGS)):
            with page.expect_download(timeout=PATIENCE_MS) as saved:
                open_card(page, where).get_by_role("button", name=button).click()
            assert Path(saved.value.path()).read_bytes().startswith(b"%PDF")


def test_axe_finds_nothing_in_these_sections(browser: Any, quick: Any) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with visit(browser, quick.address) as page:
        wait_for_light(page)
        for title in (DAY, SUGGEST, PLANTS, READINGS, REPORT):
            open_card(page, title)
        read(page, open_card(page, READINGS), "40")
        for title, button in ((PLANTS, "Show where they can grow"), (READINGS, "Fit the tank to the readings")):
            open_card(page, title).get_by_role("button", name=button).click()
            open_card(page, title).locator("img").wait_for(timeout=PATIENCE_MS)
        for dark in (False, True):
            if dark:
                go_dark(page)
            stand_still(page)
            assert not violations(axe, page), dark
            open_card(page, PLANTS).get_by_role("button", name="Enlarge").click()
            page.locator(".q-dialog img").wait_for()
            stand_still(page)
            assert not violations(axe, page), dark
            page.locator(".q-dialog").get_by_role("button", name="Close").click()
            page.locator(".q-dialog img").wait_for(state="hidden")


def test_a_tank_of_a_rack_is_chosen(browser: Any, tmp_path: Path) -> None:
    """Readings, fit, sheet and suggestions are those of the tank that is chosen; the corrected rack is whole."""
    app = serve(tmp_path, SCENES / "rack-of-three.toml", "--effort", "0.02")
    try:
        with visit(browser, app.address) as page:
            wait_for_light(page)
            card = open_card(page, READINGS)
            choose(page, "Tank of the rack", "right, tea-stained", card)
            choose(page, "Where", "middle", card)
            for value in ("11", "12"):
                card.get_by_label("The meter shows").fill(value)
                card.get_by_role("button", name="Add the reading").click()
                card.get_by_role("cell", name=value, exact=True).wait_for()
            choose(page, "Tank of the rack", "left, round", card)
            card.get_by_role("button", name=re.compile("Remove reading")).first.wait_for(state="detached")
            choose(page, "Tank of the rack", "right, tea-stained", card)
            card.get_by_role("button", name="Fit the tank to the readings").click()
            card.locator("img").wait_for(timeout=PATIENCE_MS)
            said = card.inner_text()
            assert "Tank of the rack: right, tea-stained" in said
            assert "output of three 30 cm tanks under one light: shelf light" in said
            with page.expect_download(timeout=PATIENCE_MS) as saved:
                card.get_by_role("button", name="Reading sheet to take to the tank (PDF)", exact=True).click()
            assert Path(saved.value.path()).read_bytes()[:4] == b"%PDF"
            card.get_by_role("button", name="Use the corrected tank as tank B").click()
            page.get_by_text(re.compile(r"Tank B against Tank A")).wait_for(timeout=PATIENCE_MS)
            card = open_card(page, SUGGEST)
            card.get_by_role("checkbox", name="Only the dimmers").click()
            card.get_by_role("button", name="Suggest settings").click()
            card.get_by_text(re.compile("(Set|Leave) the shelf light (to|at)")).first.wait_for(timeout=PATIENCE_MS)
            choose(page, "Tank of the rack", "left, round", card)
            card.get_by_role("button", name="Suggest settings").click()
            card.get_by_text(re.compile("its light belongs to")).wait_for(timeout=PATIENCE_MS)
    finally:
        app.stop()
