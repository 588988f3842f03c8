"""The diverging colour map: even steps, two arms alike in lightness, apart for colour-blind eyes."""

from __future__ import annotations

import numpy as np

from underlit.viz.maps.diverging import STEPS, diverging_lab, diverging_map, encoded, oklab_to_linear_rgb

# Dichromats' view of linear RGB, severity 1: Machado, Oliveira & Fernandes, IEEE TVCG 15:1291, 2009, table 1 (from memory).
PROTANOPIA = np.array(
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
)
DEUTERANOPIA = np.array(
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
)


def linear(srgb):
    """sRGB -> linear (IEC 61966-2-1), written apart from the map's own formula."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def oklab(rgb):
    """Linear sRGB -> OKLab with the matrices of Ottosson 2020 for this direction (the map uses the other)."""
    to_lms = np.array(
        [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ]
    )
    to_lab = np.array(
        [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ]
    )
    return np.cbrt(rgb @ to_lms.T) @ to_lab.T


def colours():
    """The map as drawn, linear RGB."""
    return linear(np.array([diverging_map()(i)[:3] for i in range(STEPS)]))


def test_steps_are_even():
    """Neighbours are equally far apart in OKLab, all along each arm."""
    steps = np.linalg.norm(np.diff(oklab(colours()), axis=0), axis=1)
    assert steps.max() < 1.03 * steps.min()


def test_inside_srgb():
    """No colour is clipped."""
    rgb = encoded(oklab_to_linear_rgb(diverging_lab()))
    assert rgb.min() >= 0
    assert rgb.max() <= 1


def test_arms_are_alike_in_lightness():
    """Equal amounts up and down look equally strong without colour."""
    lightness = oklab(colours())[:, 0]
    np.testing.assert_allclose(lightness, lightness[::-1], atol=2e-3)
    assert np.argmax(lightness) == STEPS // 2


def test_ends_stay_apart_for_colour_blind_eyes():
    """For red-green blind eyes the ends are at least half as far apart as for others."""
    seen = oklab(colours()[[0, -1]])
    apart = np.linalg.norm(seen[0] - seen[1])
    for matrix in (PROTANOPIA, DEUTERANOPIA):
        dichromat = oklab(np.clip(colours()[[0, -1]] @ matrix.T, 0, 1))
        assert np.linalg.norm(dichromat[0] - dichromat[1]) > 0.5 * apart
