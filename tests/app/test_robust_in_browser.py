"""What goes wrong in a browser or between it and the server is said in words, and the work goes on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import SCENES, VIEW, bed_mean, free_port, serve, use_text, visit, visitor, wait_for_light, wait_until_kept

from underlit.app.document import adopted

NO_WEBGL = (
    "const real = HTMLCanvasElement.prototype.getContext; HTMLCanvasElement.prototype.getContext ="
    " function (kind, ...rest) { return kind.startsWith('webgl') ? null : real.call(this, kind, ...rest); };"
)


def test_without_webgl_the_numbers_still_hold(browser: Any, served: Any) -> None:
    context = visitor(browser)
    context.add_init_script(NO_WEBGL)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(served.address)
    page.get_by_text("this browser cannot draw 3D").first.wait_for()
    wait_for_light(page)
    assert page.locator(".verdict").first.is_visible()
    before = bed_mean(page)
    page.get_by_role("slider", name="Dimming, percent").first.fill("50")
    page.get_by_text("50 %").first.wait_for()
    assert bed_mean(page) < 0.7 * before
    context.close()
    assert not wrong


def test_a_lost_picture_is_said_and_comes_back(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        page.evaluate(
            "() => { const view = document.querySelector('.tank-view').tankView;"
            " window.taken = view.renderer.getContext().getExtension('WEBGL_lose_context'); window.taken.loseContext(); }"
        )
        page.get_by_text("The picture was lost").wait_for()
        page.evaluate("() => window.taken.restoreContext()")
        page.get_by_text("The picture was lost").wait_for(state="hidden")


def test_a_restarted_server_is_found_again(browser: Any, tmp_path: Path) -> None:
    """Work survives a reload and a restart: the page says that it lost the server, and goes on when the server is back."""
    port = free_port()
    app = serve(tmp_path, SCENES / "bare-box.toml", port=port)
    context = visitor(browser)
    page = context.new_page()
    try:
        page.goto(app.address)
        wait_for_light(page)
        page.get_by_label("Height above the rim (cm)").first.fill("17")
        wait_until_kept(app, 'above_rim = "17 cm"')
        page.reload()
        wait_for_light(page)
        assert page.get_by_label("Height above the rim (cm)").first.input_value() == "17"
        app.stop()
        page.get_by_text("Connection lost").wait_for()
        app = serve(tmp_path, SCENES / "bare-box.toml", port=port)
        page.get_by_text("Connection lost").wait_for(state="hidden")
        page.wait_for_function("() => document.querySelector('.tank-view')?.tankView?.lights")
        field = page.get_by_label("Height above the rim (cm)").first
        assert field.input_value() == "17"
        field.fill("16")
        wait_until_kept(app, 'above_rim = "16 cm"')
        page.reload()
        wait_for_light(page)
        assert page.get_by_label("Height above the rim (cm)").first.input_value() == "16"
    finally:
        context.close()
        app.stop()


def test_a_cleared_number_shows_again_what_holds(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        field = page.get_by_label("Height above the rim (cm)").first
        held = field.input_value()
        field.fill("")
        page.keyboard.press("Tab")
        page.wait_for_function(
            "held => document.querySelector('input[aria-label=\"Height above the rim (cm)\"]').value === held", arg=held
        )
        for label in ("Contours every", "Scale up to"):
            page.get_by_label(label).fill("")
        page.wait_for_function(f"() => {VIEW}.options.contours === 0")
        page.get_by_label("Contours every").fill("10")
        page.wait_for_function(f"() => {VIEW}.options.contours === 10")


@pytest.mark.parametrize("name", ["bow-front", "wide-tank-two", "under-the-wood"])
def test_every_kind_of_tank_is_shown_whole(browser: Any, empty: Any, tmp_path: Path, name: str) -> None:
    with visit(browser, empty.address) as page:
        page.get_by_role("button", name="Cancel").click()
        use_text(page, adopted(SCENES / f"{name}.toml", tmp_path))
        _look_at(page)


def test_a_rack_is_shown_whole(browser: Any, tmp_path: Path) -> None:
    app = serve(tmp_path, SCENES / "rack-of-three.toml")
    try:
        with visit(browser, app.address) as page:
            _look_at(page)
    finally:
        app.stop()


def _look_at(page: Any) -> None:
    """Every corner of what is drawn lies within the picture, every coloured face has a value or none, zones lie on the bed."""
    wait_for_light(page)
    found = page.evaluate(_LOOK)
    assert found["outside"] <= 1.0, "cut off"
    assert found["outside"] > 0.6, "lost in its picture"
    assert found["meshes"] >= 5
    assert found["wrong"] == []
    assert found["zones"] > 0


_LOOK = """() => {
  const v = document.querySelector('.tank-view').tankView;
  let outside = 0; const wrong = [];
  const { min, max } = v.bounds;
  for (const x of [min.x, max.x]) for (const y of [min.y, max.y]) for (const z of [min.z, max.z]) {
    const p = min.clone().set(x, y, z).project(v.camera);
    outside = Math.max(outside, Math.abs(p.x), Math.abs(p.y));
  }
  for (const mesh of Object.values(v.meshes)) {
    if (!mesh.userData.valued) continue;
    const light = mesh.geometry.attributes.light.array;
    const corners = mesh.geometry.attributes.position.count;
    const sane = light.length === corners && [...light].every((x) => x >= -1 && x < 1e5) && light.some((x) => x > 0);
    if (!sane) wrong.push(mesh.userData.name);
  }
  return { outside, wrong, meshes: Object.keys(v.meshes).length, zones: v.groups.zones.children.length };
}"""
