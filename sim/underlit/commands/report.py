"""`underlit report`: a traced scene as a page to read, print and hand on."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, lowered_scene, whole_number

if TYPE_CHECKING:
    from underlit.report.progress.stopping import Stops

PAPERS = ("a4", "letter")


def report(
    scene: Path,
    *,
    out: Path | None = None,
    pdf: bool = False,
    paper: str = "a4",
    price: float | None = None,
    precision: float = 0.01,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Trace a scene and write a report: what reaches each zone, maps, lights, assumptions, what to measure.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        The page to write. Default: the scene's name with -report.html, in the current folder.
    pdf
        Print it as PDF too, beside the page.
    paper
        Size it prints on: a4 or letter.
    price
        Price of a kWh, in any currency, for what it costs to run.
    precision
        Trace until every zone mean is known to this fraction (95 %).
    seed
        Seed of the random numbers.
    threads
        Worker threads (default: all processors).
    """
    page = out or Path(f"{scene.stem}-report.html")
    if paper not in PAPERS:
        raise Refused(f"--paper: must be {' or '.join(PAPERS)} (got {paper})")
    if not 0 < precision < 1:
        raise Refused(f"--precision: must be a fraction between 0 and 1, such as 0.01 (got {precision:g})")
    if price is not None and not 0 <= price < 1000:
        raise Refused(f"--price: must be the price of a kWh, 0 or more (got {price:g})")
    if page.is_dir():
        raise Refused(f"--out: {page} is a folder; name an HTML file")
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1) or 0
    workers = whole_number("--threads", threads, 1, MOST_THREADS)

    from underlit.report.progress.stopping import INTERRUPTED, listening

    with listening() as stops:
        try:
            return _report(scene, page, pdf, paper, price, (precision, seeded, workers), stops)
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            return INTERRUPTED


def _report(
    scene: Path,
    page: Path,
    pdf: bool,
    paper: str,
    price: float | None,
    how: tuple[float, int, int | None],
    stops: Stops,
) -> int:
    from underlit.report.page import report_html, report_pdf
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase
    from underlit.report.progress.trace import tracing, working
    from underlit.results.atomic import write_text

    precision, seed, threads = how
    loaded = load(scene)
    progress = output_console(stderr=True)
    with working(progress, "building the tank"):
        lowered = lowered_scene(loaded)
    stops.phase = Phase.TRACING
    traced = tracing(progress, lowered, precision=precision, photons=None, seed=seed, threads=threads)
    stops.phase, stops.folder = Phase.WRITING, page.parent
    console = output_console()
    try:
        with working(progress, "drawing and writing"):
            html = report_html(traced, price=price, paper=paper)
            write_text(page, html)
            if pdf:
                report_pdf(html, page.with_suffix(".pdf"))
    except ImportError as problem:
        raise Refused(
            f"no PDF: {problem.name} is not installed; install it with: pip install 'underlit[pdf]'"
        ) from None
    except OSError as problem:
        if "library" in str(problem):
            wanted = "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
            raise Refused(f"no PDF: a system library is missing; on Debian: {wanted}") from None
        raise cannot_write(page, problem) from None
    stops.phase = Phase.TELLING
    say(console, f"Written to {page}" + (f" and {page.with_suffix('.pdf')}" if pdf else ""))
    return 0
