"""The page: the tank on the left, its bench on the right, what the light says below."""

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
from underlit.app.sections.light.compare import Beside
from underlit.app.sections.light.day import Day
from underlit.app.sections.light.ledger import Where
from underlit.app.sections.light.picture import Picture
from underlit.app.sections.light.planting import Planting
from underlit.app.sections.light.verdicts import Answers
from underlit.app.sections.work.readings import Readings
from underlit.app.sections.work.report import ReportCard
from underlit.app.sections.work.suggest import Suggest
from underlit.app.session import Session

STYLE = Path(__file__).with_name("style.css")


def build_page(desk: Session, jobs: Jobs, scene: Path | None = None) -> None:
    """Build one visitor's page. jobs: where heavy work is done; scene: a file to put on the desk the first time."""
    ui.add_head_html('<script>document.documentElement.lang = "en"</script>')
    ui.add_css(STYLE.read_text(encoding="utf-8"))
    bench = Page(desk, context.client)
    if scene is not None and desk.opened != str(scene):
        bench.act(lambda: desk.open_file(scene))
    start = Start(bench)
    header = Header(bench, start)
    with ui.element("div").classes("desk"):
        with ui.element("section").classes("window").props('aria-label="The tank"'):
            picture = Picture(bench)
            below: list[Section] = [Beside(bench), Where(bench)]
        with ui.element("section").classes("bench").props('aria-label="The bench"'):
            answers = Answers(bench)
            cards: list[Section] = [Lights(bench, picture.view), TankCard(bench), Growing(bench), Zones(bench)]
            cards += [work(bench, jobs) for work in (Day, Suggest, Planting, Readings, ReportCard)]
    bench.sections += [header, picture, *below, answers, *cards, start]
    bench.listen()
    bench.refresh()
