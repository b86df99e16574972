"""Band-limited random ground with a wanted spectrum along the way; imports nothing of ours.

Two forms.  ISO 8608 (Mechanical vibration, road surface profiles, reporting of measured data) describes a
road by the one-sided displacement spectrum of its profile, Gd(n) = Gd(n0)·(n/n0)^-2 [m³], with the spatial
frequency n [cycle/m] and n0 = 0.1 cycle/m.  The other form has a given rms height and correlation length l,
with the autocorrelation exp(-(d/l)²), whose spectrum is G(n) = 2·rms²·√π·l·exp(-(π·n·l)²).

The field is a sum of waves on a periodic square larger than the ground.  All profiles along x together have
exactly the wanted power in each line of the band, and none outside; one single profile has it on average.
Only the phases are random, and they belong to waves, not to grid cells: a finer grid shows the same ground.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.special import erf

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

N0 = 0.1  # reference spatial frequency of ISO 8608 [cycle/m]

#: geometric mean of Gd(n0) of each class [m³], ISO 8608
ISO_CLASSES = {
    "A": 16e-6, "B": 64e-6, "C": 256e-6, "D": 1024e-6,
    "E": 4096e-6, "F": 16384e-6, "G": 65536e-6, "H": 262144e-6,
}  # fmt: skip

_BLOCK = 64  # columns evaluated at once, to bound the memory


class Band(NamedTuple):
    """The waves that make up the ground: no longer and no shorter than these [m]."""

    longest: float
    shortest: float


def period(extent: float, longest: float) -> float:
    """Return the side of the periodic square [m]: two longest waves, doubled until it covers ``extent`` [m].

    Doubling keeps the ground the same when its length is changed a little.
    """
    return 2.0 * longest * 2.0 ** max(0, math.ceil(math.log2(extent / (2.0 * longest))))


def wave_count(extent_x: float, extent_y: float, band: Band) -> int:
    """Return how many waves a field over these extents [m] is made of."""
    along = period(extent_x, band.longest) / band.shortest
    across = 2.0 * period(extent_y, band.longest) / band.shortest + 1.0
    return int(along * across)


def iso_variance(unevenness: float, low: Array | float, high: Array | float) -> Array:
    """Return ∫Gd dn = Gd(n0)·n0²·(1/low - 1/high) [m²] from ``low`` to ``high`` [cycle/m]; ISO 8608."""
    return unevenness * N0**2 * (1.0 / np.asarray(low, dtype=np.float64) - 1.0 / np.asarray(high))


def gaussian_variance(
    rms: float, correlation_length: float, low: Array | float, high: Array | float
) -> Array:
    """Return ∫G dn = rms²·(erf(π·l·high) - erf(π·l·low)) [m²] from ``low`` to ``high`` [cycle/m]."""
    scale = math.pi * correlation_length
    share: Array = erf(scale * np.asarray(high)) - erf(scale * np.asarray(low))
    return rms**2 * share


def iso_field(x: Array, y: Array, unevenness: float, band: Band, rng: np.random.Generator) -> Array:
    """Return heights [m], shape (nx, ny), of ground with Gd(n0) = ``unevenness`` [m³] within ``band``.

    x, y: evenly spaced places [m].  Across the way the waves are spread as in an isotropic field of exponent
    -2: S2(nx, ny) = G(nx)·w, w ∝ (nx² + ny²)^-3/2, normalised for each nx.
    """
    n, low, high = _lines(period(x[-1] - x[0], band.longest), band)
    across = _lines_across(period(y[-1] - y[0], band.longest), band)
    weight = (n[:, None] ** 2 + across[None, :] ** 2) ** -1.5
    return _field(x, y, n, across, iso_variance(unevenness, low, high), weight, rng)


def gaussian_field(
    x: Array, y: Array, rms: float, correlation_length: float, band: Band, rng: np.random.Generator
) -> Array:
    """Return heights [m], shape (nx, ny), of ground with ``rms`` height and ``correlation_length`` [m].

    x, y: evenly spaced places [m].  The rms is met within ``band``, whatever share of the spectrum it holds.
    """
    n, low, high = _lines(period(x[-1] - x[0], band.longest), band)
    across = _lines_across(period(y[-1] - y[0], band.longest), band)
    power = gaussian_variance(rms, correlation_length, low, high)
    weight = np.broadcast_to(np.exp(-((math.pi * correlation_length * across) ** 2)), (n.size, across.size))
    return _field(x, y, n, across, power * (rms**2 / power.sum()), weight, rng)


def _lines(length: float, band: Band) -> tuple[Array, Array, Array]:
    """Return the frequencies in the band of waves that fit ``length``, and the edges of their bins."""
    n_low, n_high = 1.0 / band.longest, 1.0 / band.shortest
    n = np.arange(round(n_low * length), math.floor(n_high * length * (1.0 + 1e-12)) + 1) / length
    edges = np.concatenate(([n_low], (n[1:] + n[:-1]) / 2.0, [n_high]))
    return n, edges[:-1], edges[1:]


def _lines_across(length: float, band: Band) -> Array:
    count = math.floor(length / band.shortest * (1.0 + 1e-12))
    return np.arange(-count, count + 1) / length


def _field(
    x: Array, y: Array, n: Array, across: Array, power: Array, weight: Array, rng: np.random.Generator
) -> Array:
    """Sum the waves; ``power`` [m²] of each line along x is shared out across the way by ``weight``."""
    amplitude = np.sqrt(2.0 * power[:, None] * weight / weight.sum(axis=1, keepdims=True))
    waves = amplitude * np.exp(2j * math.pi * rng.random(amplitude.shape))
    z = np.empty((x.size, y.size))
    lines = np.ascontiguousarray(sum_of_waves(waves, across, y).T)  # one line's swing at each y: (ny, lines)
    for first in range(0, y.size, _BLOCK):
        block = slice(first, first + _BLOCK)
        z[:, block] = sum_of_waves(lines[block], n, x).real.T
    return z


def sum_of_waves(c: ComplexArray, n: Array, s: Array) -> ComplexArray:
    """Return Σ_k c[..., k]·exp(2πi·n[k]·s[m]), shape (..., M), for evenly spaced n, (K,), and s, (M,).

    The chirp z-transform (Rabiner, Schafer and Rader 1969): a Fourier sum with any spacing by three FFTs,
    from k·m = (k² + m² - (m - k)²)/2.
    """
    count, out = n.size, s.size
    dn, ds = (n[-1] - n[0]) / max(count - 1, 1), (s[-1] - s[0]) / max(out - 1, 1)
    size = fft.next_fast_len(count + out - 1)
    k = np.arange(max(count, out), dtype=np.float64)
    chirp = np.exp(1j * math.pi * np.mod(dn * ds * k**2, 2.0))
    kernel = np.zeros(size, dtype=np.complex128)
    kernel[:out] = chirp[:out].conj()
    kernel[size - count + 1 :] = chirp[1:count][::-1].conj()
    start = np.exp(2j * math.pi * n * s[0]) * chirp[:count]
    swept = fft.ifft(fft.fft(c * start, size) * fft.fft(kernel))[..., :out]
    return swept * chirp[:out] * np.exp(2j * math.pi * n[0] * (s - s[0]))
