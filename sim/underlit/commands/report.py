"""`underlit report`: a traced scene as a page to read, print and hand on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from underlit.commands.options import AS_USUAL, PaperSize, Price, SceneFile, TraceOptions
from underlit.commands.shared import Refused, load, lowered_scene, stoppable, writing


def report(
    scene: SceneFile,
    *,
    out: Path | None = None,
    pdf: bool = False,
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
    from underlit.report.page import report_html, report_pdf
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase, Stops
    from underlit.report.progress.trace import tracing, working
    from underlit.results.atomic import write_text

    page = out or Path(f"{scene.stem}-report.html")
    if page.is_dir():
        raise Refused(f"--out: {page} is a folder; name an HTML file")

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
                _print(lambda: report_pdf(html, written[1]))
        say(output_console(), f"Written to {' and '.join(str(path) for path in written)}")

    return stoppable(work)


def _print(make_pdf: Callable[[], None]) -> None:
    """Make the PDF; what is missing for that is said with what to install."""
    try:
        make_pdf()
    except ImportError as problem:
        raise Refused(
            f"no PDF: {problem.name} is not installed; install it with: pip install 'underlit[pdf]'"
        ) from None
    except OSError as problem:
        if "library" not in str(problem):
            raise
        wanted = "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
        raise Refused(f"no PDF: a system library is missing; on Debian: {wanted}") from None
