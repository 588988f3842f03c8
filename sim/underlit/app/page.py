"""What a visitor sees: the tank with its light on the left, on the right what the light means and what can be changed."""

from __future__ import annotations

from pathlib import Path

from nicegui import context, ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.section import Page, Section
from underlit.app.sections.edit.growing import Growing
from underlit.app.sections.edit.lights import Lights
from underlit.app.sections.edit.start import Start
from underlit.app.sections.edit.tank import TankCard
from underlit.app.sections.edit.zones import Zones
from underlit.app.sections.header import Header
from underlit.app.sections.light.compare import Compare
from underlit.app.sections.light.day import Day
from underlit.app.sections.light.ledger import Ledger
from underlit.app.sections.light.picture import Picture
from underlit.app.sections.light.planting import Planting
from underlit.app.sections.light.verdicts import Verdicts
from underlit.app.sections.work.readings import Readings
from underlit.app.sections.work.report import ReportCard
from underlit.app.sections.work.suggest import Suggest
from underlit.app.session import Session

STYLE = Path(__file__).with_name("style.css")


def build_page(session: Session, jobs: Jobs, scene: Path | None = None) -> None:
    """Build one visitor's page. jobs: where heavy work is done; scene: a file that the session opens the first time."""
    ui.add_head_html('<script>document.documentElement.lang = "en"</script>')
    ui.add_css(STYLE.read_text(encoding="utf-8"))
    page = Page(session, context.client)
    if scene is not None and session.opened != str(scene):
        page.act(lambda: session.open_file(scene))
    start = Start(page)
    header = Header(page, start)
    with ui.element("div").classes("page"):
        with ui.element("section").classes("window").props('aria-label="The tank"'):
            picture = Picture(page)
            below: list[Section] = [Compare(page), Ledger(page)]
        with ui.element("section").classes("side").props('aria-label="Results and settings"'):
            verdicts = Verdicts(page)
            cards: list[Section] = [Lights(page, picture.view), TankCard(page), Growing(page), Zones(page)]
            cards += [work(page, jobs) for work in (Day, Suggest, Planting, Readings, ReportCard)]
    page.sections += [header, picture, *below, verdicts, *cards, start]
    page.listen()
    page.refresh()
