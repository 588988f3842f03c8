"""Opening, saving and sharing scenes, and bringing meshes and photometric files."""

from __future__ import annotations

from typing import Any

from nicegui import events, run, ui

from underlit.app import uploads
from underlit.app.section import Page
from underlit.app.sections.edit.start import Start
from underlit.app.sections.names import another_name


class Files:
    """A menu in the top line and its dialogs."""

    def __init__(self, page: Page, start: Start) -> None:
        self._page = page
        with ui.button("Files").props('flat dense no-caps aria-haspopup="menu"'), ui.menu():
            ui.menu_item("New tank ...", start.open)
            ui.menu_item("Open or bring a file ...", self._ask)
            ui.menu_item("Save the scene", self._save)
            ui.menu_item("Show the scene's text ...", self._show_text)
        with ui.dialog().props('aria-label="Open or bring a file"') as self._bring, ui.card().classes("start"):
            ui.label("Open a scene, or bring a file that it names").classes("heading")
            kinds = ", ".join(sorted({".toml"} | uploads.MESHES | uploads.TEXTS))
            ui.label(f"Scenes (.toml), meshes, photometric files and tables: {kinds}.").classes("quiet")
            self._chooser()
            ui.button("Close", on_click=self._bring.close).props("flat no-caps")
        with ui.dialog().props('aria-label="Text of the scene"') as self._dialog, ui.card().classes("start"):
            ui.label("The scene's text").classes("heading")
            self._text = ui.textarea("Scene (TOML)").props("outlined rows=24").classes("code")
            with ui.row().classes("ends"):
                ui.button("Take it", color=None, on_click=self._take).props("unelevated no-caps").classes("strong")
                ui.button("Close", on_click=self._dialog.close).props("flat no-caps")

    def _chooser(self) -> None:
        """A button and a place to drop a file: Quasar's own uploader, out of sight, has buttons without names."""
        most = uploads.MOST_BYTES
        self._upload = ui.upload(
            on_upload=self._brought, auto_upload=True, max_file_size=most,
            on_rejected=lambda: ui.notify(f"too large: {most // 2**20} MB are the most", type="negative"),
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
        variant, scene = self._page.variant, self._page.scene
        if variant is not None and scene is not None:
            words = "".join(c if c.isalnum() else "-" for c in scene.title.lower()).strip("-") or "tank"
            ui.download.content(variant.text, f"{words[:60]}.toml", "application/toml")

    def _show_text(self) -> None:
        variant = self._page.variant
        self._text.set_value(variant.text if variant else "")
        self._dialog.open()

    def _take(self) -> None:
        if self._page.act(lambda: self._page.session.begin(self._text.value or "")):
            self._dialog.close()

    async def _brought(self, event: events.UploadEventArguments) -> None:
        page = self._page
        content = await event.file.read()
        if event.file.name.lower().endswith(".toml"):
            try:
                text = content.decode("utf-8")
            except UnicodeDecodeError:
                ui.notify("that file is not a text in UTF-8", type="negative")
                return
            if page.act(lambda: page.session.begin(text)):
                self._bring.close()
            return
        try:
            name = await run.io_bound(uploads.keep, page.session.folder, event.file.name, content)
        except (uploads.UploadError, OSError) as problem:
            ui.notify(str(problem), type="negative", multi_line=True, close_button="Close")
            return
        self._use(str(name))

    def _use(self, name: str) -> None:
        """Put what was brought into the tank, or say how a scene names it."""
        page, scene = self._page, self._page.scene
        if scene is None or not name.endswith(".stl"):
            ui.notify(
                f'{name} is here now; a scene names it as "{name}"', type="positive", close_button="Close", timeout=0
            )
            return
        length, depth, height = scene.tank.inside_m
        at = [page.length_text(length / 2), page.length_text(depth / 2)]
        taken = [t.name for t in (*scene.wood, *scene.stone)]
        stem = another_name(name.removesuffix(".stl"), taken)
        unit = _likely_unit(page.session.folder / name, max(length, depth, height))
        values: dict[str, Any] = {"name": stem, "mesh": name, "unit": unit, "at": at}
        if page.edit(lambda document: document.add("stone", values)):
            ui.notify(
                f"{stem} stands in the middle, its numbers taken as {unit}; drag it where it belongs", type="positive"
            )
            self._bring.close()


def _likely_unit(path: Any, largest_m: float) -> str:
    """The unit in which a mesh fits a tank best: the largest that leaves it no longer than the tank."""
    import trimesh

    size = float(trimesh.load(path, force="mesh", process=False).extents.max())
    fits = [
        unit for unit, metres in (("m", 1.0), ("in", 0.0254), ("cm", 0.01), ("mm", 0.001)) if size * metres < largest_m
    ]
    return fits[0] if fits else "mm"
