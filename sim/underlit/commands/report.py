"""`underlit report`: a traced scene as a page to read, print and hand on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from underlit.commands.options import AS_USUAL, FLAG, PaperSize, Price, SceneFile, TraceOptions
from underlit.commands.shared import Refused, load, lowered_scene, stoppable, writing


def report(
    scene: SceneFile,
    *,
    out: Path | None = None,
    pdf: Annotated[bool, FLAG] = False,
    paper: PaperSize = "a4",
    price: Price = None,
    options: TraceOptions = AS_USUAL,
) -> int:
    """Trace a scene and write a report: light by zone, maps, lights, assumptions, and what to measure.

    Parameters
    ----------
    out
        The page to write. Default: the scene's name with -report.html, in the current folder.
    pdf
        Write a PDF as well, beside the page.
    """
    from underlit.planning.decision import decide
    from underlit.report.decisions.decision import lead
    from underlit.report.page import report_html, report_pdf, why_no_pdf
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase, Stops
    from underlit.report.progress.trace import tracing, working
    from underlit.results.atomic import write_text

    page = out or Path(f"{scene.stem}-report.html")
    if page.is_dir():
        raise Refused(f"--out: {page} is a folder; name an HTML file")

    if pdf and (missing := why_no_pdf()):
        raise Refused(f"--pdf: {missing}. Without --pdf the page is written, and a browser can print it.")

    def work(stops: Stops) -> None:
        loaded, progress = load(scene), output_console(stderr=True)
        with working(progress, "building the tank"):
            lowered = lowered_scene(loaded)
        stops.phase = Phase.TRACING
        traced = tracing(progress, lowered, **options.as_arguments())
        written = [page]
        with writing(page, page.parent, stops):
            html = report_html(traced, price=price, paper=paper)
            write_text(page, html)
            if pdf:
                written.append(page.with_suffix(".pdf"))
                report_pdf(html, written[1])
        say(output_console(), lead(decide(lowered, traced.result)), "bold")
        say(output_console(), f"Written to {' and '.join(str(path) for path in written)}")

    return stoppable(work)
