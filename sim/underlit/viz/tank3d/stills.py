"""The picture of the tank: glass, water, fixture, and all that grows or stands in it coloured by PPFD."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.lowering.records import Role
from underlit.results.result import Result
from underlit.viz.figures import Canvas, write_png
from underlit.viz.overlay import Overlay
from underlit.viz.palette import INK, ROLE_COLOURS, SCREEN_DPI, SOFT_INK, both_units, colour_map
from underlit.viz.tank3d.gl import use_offscreen, why_no_gl
from underlit.viz.tank3d.tank_scene import (
    GLASS_EDGE,
    GLASS_RIM,
    WATER_LINE,
    TankScene,
    add_solids,
    add_values,
    aim_camera,
    build_scene,
    curved_panes,
    edges_of,
    is_glass_brace,
    rim_of,
)

if TYPE_CHECKING:
    import pyvista
    from matplotlib.figure import Figure

BACKGROUND = (244, 246, 246)
_KEY = (255, 0, 255)
"""Background of the pass of solid things: what still has it is seen through."""

GLASS_BRACE = 0.3
"""Opacity of a brace of glass, which would not be seen before the panes' own."""
_FINE = 2
"""Pictures are drawn this many times larger and averaged down: smooth edges, exact colours inside."""


def write_still(result: Result, overlay: Overlay, path: str | Path, size: tuple[int, int] = (1400, 900)) -> str | None:
    """Draw the tank and write it as PNG. Returns None, or one line that says why no picture could be made.

    size: of the drawing [pixels], margins, title and colour bar not counted. Raises OSError where it cannot be written.
    """
    missing = why_no_gl()
    if missing is not None:
        return missing
    scene = build_scene(result)
    write_png(_compose(render(scene, size), scene, result, overlay), path)
    return None


def render(scene: TankScene, size: tuple[int, int]) -> np.ndarray:
    """The tank as (height, width, 3) uint8.

    Two passes: solid things with the values' exact colours, and behind them, only where nothing solid is, clear glass
    and water. So no tint lies over a colour that means a value.
    """
    use_offscreen()
    large = (size[0] * _FINE, size[1] * _FINE)
    solid = _solid_pass(scene, large)
    clear = _clear_pass(scene, large)
    empty = np.all(solid == _KEY, axis=2)
    solid[empty] = clear[empty]
    fine = solid.reshape(size[1], _FINE, size[0], _FINE, 3).astype(np.uint16)
    return np.asarray((fine.sum(axis=(1, 3)) / _FINE**2 + 0.5).astype(np.uint8))


def _plotter(size: tuple[int, int], background: tuple[int, int, int]) -> Any:
    import pyvista

    # its decorated methods hide their signatures from the type checker
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=list(size), lighting="light kit")
    plotter.set_background("#{:02x}{:02x}{:02x}".format(*background))
    # Multisampling would blend the background into edges (and make clear things vanish): averaging does it better.
    plotter.disable_anti_aliasing()
    return plotter


def _shot(plotter: pyvista.Plotter, scene: TankScene) -> np.ndarray:
    aim_camera(plotter, scene.bounds())
    plotter.render()
    image = np.array(plotter.screenshot(None, return_img=True))[:, :, :3]
    plotter.close()
    return image


def _solid_pass(scene: TankScene, size: tuple[int, int]) -> np.ndarray:
    plotter = _plotter(size, _KEY)
    add_values(plotter, scene)
    add_solids(plotter, scene)
    # Lines where a body ends against what is behind it: they keep its shape readable without any shading.
    aim_camera(plotter, scene.bounds())
    for mesh, data in scene.valued:
        if mesh.role in (Role.WOOD, Role.STONE):
            plotter.add_silhouette(data, color=INK, line_width=1.1 * _FINE, feature_angle=None)
    curved = curved_panes(scene)
    if curved is not None:
        plotter.add_silhouette(curved, color=GLASS_EDGE, line_width=1.1 * _FINE, feature_angle=None)
    rim = rim_of(scene)
    if rim is not None:
        plotter.add_mesh(rim, color=GLASS_RIM, lighting=False)
    for roles, colour, width in (
        ((Role.SHELL,), GLASS_EDGE, 1.1), ((Role.WATER,), WATER_LINE, 1.4), ((Role.LID,), "#5f7f8a", 1.3),
        ((Role.FIXTURE, Role.FRAME), "#15181a", 0.9), ((Role.HOOD,), ROLE_COLOURS[Role.HOOD], 1.2),
        ((Role.BACKING,), ROLE_COLOURS[Role.BACKING], 0.9),
    ):  # fmt: skip
        lines = edges_of(scene.of(*roles))
        if lines is not None:
            plotter.add_mesh(lines, color=colour, line_width=width * _FINE, lighting=False)
    return _shot(plotter, scene)


def _clear_pass(scene: TankScene, size: tuple[int, int]) -> np.ndarray:
    plotter = _plotter(size, BACKGROUND)
    for role, opacity in (
        (Role.SHELL, 0.07), (Role.WATER, 0.30), (Role.LID, 0.28), (Role.HOOD, 0.25), (Role.BACKING, 0.55),
    ):  # fmt: skip
        for mesh, data in scene.of(role):
            seen = GLASS_BRACE if is_glass_brace(mesh) else opacity
            plotter.add_mesh(data, color=ROLE_COLOURS[role], opacity=seen, lighting=False)
    plotter.enable_depth_peeling(12)
    return _shot(plotter, scene)


def _compose(image: np.ndarray, scene: TankScene, result: Result, overlay: Overlay) -> Figure:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    height, width = (pixels / SCREEN_DPI for pixels in image.shape[:2])
    left, right, top, bottom = (pixels / SCREEN_DPI for pixels in (30, 190, 120, 55))
    canvas = Canvas(left + width + right, bottom + height + top)
    canvas.figure.figimage(image, xo=30, yo=55, origin="upper")
    colours = ScalarMappable(Normalize(scene.vmin, scene.vmax), colour_map())
    place = (left + width + 0.25, bottom + 0.12 * height, 0.16, 0.76 * height)
    canvas.bar(colours, place, extend="max" if scene.above else "neither")
    title = overlay.title or "Light in the tank"
    size = " x ".join(both_units(v) for v in (overlay.length, overlay.depth, overlay.height)) + " inside"
    about = "; ".join(t for t in (overlay.note, size) if t)
    canvas.title(left, title, about, down=0.26)
    note = (
        "colours: PPFD on each surface; leaves: on the side facing up; where single faces are uncertain, means over 1 to 4 cm; "
        f"{result.photons / 1e6:.3g} million photons, seed {result.seed}"
    )
    canvas.text(left, 0.17, note, 7.5, color=SOFT_INK, va="center")
    return canvas.figure
