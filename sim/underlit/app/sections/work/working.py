"""A button that begins heavy work, how far it is, a way to stop it, and what it found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

from nicegui import ui

from underlit.app.heavy.jobs import Job, Jobs, State
from underlit.app.section import Page
from underlit.app.session import Side

LOOKS_EVERY = 0.4
"""Seconds between looks at work that is under way."""
Found = TypeVar("Found")
Work = Callable[[Job], Found]


class Working(Generic[Found]):
    """One kind of heavy work of a session. begin: gives the work, or None after saying why there is none; show: told of what was
    found, when it is and when the page is built again; forget: what is a file to hand over is told once and not kept.
    """

    def __init__(
        self, page: Page, jobs: Jobs, kind: str, label: str, begin: Callable[[], Work[Found] | None],
        show: Callable[[Found], object], *, forget: bool = False,
    ) -> None:  # fmt: skip
        self._page, self._jobs, self._kind = page, jobs, kind
        self._begin, self._show, self._forget = begin, show, forget
        self._job = jobs.latest(page.session.name, kind)
        self._shown_for: Side | None = None
        with ui.row().classes("bar"):
            self._button = (
                ui.button(label, color=None, on_click=self._ask).props("unelevated no-caps").classes("strong")
            )
            self._stop = ui.button("Stop", on_click=self._cancel).props(
                f'flat dense no-caps aria-label="Stop: {label}"'
            )
            self._said = ui.label("").classes("quiet").props('role="status"')
        self._past = ui.label("Outdated: the tank has changed since.").classes("quiet")
        self._past.set_visibility(False)
        self._timer = ui.timer(LOOKS_EVERY, self._look, active=False)
        self._follow()

    def found(self) -> Found | None:
        """What the newest work found; None before."""
        return self._job.result if self._job is not None and self._job.state is State.DONE else None

    def recall(self) -> None:
        """Show what was found before the page was built; the last thing a section does when it is built."""
        if self.found() is not None:
            self._deliver()

    def scene_changed(self) -> None:
        """Show what was found again for the other side; say whether it is of the tank in hand, where it says of which it is."""
        found, side = self.found(), self._page.session.side
        if found is not None and side is not self._shown_for:
            self._deliver()
            return
        variant, of = self._page.variant, getattr(found, "of", None)
        self._past.set_visibility(of is not None and variant is not None and of != variant.text)

    def _ask(self) -> None:
        work = self._begin()
        if work is not None:
            self._job = self._jobs.ask(self._page.session.name, self._kind, work)
            self._follow()

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self._follow()

    def _follow(self) -> None:
        self._timer.active = self._job is not None and not self._job.ended
        self._tell()

    def _look(self) -> None:
        self._tell()
        if self._job is None or not self._job.ended:
            return
        self._timer.active = False
        if self._job.state is State.DONE:
            self._deliver()

    def _deliver(self) -> None:
        result, self._shown_for = self.found(), self._page.session.side
        if self._forget and self._job is not None:
            self._job.result = None
        if result is not None:
            self._show(result)
            self.scene_changed()

    def _tell(self) -> None:
        job = self._job
        busy = job is not None and not job.ended
        self._button.set_enabled(not busy)
        self._stop.set_visibility(busy)
        self._said.set_text("" if job is None else self._words(job))

    def _words(self, job: Job) -> str:
        if job.state is State.WAITING:
            before = self._jobs.before(job)
            return f"waiting: {before} before yours" if before else "starting soon"
        if job.state is State.WORKING:
            return "stopping after this step" if job.stopping else f"{job.said or 'starting'} ..."
        return {State.DONE: "done", State.CANCELLED: "stopped", State.FAILED: job.trouble}[job.state]
