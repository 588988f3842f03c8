"""Fixtures: boards of LEDs with lenses and channels, their output, and where they hang."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, Any

import numpy as np
from pydantic import Field, model_validator

from underlit.photometry import files
from underlit.photometry import lens as lenses
from underlit.photometry.point import irradiance_below, led_grid
from underlit.scene.common import (
    AngleRad,
    Count,
    Efficacy,
    FilePath,
    Fraction,
    Hours,
    LengthM,
    Lumens,
    Name,
    NonNegativeLengthM,
    NonNegativeNumber,
    Number,
    Part,
    Point,
    PositiveLengthM,
    PositiveNumber,
    Ppf,
    Ppfd,
    ShortForm,
    Watts,
    exactly_one,
    wrong,
)
from underlit.scene.tank import Size
from underlit.spectra import channels
from underlit.spectra.channels import ChannelSpectrum
from underlit.spectra.grid import FloatArray


class LensShape(Part):
    """How an LED spreads its light: a name, a beam angle (full width at half maximum), a cone or a table."""

    name: Annotated[str | None, Field(pattern="^lambertian$")] = None
    beam_angle: AngleRad | None = None
    cone: AngleRad | None = None
    table: tuple[tuple[AngleRad, NonNegativeNumber], ...] | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> LensShape:
        exactly_one(self, ("name", "beam_angle", "cone", "table"), "the lens")
        try:
            _ = self.lens
        except ValueError as problem:
            key = "beam_angle" if self.beam_angle is not None else "cone" if self.cone is not None else "table"
            raise wrong(_lens_problem(self) or str(problem), key) from None
        return self

    @cached_property
    def lens(self) -> lenses.Lens:
        """The same as data for the tracer."""
        if self.beam_angle is not None:
            return lenses.from_beam_angle(self.beam_angle)
        if self.cone is not None:
            return lenses.uniform_cone(self.cone)
        if self.table is not None:
            angle, intensity = np.array(self.table, dtype=np.float64).reshape(-1, 2).T
            return lenses.from_table(angle, intensity)
        return lenses.lambertian()


def _lens_problem(shape: LensShape) -> str:
    wide = shape.beam_angle or shape.cone or 0.0
    if wide >= math.pi:
        return f"a lens wider than a hemisphere: {math.degrees(wide):.4g} deg, must be under 180 deg"
    return ""


class SpectrumShare(Part):
    """One part of a mixture and its share of the PAR photons."""

    spectrum: Annotated[Spectrum, ShortForm("illuminant", channels.illuminant_names)]
    share: PositiveNumber


class Spectrum(Part):
    """What a channel sends out: a CIE LED illuminant, a peak and width, a table or file, or a mixture.

    Tables are rows of [wavelength in nm, relative value per nm]; ``energy`` counts watts, ``photons`` counts photons.
    A file holds the same two columns separated by commas; ``of`` says which.
    """

    illuminant: str | None = None
    peak: PositiveLengthM | None = None
    width: PositiveLengthM | None = None
    energy: tuple[tuple[Number, NonNegativeNumber], ...] | None = None
    photons: tuple[tuple[Number, NonNegativeNumber], ...] | None = None
    file: FilePath | None = None
    of: Annotated[str | None, Field(pattern="^(energy|photons)$")] = None
    mix: tuple[SpectrumShare, ...] | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> Spectrum:
        kinds = ("illuminant", "peak", "energy", "photons", "file", "mix")
        exactly_one(self, kinds, "the spectrum")
        stated = next(key for key in kinds if getattr(self, key) is not None)
        if (self.width is not None) != (self.peak is not None):
            raise wrong("a peak needs its width (full width at half maximum), and a width its peak", "peak")
        if (self.of is not None) != (self.file is not None):
            raise wrong('a file needs of = "energy" or of = "photons"', "file")
        try:
            _ = self.channel
        except (ValueError, OSError) as problem:
            raise wrong(_file_problem(problem), stated, getattr(self, stated)) from None
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
            rows = read_number_table(self.file, columns=2)
            make = channels.from_energy_table if self.of == "energy" else channels.from_photon_table
            return make(rows[:, 0], rows[:, 1])
        rows = np.array(self.energy or self.photons, dtype=np.float64).reshape(-1, 2)
        make = channels.from_energy_table if self.energy is not None else channels.from_photon_table
        return make(rows[:, 0], rows[:, 1])


def _file_problem(problem: Exception) -> str:
    return f"the file cannot be read: {problem.strerror or problem}" if isinstance(problem, OSError) else str(problem)


def read_number_table(path: object, columns: int | None = None) -> FloatArray:
    """Rows of numbers from a csv file, (n, columns) float64; empty and # lines and one line of names are passed over.

    Raises ValueError when rows differ in length or hold anything but finite numbers, OSError when unreadable.
    """
    with open(str(path), encoding="utf-8") as stream:
        lines = [line for line in stream.read().splitlines() if line.strip() and not line.lstrip().startswith("#")]
    rows: list[list[float]] = []
    for index, line in enumerate(lines):
        try:
            rows.append([float(cell) for cell in line.split(",")])
        except ValueError:
            if index > 0:
                raise ValueError(f"the file holds a row that is not numbers: {line[:40]!r}") from None
    widths = {len(row) for row in rows}
    if not rows or len(widths) != 1 or (columns is not None and widths != {columns}):
        raise ValueError(f"the file must hold rows of {columns or 'equally many'} numbers separated by commas")
    table = np.array(rows)
    if not np.isfinite(table).all():
        raise ValueError("the file must hold finite numbers")
    return table


class Leds(Part):
    """Rows across and columns along the board; without a pitch they are spread evenly over it."""

    rows: Count
    columns: Count
    row_pitch: PositiveLengthM | None = None
    column_pitch: PositiveLengthM | None = None
    face: PositiveLengthM = 0.003


class Output(Part):
    """Light output with every channel at full, said in one of four ways; ``watts`` may always be said as well."""

    watts: Watts | None = None
    efficacy: Efficacy | None = None
    ppf: Ppf | None = None
    lumens: Lumens | None = None
    reads: Ppfd | None = None
    below: PositiveLengthM | None = None

    @model_validator(mode="after")
    def _said_once(self) -> Output:
        exactly_one(self, ("efficacy", "ppf", "lumens", "reads"), "the light output")
        if self.efficacy is not None and self.watts is None:
            raise wrong("an efficacy needs the watts as well", "efficacy")
        if (self.reads is None) != (self.below is None):
            raise wrong("a reading needs its distance below the fixture, and a distance its reading", "below")
        return self


class Kept(Part):
    """Shares of the claimed output that are left: once warm, with age, and under dirt on the fixture."""

    warm: Fraction = 1.0
    age: Fraction = 1.0
    dirt: Fraction = 1.0

    @property
    def factor(self) -> float:
        """All three together."""
        return self.warm * self.age * self.dirt


class Channel(Part):
    """LEDs of one colour: spectrum, share of the fixture's PAR photons at full, own dimming and lens.

    ``rows`` and ``columns`` say which LEDs of the board they are, counted from 1; all where not said.
    """

    name: Name = "white"
    spectrum: Annotated[Spectrum, ShortForm("illuminant", channels.illuminant_names)] = Spectrum(illuminant="LED-B4")
    share: PositiveNumber = 1.0
    dimming: Fraction = 1.0
    lens: Annotated[LensShape, ShortForm("name", lambda: ("lambertian",))] | None = None
    rows: tuple[Count, ...] | None = None
    columns: tuple[Count, ...] | None = None


MOST_PPF = 20_000.0
"""No fixture over a tank gives more [umol/s]: several kilowatts."""


def _file_output(said: dict[str, Any]) -> Output:
    """The lumens and watts that a photometric file states, where the scene states no output."""
    try:
        measured = files.read_photometry(said["photometric_file"])
    except (KeyError, TypeError, files.PhotometryFileError):  # `Fixture._fits_its_file` says so
        return Output.model_construct()
    return Output.model_construct(lumens=files.total_flux(measured), watts=measured.watts)


SLACK_OF_OPENING_M = 0.01
"""An opening may be this much larger than the body: files give it in hundredths of a foot or rounded up."""


class Fixture(Part):
    """A light: a board of LEDs under a body, or one that a photometric file describes, hung level or tilted.

    Heights are from the rim or the water up to the middle of the LED face. ``turn`` is counter-clockwise seen from
    above; ``tilt`` about the long axis, positive throws the beam to the front (before the turn).

    ``photometric_file`` (LM-63 or EULUMDAT) replaces ``leds`` and ``lens`` and, where no ``output`` is stated, gives the
    lumens. LM-63 has its 0 deg along the length, to the right; EULUMDAT its C0 across it, to the front, and C90 to the
    right. ``photometric_turn`` turns what the file says, opening too, counter-clockwise seen from above in the fixture.
    """

    name: Name = "fixture"
    size: Size
    photometric_file: FilePath | None = None
    photometric_turn: AngleRad = 0.0
    leds: Leds = Field(default_factory=lambda: Leds.model_construct(rows=1, columns=1))
    lens: Annotated[LensShape, ShortForm("name", lambda: ("lambertian",))] = LensShape(name="lambertian")
    channels: tuple[Channel, ...] = Field((Channel(),), alias="channel")
    output: Output = Field(default_factory=_file_output)
    kept: Kept = Kept()
    above_rim: LengthM | None = None
    above_water: NonNegativeLengthM | None = None
    position: Point | None = None
    turn: AngleRad = 0.0
    tilt: Annotated[AngleRad, Field(gt=-math.pi / 2, lt=math.pi / 2)] = 0.0
    dimming: Fraction = 1.0
    photoperiod: Hours = 8.0
    body_reflectance: Fraction = 0.5

    @model_validator(mode="after")
    def _fits_itself(self) -> Fixture:
        exactly_one(self, ("above_rim", "above_water"), "the height of the fixture")
        if not self.channels:
            raise wrong("a fixture needs at least one channel", "channel")
        if self.photometric_file is not None:
            self._fits_its_file()
        else:
            self._fits_its_board()
        if not (math.isfinite(self.claimed_ppf) and self.claimed_ppf > 0):
            raise wrong("the light output that follows is not a finite PPF above nothing", "output")
        if self.claimed_ppf > MOST_PPF:
            raise wrong(
                f"a PPF of {self.claimed_ppf:.3g} umol/s is more than any fixture gives: check the unit", "output"
            )
        return self

    def _fits_its_file(self) -> None:
        for key in ("leds", "lens"):
            if key in self.model_fields_set:
                raise wrong(f"the photometric file says how the fixture shines; take out {key}", key)
        for channel in self.channels:
            if channel.lens is not None or channel.rows is not None or channel.columns is not None:
                said = "the photometric file says how the fixture shines; take out lens, rows and columns"
                raise wrong(f"channel {channel.name!r}: {said}", "channel")
        try:
            measured = self.photometry
        except files.PhotometryFileError as problem:
            raise wrong(str(problem), "photometric_file") from None
        if measured is None:
            return
        opening = measured.opening
        c, s = abs(math.cos(self.photometric_turn)), abs(math.sin(self.photometric_turn))
        along, across = c * opening.length_m + s * opening.width_m, s * opening.length_m + c * opening.width_m
        if along > self.size[0] + SLACK_OF_OPENING_M or across > self.size[1] + SLACK_OF_OPENING_M:
            fits = across <= self.size[0] + SLACK_OF_OPENING_M and along <= self.size[1] + SLACK_OF_OPENING_M
            hint = '; it would fit with photometric_turn = "90 deg"' if fits and not self.photometric_turn else ""
            said = f"the luminous opening of its photometric file is {along:.3g} m along and {across:.3g} m across"
            raise wrong(f"the fixture is smaller than its light: {said}{hint}", "size")

    def _fits_its_board(self) -> None:
        for key in ("leds", "output"):
            if key not in self.model_fields_set:
                raise wrong("is missing", key)
        if self.photometric_turn:
            raise wrong("there is no photometric_file to turn", "photometric_turn")
        length, width, _ = self.size
        along, across = self.pitch_m
        slack = 1e-9
        if along * (self.leds.columns - 1) + self.leds.face > length + slack:
            raise wrong("the columns of LEDs are longer than the fixture", "leds")
        if across * (self.leds.rows - 1) + self.leds.face > width + slack:
            raise wrong("the rows of LEDs are wider than the fixture", "leds")
        if self.leds.face > min(along, across) + slack:
            raise wrong("the LED faces are wider than their pitch", "leds")
        for channel in self.channels:
            if max(channel.rows or (1,)) > self.leds.rows or max(channel.columns or (1,)) > self.leds.columns:
                raise wrong(f"channel {channel.name!r} uses rows or columns of LEDs that are not there", "channel")

    @cached_property
    def photometry(self) -> files.Photometry | None:
        """What the photometric file says, None without one. Raises PhotometryFileError."""
        return None if self.photometric_file is None else files.read_photometry(self.photometric_file)

    @property
    def pitch_m(self) -> tuple[float, float]:
        """Distance between columns (along) and between rows (across) [m]."""
        length, width, _ = self.size
        return self.leds.column_pitch or length / self.leds.columns, self.leds.row_pitch or width / self.leds.rows

    def led_offsets_m(self, channel: Channel) -> FloatArray:
        """Centres of a channel's LEDs on the board from its middle, (n, 2) [m]: along, across (front negative)."""
        along, across = self.pitch_m
        rows, columns = self.leds.rows, self.leds.columns
        grid = led_grid(rows=rows, columns=columns, row_pitch_m=across, column_pitch_m=along).reshape(rows, columns, 2)
        used_rows = [row - 1 for row in sorted(set(channel.rows))] if channel.rows else list(range(rows))
        used_columns = [at - 1 for at in sorted(set(channel.columns))] if channel.columns else list(range(columns))
        return grid[np.ix_(used_rows, used_columns)].reshape(-1, 2)

    def lens_of(self, channel: Channel) -> lenses.Lens:
        """The channel's own lens, else the fixture's."""
        return (channel.lens or self.lens).lens

    @cached_property
    def shares(self) -> tuple[float, ...]:
        """Each channel's share of the PAR photons with all channels at full; adds to 1."""
        total = sum(channel.share for channel in self.channels)
        return tuple(channel.share / total for channel in self.channels)

    @cached_property
    def claimed_ppf(self) -> float:
        """PPF as claimed, every channel at full, nothing lost to warmth, age or dirt [umol/s]."""
        said = self.output
        if said.ppf is not None:
            return said.ppf
        if said.watts is not None and said.efficacy is not None:
            return said.watts * said.efficacy
        if said.lumens is not None:
            parts = zip(self.channels, self.shares, strict=True)
            return said.lumens / sum(part.spectrum.channel.lumens_per_umol * share for part, share in parts)
        if self.photometry is not None:
            per_flux = files.irradiance_below(self.photometry, said.below or 1.0)
            return (said.reads or 0.0) / per_flux if per_flux > 0 else math.inf
        per_flux = sum(
            share * irradiance_below(self.lens_of(channel), self.led_offsets_m(channel), said.below or 1.0)
            for channel, share in zip(self.channels, self.shares, strict=True)
        )
        return (said.reads or 0.0) / per_flux if per_flux > 0 else math.inf

    @property
    def channel_ppf(self) -> tuple[float, ...]:
        """PPF of each channel as it runs: claimed, times share, dimming and what is kept [umol/s]."""
        scale = self.claimed_ppf * self.dimming * self.kept.factor
        return tuple(scale * s * c.dimming for c, s in zip(self.channels, self.shares, strict=True))

    @property
    def full_channel_ppf(self) -> tuple[float, ...]:
        """PPF of each channel undimmed, after what is kept [umol/s]: light adds, dimming is arithmetic on results."""
        return tuple(self.claimed_ppf * self.kept.factor * share for share in self.shares)

    @property
    def ppf(self) -> float:
        """PPF of the fixture as it runs [umol/s]."""
        return sum(self.channel_ppf)

    @property
    def running_watts(self) -> float | None:
        """Watts drawn as it runs, taken to fall with the dimming; None where the scene does not say."""
        if self.output.watts is None:
            return None
        dimmed = sum(s * c.dimming for c, s in zip(self.channels, self.shares, strict=True))
        return self.output.watts * self.dimming * dimmed
