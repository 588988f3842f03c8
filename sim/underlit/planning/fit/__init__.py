"""Correct a scene by meter readings, and say what to read next (`fitting.py` is the call, `sheet.py` the reading sheet)."""

from underlit.planning.fit.corrected import carried_text, corrected_text
from underlit.planning.fit.fitting import Found, fit
from underlit.planning.fit.readings import Reading, ReadingsError, made_reading, read_readings
from underlit.planning.fit.sheet import reading_sheet, template_csv

__all__ = [
    "Found",
    "Reading",
    "ReadingsError",
    "carried_text",
    "corrected_text",
    "fit",
    "made_reading",
    "read_readings",
    "reading_sheet",
    "template_csv",
]
