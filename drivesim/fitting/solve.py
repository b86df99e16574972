"""Nonlinear least squares with several instruments of unknown noise; knows nothing of rovers, imports numpy and scipy.

``model`` is any function from parameters to values.  Readings of one ``channel`` share one noise.  Rows far out
are found by a robust fit (soft L1 loss, noise by the median deviation), and left out where a t test of the
deleted residual says they are beyond chance.  The rest is fitted by weighted least squares; the noise of each
channel is that which its own residuals show, each with the degrees of freedom that the fit left it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Model = Callable[[Array], Array]

LEVEL = 0.95  # of all intervals
FIRST_GUESS = 0.02  # of a channel's size: its noise before anything is fitted
ROBUST_ROUNDS, NOISE_ROUNDS, ROUGH_ROUNDS = 4, 25, 4
TOLERANCE, ROBUST_TOLERANCE, ROUGH_TOLERANCE = 1e-11, 1e-7, 1e-5
FINE, NARROW, WIDE = 1e-4, 0.01, 0.5  # steps of the differences, in a parameter's scale
ROUGH_RISE = 1.02  # of the sum of squares, by which a rough model may fit worse after a step
STEP_ERRORS = 6.0  # standard errors that a step spans to either side where the model is rough
SAME_NOISE = 1e-3  # share by which the noise may still change
MEDIAN_OF_NORMAL = 1.4826  # standard deviation over median deviation of a normal distribution
FAR_OUT = 4.0  # robust standard deviations from which a row is asked whether it belongs
CHANCE = 0.01  # that any good row of a whole fit is left out
MOST_OUT = 0.2  # share of a channel that may be left out
RANK = 1e-6  # singular values below this share of the greatest (columns of equal length) tell nothing
INVOLVED = 0.05  # square of a parameter's part in such a direction from which it counts as untold
FAR_OFF = 1e12
FEWEST = 0.5  # degrees of freedom that a channel counts with at least


class Data(NamedTuple):
    """Readings, their channel numbers, the least noise to believe in, and which channels are rows in time."""

    measured: Array
    channel: NDArray[np.int64]
    floor: Array
    series: NDArray[np.bool_]
    may_leave_out: NDArray[np.bool_]


class Search(NamedTuple):
    """Where the search begins, in what steps it counts, its limits, and whether the model is rough.

    A rough model, such as a simulated run, is steered by chance in the small: its differences are taken over steps
    of several standard errors, else they would measure the roughness.
    """

    start: Array
    scale: Array
    lower: Array
    upper: Array
    rough: bool = False


@dataclass(frozen=True)
class Solution:
    """The fitted parameters and what is known of them.

    ``covariance`` is inf for a parameter of which the readings say nothing; ``freedom`` the degrees of freedom
    behind each parameter's variance (Welch and Satterthwaite), ``noise`` one standard deviation a channel.
    """

    x: Array
    model: Array
    jacobian: Array
    noise: Array
    kept: NDArray[np.bool_]
    leverage: Array
    covariance: Array
    freedom: Array
    told: NDArray[np.bool_]

    @property
    def half_width(self) -> Array:
        """Half of the interval of each parameter: t quantile times standard error."""
        quantile = stats.t.ppf(0.5 + LEVEL / 2, self.freedom)
        return np.asarray(quantile * np.sqrt(np.diag(self.covariance)))


def solve(model: Model, data: Data, search: Search, *, robust: bool = True) -> Solution:
    """Return the parameters that fit ``data`` best; see the module's head for how."""
    work = _Work(model, data, search)
    kept = np.ones(data.measured.size, bool)
    z = search.start / search.scale
    noise = np.maximum(
        data.floor, FIRST_GUESS * work.by_channel(lambda i: np.sqrt(np.mean(data.measured[i] ** 2)))
    )
    if robust:
        z, noise = work.robust(z, noise)
        candidates = work.candidates(z, noise)
        if candidates.any():
            z0, noise0, _ = work.weighted(z, noise, ~candidates)
            kept = ~work.confirmed(z0, noise0, candidates)
    z, noise, jacobian = work.weighted(z, noise, kept)
    return work.solution(z, noise, kept, jacobian)


class _Work:
    """The steps of one fit; ``z`` are the parameters counted in their scale."""

    def __init__(self, model: Model, data: Data, search: Search) -> None:
        self.data, self.search = data, search
        self.step = np.full(search.start.size, WIDE if search.rough else FINE)
        self._model = model
        self.bounds = (search.lower / search.scale, search.upper / search.scale)

    def by_channel(self, value: Callable[[NDArray[np.bool_]], float]) -> Array:
        """Return ``value`` of the rows of each channel."""
        return np.array([value(self.data.channel == c) for c in range(self.data.floor.size)])

    def model(self, z: Array) -> Array:
        """Return the model's values; what ran away there is far off, so that the search turns back."""
        return np.nan_to_num(self._model(z * self.search.scale), nan=FAR_OFF, posinf=FAR_OFF, neginf=-FAR_OFF)

    def residual(self, z: Array) -> Array:
        return self.model(z) - self.data.measured

    def jacobian(self, z: Array) -> Array:
        """Return d model/dz by central differences, one-sided at a limit."""
        columns = []
        for i in range(z.size):
            up, down = z.copy(), z.copy()
            up[i] = min(z[i] + self.step[i], self.bounds[1][i])
            down[i] = max(z[i] - self.step[i], self.bounds[0][i])
            columns.append((self.model(up) - self.model(down)) / (up[i] - down[i]))
        return np.stack(columns, axis=1)

    def search_from(self, z: Array, weight: Array, loss: str, tolerance: float = TOLERANCE) -> Array:
        """Return the best z with these weights (1/noise; 0 leaves a row out)."""
        inside = np.clip(z, self.bounds[0], self.bounds[1])
        tolerance = max(tolerance, ROUGH_TOLERANCE) if self.search.rough else tolerance
        found = least_squares(
            lambda q: self.residual(q) * weight, inside, jac=lambda q: self.jacobian(q) * weight[:, None],
            bounds=self.bounds, loss=loss, x_scale="jac", xtol=tolerance, ftol=tolerance, gtol=tolerance, max_nfev=60,
        )  # fmt: skip
        return np.asarray(found.x)

    def robust(self, z: Array, noise: Array) -> tuple[Array, Array]:
        """Fit with soft L1 loss, the noise of each channel by the median deviation."""
        freedom = max(0.1, 1 - z.size / self.data.measured.size)
        for _ in range(ROBUST_ROUNDS):
            z = self.search_from(z, 1 / noise[self.data.channel], "soft_l1", ROBUST_TOLERANCE)
            size = np.abs(self.residual(z))
            spread = self.by_channel(lambda i, size=size: MEDIAN_OF_NORMAL * float(np.median(size[i])))  # type: ignore[misc]
            new = np.maximum(self.data.floor, spread / np.sqrt(freedom))
            if np.all(np.abs(new - noise) <= 0.05 * noise):
                return z, new
            noise = new
        return z, noise

    def weighted(self, z: Array, noise: Array, kept: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """Fit the rows that are kept, and the noise of each channel with them; return z, noise and d model/dz."""
        channel, rough = self.data.channel, self.search.rough
        weight = np.where(kept, 1 / noise[channel], 0.0)
        if not rough:
            z = self.search_from(z, weight, "linear")
        jacobian = self.jacobian(z)
        for _ in range(ROUGH_ROUNDS if rough else NOISE_ROUNDS):
            weight = np.where(kept, 1 / noise[channel], 0.0)
            z = self.newton_step(z, weight, jacobian)
            leverage, square = _leverage(jacobian * weight[:, None]), self.residual(z) ** 2
            left = self.freedom(kept, leverage)
            new = np.sqrt(self.by_channel(lambda i, s=square: float(s[i & kept].sum())) / left)  # type: ignore[misc]
            new = np.maximum(self.data.floor, new)
            done = np.all(np.abs(new - noise) <= SAME_NOISE * noise)
            noise = new
            if rough:
                errors = np.sqrt(np.diag(_covariance(jacobian * weight[:, None])[0]))
                self.step = np.clip(STEP_ERRORS * errors, NARROW, WIDE)
                jacobian = self.jacobian(z)
            elif done:
                break
        if not rough:
            z = self.search_from(z, np.where(kept, 1 / noise[channel], 0.0), "linear")
            jacobian = self.jacobian(z)
        return z, noise, jacobian

    def newton_step(self, z: Array, weight: Array, jacobian: Array) -> Array:
        """Return z after one step of Gauss and Newton, or z itself where that fits worse than chance explains."""
        here = self.residual(z) * weight
        inverse = _covariance(jacobian * weight[:, None])[1]
        new = np.clip(z - inverse @ here, self.bounds[0], self.bounds[1])
        there = self.residual(new) * weight
        return new if there @ there <= ROUGH_RISE * (here @ here) else z

    def freedom(self, kept: NDArray[np.bool_], leverage: Array) -> Array:
        """Return the degrees of freedom that the fit leaves to each channel."""
        left = self.by_channel(lambda i: float((i & kept).sum() - leverage[i & kept].sum()))
        return np.maximum(left, FEWEST)

    def candidates(self, z: Array, noise: Array) -> NDArray[np.bool_]:
        """Return the rows far out: at most a fifth of a channel, and in time lone ones only."""
        channel = self.data.channel
        scaled = self.residual(z) / noise[channel]
        far = (np.abs(scaled) > FAR_OUT) & self.data.may_leave_out[channel]
        for c in np.unique(channel[far]):
            rows = np.flatnonzero(channel == c)
            mine = far[rows]
            if self.data.series[c]:
                side = np.where(mine, np.sign(scaled[rows]), 0.0)
                pair = (side[1:] == side[:-1]) & mine[1:]
                mine[1:] &= ~pair
                mine[:-1] &= ~pair
            most = int(MOST_OUT * rows.size)
            worst = np.argsort(-np.abs(scaled[rows]) * mine)[:most]
            far[rows] = False
            far[rows[worst]] = mine[worst]
        return far

    def confirmed(self, z: Array, noise: Array, candidates: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return the candidates that lie beyond chance of a fit made without them all (t test, Bonferroni)."""
        channel = self.data.channel
        jacobian = self.jacobian(z)
        weight = 1 / noise[channel]
        kept = ~candidates
        leverage = _leverage(jacobian * np.where(kept, weight, 0.0)[:, None])
        freedom = self.freedom(kept, leverage)
        covariance = _covariance(jacobian * np.where(kept, weight, 0.0)[:, None])[0]
        scaled = jacobian * weight[:, None]
        spread = np.sqrt(1 + np.einsum("ij,jk,ik->i", scaled, np.nan_to_num(covariance, posinf=0.0), scaled))
        t = np.abs(self.residual(z)) * weight / spread
        chance = 2 * stats.t.sf(t, freedom[channel])
        return np.asarray(candidates & (chance < CHANCE / channel.size))

    def price_of_weights(self, weighted: Array, covariance: Array, left: Array) -> Array:
        """Return what the covariance gains because the weights of the channels are estimates themselves.

        4·C·Σ(A − A·C·A)/freedom·C over the channels, A = JᵀJ of a channel's weighted rows: nothing where every number
        hangs on one channel alone.  Source: Kenward and Roger, Biometrics 53, 1997 (from memory), for independent
        readings whose variances are those of their groups.
        """
        inner = np.zeros_like(covariance)
        for c, freedom in enumerate(left):
            rows = weighted[self.data.channel == c]
            A = rows.T @ rows
            inner += (A - A @ covariance @ A) / freedom
        return np.asarray(4.0 * covariance @ inner @ covariance)

    def solution(self, z: Array, noise: Array, kept: NDArray[np.bool_], jacobian: Array) -> Solution:
        """Return what the fit came to, in the parameters' own units."""
        channel, scale = self.data.channel, self.search.scale
        weighted = jacobian * np.where(kept, 1 / noise[channel], 0.0)[:, None]
        leverage = _leverage(weighted)
        covariance, inverse, told = _covariance(weighted)
        left = self.freedom(kept, leverage)
        parts = np.stack([(inverse[:, channel == c] ** 2).sum(axis=1) for c in range(noise.size)], axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            freedom = parts.sum(axis=1) ** 2 / (parts**2 / left).sum(axis=1)
        freedom = np.where(np.isfinite(freedom), np.maximum(freedom, FEWEST), 1.0)
        whole = inverse @ inverse.T
        covariance = np.where(np.isfinite(covariance), covariance, 0.0)
        both = np.outer(told, told)
        covariance = covariance + both * self.price_of_weights(weighted, whole, left)
        covariance[~told, ~told] = np.inf
        return Solution(
            z * scale, self.model(z), jacobian / scale, noise, kept, leverage,
            covariance * np.outer(scale, scale), freedom, told,
        )  # fmt: skip


def _decomposed(weighted: Array) -> tuple[Array, Array, Array, Array]:
    """Return (U, s, V, lengths) of the columns brought to equal length, directions that tell nothing left out."""
    lengths = np.sqrt((weighted**2).sum(axis=0))
    safe = np.where(lengths > 0, lengths, 1.0)
    U, s, Vt = np.linalg.svd(weighted / safe, full_matrices=False)
    good = s > RANK * max(float(s.max(initial=0.0)), 1e-300)
    return U[:, good], s[good], Vt[good].T, safe


def _leverage(weighted: Array) -> Array:
    """Return the diagonal of the hat matrix."""
    return np.asarray((_decomposed(weighted)[0] ** 2).sum(axis=1))


def _covariance(weighted: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return covariance, pseudo-inverse, and which parameters are told at all; the others' variance is inf."""
    U, s, V, lengths = _decomposed(weighted)
    inverse = (V / s) @ U.T / lengths[:, None]
    told = 1 - (V**2).sum(axis=1) < INVOLVED
    told &= (weighted**2).sum(axis=0) > 0
    covariance = inverse @ inverse.T
    covariance[~told, :] = covariance[:, ~told] = 0.0
    covariance[~told, ~told] = np.inf
    return covariance, inverse, told


def inverse_of(solution: Solution, channel: NDArray[np.int64]) -> Array:
    """Return the pseudo-inverse that turns scaled changes of the kept readings into changes of the parameters."""
    weight = np.where(solution.kept, 1 / solution.noise[channel], 0.0)
    return _covariance(solution.jacobian * weight[:, None])[1]
