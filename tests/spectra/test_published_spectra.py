"""Data and conversions against published values."""

import numpy as np
import pytest

from underlit.spectra.channels import (
    from_energy_table,
    from_photon_table,
    gaussian,
    illuminant,
    illuminant_names,
    mixture,
)
from underlit.spectra.grid import PAR_WAVELENGTHS_NM, bin_integrals
from underlit.spectra.luminous import joules_per_umol, lumens_per_umol, photopic, umol_per_joule
from underlit.spectra.media import (
    ACRYLIC_SHEET,
    POLYCARBONATE_SHEET,
    PaneKind,
    optical_constants,
    slab_transmittance,
    water_index,
)
from underlit.spectra.tables import read_table

# Lux per umol/m2/s, umol/J of PAR, photon fractions blue, green, red: computed from CIE 015:2018 tables, Km = 683.002,
# CIE 1924 V(lambda), 1 nm trapezoid.
CIE_LEDS = {
    "LED-B1": (67.067, 4.8933, 0.0921539, 0.404274, 0.503572),
    "LED-B2": (67.9053, 4.84788, 0.110935, 0.416107, 0.472958),
    "LED-B3": (69.75, 4.67888, 0.184395, 0.447329, 0.368276),
    "LED-B4": (71.6566, 4.58664, 0.22889, 0.47011, 0.301),
    "LED-B5": (69.4009, 4.49188, 0.290903, 0.459536, 0.249561),
    "LED-BH1": (73.2724, 4.80229, 0.098567, 0.419184, 0.482249),
    "LED-RGB1": (60.5385, 4.88907, 0.0754181, 0.339864, 0.584718),
    "LED-V1": (53.0782, 4.87391, 0.128816, 0.306747, 0.564437),
    "LED-V2": (56.5732, 4.65811, 0.225039, 0.348922, 0.42604),
}


def test_all_cie_leds_are_carried() -> None:
    assert set(illuminant_names()) == set(CIE_LEDS)


def test_the_grid_is_sixty_mid_bins() -> None:
    assert PAR_WAVELENGTHS_NM.shape == (60,)
    assert PAR_WAVELENGTHS_NM[[0, -1]].tolist() == [402.5, 697.5]


@pytest.mark.parametrize("name", CIE_LEDS)
def test_cie_leds_lux_joules_and_colours(name: str) -> None:
    lux, joule, *thirds = CIE_LEDS[name]
    spectrum = illuminant(name)
    assert spectrum.photons.sum() == pytest.approx(1, abs=1e-12)
    assert spectrum.lumens_per_umol == pytest.approx(lux, rel=1e-4)
    assert lumens_per_umol(spectrum.photons) == pytest.approx(lux, rel=8e-4)
    assert umol_per_joule(spectrum.photons) == pytest.approx(joule, rel=1e-4)
    assert spectrum.photons.reshape(3, 20).sum(axis=1) == pytest.approx(thirds, abs=2e-4)


def test_equal_energy_light() -> None:
    # CIE illuminant E: 52.9135 lux per umol/m2/s, computed the same way.
    flat = from_energy_table(np.array([380.0, 780.0]), np.ones(2))
    assert flat.lumens_per_umol == pytest.approx(52.9135, rel=1e-4)


def test_monochromatic_555_nm() -> None:
    # 683.002 lm/W times the energy of a micromole of 555 nm photons: 147.217 lux per umol/m2/s.
    assert 683.002 * joules_per_umol(555.0) * photopic(np.array([555.0]))[0] == pytest.approx(147.217, abs=5e-4)
    # CIE 1924 V(lambda), 380-780 nm at 5 nm, adds to 21.3713 (CIE 018:2019; y-bar of CIE 1931).
    assert read_table("photopic_v_lambda_cie_1924")["v"].sum() == pytest.approx(21.3713, abs=1e-4)


@pytest.mark.parametrize(("kelvin", "published", "within"), [(2856.0, 50, 0.01), (5778.0, 54, 0.025)])
def test_thimijan_and_heins_1983(kelvin: float, published: float, within: float) -> None:
    # Thimijan & Heins, HortScience 18:818-822 (1983), as quoted second-hand: incandescent 50, sun and sky 54 lux per
    # umol/m2/s. Here Planck radiators of 2856 K (CIE illuminant A) and of the sun's 5778 K.
    wave = np.arange(380.0, 781.0)
    planck = wave**-5 / np.expm1(1.4388e7 / (wave * kelvin))
    assert from_energy_table(wave, planck).lumens_per_umol == pytest.approx(published, rel=within)


def test_cie_illuminant_a() -> None:
    # Planck 2855.64 K: 50.2566 lux and 5.01327 umol/J, from the CIE 015:2018 table of illuminant A.
    wave = np.arange(380.0, 781.0)
    lamp = from_energy_table(wave, wave**-5 / np.expm1(1.4388e7 / (wave * 2855.64)))
    assert lamp.lumens_per_umol == pytest.approx(50.2566, rel=1e-4)
    assert umol_per_joule(lamp.photons) == pytest.approx(5.01327, rel=1e-4)


@pytest.mark.parametrize(
    ("name", "short", "long"), [("LED-B1", 0.9410, 0.9047), ("LED-B3", 0.9544, 0.9262), ("LED-B5", 0.9660, 0.9448)]
)
def test_par_through_pure_water(name: str, short: float, long: float) -> None:
    # Photon-weighted transmission of .3 and .5 m, Pope & Fry 1997 absorption with CIE 015:2018 spectra. The reference
    # has absorption alone; 60 bins cost up to 3e-4.
    photons = illuminant(name).photons
    absorption = optical_constants("water").absorption_per_m
    assert photons @ np.exp(-0.3 * absorption) == pytest.approx(short, abs=3e-4)
    assert photons @ np.exp(-0.5 * absorption) == pytest.approx(long, abs=3e-4)


@pytest.mark.parametrize(
    ("a440", "short", "long"), [(0.1, 0.9479, 0.9154), (0.5, 0.9227, 0.8752), (2.0, 0.8421, 0.7579)]
)
def test_par_through_tannins(a440: float, short: float, long: float) -> None:
    # LED-B3, slope .017 per nm: Bricaud, Morel & Prieur 1981.
    photons = illuminant("LED-B3").photons
    absorption = optical_constants("water", tannin_a440_per_m=a440, tannin_slope_per_nm=0.017).absorption_per_m
    assert photons @ np.exp(-0.3 * absorption) == pytest.approx(short, abs=3e-4)
    assert photons @ np.exp(-0.5 * absorption) == pytest.approx(long, abs=3e-4)


def test_water_index_is_that_of_iapws() -> None:
    # IAPWS R9-97 at .101325 MPa, 20 and 25 degC.
    wave = np.array([400.0, 550.0, 700.0])
    assert water_index(wave, temperature_c=20) == pytest.approx([1.34356, 1.33468, 1.33052], abs=6e-6)
    assert water_index(wave, temperature_c=25) == pytest.approx([1.34305, 1.33419, 1.33004], abs=6e-6)


def test_water_scattering_is_small_and_cloudiness_adds() -> None:
    pure, cloudy = optical_constants("water"), optical_constants("water", cloudiness_per_m=2.0)
    assert pure.scattering_per_m.max() < 0.0051  # Zhang & Hu 2009 at 400 nm: .00504 1/m
    assert cloudy.scattering_per_m - pure.scattering_per_m == pytest.approx(np.full(60, 2.0))


@pytest.mark.parametrize(
    ("kind", "thickness_mm", "published"),
    [
        ("clear", 3, 0.892139),
        ("clear", 4, 0.88411),
        ("clear", 6, 0.86835),
        ("clear", 10, 0.837976),
        ("low-iron", 3, 0.911226),
        ("low-iron", 4, 0.909365),
        ("low-iron", 6, 0.905659),
        ("low-iron", 10, 0.89831),
    ],
)
def test_glass_panes(kind: str, thickness_mm: float, published: float) -> None:
    # From n and k of M. Rubin, Solar Energy Materials 12:275-288 (1985).
    pane = optical_constants(kind)
    passed = slab_transmittance(pane.refractive_index, pane.absorption_per_m, thickness_mm / 1000).mean()
    assert passed == pytest.approx(published, abs=2e-4)


@pytest.mark.parametrize(("thickness_mm", "measured"), [(3.048, 0.89125), (5.715, 0.869583)])
def test_measured_clear_float(thickness_mm: float, measured: float) -> None:
    # Generic clear float of the LBNL glazing data (NFRC 102 and 103), not used in making the table.
    pane = optical_constants("clear")
    passed = slab_transmittance(pane.refractive_index, pane.absorption_per_m, thickness_mm / 1000).mean()
    assert passed == pytest.approx(measured, abs=3e-3)


def test_plastics_give_back_their_measurements() -> None:
    # LBNL glazing data: acrylic's reflectance and LED-B3 value were not fitted; polycarbonate's three were.
    weights = illuminant("LED-B3").photons
    acrylic = optical_constants("acrylic")
    passed = slab_transmittance(acrylic.refractive_index, acrylic.absorption_per_m, ACRYLIC_SHEET.thickness_m)
    assert passed.mean() == pytest.approx(ACRYLIC_SHEET.transmittance, abs=1e-9)
    assert weights @ passed == pytest.approx(ACRYLIC_SHEET.transmittance_led_b3, abs=5e-4)
    surface = ((acrylic.refractive_index - 1) / (acrylic.refractive_index + 1)) ** 2
    assert (surface * (1 + passed)).mean() == pytest.approx(ACRYLIC_SHEET.reflectance, abs=1.5e-3)
    coated = optical_constants("polycarbonate")
    passed = slab_transmittance(coated.refractive_index, coated.absorption_per_m, POLYCARBONATE_SHEET.thickness_m)
    assert passed.mean() == pytest.approx(POLYCARBONATE_SHEET.transmittance, abs=1e-9)
    assert weights @ passed == pytest.approx(POLYCARBONATE_SHEET.transmittance_led_b3, abs=1e-6)
    assert (coated.absorption_per_m > 0).all()


def test_every_medium_has_sane_constants() -> None:
    for name in ("air", "water", *PaneKind):
        index, absorption, scattering = optical_constants(name)
        assert index.shape == absorption.shape == scattering.shape == (60,)
        assert (index >= 1).all()
        assert (absorption >= 0).all()
        assert (scattering >= 0).all()
    with pytest.raises(ValueError, match="unknown medium"):
        optical_constants("oil")


def test_bin_integrals_are_exact_for_a_line() -> None:
    wave = np.array([350.0, 403.0, 720.0])
    values = 2.0 * wave - 500.0
    edges = np.linspace(400, 700, 61)
    assert bin_integrals(wave, values) == pytest.approx(np.diff(edges**2 - 500 * edges))
    inside = bin_integrals(np.array([451.0, 452.0]), np.ones(2))
    assert inside[10] == pytest.approx(1.0)
    assert inside.sum() == pytest.approx(1.0)


def test_energy_and_photons_differ_by_the_wavelength() -> None:
    wave = np.array([400.0, 700.0])
    energy, photons = from_energy_table(wave, np.ones(2)).photons, from_photon_table(wave, np.ones(2)).photons
    assert photons == pytest.approx(np.full(60, 1 / 60))
    assert energy / photons == pytest.approx(PAR_WAVELENGTHS_NM / 550.0, rel=1e-9)


def test_peaks_and_mixtures() -> None:
    red, blue = gaussian(peak_nm=660, fwhm_nm=20), gaussian(peak_nm=450, fwhm_nm=20)
    assert PAR_WAVELENGTHS_NM @ red.photons == pytest.approx(660, abs=1)
    half = red.photons >= red.photons.max() / 2
    assert half.sum() * 5 == pytest.approx(20, abs=5)
    both = mixture([(red, 3.0), (blue, 1.0)])
    assert both.photons[40:].sum() == pytest.approx(0.75, abs=1e-3)
    assert both.lumens_per_umol == pytest.approx(0.75 * red.lumens_per_umol + 0.25 * blue.lumens_per_umol)


@pytest.mark.parametrize(
    ("wave", "values"),
    [
        ([400, 400], [1, 1]),
        ([500, 400], [1, 1]),
        ([400], [1]),
        ([400, 500], [1, -1]),
        ([400, 500], [0, 0]),
        ([710, 800], [1, 1]),
        ([400, np.nan], [1, 1]),
        ([0.4, 0.7], [1, 1]),
    ],
)
def test_bad_spectrum_tables_are_refused(wave: list[float], values: list[float]) -> None:
    with pytest.raises(ValueError):
        from_energy_table(np.array(wave, dtype=float), np.array(values, dtype=float))
