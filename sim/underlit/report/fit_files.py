"""Files of a fit: the corrected scene, the answer as JSON, the picture of the residuals."""

from __future__ import annotations

import json
import math
from pathlib import Path

from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Z95, Fitted
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Kind, Scale
from underlit.report.fit import UNITS, figure, fit_summary, setting_words, values, words
from underlit.results.atomic import write_text
from underlit.viz.residuals import KnownMark, ReadingMark, write_residuals

LONGEST_LABEL = 46
UNIT_SHOWN = {kind: f", {UNITS[kind]}" for kind in (Kind.OUTPUT, Kind.BEAM, Kind.TINT)}
"""Units in the picture, where a number is no share."""


def write_fit(found: Found, path: Path, text: str) -> list[Path]:
    """Write the corrected scene to `path`, and JSON and picture beside it; each whole or not at all. Returns the
    paths."""
    write_text(path, text)
    data, picture = path.with_suffix(".json"), path.with_suffix(".png")
    write_text(data, json.dumps(fit_summary(found), indent=2, ensure_ascii=False) + "\n")
    fitted = found.fitted
    title = fitted.model.scene.title or "Fit to readings"
    expected = 2 * math.hypot(READING_SD, MODEL_SD)
    write_residuals(reading_marks(fitted), known_marks(fitted), expected, title, picture)
    return [path, data, picture]


def cut(label: str) -> str:
    """A label that fits beside the picture."""
    return label if len(label) <= LONGEST_LABEL else label[: LONGEST_LABEL - 1] + "…"


def reading_marks(fitted: Fitted) -> list[ReadingMark]:
    """Readings for the picture."""
    return [
        ReadingMark(
            cut(f"{i}  {r.reading.name} ({setting_words(r.reading.setting, r.reading.dimming)})"),
            r.reading.ppfd / r.before - 1, r.departure, r.set_aside,
        )
        for i, r in enumerate(fitted.residuals, 1)
    ]  # fmt: skip


def known_marks(fitted: Fitted) -> list[KnownMark]:
    """Parameters for the picture: more is to the right, in half widths of what was believed."""
    marks = []
    for k, parameter in enumerate(fitted.parameters):
        sign = -1.0 if parameter.prior.scale is Scale.LOG_DEPTH else 1.0
        before = sign * Z95 * parameter.u_sd
        middle, *ends = ((u - parameter.u_start) / before for u in (float(fitted.u[k]), *fitted.u_interval(k)))
        _, value, low, high = values(fitted, k)
        label = cut(words(parameter) + UNIT_SHOWN.get(parameter.kind, ""))
        marks.append(
            KnownMark(label, middle, min(ends), max(ends), f"{figure(value)} ({figure(low)} to {figure(high)})")
        )
    return marks
