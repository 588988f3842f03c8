"""Files of a fit: the corrected scene, the answer as JSON, the picture of the residuals."""

from __future__ import annotations

import json
import math
from pathlib import Path

from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Z95, Fitted
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Scale
from underlit.report.fit import UNITS, figure, fit_summary, setting_words, values, words
from underlit.results.atomic import write_text
from underlit.viz.residuals import KnownMark, ReadingMark, write_residuals


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


def reading_marks(fitted: Fitted) -> list[ReadingMark]:
    """Readings for the picture."""
    return [
        ReadingMark(
            f"{i}  {r.reading.name} ({setting_words(r.reading.setting, r.reading.dimming)})",
            r.reading.ppfd / r.before - 1, r.departure, r.set_aside,
        )
        for i, r in enumerate(fitted.residuals, 1)
    ]  # fmt: skip


def known_marks(fitted: Fitted) -> list[KnownMark]:
    """Parameters for the picture: more is to the right, in half widths of what was believed."""
    marks = []
    for k, parameter in enumerate(fitted.parameters):
        sign = -1.0 if parameter.prior.scale is Scale.LOG_DEPTH else 1.0
        before = Z95 * parameter.u_sd
        _, value, low, high = values(fitted, k)
        text = f"{figure(value)} ({figure(low)} to {figure(high)})"
        marks.append(
            KnownMark(
                f"{words(parameter)}, {UNITS[parameter.kind]}", sign * (fitted.u[k] - parameter.u_start) / before,
                Z95 * fitted.sd[k] / before, text,
            )
        )  # fmt: skip
    return marks
