"""A report for people: one self-contained HTML page, printed as PDF where WeasyPrint is installed.

traced = trace(load_scene("tank.toml"))
Path("tank.html").write_text(report_html(traced))
"""

from underlit.report.page.build import PAPERS, report_html, report_pdf, why_no_pdf

__all__ = ["PAPERS", "report_html", "report_pdf", "why_no_pdf"]
