"""The app as visitors use it, in headless Chromium."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import (
    BED_MEAN,
    PATIENCE_MS,
    VIEW,
    bed_mean,
    change,
    choose,
    go_dark,
    middle_of,
    open_card,
    open_files,
    stand_still,
    use_text,
    violations,
    visit,
    visitor,
    wait_for_light,
    wait_until_kept,
)

TETRAHEDRON = b"""solid t
facet normal 0 0 1
outer loop
vertex 0 0 0
vertex 40 0 0
vertex 0 40 0
endloop
endfacet
facet normal 0 0 1
outer loop
vertex 0 0 0
vertex 0 0 40
vertex 40 0 0
endloop
endfacet
facet normal 0 0 1
outer loop
vertex 0 0 0
vertex 0 40 0
vertex 0 0 40
endloop
endfacet
facet normal 0 0 1
outer loop
vertex 40 0 0
vertex 0 0 40
vertex 0 40 0
endloop
endfacet
endsolid t
"""


def test_guided_start_to_verdict(browser: Any, empty: Any) -> None:
    """Someone with no scene answers a few questions and reads a verdict; what nobody answered is shown as assumed."""
    with visit(browser, empty.address) as page:
        page.get_by_role("button", name="Show the light").click()
        page.get_by_text("Choose a tank").wait_for()
        choose(page, "Which tank?", "40 breeder")
        choose(page, "What will grow in front?", "medium plants")
        page.get_by_label("Watts", exact=True).fill("24")
        page.get_by_role("button", name="Show the light").click()
        wait_for_light(page)
        words = page.locator(".verdict").all_inner_texts()
        assert any(word in {"too dim", "right", "borderline", "too bright"} for word in words)
        assert "in front" in page.locator(".zones .numbers").inner_text()
        assert re.match(r"(Set|Leave) the .* (to|at) \d+ %", page.locator(".decision").inner_text())
        height = page.get_by_label("Height above the rim (cm)")
        field = page.locator(".q-field", has=height)
        assert height.input_value() == "5"
        assert "assumed" in field.inner_text()
        height.fill("9")
        field.get_by_text("assumed").wait_for(state="detached")


def test_raising_the_light_dims_the_substrate_and_can_be_undone(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        before = bed_mean(page)
        page.get_by_label("Height above the rim (cm)").first.fill("25")
        page.wait_for_function(f"() => {BED_MEAN} < 0.8 * {before}")
        page.get_by_role("button", name="Undo").click()
        page.wait_for_function(f"() => Math.abs(({BED_MEAN}) / {before} - 1) < 0.05")


def test_dragging_a_fixture_moves_it(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        field = page.get_by_label("From the front (cm)").first
        before = field.input_value()
        top = "((b) => b.getCenter(b.min.clone()).setZ(b.max.z))(v.items['fixture:0'][0].geometry.boundingBox)"
        at = middle_of(page, top)
        page.mouse.move(*at)
        page.mouse.down()
        page.mouse.move(at[0], at[1] + 30, steps=4)
        page.mouse.up()
        page.wait_for_function(
            "before => [...document.querySelectorAll('input[aria-label=\"From the front (cm)\"]')][0].value !== before",
            arg=before,
        )
        assert float(field.input_value()) < float(before)


def test_dimming_is_arithmetic_in_the_page(browser: Any, served: Any) -> None:
    """Half the light at once, before anything is traced or sent."""
    with visit(browser, served.address) as page:
        wait_for_light(page)
        full, half = page.evaluate(  # in one go: a picture with more photons may come at any time
            f"() => {{ const full = {BED_MEAN}; {VIEW}.slide('fixture.0.dimming', 0.5); return [full, {BED_MEAN}]; }}"
        )
        assert half == pytest.approx(0.5 * full, rel=1e-5)


def test_light_that_comes_while_a_hand_dims_is_dimmed(browser: Any, served: Any) -> None:
    """A picture says the level that it was sent with; a hand on the dimmer, or a level said while it was on its way, holds."""
    with visit(browser, served.address) as page:
        wait_for_light(page)
        slid, said, last = page.evaluate(
            f"""async () => {{
              const v = {VIEW}; const at = v.wantedLight;
              const all = (share) => Object.fromEntries(v.sources.map((s) => [s, share]));
              const after = async (act) => {{
                for (let k = 0; ; k++) {{ // again where the server's next picture came between
                  const mine = `${{at}}-again-${{k}}`;
                  const coming = v.light(mine, all(1));
                  act();
                  await coming;
                  if (v.wantedLight === mine) return {BED_MEAN};
                }}
              }};
              v.slide("fixture.0.dimming", 0.5);
              const slid = await after(() => {{}});
              const said = await after(() => v.dim(all(0.25)));
              v.dim(all(1));
              return [slid, said, {BED_MEAN}];
            }}"""
        )
        assert slid == pytest.approx(0.5 * last, rel=0.05)
        assert said == pytest.approx(0.25 * last, rel=0.05)


def test_dimming_by_the_keyboard_is_kept(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        page.get_by_role("slider", name="Dimming, percent").first.focus()
        for _ in range(10):
            page.keyboard.press("ArrowLeft")
        wait_until_kept(served, "dimming = 0.9")
        page.reload()
        wait_for_light(page)
        assert "90 %" in open_card(page, "Light").inner_text()


def test_a_click_drops_a_reading_spot(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        bed = "Object.values(v.meshes).find(m => m.userData.role === 'bed').geometry.boundingBox"
        aside = "new v.camera.position.constructor(0.05, -0.05, 0)"
        page.mouse.click(*middle_of(page, f"((b) => b.getCenter(b.min.clone()).add({aside}))({bed})"))
        page.wait_for_function(
            "() => document.body.innerText.includes('spot 1') || document.querySelector('details input[value=\"spot 1\"]')"
        )
        assert open_card(page, "Zones and reading spots").get_by_text("spot 1").first.is_visible()


def test_a_reading_spot_by_the_keyboard(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        card = open_card(page, "Zones and reading spots")
        card.get_by_role("button", name="Add a reading spot in the middle").press("Enter")
        card.get_by_text("spot 1").first.wait_for()


def test_an_upright_section_turns_and_is_dragged(browser: Any, served: Any) -> None:
    """Any angle about the vertical; dragged along its normal it moves, and the spot that a click would drop is not dropped."""
    with visit(browser, served.address) as page:
        wait_for_light(page)
        choose(page, "Light in the water", "vertical section")
        page.get_by_label("Angle (deg)").first.fill("30")
        page.wait_for_function(
            f"() => {VIEW}.section.visible && Math.abs({VIEW}.options.plane.angle - Math.PI / 6) < 1e-6"
        )
        at = middle_of(page, "v.section.position.clone()")
        before = page.evaluate(f"{VIEW}.options.plane.at")
        page.mouse.move(*at)
        page.mouse.down()
        page.mouse.move(at[0] - 30, at[1] + 20, steps=4)
        page.mouse.up()
        assert abs(page.evaluate(f"{VIEW}.options.plane.at") - before) > 0.02
        change(page, "Title", "after the drag")  # what the drag told the server was heard before this
        assert page.get_by_role("button", name="Remove spot 1").count() == 0


def test_two_variants_side_by_side(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        page.get_by_role("button", name="Copy to tank B to compare").click()
        page.get_by_role("button", name="Tank B", exact=True).and_(page.locator('[aria-pressed="true"]')).wait_for()
        page.get_by_label("Height above the rim (cm)").first.fill("25")
        page.get_by_text(re.compile(r"Tank B against Tank A: dims")).wait_for()


def test_saving_keeps_comments(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        change(page, "Height above the rim (cm)", "9")
        with page.expect_download(timeout=PATIENCE_MS) as saved:
            open_files(page, "Save the scene")
        text = Path(saved.value.path()).read_text(encoding="utf-8")
        assert 'above_rim = "9 cm"' in text
        assert "# A small bare tank with one little light" in text


def test_a_mesh_is_brought(browser: Any, served: Any, tmp_path: Path) -> None:
    mesh = tmp_path / "pyramid.stl"
    mesh.write_bytes(TETRAHEDRON)
    with visit(browser, served.address) as page:
        wait_for_light(page)
        open_files(page, "Open or upload a file ...")
        page.locator("input[type=file]").set_input_files(mesh)
        page.get_by_text("pyramid is in the middle of the tank").wait_for()
        named = "(mesh) => mesh.userData.name === 'pyramid'"
        page.wait_for_function(f"() => Object.values({VIEW}.meshes ?? {{}}).some({named})")


def test_what_is_wrong_is_said_and_nothing_is_lost(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        use_text(page, '[tank]\ninside_size = ["30 cm", "20 cm"]\n')
        page.locator(".q-notification").first.wait_for()
        assert "Line 2" in page.locator(".q-notification").first.inner_text()
        page.get_by_role("button", name="Close").last.click()
        page.keyboard.press("Escape")
        assert page.get_by_label("Title").input_value() == "30 x 20 x 20 cm bare tank"


def test_two_visitors_do_not_see_each_other(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as one, visit(browser, served.address) as other:
        wait_for_light(one)
        wait_for_light(other)
        change(one, "Title", "mine alone")
        other.reload()
        wait_for_light(other)
        assert other.get_by_label("Title").input_value() == "30 x 20 x 20 cm bare tank"
        one.reload()
        wait_for_light(one)
        assert one.get_by_label("Title").input_value() == "mine alone"


def test_no_request_leaves_the_machine(browser: Any, served: Any) -> None:
    context = visitor(browser)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(served.address)
    wait_for_light(page)
    page.get_by_role("button", name="Files").click()
    context.close()
    assert asked
    assert all(url.startswith((served.address, "data:", "blob:")) for url in asked), set(asked)


@pytest.mark.parametrize("size", [(1280, 800), (820, 1180)], ids=["laptop", "tablet"])
def test_axe_finds_nothing(browser: Any, served: Any, size: tuple[int, int]) -> None:
    """Every section open, then each dialog, in both themes: rules of axe-core on the whole page."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with visit(browser, served.address, *size) as page:
        wait_for_light(page)
        for card in page.locator("details.card").all():
            card.evaluate("card => { card.open = true; }")
        for dark in (False, True):
            if dark:
                go_dark(page)
            assert not violations(axe, page), dark
            for dialog in ("New tank ...", "Open or upload a file ...", "Edit the scene as text ..."):
                open_files(page, dialog)
                page.locator(".q-dialog .q-card").wait_for()
                stand_still(page)
                assert not violations(axe, page), (dialog, dark)
                page.get_by_role("button", name=re.compile("Cancel|Close")).locator("visible=true").last.click()
                page.locator(".q-dialog .q-card").wait_for(state="hidden")
                stand_still(page)
