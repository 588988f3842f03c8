"""Correct a scene by meter readings, and say what to read next (`fitting.py` is the call, `sheet.py` the reading sheet)."""

from underlit.planning.fit.advise import NextReading
from underlit.planning.fit.corrected import NotCarriedError, carried_text, corrected_text
from underlit.planning.fit.estimate import Fitted, Residual, UnlitError
from underlit.planning.fit.fitting import Found, fit
from underlit.planning.fit.readings import (
    Correction,
    LidState,
    Medium,
    Reading,
    ReadingsError,
    Setting,
    made_reading,
    read_readings,
)
from underlit.planning.fit.sheet import Sheet, SheetRow, reading_sheet, template_csv

__all__ = [
    "Correction",
    "Fitted",
    "Found",
    "LidState",
    "Medium",
    "NextReading",
    "NotCarriedError",
    "Reading",
    "ReadingsError",
    "Residual",
    "Setting",
    "Sheet",
    "SheetRow",
    "UnlitError",
    "carried_text",
    "corrected_text",
    "fit",
    "made_reading",
    "read_readings",
    "reading_sheet",
    "template_csv",
]
