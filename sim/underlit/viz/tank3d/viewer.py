"""A window onto a result: coloured surfaces, light at any height and on vertical sections, clear parts on and off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.lowering.records import Role
from underlit.results.result import Result
from underlit.results.stored import load_result
from underlit.viz.palette import BAR_TITLE, COVERED, INK, ROLE_COLOURS, colour_map
from underlit.viz.tank3d.gl import has_display, why_no_gl
from underlit.viz.tank3d.surfaces import PPFD, planes_grid
from underlit.viz.tank3d.tank_scene import (
    GLASS_EDGE,
    GLASS_RIM,
    SHOWN,
    WATER_LINE,
    TankScene,
    add_solids,
    aim_camera,
    build_scene,
    curved_panes,
    edges_of,
    rim_of,
)

if TYPE_CHECKING:
    import pyvista

RESULT_FILE = "result.nc"
_PARTS = (("glass", "g", (Role.SHELL,)), ("lid", "l", (Role.LID,)), ("water", "t", (Role.WATER,)),
          ("fixture", "x", (Role.FIXTURE, Role.HOOD, Role.FRAME)), ("plants", "n", (Role.PLANTS,)))  # fmt: skip
"""Parts that can be switched off: name, key, roles."""
_OPACITY = {Role.SHELL: 0.06, Role.LID: 0.10, Role.WATER: 0.15, Role.HOOD: 0.2, Role.BACKING: 0.4}


def show(folder: str | Path) -> str | None:
    """Open a window on a folder that a trace wrote. Returns None, or one line that says why there is no window.

    Raises ValueError with one line if the folder holds no result.
    """
    result = load_result(Path(folder) / RESULT_FILE)
    if not has_display():
        return (
            "no display: neither DISPLAY nor WAYLAND_DISPLAY is set; look at view.png and substrate.png, or open "
            "view.vtm in ParaView on a machine with a screen"
        )
    missing = why_no_gl()
    if missing is not None:
        return missing
    window = Window.open(result)
    window.plotter.show(title=f"underlit: {Path(folder).resolve().name}", auto_close=False)
    kind = type(window.plotter.render_window).__name__
    window.plotter.close()
    # VTK falls back to windows that nobody sees and says nothing.
    if "EGL" in kind or "OSOpenGL" in kind:
        return f"no window: VTK found no X display to open one on (it fell back to {kind}); set DISPLAY"
    return None


@dataclass
class Window:
    """A plotter with its parts by name, and what its sliders and boxes do."""

    # A pyvista.Plotter: its decorated methods hide their signatures from the type checker.
    plotter: Any
    scene: TankScene
    actors: dict[str, list[pyvista.Actor]] = field(default_factory=dict)
    boxes: dict[str, Any] = field(default_factory=dict)
    grid: pyvista.ImageData | None = None
    section_axis: int = 0
    section_share: float = 0.0

    @classmethod
    def open(cls, result: Result, *, off_screen: bool = False) -> Window:
        """Make the window (not shown yet)."""
        import pyvista

        plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=[1280, 860], lighting="light kit")
        plotter.set_background("#f4f6f6")
        # With the default multisampling, depth peeling loses clear things on software GL.
        plotter.enable_anti_aliasing("ssaa")
        window = cls(plotter, build_scene(result))
        window._add_bodies()
        if result.compiled.planes is not None:
            window.grid = planes_grid(result)
            window._add_sliders()
        window._add_boxes()
        plotter.enable_depth_peeling(8)
        aim_camera(plotter, window.scene.bounds(), margin=1.22)
        return window

    # -- bodies -----------------------------------------------------------------------------------------------
    def _add_bodies(self) -> None:
        plotter, scene = self.plotter, self.scene
        look = self._look()
        for mesh, data in scene.valued:
            name = "plants" if mesh.role is Role.PLANTS else "values"
            self._keep(name, plotter.add_mesh(data, scalars=SHOWN, show_scalar_bar=False, **look))
        for _, data in scene.of(Role.BED):
            self._keep("values", plotter.add_mesh(data, color=ROLE_COLOURS[Role.BED], lighting=False))
        self._keep("fixture", *add_solids(plotter, scene))
        for role, opacity in _OPACITY.items():
            name = next((n for n, _, roles in _PARTS if role in roles), "rest")
            for _, data in scene.of(role):
                actor = plotter.add_mesh(
                    data, color=ROLE_COLOURS[role], opacity=opacity, lighting=False, pickable=False
                )
                self._keep(name, actor)
        for name, role, colour in (("glass", Role.SHELL, GLASS_EDGE), ("water", Role.WATER, WATER_LINE),
                                   ("lid", Role.LID, "#7f98a0")):  # fmt: skip
            lines = edges_of(scene.of(role))
            if lines is not None:
                self._keep(name, plotter.add_mesh(lines, color=colour, line_width=1.5, lighting=False, pickable=False))
        curved = curved_panes(scene)
        if curved is not None:
            self._keep("glass", plotter.add_silhouette(curved, color=GLASS_EDGE, line_width=1.5, feature_angle=None))
        rim = rim_of(scene)
        if rim is not None:
            self._keep("glass", plotter.add_mesh(rim, color=GLASS_RIM, lighting=False, pickable=False))
        if scene.valued:
            mapper = self.actors.get("values", self.actors.get("plants", []))[0].mapper
            plotter.add_scalar_bar(
                " ", mapper=mapper, vertical=True, position_x=0.91, position_y=0.22, width=0.045, height=0.6,
                label_font_size=14, n_labels=6, fmt="%.0f", color=INK,
            )  # fmt: skip
            plotter.add_text(BAR_TITLE, position=(0.835, 0.845), viewport=True, font_size=8, color=INK)

    def _look(self) -> dict[str, object]:
        clim = (self.scene.vmin, self.scene.vmax)
        return {"cmap": colour_map(), "clim": clim, "lighting": False, "nan_color": COVERED}

    def _keep(self, name: str, *actors: pyvista.Actor) -> None:
        self.actors.setdefault(name, []).extend(actors)

    # -- light at a height, and on a section ------------------------------------------------------------------
    def _add_sliders(self) -> None:
        assert self.grid is not None
        low, high = self.grid.bounds[4], self.grid.bounds[5]
        style: dict[str, Any] = {
            "color": INK, "title_height": 0.018, "style": "modern", "slider_width": 0.015, "tube_width": 0.004,
        }  # fmt: skip
        self.plotter.add_slider_widget(
            lambda cm: self.set_height(None if cm / 100 <= low else cm / 100), (100 * low, 100 * high), value=100 * low,
            title="light at a height over the bottom, cm (left end: off)", fmt="%.1f", pointa=(0.05, 0.07),
            pointb=(0.42, 0.07), **style,
        )  # fmt: skip
        self.plotter.add_slider_widget(
            self.set_section, (0.0, 100.0), value=0.0,
            title="vertical section, % of the way (left end: off; o turns it)", fmt="%.0f", pointa=(0.5, 0.07),
            pointb=(0.87, 0.07), **style,
        )  # fmt: skip
        self.plotter.add_key_event("o", self.turn_section)

    def set_height(self, height: float | None) -> None:
        """Show the light coming down through a height [m]; None takes it away."""
        self._slice("height plane", None if height is None else (2, height))

    def set_section(self, percent: float) -> None:
        """Show the light on a vertical section, so many per cent along the tank (or back into it); 0 takes it away."""
        self.section_share = percent / 100
        self._draw_section()

    def turn_section(self) -> None:
        """Turn the section from across the tank to along it, and back."""
        self.section_axis = 1 - self.section_axis
        self._draw_section()

    def _draw_section(self) -> None:
        assert self.grid is not None
        bounds = self.grid.bounds
        axis = self.section_axis
        low, high = bounds[2 * axis], bounds[2 * axis + 1]
        at = low + self.section_share * (high - low)
        self._slice("section", None if self.section_share <= 0 else (axis, min(at, high - 1e-9)))

    def _slice(self, name: str, where: tuple[int, float] | None) -> None:
        assert self.grid is not None
        cut = None
        if where is not None:
            axis, at = where
            origin = np.array(self.grid.center)
            origin[axis] = np.clip(at, self.grid.bounds[2 * axis] + 1e-9, self.grid.bounds[2 * axis + 1] - 1e-9)
            cut = self.grid.slice(normal=tuple(np.eye(3)[axis]), origin=tuple(origin))
            # Cells that touch a place without light are left out: making them clear would need blending.
            known = np.isfinite(cut.point_data[PPFD])
            cut = cut.extract_points(known, adjacent_cells=False).extract_surface(algorithm="dataset_surface")
        if cut is None or cut.n_cells == 0:
            self.plotter.remove_actor(name)
            return
        self.plotter.add_mesh(cut, scalars=PPFD, name=name, show_scalar_bar=False, reset_camera=False, **self._look())

    # -- parts on and off -------------------------------------------------------------------------------------
    def _add_boxes(self) -> None:
        row = 0
        for name, key, _ in _PARTS:
            if name not in self.actors:
                continue
            y = 110.0 + 34.0 * row
            self.boxes[name] = self.plotter.add_checkbox_button_widget(
                self._switch(name), value=True, position=(14.0, y), size=22, border_size=2, color_on="#3f6f8f",
                color_off="#d5dadc", background_color="#8a9399",
            )  # fmt: skip
            self.plotter.add_text(f"{name} ({key})", position=(44.0, y + 1), font_size=9, color=INK)
            self.plotter.add_key_event(key, lambda name=name: self.switch(name, not self.is_on(name)))
            row += 1

    def _switch(self, name: str) -> Callable[[bool], None]:
        return lambda on: self.switch(name, on)

    def is_on(self, name: str) -> bool:
        """Whether a part is shown."""
        return any(a.visibility for a in self.actors.get(name, []))

    def switch(self, name: str, on: bool) -> None:
        """Show or hide a part: glass, lid, water, fixture or plants."""
        for actor in self.actors.get(name, []):
            actor.visibility = on
        if name in self.boxes:
            self.boxes[name].GetRepresentation().SetState(int(on))
        self.plotter.render()
