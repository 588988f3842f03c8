"""What a fixture is assumed to be where its owner does not know: common practice, no source (`body.PRESETS`)."""

from __future__ import annotations

from typing import Any

from underlit.photometry import files
from underlit.scene.lights.board import Leds
from underlit.scene.lights.body import LONGEST_M, PRESETS, ROUND, SHORTEST_M, WATTS_PER_M, Form
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.flux import claimed_flux
from underlit.scene.lights.output import USUAL_EFFICACY, Output
from underlit.scene.tank.tank import Size

MOST_GUESSED_LEDS = 400
MOST_GUESSED_RINGS = 40


def output_from_file(said: dict[str, Any]) -> Output:
    """The lumens and watts that a photometric file states, where the scene states no output; nothing without one."""
    try:
        measured = said["photometric_file"].content
    except (KeyError, AttributeError, ValueError):  # the fixture's own check reports it
        return Output.model_construct()
    return Output.model_construct(lumens=files.total_flux(measured), watts=measured.watts)


def usual_ppf(length_m: float) -> float:
    """PPF of a fixture of which only the length is known [umol/s]."""
    return min(max(length_m, SHORTEST_M), LONGEST_M) * WATTS_PER_M * USUAL_EFFICACY


def usual_size(said: dict[str, Any]) -> Size:
    """The size from its length, its watts or its form."""
    preset = PRESETS[said.get("form", Form.BAR)]
    length, output = said.get("length"), said.get("output")
    if length is None and output is not None and said.get("form") is Form.BAR:
        length = _length_from_output(output, said.get("channels") or (Channel(),))
    length = length or preset.length_m
    width = length if said.get("form") in ROUND else min(preset.width_m, length)
    return length, width, preset.thickness_m


def _length_from_output(output: Output, channels: tuple[Channel, ...]) -> float | None:
    """Length of a bar that usually draws so many watts [m]; None where a reading is all that is known."""
    watts = output.watts
    if watts is None and (output.ppf is not None or output.lumens is not None):
        watts = claimed_flux(output, channels).ppf / USUAL_EFFICACY
    return None if watts is None else min(max(watts / WATTS_PER_M, SHORTEST_M), LONGEST_M)


def usual_leds(said: dict[str, Any]) -> Leds:
    """LEDs spread over the board a usual pitch apart."""
    form, size = said.get("form", Form.BAR), said.get("size")
    preset = PRESETS[form]
    if size is None or preset.led_pitch_m is None:
        face = min(preset.led_face_m, *(size or (1.0,))[:2])
        return Leds.model_construct(rows=1, columns=1, face=face)
    counts = [min(max(round(side / preset.led_pitch_m), 1), MOST_GUESSED_LEDS) for side in size[:2]]
    face = min(preset.led_face_m, size[0] / counts[0], size[1] / counts[1])
    if form in ROUND:
        rings = min((min(counts) - 1) // 2, MOST_GUESSED_RINGS)
        if rings > 0:
            return Leds.model_construct(rings=rings, face=min(face, min(size[:2]) / (2 * rings + 2)))
        counts = [1, 1]
    return Leds.model_construct(rows=counts[1], columns=counts[0], face=face)
