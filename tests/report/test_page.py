"""The report's page: one file that needs nothing else, with every zone and number of the summary; its PDF; refusals."""

from __future__ import annotations

import re
import sys
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from answered import answer

from underlit.cli import main
from underlit.planning.zones import zone_reports
from underlit.report.numbers import with_error
from underlit.report.page import report_html, report_pdf
from underlit.report.printout import output_console, print_answer
from underlit.report.summary import summarise
from underlit.run import Traced

SCENES = Path(__file__).resolve().parents[2] / "scenes"


@pytest.fixture(scope="module")
def traced() -> Traced:
    return answer(photons=1 << 16)[0]


@pytest.fixture(scope="module")
def page(traced: Traced) -> str:
    return report_html(traced, price=0.31)


class Balanced(HTMLParser):
    """Counts what is opened and not closed, and keeps every address."""

    ALONE = frozenset({"meta", "img", "br", "link"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.addresses += [value or "" for key, value in attrs if key in ("src", "href")]
        if tag not in self.ALONE:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_and_needs_nothing_else(page: str) -> None:
    parsed = Balanced()
    parsed.feed(page)
    assert not parsed.open
    assert parsed.addresses
    assert all(address.startswith("data:image/png;base64,") for address in parsed.addresses)
    assert "url(" not in page
    assert "<script" not in page


def test_it_says_what_was_found(traced: Traced, page: str) -> None:
    for report in zone_reports(traced.lowered, traced.result):
        assert report.name in page
        assert with_error(report.ppfd.value, report.ppfd.half_width) in page
    for word in (
        "drip loop",
        "licensed electrician",
        "immersion",
        "the watts of a light are not stated",
        "Assumptions",
    ):
        assert word in page


def test_what_was_taken_for_the_panes_stands_under_the_decision(
    traced: Traced, page: str, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = "Panes: taken as clean (90 % returned per reflection), since nothing in the scene is planted."
    assert page.index('class="decision"') < page.index(taken) < page.index("<h2>")
    print_answer(output_console(), traced, zone_reports(traced.lowered, traced.result))
    told = " ".join(capsys.readouterr().out.split())
    assert (
        told.index(summarise(traced)["decision"]["sentence"])
        < told.index(taken)
        < told.index("PAR (PPFD) of each zone")
    )
    assert told.count(taken) == 1


def test_names_are_shown_and_never_run() -> None:
    named, _ = answer(photons=1 << 16)
    scene = named.lowered.scene.model_copy(update={"title": "<script>alert(1)</script>"})
    lowered = replace(named.lowered, scene=scene)
    said = report_html(Traced(lowered, named.result, True, "", 0.01))
    assert "<script>" not in said
    assert "&lt;script&gt;" in said


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_it_prints(traced: Traced, page: str, paper: str, tmp_path: Path) -> None:
    try:
        import weasyprint  # noqa: F401 - it needs libraries of the system
    except (ImportError, OSError) as missing:
        pytest.skip(f"no PDF here ({missing})")
    report_pdf(page if paper == "a4" else report_html(traced, paper=paper), tmp_path / "report.pdf")
    printed = (tmp_path / "report.pdf").read_bytes()
    assert printed.startswith(b"%PDF-")
    streams = [
        zlib.decompressobj().decompress(s) for s in re.findall(rb"stream\r?\n(\x78.*?)\r?\nendstream", printed, re.S)
    ]
    (size,) = set(re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed + b"".join(streams)))
    inches = tuple(round(float(points) / 72, 2) for points in size)
    assert inches == {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}[paper]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--paper", "a3"], 'invalid value "a3" for --paper'),
        (["--precision", "2"], "--precision: must be a fraction"),
        (["--price", "-1"], "--price: must be"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line(
    options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(SCENES / "bare-box.toml"), *options]) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1
    assert lines[0].startswith(said)


def test_a_pdf_that_cannot_be_made_is_refused_before_the_trace(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys
) -> None:
    """Without the extra: one line that says what to install and what works without, nothing traced, nothing written."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    monkeypatch.setattr("underlit.report.progress.trace.tracing", lambda *_, **__: pytest.fail("it was traced"))
    page = tmp_path / "page.html"
    assert main(["report", str(SCENES / "bare-box.toml"), "--pdf", "--out", str(page)]) == 2
    told = capsys.readouterr().err
    assert "pip install 'underlit[pdf]'" in told
    assert "Without --pdf the page is written" in told
    assert not page.exists()


def test_page_and_terminal_lead_with_the_decision(tmp_path: Path, capsys) -> None:
    """The same sentence first in both; a caution stands at the top of the page."""
    scene = tmp_path / "tank.toml"
    bar = "\n".join((
        f'base = "{SCENES / "bare-box.toml"}"', "[[fixture]]", 'name = "bar"', 'size = ["60 cm", "6 cm", "1 cm"]',
        "leds = { rows = 1, columns = 8 }", 'output = { ppf = "12 umol/s" }', 'above_rim = "5 cm"',
    ))  # fmt: skip
    scene.write_text(bar, encoding="utf-8")
    assert main(["report", str(scene), "--photons", "65536", "--out", str(tmp_path / "page.html")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    sentence = told.split(" Written to ")[0]
    assert sentence.startswith("Set the bar to ")
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.index(sentence) < page.index("Caution: bar reaches beyond the tank by") < page.index("<h2>")
