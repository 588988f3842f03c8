"""Correct a scene by meter readings, and say what to read next (`fitting.py` is the call)."""

from underlit.planning.fit.corrected import carried_text, corrected_text
from underlit.planning.fit.estimate import Fitted, Residual
from underlit.planning.fit.fitting import Found, fit
from underlit.planning.fit.readings import (
    LidState,
    Medium,
    Reading,
    ReadingsError,
    Setting,
    made_reading,
    read_readings,
)

__all__ = [
    "Fitted",
    "Found",
    "LidState",
    "Medium",
    "Reading",
    "ReadingsError",
    "Residual",
    "Setting",
    "carried_text",
    "corrected_text",
    "fit",
    "made_reading",
    "read_readings",
]
