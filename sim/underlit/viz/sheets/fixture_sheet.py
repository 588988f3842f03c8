"""A fixture on one sheet: seen from below, its polar diagram, its spectrum and its day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from underlit.lowering.fixtures import emitting_face, underside
from underlit.photometry import files
from underlit.photometry.far import Beams, far_intensity, full_width, plane_directions
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.fixture import Fixture
from underlit.spectra.colour import seen_colour
from underlit.spectra.grid import PAR_BIN_WIDTH_NM, PAR_EDGES_NM, FloatArray
from underlit.transport.tables import FaceShape
from underlit.viz.figures import Canvas, polygon, quiet_ticks, without_sides, write_png
from underlit.viz.palette import INK, SOFT_INK, both_units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.projections.polar import PolarAxes

_WIDTH, _HEIGHT = 10.0, 6.3
"""Of the sheet [in]."""
_BODY, _SHEET, _ALONG, _ACROSS = "#8d9499", "#d5d9db", "#2f6f8f", "#b5632e"
_BEHIND = "#eceeef"
"""Behind curves, so that white light shows."""
_SMALLEST_DOT = 3.2
"""Side of the square for an LED at the least [pt]."""


def write_fixture_sheets(fixtures: Sequence[Fixture], folder: Path, stem: str = "fixture") -> list[Path]:
    """Draw each fixture as ``stem-<n>.png``, n from 1, whole or not at all. Raises OSError where it cannot be written."""
    paths = []
    for number, fixture in enumerate(fixtures, 1):
        path = folder / f"{stem}-{number}.png"
        write_png(draw_fixture_sheet(fixture), path)
        paths.append(path)
    return paths


def draw_fixture_sheet(fixture: Fixture) -> Figure:
    """The sheet of a fixture at full power, as a matplotlib figure."""
    canvas = Canvas(_WIDTH, _HEIGHT)
    _words(canvas, fixture)
    _from_below(canvas.axes(0.45, 3.15, 5.6, 2.0), fixture)
    # A whole circle of angles needs more room above and below than a half.
    side, low, note_at = (2.1, 2.85, 5.42) if _shines_up(fixture) else (2.6, 2.75, 5.25)
    polar = canvas.axes(8.05 - side / 2, low, side, side, projection="polar")
    _polar(cast("PolarAxes", polar), fixture)
    note = "light by angle, µmol/s/sr"
    if fixture.reflector is not None:
        note += "\nLEDs alone, without the reflector"
    canvas.text(6.75, note_at, note, 9, color=SOFT_INK, va="center")
    _spectrum(canvas.axes(0.85, 0.62, 5.2, 1.75), fixture)
    _day(canvas.axes(6.95, 0.62, 2.65, 1.2), fixture)
    return canvas.figure


def beams(fixture: Fixture) -> list[Beams]:
    """A fixture's LEDs for `far_intensity`, all channels at full power with light-loss factors; none of a photometric file."""
    found = []
    for channel, ppf in zip(fixture.channels, fixture.full_channel_ppf, strict=True):
        groups = fixture.led_groups(channel)
        count = sum(len(group.points) for group in groups)
        found += [Beams(group.lens.lens, group.axis, ppf * len(group.points) / count) for group in groups]
    return found


def plane_intensity(fixture: Fixture, azimuth_rad: float, angle_rad: FloatArray) -> FloatArray:
    """Intensity [umol/s/sr] in an upright plane of the fixture: angles from straight down, positive to the azimuth."""
    measured = fixture.photometry
    if measured is None:
        return far_intensity(beams(fixture), plane_directions(azimuth_rad, angle_rad))
    azimuth = np.where(angle_rad < 0, azimuth_rad + math.pi, azimuth_rad) - fixture.photometric_turn
    candela = files.intensity_at(measured, azimuth, np.abs(angle_rad))
    return candela / files.total_flux(measured) * sum(fixture.full_channel_ppf)


def _words(canvas: Canvas, fixture: Fixture) -> None:
    length, width, thick = fixture.size
    size = " x ".join(both_units(side) for side in (length, width, thick))
    ppf, watts = sum(fixture.full_channel_ppf), fixture.output.watts
    said = [f"PPF {ppf:.3g} µmol/s"]
    if watts is not None:
        said.append(f"{watts:.3g} W, {ppf / watts:.2g} µmol/J")
    per_umol = sum(
        c.spectrum.channel.lumens_per_umol * s for c, s in zip(fixture.channels, fixture.shares, strict=True)
    )
    said.append(f"{ppf * per_umol:.0f} lm")
    said.append("from its photometric file" if fixture.photometry else _counted(len(fixture.board), "LED"))
    canvas.title(0.45, fixture.name)
    canvas.text(0.45, _HEIGHT - 0.58, f"{', '.join(said)}, all channels at full power", 9, va="center")
    canvas.text(0.45, _HEIGHT - 0.8, size, color=SOFT_INK, va="center")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _from_below(axes: Axes, fixture: Fixture) -> None:
    """Body, reflector and LEDs as seen from below: front at the top, right at the right."""
    reflector = fixture.reflector
    outlines = [(underside(fixture), _BODY)]
    if reflector is not None:
        outlines.insert(0, (underside(fixture, max(reflector.flares_m, 0.002), reflector.depth), _SHEET))
    for outline, colour in outlines:
        polygon(axes, outline[:, :2] * (1, -1), fc=colour, ec=INK, lw=0.6, zorder=1)
    if reflector is not None and reflector.flares_m < 0:
        opening = underside(fixture, reflector.flares_m, reflector.depth)[:, :2] * (1, -1)
        polygon(axes, opening, fill=False, ec=INK, lw=0.8, ls="--", zorder=10)
    reach = np.abs(outlines[0][0]).max(axis=0)
    room = max(0.08 * reach[0], 0.25 * reach[1], 0.01)
    axes.set(xlim=(-reach[0] - room, reach[0] + room), ylim=(-reach[1] - room, reach[1] + room), aspect="equal")
    axes.set_axis_off()
    if fixture.photometry is not None:
        _opening(axes, fixture)
    else:
        _leds(axes, fixture)
    axes.set_title("seen from below", fontsize=9, color=SOFT_INK, loc="left", pad=4)
    axes.text(0, reach[1] + 0.2 * room, "front", ha="center", va="bottom", fontsize=8, color=INK)
    _scale_bar(axes, reach[0], reach[1] + 0.35 * room)


def _scale_bar(axes: Axes, half_length: float, low: float) -> None:
    step = next(s for s in (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005) if s <= max(half_length, 0.005))
    axes.plot([-half_length, step - half_length], [-low, -low], color=INK, lw=1.6, solid_capstyle="butt", clip_on=False)
    axes.annotate(
        f"{100 * step:g} cm", (step - half_length, -low), (5, 0), textcoords="offset points", fontsize=8, color=INK,
        va="center", annotation_clip=False,
    )  # fmt: skip


def _leds(axes: Axes, fixture: Fixture) -> None:
    """LEDs in the colour of their light, smaller inside each other where channels share them; dashes where they look."""
    board, drawn = fixture.board, np.zeros(len(fixture.board), dtype=int)
    points_per_m = 72 * axes.get_position().width * _WIDTH / np.ptp(axes.get_xlim())
    for channel in fixture.channels:
        mask = fixture.leds_of(channel)
        side = np.maximum(board.face[mask] * points_per_m, _SMALLEST_DOT) * 0.62 ** drawn[mask]
        axes.scatter(
            board.points[mask, 0], -board.points[mask, 1], s=side**2, marker="s", color=_colour(channel),
            edgecolors="#101416", linewidths=0.3, zorder=3 + int(drawn[mask].max(initial=0)),
        )  # fmt: skip
        drawn[mask] += 1
    aside = np.hypot(board.axis[:, 0], board.axis[:, 1]) > 1e-6
    dash = 14 / points_per_m
    for (x, y), axis in zip(board.points[aside], board.axis[aside], strict=True):
        axes.plot([x, x + dash * axis[0]], [-y, -y - dash * axis[1]], color=INK, lw=0.8, zorder=2)


def _opening(axes: Axes, fixture: Fixture) -> None:
    from matplotlib.patches import Circle, Rectangle

    assert fixture.photometry is not None
    shape, (half_u, half_v) = emitting_face(fixture.photometry.opening)
    colour = _colour(fixture.channels[0])
    if shape is FaceShape.DISC or half_u == 0:
        axes.add_patch(Circle((0, 0), max(half_u, 0.004), fc=colour, ec=INK, lw=0.6, zorder=3))
        return
    opening = Rectangle((-half_u, -half_v), 2 * half_u, 2 * half_v, fc=colour, ec=INK, lw=0.6, zorder=3,
                        angle=-math.degrees(fixture.photometric_turn), rotation_point="center")  # fmt: skip
    axes.add_patch(opening)


def _colour(channel: Channel) -> tuple[float, float, float]:
    return seen_colour(channel.spectrum.channel.photons)


def _shines_up(fixture: Fixture) -> bool:
    return fixture.photometry is not None and files.upper_half(fixture.photometry) is not None


def _polar(axes: PolarAxes, fixture: Fixture) -> None:
    """Intensity against the angle from straight down, along the fixture and across it."""
    from matplotlib.ticker import MaxNLocator

    shines_up = _shines_up(fixture)
    # A body lies over the LEDs of a board: what tilted ones throw above the horizontal meets it.
    furthest = 180 if shines_up else 90
    angles = np.radians(np.linspace(-furthest, furthest, 4 * furthest + 1))
    top = 0.0
    for azimuth, colour, name, style in ((0.0, _ALONG, "along", "-"), (math.pi / 2, _ACROSS, "across", "--")):
        values = plane_intensity(fixture, azimuth, angles)
        wide = math.degrees(full_width(angles, values))
        axes.plot(angles, values, color=colour, lw=1.6, ls=style, label=f"{name}, beam angle {wide:.0f}°")
        top = max(top, 1.08 * float(values.max()))
    axes.set_theta_zero_location("S")
    axes.set_rlim(0, top)
    marks = range(-150, 181, 30) if shines_up else range(-90, 91, 30)
    names = {-90: "left,\nfront", 90: "right,\nback"}
    axes.set_thetagrids(marks, [names.get(mark, f"{abs(mark)}°") for mark in marks], fontsize=8)
    axes.set_thetalim(math.radians(-furthest), math.radians(furthest))
    axes.yaxis.set_major_locator(MaxNLocator(4, prune="lower"))
    axes.tick_params(axis="y", labelsize=7, colors=SOFT_INK)
    axes.grid(color="#d8dcde", lw=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12 if shines_up else 0.17), fontsize=8, frameon=False)


def _spectrum(axes: Axes, fixture: Fixture) -> None:
    """Photons by wavelength, the channels on top of each other."""
    below = np.zeros(len(PAR_EDGES_NM) - 1)
    for channel, ppf, share in zip(fixture.channels, fixture.full_channel_ppf, fixture.shares, strict=True):
        here = below + ppf * channel.spectrum.channel.photons / PAR_BIN_WIDTH_NM
        label = f"{channel.name}, {100 * share:.0f} % of PAR"
        axes.stairs(here, PAR_EDGES_NM, baseline=below, fill=True, fc=_colour(channel), ec=INK, lw=0.7, label=label)
        below = here
    axes.set(xlim=(400, 700), ylim=(0, 1.08 * below.max()), facecolor=_BEHIND)
    axes.set_xlabel("wavelength, nm", fontsize=8.5, color=INK)
    axes.set_ylabel("µmol/s per nm", fontsize=8.5, color=INK)
    quiet_ticks(axes, colour=INK)
    without_sides(axes, "top", "right")
    axes.set_title("spectrum in photons", fontsize=9, color=SOFT_INK, loc="left", pad=20)
    axes.legend(
        loc="lower left", bbox_to_anchor=(0.0, 1.0), fontsize=8, frameon=False, ncols=4, handlelength=1.1,
        columnspacing=1.2, borderpad=0,
    )  # fmt: skip


def _day(axes: Axes, fixture: Fixture) -> None:
    """Level of each channel from midnight to midnight."""
    days = [fixture.day_of(channel) for channel in fixture.channels]
    for day in dict.fromkeys(days):
        alike = [channel for channel, own in zip(fixture.channels, days, strict=True) if own == day]
        times, levels = day.whole
        axes.fill_between(times, 0, 100 * levels, color=_colour(alike[0]), alpha=0.6, lw=0)
        axes.plot(times, 100 * levels, color=INK, lw=0.9)
        if len(alike) < len(days):
            top = int(np.argmax(levels))
            names = ", ".join(channel.name for channel in alike)
            axes.annotate(names, (times[top], 100 * levels[top]), (3, -3), textcoords="offset points", fontsize=7.5,
                          color=INK, va="top", zorder=5)  # fmt: skip
    hours = sum(share * day.full_hours for share, day in zip(fixture.shares, days, strict=True))
    axes.set(xlim=(0, 24), ylim=(0, 105), xticks=range(0, 25, 6), facecolor=_BEHIND)
    axes.set_xticks(range(0, 25, 2), minor=True)
    axes.set_xlabel("time of day, h", fontsize=8.5, color=INK)
    axes.set_ylabel("% of full power", fontsize=8.5, color=INK)
    axes.tick_params(labelsize=8, colors=INK, which="both")
    without_sides(axes, "top", "right")
    title = f"equal to {hours:.3g} h at full power"
    if fixture.schedule is None and all(c.schedule is None for c in fixture.channels):
        title += ", time assumed"
    axes.set_title(title, fontsize=9, color=SOFT_INK, loc="left", pad=4)
