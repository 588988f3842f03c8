"""LEDs of one colour that are dimmed together."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from underlit.scene.common import Name, PositiveNumber
from underlit.scene.lights.board import Numbers
from underlit.scene.lights.day import Driven
from underlit.scene.lights.lens import LensWord
from underlit.scene.lights.spectrum import Spectrum, SpectrumWord


class Channel(Driven):
    """LEDs of one colour: their spectrum, share of the PAR photons of the fixture at full power, dimming, schedule and lens.

    ``rows``, ``columns``, ``clusters`` or the ``letter`` in a pattern say which LEDs of the board they are; all if not
    given. A schedule of the channel replaces the schedule or photoperiod of the fixture.
    """

    name: Name = "white"
    spectrum: SpectrumWord = Spectrum(illuminant="LED-B4")
    share: PositiveNumber = 1.0
    lens: LensWord | None = None
    letter: Annotated[str | None, Field(min_length=1, max_length=1, description="its letter in a pattern of LEDs")] = (
        None
    )
    rows: Numbers = None
    columns: Numbers = None
    clusters: Numbers = None
