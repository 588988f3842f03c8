"""Opening, saving and sharing scenes, and uploading meshes and photometric files."""

from __future__ import annotations

from pathlib import Path

from nicegui import events, run, ui

from underlit.app import uploads
from underlit.app.section import Page, refused
from underlit.app.sections.edit.start import Start
from underlit.app.sections.pieces import another_name, hand_over

UNITS_M = {"m": 1.0, "in": 0.0254, "cm": 0.01, "mm": 0.001}


class Files:
    """A menu in the top line and its dialogs."""

    def __init__(self, page: Page, start: Start) -> None:
        self._page = page
        with ui.button("Files").props('flat dense no-caps aria-haspopup="menu"'), ui.menu():
            ui.menu_item("New tank ...", start.open)
            ui.menu_item("Open or upload a file ...", self._ask)
            ui.menu_item("Save the scene", self._save)
            ui.menu_item("Edit the scene as text ...", self._show_text)
        with ui.dialog().props('aria-label="Open or upload a file"') as self._bring, ui.card().classes("start"):
            ui.label("Open a scene, or upload a file that it uses").classes("heading")
            kinds = ", ".join(sorted({".toml"} | uploads.MESHES | uploads.TEXTS))
            ui.label(f"Scenes (.toml), meshes, photometric files and tables: {kinds}.").classes("quiet")
            self._chooser()
            ui.button("Close", on_click=self._bring.close).props("flat no-caps")
        with ui.dialog().props('aria-label="Scene as text"') as self._dialog, ui.card().classes("start"):
            ui.label("The scene as text").classes("heading")
            self._text = ui.textarea("Scene (TOML)").props("outlined rows=24").classes("code")
            with ui.row().classes("ends"):
                ui.button("Use this text", color=None, on_click=self._take).props("unelevated no-caps").classes(
                    "strong"
                )
                ui.button("Close", on_click=self._dialog.close).props("flat no-caps")

    def _chooser(self) -> None:
        """A button and a place to drop a file: Quasar's own uploader, out of sight, has buttons without names."""
        most = uploads.MOST_BYTES
        self._upload = ui.upload(
            on_upload=self._brought, auto_upload=True, max_file_size=most,
            on_rejected=lambda: refused(f"too large: the limit is {most // 2**20} MB"),
        ).classes("hidden")  # fmt: skip
        uploader = f"getElement({self._upload.id}).$refs.qRef"
        with ui.element("div").classes("drop") as place:
            button = ui.button("Choose a file", color=None).props("outline no-caps").classes("plain")
            button.on("click", js_handler=f"() => {uploader}.pickFiles()")
            ui.label("or drop it here").classes("quiet")
        place.on("dragover.prevent", js_handler="() => {}")
        place.on("drop.prevent", js_handler=f"(event) => {uploader}.addFiles(event.dataTransfer.files)")

    def _ask(self) -> None:
        self._upload.reset()
        self._bring.open()

    def _save(self) -> None:
        if self._page.variant is not None:
            hand_over(self._page, ".toml")(self._page.variant.text)

    def _show_text(self) -> None:
        variant = self._page.variant
        self._text.set_value(variant.text if variant else "")
        self._dialog.open()

    def _take(self) -> None:
        if self._page.act(lambda: self._page.session.begin(self._text.value or "")):
            self._dialog.close()

    async def _brought(self, event: events.UploadEventArguments) -> None:
        session, content = self._page.session, await event.file.read()
        try:
            if event.file.name.lower().endswith(".toml"):
                text = content.decode("utf-8-sig")
                if self._page.act(lambda: session.begin(text)):
                    self._bring.close()
            else:
                self._use(str(await run.io_bound(uploads.keep, session.folder, event.file.name, content)))
        except UnicodeDecodeError:
            refused("this file is not UTF-8 text")
        except (uploads.UploadError, OSError) as problem:
            refused(problem)

    def _use(self, name: str) -> None:
        """Put what was uploaded into the tank, or say how a scene names it."""
        page, scene = self._page, self._page.scene
        if scene is None or not name.endswith(".stl"):
            said = f'{name} is uploaded. A scene uses it as "{name}".'
            ui.notify(said, type="positive", close_button="Close", timeout=0)
            return
        length, depth, height = scene.tank.inside_m
        stem = another_name(name.removesuffix(".stl"), [t.name for t in (*scene.wood, *scene.stone)])
        unit = _likely_unit(page.session.folder / name, max(length, depth, height))
        at = [page.length_text(length / 2), page.length_text(depth / 2)]
        values: dict[str, object] = {"name": stem, "mesh": name, "unit": unit, "at": at}
        if page.edit(lambda document: document.add("stone", values)):
            said = f"{stem} is in the middle of the tank, its numbers read as {unit}. Drag it to its place."
            ui.notify(said, type="positive")
            self._bring.close()


def _likely_unit(path: Path, largest_m: float) -> str:
    """The unit in which a mesh fits a tank best: the largest that leaves it no longer than the tank."""
    import trimesh

    size = float(trimesh.load(path, force="mesh", process=False).extents.max())
    return next((unit for unit, metres in UNITS_M.items() if size * metres < largest_m), "mm")
