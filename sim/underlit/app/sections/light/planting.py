"""Where each plant of the catalogue can grow under the light that hangs there."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.papers import PlantAnswer, plants_work
from underlit.app.section import Page, refused
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import entries, image, numbers, sentences, several
from underlit.app.sections.work.working import Work, Working
from underlit.catalogue import Kind
from underlit.scene import Need

MOST_MAPPED = 12


class Planting(Card):
    """Where plants can grow."""

    title = "Where can each plant grow?"
    about = "Takes the plants out of the bed and judges the light patch by patch, at the height of the plants' tops."

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        self._jobs = jobs
        with self.body:
            wishes = {str(need): f"{need} plants" for need in Need} | entries(Kind.PLANTS)
            self._names = several("Plants or needs", wishes, [str(need) for need in Need])
            self._work = Working(page, jobs, "plants", "Show where they can grow", self._begin, self._show)
            self._answer = ui.element("div").classes("stack")
        self._work.recall()

    def scene_changed(self) -> None:
        """What was mapped stays, and says of which tank it was."""
        self._work.scene_changed()

    def _begin(self) -> Work[PlantAnswer] | None:
        variant, names = self.page.variant, list(self._names.value)
        if variant is None:
            return None
        if not 1 <= len(names) <= MOST_MAPPED:
            refused(f"choose from 1 to {MOST_MAPPED} plants or needs")
            return None
        return partial(plants_work, text=variant.text, names=names, folder=self.page.session.folder, jobs=self._jobs)

    def _show(self, answer: PlantAnswer) -> None:
        self._answer.clear()
        with self._answer:
            heads = ("Plant or need", "Target", "Too dim", "Right", "More than needed", "Where it is right")
            rows = [(r.name, r.band, r.too_dim, r.right, r.more, r.where) for r in answer.rows]
            numbers(heads, rows, "Share of the bed by the light at the tops of the plants")
            sentences(answer.words)
            image(
                answer.picture,
                "Plan of the bed for each plant: too dim, right, or more than needed; the table gives the shares",
            )
