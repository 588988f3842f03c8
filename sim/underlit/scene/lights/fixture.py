"""A whole fixture: from what is known of it to its LEDs, its light and its place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, PrivateAttr, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from underlit.photometry import files
from underlit.scene.common import (
    AngleRad,
    Fraction,
    Hours,
    LengthM,
    Name,
    NonNegativeLengthM,
    OneOf,
    Point,
    PositiveLengthM,
    Role,
    wrong,
)
from underlit.scene.lights.board import Board, Cluster, LedGroup, Leds, Optic, build_board, groups
from underlit.scene.lights.body import PRESETS, ROUND, Clip, Form, Preset, Reflector
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.day import PHOTOPERIOD_H, Day, Driven, block, check_steps, curve_share, through_curve
from underlit.scene.lights.flux import (
    Emitters,
    Flux,
    claimed_flux,
    flux_from_file_and_readings,
    flux_from_readings,
)
from underlit.scene.lights.guesses import output_from_file, usual_leds, usual_ppf, usual_size
from underlit.scene.lights.lens import LeanRad, LensShape, LensWord
from underlit.scene.lights.output import MOST_EFFICACY, LightLossFactors, Output
from underlit.scene.named_files import PhotometricFile
from underlit.scene.tank.tank import Size
from underlit.scene.tank.water import Water
from underlit.spectra.grid import FloatArray

MOST_PPF = 20_000.0
"""No fixture over a tank gives more [umol/s]: several kilowatts."""
SLACK_OF_OPENING_M = 0.01
"""An opening may be this much larger than the body: files give it in hundredths of a foot, or rounded up."""
SLACK_M = 1e-9
WAYS_TO_GIVE_LIGHT = "watts, ppf, lumens or a reading"
SAID_BY_THE_FILE = ("leds", "lens", "cluster", "optic", "reflector", "form")
"""Keys of a fixture that its photometric file replaces."""


class Fixture(Driven):
    """A light: a board of LEDs under a body, or one that a photometric file describes, hung level or tilted.

    Any one of output, length or size is enough; the rest is assumed as usual for its ``form`` and listed among the
    assumptions. Heights are from the rim or the water up to the middle of the LED face. ``turn`` is counter-clockwise
    seen from above; ``tilt`` is about the long axis, positive points the beam to the front (before the turn).

    ``photometric_file`` (LM-63 or EULUMDAT) replaces LEDs and lens and gives the lumens where no ``output`` is given.
    LM-63 has its 0 deg along the length, to the right; EULUMDAT its C0 across it, to the front, and C90 to the right.
    ``photometric_turn`` turns what the file says, and the opening, counter-clockwise seen from above in the fixture.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        *Driven.one_of,
        OneOf("the height of the fixture", "above_rim", "above_water"),
        OneOf("the size of the fixture", "length", "size"),
        OneOf("the place of the fixture", "clip", "position"),
        OneOf("the LED arrangement", "leds", "cluster"),
        OneOf("the daily light time", "photoperiod", "schedule"),
    )
    displaces: ClassVar[Mapping[str, tuple[str, ...]]] = {"photometric_file": SAID_BY_THE_FILE}
    renamed: ClassVar[Mapping[str, str]] = {"kept": "light_loss_factors"}

    name: Name = "fixture"
    form: Annotated[Form, Field(description="decides what is assumed of size, LEDs and lens")] = Form.BAR
    length: Annotated[PositiveLengthM | None, Field(description="of a bar, or the diameter; instead of size")] = None
    photometric_file: PhotometricFile | None = None
    photometric_turn: AngleRad = 0.0
    lens: LensWord | None = None
    channels: tuple[Channel, ...] = Field((Channel(),), alias="channel")
    output: Output = Field(default_factory=output_from_file)
    size: Size = Field(default_factory=usual_size)
    clusters: Annotated[
        tuple[Cluster, ...], Field(alias="cluster", description="groups of LEDs on the board, instead of leds")
    ] = ()
    leds: Leds = Field(default_factory=usual_leds)
    optics: Annotated[
        tuple[Optic, ...], Field(alias="optic", description="lens and direction of single LEDs, rows or clusters")
    ] = ()
    reflector: Reflector | None = None
    light_loss_factors: LightLossFactors = LightLossFactors()
    clip: Annotated[Clip | None, Role.HANGS] = None
    above_rim: Annotated[LengthM | None, Role.HANGS] = None
    above_water: Annotated[NonNegativeLengthM | None, Role.HANGS] = None
    position: Annotated[Point | None, Role.HANGS] = None
    turn: Annotated[AngleRad, Role.HANGS] = 0.0
    tilt: Annotated[LeanRad, Role.HANGS] = 0.0
    photoperiod: Annotated[Hours, Role.RUNS] = PHOTOPERIOD_H
    body_reflectance: Fraction = 0.5

    _read_in: Water = PrivateAttr(default=Water())

    @model_validator(mode="after")
    def _fits_itself(self, info: ValidationInfo) -> Fixture:
        if any(reading.under_water for reading in self.output.readings):
            self._read_in = (info.context or {}).get("water", self._read_in)
        self._check_what_is_given()
        self._check_how_it_runs()
        if self.photometric_file is not None:
            self._fits_its_file()
        else:
            self._fits_its_board()
        self._check_ppf(self.claimed_ppf, self.output.watts)
        return self

    def _check_what_is_given(self) -> None:
        if not self.channels:
            raise wrong("a fixture needs at least one channel", "channel")
        has_size = self.length is not None or "size" in self.model_fields_set
        if self.photometric_file is None and "output" not in self.model_fields_set:
            if self.form in ROUND:
                raise wrong(f"a {self.form} needs its light output: give {WAYS_TO_GIVE_LIGHT}", "output")
            if not has_size:
                raise wrong(f"the light is missing: give the output ({WAYS_TO_GIVE_LIGHT}) or the length")
        if self.photometric_file is not None and not has_size:
            raise wrong("is missing: the photometric file does not say how large the body is", "size")

    @staticmethod
    def _check_ppf(ppf: float, watts: float | None) -> None:
        if not (math.isfinite(ppf) and ppf > 0):
            raise wrong("the light output must be a finite PPF above 0", "output")
        if ppf > MOST_PPF:
            raise wrong(f"a PPF of {ppf:.3g} umol/s is more than any fixture gives: check the unit", "output")
        if watts is not None and ppf > MOST_EFFICACY * watts:
            said = f"{ppf:.3g} umol/s from {watts:.3g} W"
            raise wrong(f"{said} is more light than these watts can give: check watts and unit", "output")

    def _check_how_it_runs(self) -> None:
        check_steps(self, self.dimming_curve)
        for channel in self.channels:
            try:
                check_steps(channel, channel.dimming_curve or self.dimming_curve)
            except ValueError as problem:
                said = problem.message() if isinstance(problem, PydanticCustomError) else problem
                raise wrong(f"channel {channel.name!r}: {said}", "channel") from None

    def _fits_its_file(self) -> None:
        for key in SAID_BY_THE_FILE:
            if key in self.stated():
                raise wrong("the photometric file already says how the light spreads: remove this", key)
        for channel in self.channels:
            for key in ("lens", "rows", "columns", "clusters", "letter"):
                if key in channel.model_fields_set:
                    said = f"the photometric file already says how the light spreads: remove {key}"
                    raise wrong(f"channel {channel.name!r}: {said}", "channel")
        try:
            measured = self.photometry
        except ValueError as problem:
            raise wrong(str(problem), "photometric_file") from None
        if measured is None:
            return
        self._holds_its_opening(measured.opening)

    def _holds_its_opening(self, opening: files.Opening) -> None:
        c, s = abs(math.cos(self.photometric_turn)), abs(math.sin(self.photometric_turn))
        along, across = c * opening.length_m + s * opening.width_m, s * opening.length_m + c * opening.width_m
        if along > self.size[0] + SLACK_OF_OPENING_M or across > self.size[1] + SLACK_OF_OPENING_M:
            fits = across <= self.size[0] + SLACK_OF_OPENING_M and along <= self.size[1] + SLACK_OF_OPENING_M
            hint = '; it would fit with photometric_turn = "90 deg"' if fits and not self.photometric_turn else ""
            said = f"{along:.3g} m along and {across:.3g} m across"
            raise wrong(f"must hold the luminous opening of the photometric file, {said}{hint}", "size")

    def _fits_its_board(self) -> None:
        if self.photometric_turn:
            raise wrong("needs a photometric_file to turn", "photometric_turn")
        if self.reflector is not None:
            self._check_reflector(self.reflector)
        if not self.clusters and self.leds.rings is None:
            self._check_grid()
        self._check_places()
        for channel in self.channels:
            if not self.leds_of(channel).any():
                raise wrong(f"channel {channel.name!r} has no LED on the board: check rows, columns, letter", "channel")
        for index, optic in enumerate(self.optics):
            if not self.board.picked(optic.rows, optic.columns, optic.clusters).any():
                raise wrong(f"number {index + 1} picks no LED of the board: check rows, columns, clusters", "optic")

    def _check_reflector(self, reflector: Reflector) -> None:
        if self.output.readings:
            raise wrong(
                "a reading under a reflector does not show the light of the LEDs: give watts, ppf or lumens", "output"
            )
        if 2 * reflector.flares_m + min(self.size[:2]) <= 0:
            raise wrong("closes before its lower edge: give less depth or less inward flare", "reflector")

    def _check_grid(self) -> None:
        length, width, _ = self.size
        rows, columns = self.leds.shape
        along, across = self.leds.pitches((length / columns, width / rows))
        if along * (columns - 1) + self.leds.face > length + SLACK_M:
            raise wrong("the columns of LEDs are longer than the fixture: give fewer or less pitch", "leds")
        if across * (rows - 1) + self.leds.face > width + SLACK_M:
            raise wrong("the rows of LEDs are wider than the fixture: give fewer or less pitch", "leds")
        if self.leds.face > min(along, across) + SLACK_M:
            raise wrong("the LED faces overlap: give a smaller face or a larger pitch", "leds")
        for channel in self.channels:
            if max(channel.rows or (1,)) > rows or max(channel.columns or (1,)) > columns:
                raise wrong(f"channel {channel.name!r} uses rows or columns that the board does not have", "channel")

    def _check_places(self) -> None:
        key = "cluster" if self.clusters else "leds"
        if len(self.board) == 0:
            raise wrong("the board has no LED: give at least one", key)
        half = np.array(self.size[:2]) / 2
        reach = np.abs(self.board.points) + self.board.face[:, None] / 2
        if self.form in ROUND:
            outside = ((np.abs(self.board.points) / half) ** 2).sum(axis=1) > 1 + SLACK_M
        else:
            outside = (reach > half + SLACK_M).any(axis=1)
        if outside.any():
            raise wrong("some LEDs lie outside the fixture: make it larger or the pitch smaller", key)

    @property
    def photometry(self) -> files.Photometry | None:
        """What the photometric file says; None without one. Raises ValueError where it could not be read."""
        return None if self.photometric_file is None else self.photometric_file.content

    @property
    def preset(self) -> Preset:
        """What its form is usually like."""
        return PRESETS[self.form]

    # -- LEDs -----------------------------------------------------------------------------------------------
    @cached_property
    def board(self) -> Board:
        """Every LED, in the fixture's frame: right, back and up from the middle of its underside."""
        return build_board(self.leds, self.clusters, self.optics, self.size[:2])

    def leds_of(self, channel: Channel) -> NDArray[np.bool_]:
        """Which LEDs are a channel's, (n,)."""
        mask = self.board.picked(channel.rows, channel.columns, channel.clusters)
        return mask if channel.letter is None else mask & (self.board.letter == channel.letter)

    def led_groups(self, channel: Channel) -> list[LedGroup]:
        """A channel's LEDs by lens; all share its light evenly."""
        return list(groups(self.board, self.leds_of(channel), self.lens_shape(channel)))

    def lens_shape(self, channel: Channel) -> LensShape:
        """Lens of a channel's LEDs without one of their own: that of channel or fixture, or what readings or form suggest."""
        return channel.lens or self.lens or self._usual_lens

    @cached_property
    def _usual_lens(self) -> LensShape:
        if self.photometric_file is None and self.flux.beam is not None:
            return LensShape.model_construct(beam_angle=self.flux.beam.beam_rad)
        if self.form is Form.SPOT:
            return LensShape.model_construct(beam_angle=self.preset.beam_rad)
        return LensShape(name="lambertian")

    @property
    def emitters(self) -> list[Emitters]:
        """All LEDs by channel and lens, as far as the scene gives it; not for a fixture from a photometric file."""
        found = []
        for channel, share in zip(self.channels, self.shares, strict=True):
            at = np.nonzero(self.leds_of(channel))[0]
            by_lens: dict[LensShape | None, list[int]] = {}
            for i in at:
                by_lens.setdefault(self.board.lens[i] or channel.lens or self.lens, []).append(int(i))
            for shape, some in by_lens.items():
                lens = None if shape is None else shape.lens
                found.append(Emitters(channel, share, len(at), lens, self.board.points[some], self.board.axis[some]))
        return found

    @property
    def leaves_lens_open(self) -> bool:
        """Whether the scene leaves the lens of some LEDs open."""
        if self.photometric_file is not None or self.lens is not None:
            return False
        taken = [self.leds_of(channel) for channel in self.channels if channel.lens is None]
        bare = np.array([lens is None for lens in self.board.lens])
        return any((mask & bare).any() for mask in taken)

    # -- light ----------------------------------------------------------------------------------------------
    @cached_property
    def shares(self) -> tuple[float, ...]:
        """Share of each channel in the PAR photons with all channels at full power; adds to 1."""
        total = sum(channel.share for channel in self.channels)
        return tuple(channel.share / total for channel in self.channels)

    @cached_property
    def flux(self) -> Flux:
        """PPF as claimed, and what readings show beyond it."""
        if self.photometric_file is None and "output" not in self.model_fields_set:
            return Flux(usual_ppf(self.size[0]))
        readings = self.output.readings
        if not readings:
            return claimed_flux(self.output, self.channels)
        water = self._read_in.optical_constants()
        if self.photometry is not None:
            shares = list(zip(self.channels, self.shares, strict=True))
            return flux_from_file_and_readings(readings, self.photometry, water, self.photometric_turn, shares)
        is_open = self.leaves_lens_open and not any(channel.lens for channel in self.channels)
        return flux_from_readings(
            readings, self.emitters, water, usual_beam_rad=self.preset.beam_rad, beam_is_open=is_open
        )

    @property
    def claimed_ppf(self) -> float:
        """PPF as claimed: every channel at full power, without light-loss factors [umol/s]."""
        return self.flux.ppf

    @property
    def channel_ppf(self) -> tuple[float, ...]:
        """PPF of each channel at the brightest hour: claimed, times share, level and light-loss factors [umol/s]."""
        return tuple(full * self.level_of(c) for full, c in zip(self.full_channel_ppf, self.channels, strict=True))

    @property
    def full_channel_ppf(self) -> tuple[float, ...]:
        """PPF of each channel at full power, times light-loss factors [umol/s]: light adds, dimming is arithmetic."""
        return tuple(self.claimed_ppf * self.light_loss_factors.total * share for share in self.shares)

    @property
    def ppf(self) -> float:
        """PPF of the fixture at its brightest hour [umol/s]."""
        return sum(self.channel_ppf)

    @property
    def running_watts(self) -> float | None:
        """Watts drawn at the brightest hour, assumed to fall with the light; None where the scene does not say."""
        if self.output.watts is None:
            return None
        return self.output.watts * sum(s * self.level_of(c) for c, s in zip(self.channels, self.shares, strict=True))

    # -- the day --------------------------------------------------------------------------------------------
    @cached_property
    def day(self) -> Day:
        """How the fixture as a whole runs through the day, without its channels."""
        if self.schedule is not None:
            return through_curve(self.schedule, self.dimming_curve).scaled(self.dimming)
        return block(self.photoperiod, curve_share(self, self.dimming_curve))

    def day_of(self, channel: Channel) -> Day:
        """Level of a channel over the day, with that of the whole fixture included."""
        curve = channel.dimming_curve or self.dimming_curve
        if channel.schedule is None:
            return self.day.scaled(curve_share(channel, curve))
        return through_curve(channel.schedule, curve).scaled(
            channel.dimming * (self.dimming if self.schedule is not None else curve_share(self, self.dimming_curve))
        )

    @cached_property
    def brightest_hour(self) -> float:
        """Time of day at which the fixture gives most PPF [h]; results show the light at that time."""
        days = [self.day_of(channel) for channel in self.channels]
        times = sorted({time for day in days for time in day.times})
        return max(times, key=lambda t: sum(s * day.at(t) for s, day in zip(self.shares, days, strict=True)))

    def level_of(self, channel: Channel) -> float:
        """Share of full light that a channel gives at the fixture's brightest hour."""
        return self.day_of(channel).at(self.brightest_hour)

    @property
    def level(self) -> float:
        """Level of the fixture as a whole at its brightest hour."""
        return self.day.at(self.brightest_hour)

    @property
    def lit_hours(self) -> float:
        """Hours of the day in which any channel gives light."""
        return max(self.day_of(channel).lit_hours for channel in self.channels)

    # -- place ----------------------------------------------------------------------------------------------
    @property
    def height_above_rim_m(self) -> float:
        """Height over the rim where the scene does not count from the water [m]; usual for the form if it gives none."""
        return self.preset.above_rim_m if self.above_rim is None else self.above_rim

    @property
    def rotation(self) -> FloatArray:
        """(3, 3) from the fixture's frame to the world: tilt about its long axis, then turn, with that of a clip."""
        c, s = math.cos(self.tilt), math.sin(self.tilt)
        tilt = np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
        turned = self.turn + (self.clip.turn if self.clip is not None else 0.0)
        c, s = math.cos(turned), math.sin(turned)
        return np.asarray(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ tilt)

    def place_m(self, length: float, depth: float) -> tuple[float, float]:
        """Middle of the LED face on the plan of a tank [m]; over the middle of the tank where the scene does not say."""
        if self.clip is not None:
            return self.clip.place_m(length, depth)
        return self.position or (length / 2, depth / 2)

    @property
    def corners_m(self) -> FloatArray:
        """Corners of the box that holds body and reflector, (8, 3) [m], in the fixture's frame from the LED face's middle.

        They run along, across, up like the bits of their number.
        """
        wider, deeper = (max(self.reflector.flares_m, 0.0), self.reflector.depth) if self.reflector else (0.0, 0.0)
        length, width, thick = self.size
        a, b = length / 2 + wider, width / 2 + wider
        return np.array([(x, y, z) for x in (-a, a) for y in (-b, b) for z in (-deeper, thick)])
