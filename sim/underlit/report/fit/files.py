"""Files of a fit: the corrected scene, the answer as JSON, the picture of the residuals."""

from __future__ import annotations

import json
import math
from pathlib import Path

from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Z95, Fitted, Residual
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Kind, Scale
from underlit.report.fit.words import (
    UNITS,
    figure,
    headline,
    sentences,
    setting_words,
    value_correlation,
    values,
    words,
)
from underlit.report.summary import number, versions
from underlit.results.atomic import write_text
from underlit.viz.figures import write_png
from underlit.viz.sheets.residuals import KnownMark, ReadingMark, draw_residuals

FORMAT = 1
"""Of the JSON file."""
LONGEST_LABEL = 46
UNIT_SHOWN = {kind: f", {UNITS[kind]}" for kind in (Kind.OUTPUT, Kind.BEAM, Kind.TINT)}
"""Units in the picture, where a number is no share."""


def write_fit(found: Found, path: Path, text: str) -> list[Path]:
    """Write the corrected scene to `path`, and JSON and picture beside it; each whole or not at all. Returns the
    paths.
    """
    write_text(path, text)
    data, picture = path.with_suffix(".json"), path.with_suffix(".png")
    write_text(data, json.dumps(fit_summary(found), indent=2, ensure_ascii=False) + "\n")
    write_residual_picture(found.fitted, picture)
    return [path, data, picture]


def write_residual_picture(fitted: Fitted, path: Path) -> None:
    """Draw readings and parameters of a fit as PNG, whole or not at all. Raises OSError."""
    title = fitted.model.scene.title or "Fit to readings"
    expected = 2 * math.hypot(READING_SD, MODEL_SD)
    write_png(draw_residuals(reading_marks(fitted), known_marks(fitted), expected, title), path)


def cut(label: str) -> str:
    """A label that fits beside the picture."""
    return label if len(label) <= LONGEST_LABEL else label[: LONGEST_LABEL - 1] + "…"


def reading_marks(fitted: Fitted) -> list[ReadingMark]:
    """Readings for the picture."""
    return [
        ReadingMark(
            cut(f"{i}  {r.reading.name} ({setting_words(r.reading.setting, r.reading.dimming, fitted.model.scene)})"),
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


def fit_summary(found: Found) -> dict[str, object]:
    """The whole answer as plain data, units in the keys."""
    fitted = found.fitted
    return {
        "format": FORMAT,
        "title": fitted.model.scene.title,
        "in_words": [headline(fitted), *sentences(found)],
        "parameters": [_parameter_entry(fitted, k) for k in range(len(fitted.parameters))],
        "correlation": [[number(float(c), 4) for c in row] for row in value_correlation(fitted)],
        "readings": [_reading_entry(r) for r in fitted.residuals],
        "next_readings": [
            {**{f"{axis}_m": None if n.setting.under else number(at) for axis, at in zip("xyz", n.at, strict=True)},
             "lid": str(n.lid), "below_light_in_the_open": n.setting.under or None,
             "ppfd_umol_m2_s": number(n.ppfd), "tank_error_of_zones_shrinks_to": number(n.narrowing)}
            for n in found.next
        ],
        "misfit": number(fitted.misfit),
        "errors_stretched_by": number(fitted.stretch),
        "traced_anew": fitted.retraced,
        "seconds": number(found.seconds, 3),
        "versions": versions(),
    }  # fmt: skip


def _parameter_entry(fitted: Fitted, index: int) -> dict[str, object]:
    parameter = fitted.parameters[index]
    start, value, low, high = values(fitted, index)
    return {
        "name": words(parameter), "of": list(parameter.of), "unit": UNITS[parameter.kind], "scene": number(start),
        "found": number(value), "low_95": number(low), "high_95": number(high),
        "error_left_of_before": number(float(fitted.sd[index] / fitted.prior_sd[index]), 3),
        "believed_before": parameter.prior.known, "source": parameter.prior.source,
    }  # fmt: skip


def _reading_entry(r: Residual) -> dict[str, object]:
    x, y, z = r.reading.at
    return {
        "name": r.reading.name, "line": r.reading.line, "x_m": number(x), "y_m": number(y), "z_m": number(z),
        "lid": str(r.reading.setting.lid), "read_umol_m2_s": number(r.reading.ppfd),
        "before_umol_m2_s": number(r.before), "fitted_umol_m2_s": number(r.modelled),
        "departure": number(r.departure), "standardised": number(r.standardised),
        "leverage": number(r.leverage), "set_aside": r.set_aside,
    }  # fmt: skip
