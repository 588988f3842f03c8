"""Leaves, beds and wood against the published band means."""

import numpy as np
import pytest

from underlit.spectra.grid import PAR_WAVELENGTHS_NM
from underlit.spectra.materials import MATERIALS, LeafKind, leaf_optics, reflectance


@pytest.mark.parametrize(
    ("kind", "reflected", "passed"), [("pale", 0.0935, 0.1266), ("typical", 0.0695, 0.0485), ("dark", 0.0605, 0.0212)]
)
def test_leaves_in_air(kind: str, reflected: float, passed: float) -> None:
    # PAR means of PROSPECT-D (Feret et al. 2017) with N/Cab/Car 1.2/20/5, 1.5/40/10, 1.8/60/15.
    leaf = leaf_optics(LeafKind(kind))
    assert leaf.reflectance.mean() == pytest.approx(reflected, abs=2e-4)
    assert leaf.transmittance.mean() == pytest.approx(passed, abs=2e-4)


def test_leaf_absorptance_is_near_that_of_37_species() -> None:
    # Bjorkman & Demmig, Planta 170:489-504 (1987): .838 +- .006 standard error, 37 C3 species. A typical model leaf.
    leaf = leaf_optics(LeafKind.TYPICAL)
    assert 1 - leaf.reflectance.mean() - leaf.transmittance.mean() == pytest.approx(0.838, abs=0.05)


@pytest.mark.parametrize("kind", LeafKind)
def test_leaves_are_green(kind: LeafKind) -> None:
    leaf = leaf_optics(kind)
    for spectrum in leaf:
        assert 530 < PAR_WAVELENGTHS_NM[8:52][np.argmax(spectrum[8:52])] < 570
        assert spectrum[52:55].min() < spectrum[30] / 2  # chlorophyll at 662-677 nm
    assert (leaf.reflectance + leaf.transmittance <= 1).all()


def test_submerged_leaves_let_more_through() -> None:
    wet, dry = leaf_optics(LeafKind.SUBMERGED), leaf_optics(LeafKind.PALE)
    assert wet.transmittance.mean() > 1.5 * dry.transmittance.mean()
    assert wet.reflectance.mean() < dry.reflectance.mean()


@pytest.mark.parametrize(
    ("material", "points"),
    [
        ("coral sand", {400: 0.281, 500: 0.394}),  # Maritorena, Morel & Gentili 1994
        ("dark wood", {443: 0.075, 490: 0.086, 560: 0.126, 665: 0.160}),  # RAMI-5 ACT_HET15, spruce
        ("light wood", {443: 0.125, 490: 0.138, 560: 0.171, 665: 0.207}),  # RAMI-5 ACT_HET15, maple
    ],
)
def test_published_reflectances(material: str, points: dict[int, float]) -> None:
    spectrum = reflectance(material)
    for wave, value in points.items():
        assert np.interp(wave, PAR_WAVELENGTHS_NM, spectrum) == pytest.approx(value, rel=0.04)


@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize("mean", [None, 0.0, 0.3, 0.8, 1.0])
def test_levels_keep_the_mean_and_stay_below_one(material: str, mean: float | None) -> None:
    spectrum = reflectance(material, mean)
    assert spectrum.mean() == pytest.approx(MATERIALS[material].mean if mean is None else mean, abs=1e-12)
    assert spectrum.min() >= -1e-12
    assert spectrum.max() <= 1 + 1e-12


def test_impossible_materials_are_refused() -> None:
    with pytest.raises(ValueError):
        reflectance("velvet")
    with pytest.raises(ValueError):
        reflectance("gravel", 1.2)
    with pytest.raises(ValueError):
        leaf_optics(LeafKind.DARK, reflectance_mean=0.6, transmittance_mean=0.6)
