"""The spectrum of a channel."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, ClassVar

import numpy as np
from pydantic import Field, model_validator

from underlit.scene.common import (
    NonNegativeNumber,
    Number,
    OneOf,
    Part,
    PositiveLengthM,
    PositiveNumber,
    ShortForm,
    wrong,
)
from underlit.scene.named_files import NumberFile
from underlit.spectra import channels
from underlit.spectra.channels import ChannelSpectrum


class SpectrumShare(Part):
    """One part of a mixture and its share of the PAR photons."""

    spectrum: SpectrumWord
    share: PositiveNumber


class Spectrum(Part):
    """The spectrum of a channel: a CIE LED illuminant, a peak and width, a table or file, or a mixture.

    Tables are rows of [wavelength in nm, relative value per nm]; ``energy`` counts watts, ``photons`` counts photons.
    A file has the same two columns separated by commas; ``of`` says which of the two it counts.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf(
            "the spectrum", "illuminant", ("peak", "width"), "energy", "photons", ("file", "of"), "mix", required=True
        ),
    )
    together: ClassVar[tuple[tuple[str, str], ...]] = (("peak", "width"), ("file", "of"))

    illuminant: str | None = None
    peak: PositiveLengthM | None = None
    width: Annotated[PositiveLengthM | None, Field(description="full width at half maximum")] = None
    energy: tuple[tuple[Number, NonNegativeNumber], ...] | None = None
    photons: tuple[tuple[Number, NonNegativeNumber], ...] | None = None
    file: NumberFile | None = None
    of: Annotated[str | None, Field(pattern="^(energy|photons)$", description='"energy" or "photons"')] = None
    mix: tuple[SpectrumShare, ...] | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> Spectrum:
        try:
            _ = self.channel
        except ValueError as problem:
            stated = self.stated()[0]
            raise wrong(str(problem), stated, getattr(self, stated)) from None
        return self

    @cached_property
    def channel(self) -> ChannelSpectrum:
        """Photon shares over the 60 bins and lumens per umol."""
        if self.illuminant is not None:
            return channels.illuminant(self.illuminant)
        if self.peak is not None and self.width is not None:
            return channels.gaussian(peak_nm=self.peak * 1e9, fwhm_nm=self.width * 1e9)
        if self.mix is not None:
            return channels.mixture((part.spectrum.channel, part.share) for part in self.mix)
        if self.file is not None:
            rows = self.file.content
            if rows.shape[1] != 2:
                raise ValueError("the file must have rows of 2 numbers separated by commas")
            make = channels.from_energy_table if self.of == "energy" else channels.from_photon_table
            return make(rows[:, 0], rows[:, 1])
        rows = np.array(self.energy or self.photons, dtype=np.float64).reshape(-1, 2)
        make = channels.from_energy_table if self.energy is not None else channels.from_photon_table
        return make(rows[:, 0], rows[:, 1])


SpectrumWord = Annotated[Spectrum, ShortForm("illuminant", channels.illuminant_names)]
"""A spectrum as a table of keys or as the name of a CIE LED illuminant."""
