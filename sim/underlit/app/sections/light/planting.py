"""The other way round: where plants of the catalogue would do under the light that hangs there."""

from __future__ import annotations

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.papers import PlantAnswer, plants_work
from underlit.app.section import Page
from underlit.app.sections.card import Card
from underlit.app.sections.names import entries
from underlit.app.sections.pieces import image, numbers, refused, sentences
from underlit.app.sections.work.working import Work, Working
from underlit.catalogue import Kind
from underlit.scene import Need

MOST_MAPPED = 12


class Planting(Card):
    """Where plants would do."""

    title = "Where would plants do?"
    opened = False

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        self._jobs = jobs
        with self.body.classes("stack"):
            ui.label(
                "Clears the bed of what stands in it and judges it patch by patch by the light at a plant's tops."
            ).classes("quiet")
            wishes = {str(need): f"{need} plants" for need in Need} | entries(Kind.PLANTS)
            self._names = ui.select(
                wishes, label="Plants or needs", multiple=True, value=[str(need) for need in Need]
            ).props("dense outlined options-dense")  # fmt: skip
            self._names.classes("wide")
            self._work = Working(page, jobs, "plants", "Show where they would do", self._begin, self._show)
            self._answer = ui.element("div").classes("stack")
        self._work.recall()

    def scene_changed(self) -> None:
        """What was mapped stays, and says of which tank it was."""
        self._work.scene_changed()

    def _begin(self) -> Work | None:
        variant, names = self.page.variant, list(self._names.value)
        if variant is None:
            return None
        if not 1 <= len(names) <= MOST_MAPPED:
            refused(f"choose from 1 to {MOST_MAPPED} plants or needs")
            return None
        return plants_work(variant.text, names, self.page.session.folder, self._jobs)

    def _show(self, answer: PlantAnswer) -> None:
        self._answer.clear()
        with self._answer:
            heads = ("Plant or need", "Wants", "Too dim", "Right", "More than it needs", "Right, and where")
            rows = [(r.name, r.band, r.too_dim, r.right, r.more, r.where) for r in answer.rows]
            numbers(heads, rows, "Share of the open bed by the light at the plants' tops")
            sentences(answer.words)
            image(answer.picture, "Plans of the bed: too dim, right, or more than needed; the table says the shares")
