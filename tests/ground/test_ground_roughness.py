"""Random ground against ISO 8608 and the spectra it is asked for."""

from itertools import pairwise
from math import e, pi

import numpy as np
import pytest
from scipy import signal

from drivesim.ground import roughness

ROVER_BAND = roughness.Band(longest=2.0, shortest=0.05)
ROAD_BAND = roughness.Band(longest=1 / 0.011, shortest=1 / 2.83)


def rng(seed=5):
    return np.random.default_rng(seed)


def one_period(band, count):
    side = roughness.period(1.0, band.longest)
    return np.arange(count) * side / count


def test_class_table():
    # ISO 8608: the classes' limits of Gd(n0) [1e-6 m³]; the mean is their geometric mean
    limits = [8, 32, 128, 512, 2048, 8192, 32768, 131072, 524288]
    means = [np.sqrt(a * b) * 1e-6 for a, b in pairwise(limits)]
    np.testing.assert_allclose(list(roughness.ISO_CLASSES.values()), means, rtol=1e-12)
    assert "".join(roughness.ISO_CLASSES) == "ABCDEFGH"


@pytest.mark.parametrize(
    ("band", "rms"),
    [
        # from Gd of ISO 8608 over 0.011 to 2.83 cycle/m and over 0.5 to 20 cycle/m: class -> rms [mm]
        (ROAD_BAND, {"A": 3.806, "B": 7.613, "C": 15.226, "D": 30.451, "E": 60.903}),
        (ROVER_BAND, {"A": 0.5586, "B": 1.1171, "C": 2.2343, "D": 4.4686}),
    ],
)
def test_band_rms_of_the_classes(band, rms):
    for name, expected in rms.items():
        variance = roughness.iso_variance(roughness.ISO_CLASSES[name], 1 / band.longest, 1 / band.shortest)
        assert np.sqrt(variance) * 1e3 == pytest.approx(expected, rel=2e-4)
    x = one_period(band, 1100)
    z = roughness.iso_field(x, x, roughness.ISO_CLASSES["C"], band, rng())
    assert z.std() * 1e3 == pytest.approx(rms["C"], rel=0.03)
    assert abs(z.mean()) < 1e-9


def test_every_line_along_the_way_has_its_power():
    x = one_period(ROVER_BAND, 256)
    z = roughness.iso_field(x, x, roughness.ISO_CLASSES["C"], ROVER_BAND, rng())
    dn = 1 / roughness.period(1.0, ROVER_BAND.longest)
    power = 2 * (np.abs(np.fft.rfft(z, axis=0) / x.size) ** 2).mean(axis=1) / dn
    n = np.arange(power.size) * dn
    inner = (n > 2 * dn) & (n < 20.0)
    mean_over_bin = n[inner] ** 2 - (dn / 2) ** 2  # the mean of n^-2 over a bin is 1/(n² - dn²/4)
    expected = roughness.ISO_CLASSES["C"] * roughness.N0**2 / mean_over_bin
    np.testing.assert_allclose(power[inner], expected, rtol=1e-9)


def test_spectrum_along_the_way():
    band, count = ROVER_BAND, 40960
    x = np.arange(count) * 512.0 / count
    z = roughness.iso_field(x, np.arange(8) * 0.4, roughness.ISO_CLASSES["C"], band, rng())
    n, power = signal.welch(z, fs=count / 512.0, nperseg=4096, axis=0)
    inside = (n > 1.0) & (n < 15.0)
    exponent, log_gd = np.polyfit(np.log(n[inside] / roughness.N0), np.log(power[inside].mean(axis=1)), 1)
    assert exponent == pytest.approx(-2.0, abs=0.1)
    assert 1 / 1.2 < np.exp(log_gd) / roughness.ISO_CLASSES["C"] < 1.2
    # nothing outside the band: the record is one whole period, so its Fourier lines do not leak
    lines = np.abs(np.fft.rfft(z, axis=0)) / count
    n = np.arange(lines.shape[0]) / 512.0
    outside = (n < 1 / band.longest - 1e-9) | (n > 1 / band.shortest + 1e-9)
    assert lines[outside].max() < 1e-6 * lines.max()


def test_slope_rms():
    # 2π·n0·√(Gd·(n2 - n1)), class C over 0.011 to 2.83 cycle/m: 0.016879 (from Gd of ISO 8608)
    x = np.arange(9000) * roughness.period(1.0, ROAD_BAND.longest) / 9000
    z = roughness.iso_field(x, np.arange(6) * 30.0, roughness.ISO_CLASSES["C"], ROAD_BAND, rng())
    assert np.gradient(z, x, axis=0).std() == pytest.approx(0.016879, rel=0.03)


def test_across_the_way_the_field_is_roughly_isotropic():
    y = one_period(ROVER_BAND, 256)
    z = roughness.iso_field(y, y, roughness.ISO_CLASSES["C"], ROVER_BAND, rng())
    dn = 1 / roughness.period(1.0, ROVER_BAND.longest)
    power = 2 * (np.abs(np.fft.rfft(z, axis=1) / y.size) ** 2).mean(axis=0) / dn
    n = np.arange(power.size) * dn
    inside = (n >= 2.0) & (n <= 10.0)
    ratio = power[inside] / (roughness.ISO_CLASSES["C"] * (n[inside] / roughness.N0) ** -2)
    # ∫ of the isotropic field over the band along x, closed form
    n1, n2 = 1 / ROVER_BAND.longest, 1 / ROVER_BAND.shortest
    expected = n2 / np.hypot(n2, n[inside]) - n1 / np.hypot(n1, n[inside])
    np.testing.assert_allclose(ratio, expected, rtol=0.1)
    assert 0.7 < ratio.mean() < 1.3


def test_rms_and_correlation_length():
    rms, length, band = 3e-3, 0.12, roughness.Band(longest=20.0, shortest=0.1)
    x = one_period(band, 1000)  # 40 m, 40 mm apart: the correlation length is three cells
    z = roughness.gaussian_field(x, x, rms, length, band, rng())
    assert z.std() == pytest.approx(rms, rel=1e-6)
    for axis in (0, 1):
        assert (z * np.roll(z, 3, axis)).mean() / rms**2 == pytest.approx(1 / e, rel=0.05)
        assert (z * np.roll(z, 6, axis)).mean() / rms**2 == pytest.approx(e**-4, abs=0.03)
    assert roughness.gaussian_variance(rms, length, 0.0, 1e3) == pytest.approx(rms**2)


def test_the_grid_does_not_change_the_ground():
    fine = np.linspace(-0.5, 4.0, 901)
    y = np.linspace(-0.7, 0.7, 201)
    args = (roughness.ISO_CLASSES["B"], ROVER_BAND)
    z = roughness.iso_field(fine, y, *args, rng())
    np.testing.assert_allclose(roughness.iso_field(fine[::9], y[::5], *args, rng()), z[::9, ::5], atol=1e-12)
    longer = np.linspace(-0.5, 5.5, 1201)
    np.testing.assert_allclose(roughness.iso_field(longer, y, *args, rng())[:901], z, atol=1e-12)
    assert np.abs(roughness.iso_field(fine, y, *args, rng(6)) - z).max() > 1e-3


def test_sum_of_waves_against_its_definition():
    n, s = np.arange(7, 40) / 3.3, np.linspace(-0.4, 2.1, 118)
    c = rng().normal(size=(2, n.size)) + 1j * rng(1).normal(size=(2, n.size))
    expected = c @ np.exp(2j * pi * np.outer(n, s))
    np.testing.assert_allclose(roughness.sum_of_waves(c, n, s), expected, atol=1e-11)
